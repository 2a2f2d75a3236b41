from __future__ import annotations

import dataclasses
import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from millprep.job import load
from millprep.model.blank import Box, Clamp
from millprep.model.cutter import Drill, EndMill, Vee
from millprep.model.dialect import Dialect
from millprep.model.finding import Finding, Refusal
from millprep.model.job.job import BlankPlan, JobPlan
from millprep.model.job.layers import LayerRoles
from millprep.model.job.setup import SetupTable
from millprep.model.job.work import ClearingPlan
from tests.helpers.chance import examples
from tests.helpers.sample_job import JOB, changed, findings, messages, write

SPELT = """\
name = "Lamp sequencer"
[machine]
name = "the museum's mill"
travel = [290, 170]
zero = [10, 20]
above = 25
below = 9
clearance = 6
rapid = 900
max_feed = 800
max_plunge = 310
max_spindle = 12500
spindle = "hand"
lift_force = 1.5
dwell = 2
collet = 17
screw_lead = 8
scale_error = -0.4
squareness = 0.05
periodic_error = 0.02
backlash = 0.01
tool_change = "pause"
surface_probe = "switch"
probe_log = 'at (?P<x>[^,]+),(?P<y>[^,]+),(?P<z>[^,]+)'
probe_repeatability = 0.002
[machine.dialect]
arcs = false
cycles = true
comments = "semicolon"
line_numbers = true
decimals = 3
line_ends = "crlf"
dwell_unit = "ms"
percent = true
end = "M30"
start_lines = ["M8"]
end_lines = ["M9 ; dust"]

[[blank]]
size = [500, 110]
thickness = 1.5
copper = 0.07
margin = 11
spacing = 4
count = 2
grade = "CEM-1"
modulus = 12.5
poisson = 0.2
[[blank]]
preset = "fr1-1.6-35"
size = [100, 80]
shared_kerf = true

[setup]
origin = [1, -2]
touch = [3, 4]
tape = [[10, 20, 30, 80], [60, 20, 80, 80]]
vacuum = true
[[setup.clamp]]
box = [0, 0, 12, 20]
height = 4.5
passes = [1, 3]
[[setup.clamp]]
box = [50, 0, 62, 20]
height = 5

[[board]]
name = "memory"
drawing = "memory.dxf"
count = 3
drawn_from = "copper"
unit = "inch"
layers = { copper = ["A", "B"], outline = ["E"], holes = [] }
links = [[[1, 2], [3, 4.5]]]

[cutters.engraver]
kind = "vee"
tip = 0.2
angle = 45
teeth = 3
chip_load = [0.004, 0.03]
shank = 3
flute = 3.1
stickout = 18
spindle = 10000
feed = 240
plunge = 90
runout = 0.01
[cutters.mill]
preset = "endmill-2"
step = 0.5
teeth = 1
[cutters.twist]
kind = "drill"
diameter = 1.05
point_angle = 130
shank = 3.1
flute = 9
stickout = 19
spindle = 9000
plunge = 250

[isolation]
gap = "by voltage"
base_gap = 0.4
pad_gap = 0.9
depth = 0.1
flatness = 0.03
cutters = ["engraver", "mill"]
overlap = 0.2
direction = "conventional"
[clearing]
cutters = ["mill", "engraver"]
copper = "all"
depth = 0.12
overlap = 0.3
[drilling]
cutters = ["twist"]
tolerance = 0.07
borer = "mill"
breakthrough = 0.25
spoilboard = 8
[profile]
cutter = "mill"
breakthrough = 0.2
tab_width = 4
tab_height = 0.5
tab_every = 60
ramp = 12
direction = "conventional"
[registration]
method = "measure"
probe = "electrical"
probe_cutter = "mill"
probe_depth = 0.5
probe_feed = 20.0
probe_error = 0.02
hole = 2.5
key = 3.5
wall = 3
cutters = ["twist"]
pin = 2.4
second_hole = "round"
pin_diameter = 2.46
pin_flats = 0.4
pin_depth = 5
overrun = 0.35
drill_error = 0.03
locate_error = 0.04
verniers = false
"""


def test_a_short_job_is_filled_with_the_documented_defaults(tmp_path: Path) -> None:
    plan = load(write(tmp_path))
    assert plan.name == "Lamp sequencer"
    assert plan.machine.name == "small-mill-300"
    assert plan.machine.travel == Box(0.0, 0.0, 300.0, 180.0)
    assert plan.blanks == (
        BlankPlan(
            preset="fr4-1.6-35", size=(500.0, 110.0), thickness=1.6, copper=0.035, margin=10.0,
            spacing=6.0, grade="FR-4", modulus=22.0,
        ),
    )  # fmt: skip
    assert plan.setup == SetupTable(origin=(0.0, 0.0), touch=None, clamps=(), tape=True)
    assert (plan.isolation.depth, plan.isolation.flatness) == (0.08, 0.02)
    assert (plan.profile.tab_every, plan.profile.ramp) == (70.0, 10.0)
    assert (plan.registration.hole, plan.registration.pin) == (3.02, 2.98)
    # A spoilboard of 6 mm must not be bored through.
    assert plan.registration.pin_depth == 4.5
    assert (plan.registration.sigma, plan.registration.assumed) == (0.03, True)
    assert [c.name for c in plan.registration.cutters] == ["mill", "drill"]
    board = plan.boards[0]
    assert board.drawing.copper == ((tmp_path / "memory.dxf").resolve(), "memory.dxf")
    assert (board.count, board.unit) == (1, None)
    assert board.roles == LayerRoles(("TRACKS",), ("EDGE",), ("PINS",))


def test_every_field_of_the_plan_can_be_set(tmp_path: Path) -> None:
    short, full = load(write(tmp_path)), load(write(tmp_path, SPELT))
    machine = full.machine
    assert machine.travel == Box(-10.0, -20.0, 280.0, 150.0)
    assert (machine.above, machine.below, machine.clearance, machine.rapid) == (25, 9, 6, 900)
    assert (machine.max_feed, machine.max_plunge, machine.max_spindle) == (800, 310, 12500)
    assert (machine.spindle_by_program, machine.dwell, machine.collet) == (False, 2, 17)
    assert machine.screw_lead == 8
    assert (short.machine.lift_force, machine.lift_force) == (2.0, 1.5)
    assert (machine.scale_error, machine.squareness) == (-0.4, 0.05)
    assert (machine.periodic_error, machine.backlash) == (0.02, 0.01)
    assert (short.machine.tool_change, machine.tool_change) == ("files", "pause")
    assert (machine.surface_probe, machine.probe_repeatability) == ("switch", 0.002)
    assert machine.probe_log == "at (?P<x>[^,]+),(?P<y>[^,]+),(?P<z>[^,]+)"
    assert machine.dialect == Dialect(
        arcs=False, cycles=True, comments="semicolon", line_numbers=True, decimals=3,
        line_ends="crlf", dwell_unit="ms", percent=True, end="M30", start_lines=("M8",),
        end_lines=("M9 ; dust",),
    )  # fmt: skip
    assert full.blanks == (
        BlankPlan(
            size=(500.0, 110.0), thickness=1.5, copper=0.07, margin=11.0, spacing=4.0, count=2,
            grade="CEM-1", modulus=12.5, poisson=0.2,
        ),
        BlankPlan(
            preset="fr1-1.6-35", size=(100.0, 80.0), thickness=1.6, copper=0.035, margin=10.0,
            spacing=2.0, shared_kerf=True, grade="FR-1", modulus=7.0,
        ),
    )  # fmt: skip
    setup = full.setup
    assert (setup.origin, setup.touch) == ((1.0, -2.0), (3.0, 4.0))
    assert setup.tape == (Box(10, 20, 30, 80), Box(60, 20, 80, 80))
    assert setup.vacuum is True
    assert setup.clamps == (
        Clamp(Box(0, 0, 12, 20), 4.5, (1, 3)),
        Clamp(Box(50, 0, 62, 20), 5.0, None),
    )
    board = full.boards[0]
    assert (board.count, board.drawn_from, board.unit) == (3, "copper", "inch")
    assert board.roles == LayerRoles(("A", "B"), ("E",), ())
    assert board.links == (((1.0, 2.0), (3.0, 4.5)),)
    common: dict[str, Any] = {
        "flute": 3.1, "stickout": 18.0, "spindle": 10000.0, "feed": 240.0, "plunge": 90.0,
    }  # fmt: skip
    vee = Vee(
        name="engraver", tip=0.2, angle=45.0, teeth=3, shank=3.0, runout=0.01,
        chip_load=(0.004, 0.03), **common,
    )  # fmt: skip
    twist = Drill(
        name="twist", diameter=1.05, point_angle=130.0, shank=3.1, flute=9.0, stickout=19.0,
        spindle=9000.0, feed=250.0, plunge=250.0,
    )  # fmt: skip
    mill = full.profile.cutter
    assert isinstance(mill, EndMill)
    assert (mill.diameter, mill.step, mill.teeth) == (2.0, 0.5, 1)
    assert full.cutters == (vee, mill, twist)
    assert full.isolation.cutters == (vee, mill)
    assert full.drilling.tolerance == 0.07
    assert full.drilling.cutters == full.registration.cutters == (twist,)
    assert full.registration.sigma == pytest.approx(0.05)
    assert not full.registration.assumed
    assert full.isolation.gap == 0.4
    assert full.clearing == ClearingPlan(cutters=(mill, vee), copper="all", depth=0.12, overlap=0.3)
    registration = full.registration
    assert (registration.probe, registration.probe_cutter) == ("electrical", mill)
    assert (registration.probe_depth, registration.probe_feed) == (0.5, 20.0)
    assert registration.probe_error == 0.02
    # Whatever is not told apart above must at least differ from the default.
    for field in dataclasses.fields(Dialect):
        name = field.name
        assert getattr(short.machine.dialect, name) != getattr(machine.dialect, name), name
    for part in ("isolation", "drilling", "profile", "registration"):
        one, two = getattr(short, part), getattr(full, part)
        for field in dataclasses.fields(one):
            # the middle of gaps goes with no gap by voltage
            if field.name not in ("borer", "cutter", "course"):
                assert getattr(one, field.name) != getattr(two, field.name), field.name


def test_nothing_of_the_plan_is_left_unreported() -> None:
    assert {f.name for f in dataclasses.fields(JobPlan)} == {
        "file", "name", "bench", "machine", "cutters", "isolation", "clearing", "drilling",
        "profile", "blanks", "setup", "boards", "layout", "registration", "legend", "rules",
        "sided", "engrave_names",
    }  # fmt: skip


def test_one_blank_may_be_a_plain_table_or_a_list(tmp_path: Path) -> None:
    one = load(write(tmp_path))
    listed = load(write(tmp_path, changed("[blank]", "[[blank]]")))
    assert one == listed


def test_a_byte_order_mark_and_foreign_line_ends_change_nothing(tmp_path: Path) -> None:
    plain = load(write(tmp_path))
    (tmp_path / "job.toml").write_bytes(b"\xef\xbb\xbf" + JOB.replace("\n", "\r\n").encode())
    assert load(tmp_path / "job.toml") == plain


def test_a_job_file_that_is_not_there(tmp_path: Path) -> None:
    file = tmp_path / "none.toml"
    with pytest.raises(Refusal) as refused:
        load(file)
    (finding,) = refused.value.findings
    assert refused.value.exit_code == 2
    assert finding.code == "job-missing-file"
    assert finding.message == (
        f"{file}:1:1: the job file cannot be read: No such file or directory"
    )


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('name = "x\n', "1:10: the text has no quote at its end"),
        ("a = 1\na = 2\n", "2:6: a is there twice in this table; keep one of them"),
        (
            'drawing = "C:\\Users\\me.dxf"\n',
            "1:16: \\ in a text has a meaning of its own; write a path with /, or between single "
            "quotes: 'C:\\boards\\lamp.dxf'",
        ),
        (
            "gap = 0,3\n",
            "1:8: a number has a point, no comma: 0.3",
        ),
        (
            "gap = .3\n",
            "1:7: a number has a digit before the point: 0.3",
        ),
        (
            "gap = 3mm\n",
            "1:8: a number has no unit after it: lengths are in mm",
        ),
        (
            "drawn_from = copper\n",
            '1:14: a text is between quotes, such as "components"',
        ),
        ("copper = [sheen]\n", '1:11: a text is between quotes, such as "components"'),
        (
            "[[board]]\n[board]\n",
            "2:7: table [board] is there twice; put its keys together, or head each board with "
            "[[board]]",
        ),
        ("[a.b]\n[a.b]\n", "2:5: table [a.b] is there twice; put its keys together"),
        ("a = [1,\n", "2:1: this is not valid TOML: invalid value"),
        (
            "a = " + "[" * 3000,
            "1:3005: this is not valid TOML: lists or tables are nested too deep",
        ),
        ("a = " + "9" * 5000, "1:1: this is not valid TOML"),
    ],
)
def test_text_that_is_no_toml(tmp_path: Path, text: str, message: str) -> None:
    (found,) = findings(tmp_path, text)
    assert found.code == "job-syntax"
    if "999" not in text:
        assert found.message == f"{tmp_path}/job.toml:{message}"


def test_a_drawing_given_for_a_job_is_called_one(tmp_path: Path) -> None:
    file = tmp_path / "board.dxf"
    file.write_text("0\nSECTION\n", "utf-8")
    with pytest.raises(Refusal) as refused:
        load(file)
    (finding,) = refused.value.findings
    assert finding.message.endswith("not a job; write a job for it with: millprep new board.dxf")


def test_text_that_is_not_utf_8(tmp_path: Path) -> None:
    file = tmp_path / "job.toml"
    file.write_bytes(b'name = "x"\n# \xff\n')
    with pytest.raises(Refusal) as refused:
        load(file)
    assert [f.message for f in refused.value.findings] == [
        f"{file}:2:1: the text is not UTF-8; save it with that encoding"
    ]


def test_a_drawing_that_is_not_there_and_the_nearest_one(tmp_path: Path) -> None:
    text = changed('"memory.dxf"', '"memry.dxf"')
    assert messages(tmp_path, text) == [
        'job.toml:15:1: [[board]] 1 drawing is no file: "memry.dxf", seen from the job file\'s '
        'folder; nearest spelling: "memory.dxf"'
    ]


@pytest.mark.parametrize("value", ["nan", "inf", "-inf", "-1", "0", "true", '"1mm"', "[1]", "{}"])
def test_a_gap_takes_nothing_but_a_positive_number(tmp_path: Path, value: str) -> None:
    (message,) = messages(tmp_path, changed("gap = 0.3", f"gap = {value}"))
    start = "job.toml:29:1: [isolation] gap must be a plain number in mm, above 0 and at most 20, "
    assert message.startswith(start + 'or "by voltage"; got ')


def test_huge_and_odd_values_are_refused_in_words(tmp_path: Path) -> None:
    for value in ("1" + "0" * 400, "1e400", "1979-05-27", "[[[[1]]]]"):
        (found,) = findings(tmp_path, changed("gap = 0.3", f"gap = {value}"))
        assert found.code in ("job-wrong-type", "job-bad-value")
        assert len(found.message) < len(str(tmp_path)) + 200


def test_a_preset_gives_way_to_what_is_written_beside_it(tmp_path: Path) -> None:
    text = changed('preset = "vee-30-0.1"', 'preset = "vee-30-0.1"\nangle = 40')
    cutter: Any = load(write(tmp_path, text)).isolation.cutters[0]
    assert (cutter.angle, cutter.tip) == (40.0, 0.1)
    assert math.isclose(cutter.width(0.1), 0.1 + 0.2 * math.tan(math.radians(20)))


VALUES = [
    "1", "-1", "0", "0.5", "nan", "inf", "1e9", "true", '""', '"vee"', "[]", "[1]", "[1, 2]", "{}",
    "[[1, 2], [3, 4]]", "[{}]", "[{ a = 1 }]", '["mill", "mill"]', '{ kind = "vee" }', "1979-05-27",
    '{ preset = 3 }', '[""]', "[0, 0, 0, 0]", "[nan, 1]", "[[[1, 2], [1, 2]]]", '"endmill"',
]  # fmt: skip


@settings(
    examples(150),
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(st.data())
def test_whatever_is_written_there_is_a_plan_or_a_list_of_mistakes(
    tmp_path: Path, data: st.DataObject
) -> None:
    lines = SPELT.splitlines()
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(lines) - 1))
        name = lines[at].partition(" = ")[0]
        kept = data.draw(st.sampled_from(["", *VALUES]))
        lines[at] = f"{name} = {kept}" if kept and "[" not in name else ""
    file = write(tmp_path, "\n".join(lines))
    found: tuple[Finding, ...] = ()
    try:
        load(file)
    except Refusal as refusal:
        # A refusal that says nothing must fail below.
        found = refusal.findings or (Finding(code="none", severity="stop", message=""),)
    for finding in found:
        assert finding.code.startswith("job-")
        assert finding.message.startswith(f"{file}:{finding.line}:")
