"""Every kind of file that millprep reads: good ones, words that matter in it, and its reader."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import shapely

from millprep.at_machine import height_map, height_map_readings, reading_faults, readings
from millprep.at_machine.bench_log import BENCH_LOG
from millprep.at_machine.blank_pose import by_holes, by_verniers
from millprep.drawing.gerber.drill import read_drill
from millprep.drawing.gerber.layer import read_layer
from millprep.drawing.netlist import read_netlist
from millprep.drawing.reading import read_board
from millprep.drawing.survey.survey import survey_file
from millprep.geometry.pose import Pose
from millprep.job import load
from millprep.model.board import Board
from millprep.model.dialect import Dialect
from millprep.model.finding import Refusal
from millprep.model.job.job import JobPlan
from millprep.model.job.layers import LayerRoles
from millprep.model.milling_pass import MillingPass, RegistrationHole, Vernier
from millprep.report import report_file
from millprep.report.report_model import Report
from millprep.verify import motion, reader
from millprep.workflow.inputs import read_boards, stored
from millprep.workflow.laying import Choice, lay
from millprep.workflow.set_on_disk import RUNS, load_mark
from millprep.workflow.time_log import TIME_LOG
from tests.helpers import programs
from tests.helpers.drawn_dialects import DIALECTS, NAMES
from tests.helpers.invented_report import report_of_passes
from tests.helpers.small_job import JOB, draw, put
from tests.helpers.spoilt_files import (
    DRILL,
    DRILL_LINES,
    GERBER,
    GERBER_LINES,
    NETLIST,
    NETLIST_LINES,
)

SET = "0123456789ab"
EXPECTED = Pose.shift(-200.0, 5.0)
HOLES = {"r1": (218.0, 5.0), "r2": (293.0, 115.0), "r3": (218.0, 115.0)}


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of file.

    Attributes:
        name: that such a file has.
        good: what is damaged.
        words: that go in place of others.
        read: reads the file; it may raise a `Refusal` or an `UnreadableError`, nothing else.
        others: writes the files that lie next to it.
    """

    name: str
    good: tuple[bytes, ...]
    words: tuple[str, ...]
    read: Callable[[Path], object]
    others: Callable[[Path], object] = lambda _: None


@cache
def source() -> Report:
    """A set whose second pass is found by three holes and two verniers."""
    holes = tuple(
        RegistrationHole(name, at, EXPECTED.point(at), 3.02, "locate", 1, 2)
        for name, at in HOLES.items()
    )
    verniers = (
        Vernier("v1", 1, (250.0, 7.0), "x", (1, 2), 2.0, 0.05, 6),
        Vernier("v2", 1, (270.0, 7.0), "y", (1, 2), 2.0, 0.05, 6),
    )
    window = shapely.box(0.0, 0.0, 300.0, 120.0)
    first = MillingPass(1, 1, window, Pose.shift(0.0, 5.0), (), (5.0, 5.0))
    second = MillingPass(1, 2, window, EXPECTED, holes, (5.0, 5.0), verniers)
    return report_of_passes((first, second), SET)


def _holes(file: Path) -> None:
    by_holes(readings.load(file), source(), 1, 2, 0.03)


def _touches(file: Path) -> None:
    read, _ = reading_faults.with_centres(readings.load(file, "touches"), source(), 1, 2)
    by_holes(read, source(), 1, 2, 0.03)


def _verniers(file: Path) -> None:
    by_verniers(readings.load(file, "verniers"), source(), 1, 2)


def _map(file: Path, pattern: str | None = None) -> None:
    read = height_map_readings.load(file, pattern)
    cuts = shapely.box(10.0, 10.0, 50.0, 40.0)
    height_map.levelling(read, SET, 1, 2, cuts, (2.0, 2.0), None)


PATTERN = r"\[(?P<x>[-\d.]+),(?P<y>[-\d.]+),(?P<z>[-\d.e]+)\]"


def _log(file: Path) -> None:
    _map(file, PATTERN)


USUAL = LayerRoles(copper=("foil",), outline=("rim",), holes=("bores",))
"""What the layers of the good drawings are, but for some."""


def _drawing(file: Path) -> None:
    guessed = survey_file(file, "mm").roles
    try:
        read_board(file, name="a", shown_as="a", layers=USUAL, job_unit="mm")
    except Refusal:
        if guessed is None:
            raise
        read_board(file, name="a", shown_as="a", layers=guessed, job_unit="mm")


@cache
def _plan(folder: Path) -> tuple[JobPlan, tuple[Board, ...]]:
    plan = load(folder / "job.toml")
    return plan, read_boards(plan)


def _layout(file: Path) -> None:
    plan, boards = _plan(file.parent)
    lay(plan, boards, Choice("low", stored(file, file.name)))


DIALECT_KINDS = (
    None,
    Dialect(),
    Dialect(line_numbers=True, percent=True, comments="none"),
    Dialect(cycles=True, arcs=False, decimals=3),
)


def _program(file: Path) -> None:
    text = file.read_bytes().decode("latin-1")
    for dialect in DIALECT_KINDS:
        try:
            trace = reader.read(text, file=file.name, dialect=dialect)
        except Refusal:
            if dialect is None:
                raise
            continue
        motion.check(
            trace, cutter=programs.vee(), machine=programs.MACHINE, clamps=(),
            mill_pass=programs.PASS, blank=programs.BLANK, spoilboard=3.0, file=file.name,
        )  # fmt: skip


def _fabrication(read: Callable[[bytes, str], object]) -> Callable[[Path], None]:
    def reading(file: Path) -> None:
        read(file.read_bytes(), file.name)
        survey_file(file, "mm")

    return reading


GRID = "".join(
    f"{x}.0,{y}.0,{0.01 * (x + y) / 10:.3f}\n" for y in (10, 25, 40) for x in (10, 30, 50)
)
HEAD = f"# surface map\n# set {SET}\n# blank 1\n# pass 2\n# unit mm\n"
PROGRAM = (
    programs.HEAD
    + programs.cut([(10, 10), (20, 10), (20, 20)])
    + "G0 X30. Y10.\nG1 Z-0.08 F60.\nG2 X40. Y20. I10. J0. F300.\nG3 X30. Y10. R12.\nG0 Z2.\n"
    + "(a note)\nG98 G81 X5. Y5. Z-1. R1. F60.\nX6.\nG80\nG83 X8. Y8. Z-1. R1. Q0.4 F60.\nG80\n"
    + programs.TAIL
)
LAYOUT = """\
format = 1

[[blank]]
number = 1
size = [60, 50]
boards = [
  {board = "lamp", copy = 1, x = 12.0000, y = 12.0000, turn = 0},
]
"""
TIMES = """\
[[run]]
machine = "mill"
set = "0123456789ab"
program = "blank-1/pass-1/02-isolate-vee.ngc"
estimate = 3.5
minutes = 4
"""
RAN = """\
[[run]]
set = "0123456789ab"
file = "blank-1/pass-1/02-isolate-vee.ngc"
cutter = "vee"
when = 2026-01-01T10:00:00Z
fitted = "vee-2"
minutes = 4.5
"""
BENCH_RUN = """\
[[run]]
when = 2026-01-01T10:00:00Z
cutter = "vee"
metres = 12.5
boards = 1

[[run]]
when = 2026-01-02T11:00:00Z
cutter = "vee"
what = "replaced"
"""
BEGUN = 'set = "0123456789ab"\n\n[[pass]]\nblank = 1\nnumber = 1\nbefore = true\n'
TOUCHED = {
    name: f"{{ left = {x - 0.51:.2f}, right = {x + 0.51:.2f}, low = {y - 0.51:.2f}, "
    f"high = {y + 0.51:.2f}, probe = 2.0 }}"
    for name, (x, y) in ((name, EXPECTED.point(at)) for name, at in HOLES.items())
}
READ = f'set = "{SET}"\nunit = "mm"\n\n[holes]\n' + "".join(
    f"{name} = {list(EXPECTED.point(at))}\n" for name, at in HOLES.items()
)
BOARDS = JOB.index("[[board]]")
BENCH = JOB[JOB.index("[machine]") : BOARDS] + JOB[JOB.index("[cutters.vee]") :]
BENCHED = 'bench = "mill.toml"\n' + JOB[BOARDS : JOB.index("[cutters.vee]")]

TOML: tuple[str, ...] = (
    "nan",
    "-inf",
    "true",
    "[]",
    "{}",
    '""',
    "2026-01-01",
    "0x10",
    '"\\u0000"',
    "[[1.0]]",
)
TOML += ("1" + "0" * 400, "9" * 5000, "1e999", "[", "]", "{", "}", "=", ".", '"', "'''", "#")
ROWS = ("nan", "inf", ";", ",", "\t", '"', "#", "(", ":", "1e999", "0,013", "x,y,z", "set")
DXF: tuple[str, ...] = (
    "0",
    "SECTION",
    "ENDSEC",
    "EOF",
    "BLOCK",
    "ENDBLK",
    "INSERT",
    "LWPOLYLINE",
    "CIRCLE",
)
DXF += ("ARC", "SPLINE", "HATCH", "ELLIPSE", "TEXT", "nan", "inf", "1e308", "foil", "rim", "bores")
NGC: tuple[str, ...] = (
    "G0",
    "G1",
    "G2",
    "G3",
    "G4",
    "G10",
    "G18",
    "G20",
    "G28",
    "G53",
    "G54",
    "G61",
    "G64",
    "G81",
)
NGC += ("G83", "G90", "G91", "G92", "G93", "G98", "M0", "M2", "M3", "M5", "M6", "M98", "T1", "S0")
NGC += ("F0", "R", "I", "J", "K", "P1", "Q0", "N10", "%", "(", ")", ";", "#1=2", "[1+1]", "/")


def _job_next_to(folder: Path) -> None:
    draw(folder / "lamp.dxf")


def _bench_next_to(folder: Path) -> None:
    draw(folder / "lamp.dxf")
    (folder / "job.toml").write_text(BENCHED, "utf-8")


def _of_dialects() -> tuple[bytes, ...]:
    return tuple((DIALECTS / f"{name}.dxf").read_bytes() for name in NAMES)


def kinds() -> dict[str, Kind]:
    """Every kind by its name."""
    from tests.helpers.invented_set import invented

    report = report_file.to_text(Report.of(invented(1)).row())
    return {
        "job": Kind("job.toml", (JOB.encode(),), TOML, load, _job_next_to),
        "bench": Kind(
            "mill.toml",
            (BENCH.encode(),),
            TOML,
            lambda f: load(f.parent / "job.toml"),
            _bench_next_to,
        ),
        "layout": Kind("layout.toml", (LAYOUT.encode(),), TOML, _layout, put),
        "holes": Kind("read.toml", (READ.encode(),), TOML, _holes),
        "touches": Kind(
            "read.toml",
            (
                (READ.split("[holes]")[0] + "[touches]\n").encode()
                + "".join(f"{name} = {at}\n" for name, at in TOUCHED.items()).encode(),
            ),
            TOML,
            _touches,
        ),
        "verniers": Kind(
            "read.toml",
            (f'set = "{SET}"\n\n[verniers]\nv1 = -3.5\nv2 = 2\n'.encode(),),
            TOML,
            _verniers,
        ),
        "map": Kind(
            "map.csv",
            ((HEAD + "x,y,z\n" + GRID).encode(), GRID.replace(",", ";").replace(".", ",").encode()),
            ROWS,
            _map,
        ),
        "log": Kind(
            "log.txt",
            ((HEAD + "".join(f"12:01 [{row}] ok\n" for row in GRID.split())).encode(),),
            (*ROWS, "[", "]"),
            _log,
        ),
        "times": Kind("times.toml", (TIMES.encode(),), TOML, TIME_LOG.load),
        "ran": Kind("done.toml", (RAN.encode(),), TOML, RUNS.load),
        "bench-log": Kind("log.toml", (BENCH_RUN.encode(),), TOML, BENCH_LOG.load),
        "begun": Kind("begun.toml", (BEGUN.encode(),), TOML, lambda f: load_mark(f.parent)),
        "report": Kind(
            "report.json",
            (report.encode(),),
            ("null", "true", "[]", "{}", '""', "NaN", "1e999", "-1", "1" + "0" * 400, '"\\ud800"'),
            lambda f: report_file.read(f.parent),
        ),
        "netlist": Kind(
            "net.ipc",
            (NETLIST.encode(), b"net,x,y,part,pin\nGND,8.0,6.0,R1,2\nA,22.0,6.0,R1,1\n"),
            (*NETLIST_LINES, *ROWS),
            lambda f: read_netlist(f, f.name),
        ),
        "gerber": Kind("a.gbr", (GERBER.encode(),), tuple(GERBER_LINES), _fabrication(read_layer)),
        "drill": Kind("a.drl", (DRILL.encode(),), tuple(DRILL_LINES), _fabrication(read_drill)),
        "program": Kind("a.ngc", (PROGRAM.encode(),), NGC, _program),
        "dxf": Kind("a.dxf", _of_dialects(), DXF, _drawing),
    }
