from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from millprep.job import Bench, Start, load, starter, warnings
from millprep.job.starter import on_bench
from millprep.model.job.layers import LayerRoles
from tests.helpers.sample_job import messages, write

ROLES = LayerRoles(("TRACKS", 'odd "one"\\'), ("EDGE",), ())
START = Start(drawing="memory.dxf", roles=ROLES, size=(480.0, 90.0))
TEXT = starter([START])


def full(**keys: object) -> Start:
    """A start in which nothing is left to fill in."""
    return replace(START, drawn_from="copper", **keys)  # type: ignore[arg-type]


def test_it_loads_once_the_side_is_filled_in(tmp_path: Path) -> None:
    assert TEXT.count('"FILL IN"') == 1
    assert START.open == ("drawn_from",)
    plan = load(write(tmp_path, TEXT.replace('"FILL IN"', '"components"')))
    assert plan.name == plan.boards[0].name == "memory"
    assert plan.boards[0].roles == ROLES
    assert plan.boards[0].unit is None
    assert plan.blanks[0].size == (500.0, 110.0)
    assert plan.boards[0].drawing.copper.name == "memory.dxf"


def test_until_then_the_side_is_the_one_thing_that_is_asked_for(tmp_path: Path) -> None:
    line = 1 + next(i for i, row in enumerate(TEXT.splitlines()) if row.startswith("drawn_from"))
    assert messages(tmp_path, TEXT) == [
        f'job.toml:{line}:1: [[board]] 1 drawn_from must be "components" or "copper"; got "FILL IN"'
    ]


def test_an_answered_start_leaves_nothing_to_fill_in(tmp_path: Path) -> None:
    start = full(
        roles=replace(ROLES, outline=(), outline_margin=1.5, copper_modes=(
            ("TRACKS", "nested outlines"), ('odd "one"\\', "strokes"), ('odd "one"\\', "fills"),
        )),
        unit="inch",
        unit_stated=False,
    )  # fmt: skip
    assert start.open == ()
    text = starter([start])
    assert "FILL IN" not in text
    board = load(write(tmp_path, text)).boards[0]
    assert (board.roles, board.unit, board.drawn_from) == (start.roles, "inch", "copper")


def test_a_box_and_further_drawings_are_written(tmp_path: Path) -> None:
    for name in ("edge.dxf", "holes.dxf"):
        (tmp_path / name).write_text("0\nEOF\n")
    boxed = full(roles=replace(ROLES, outline=(), outline_box=(0.0, -1.5, 30.0, 20.0)))
    assert load(write(tmp_path, starter([boxed]))).boards[0].roles == boxed.roles
    apart = full(
        roles=replace(ROLES, holes=("H",)), outline_drawing="edge.dxf", holes_drawings=["holes.dxf"]
    )
    board = load(write(tmp_path, starter([apart]))).boards[0]
    assert [file.name for file in board.files] == [apart.drawing, "edge.dxf", "holes.dxf"]
    assert board.roles == apart.roles


def test_what_nobody_knows_is_named_in_the_job_and_by_its_mistakes(tmp_path: Path) -> None:
    start = replace(
        START,
        roles=LayerRoles(("TRACKS", "BARE"), (), ()),
        unit_stated=False,
        unit_words=["mm: 2.00 × 1.00 mm"],
        needs_mode={"TRACKS": ['"fills": 3 filled areas; 3 pieces']},
        needs_width=["BARE"],
    )
    wanting = ("drawn_from", "unit", "the outline", "layers.modes", "layers.widths")
    assert start.open == wanting
    text = starter([start])
    assert f"Left to fill in: {', '.join(wanting)}." in text
    assert '#   "fills": 3 filled areas; 3 pieces' in text
    assert "#   mm: 2.00 × 1.00 mm" in text
    said = "\n".join(messages(tmp_path, text))
    for key in ("drawn_from", "unit", "outline", "modes", "widths"):
        assert key in said


def test_copper_that_is_not_settled_is_asked_for(tmp_path: Path) -> None:
    start = full(roles=LayerRoles((), ("EDGE",), ()), choices={"copper": ["TRACKS\n: 3 pieces"]})
    assert start.open == ("layers.copper",)
    text = starter([start])
    assert "# TRACKS : 3 pieces" in text
    assert any("copper" in line for line in messages(tmp_path, text))


def test_gaps_in_the_outline_are_offered_to_be_closed_never_closed(tmp_path: Path) -> None:
    start = full(roles=replace(ROLES, close_gaps=0.04), gaps=["0.000, 0.015: 0.0300 mm"])
    text = starter([start])
    assert "#   0.000, 0.015: 0.0300 mm" in text
    assert load(write(tmp_path, text)).boards[0].close_gaps == 0
    closed = text.replace("# close_gaps", "close_gaps")
    assert load(write(tmp_path, closed)).boards[0].close_gaps == pytest.approx(0.04)


def test_gap_and_vee_fit_the_narrowest_gap(tmp_path: Path) -> None:
    start = full(narrowest=0.196)
    plan = load(write(tmp_path, starter([start])))
    assert plan.isolation.gap == pytest.approx(0.15)
    (vee,) = plan.isolation.cutters
    assert vee.width(plan.isolation.depth + plan.isolation.flatness) < 0.196
    assert "narrowest gap of the drawing is 0.196 mm" in starter([start])
    assert warnings([start]) == []


def test_a_gap_that_no_preset_passes_is_reported(tmp_path: Path) -> None:
    start = full(narrowest=0.1)
    assert "# >>> the narrowest gap is 0.100 mm, and no preset vee passes it" in starter([start])
    assert len(warnings([start])) == 1
    load(write(tmp_path, starter([start])))


def test_drills_fit_the_holes(tmp_path: Path) -> None:
    start = full(diameters=[0.4, 0.4, 0.8, 1.01, 3.3], slots=[1.0])
    text = starter([start])
    plan = load(write(tmp_path, text))
    assert [c.width(9.0) for c in plan.drilling.cutters] == pytest.approx([0.4, 0.8, 1.0])
    assert plan.drilling.borer is not None
    assert plan.drilling.borer.width(1.0) == pytest.approx(1.0)
    assert text.count("assumed feed, speed and lengths: check") == 1
    assert "There could be 6 holes, 0.40 to 3.30 mm, 1 of them slots." in text


@pytest.mark.parametrize(
    "name", ["a/b/board.v2.dxf", "b\\oard.dxf", 'b"o{a}rd.dxf', "..dxf", "\u0007.dxf", "x" * 300]
)
def test_any_file_name_gives_toml_and_a_name_that_is_allowed(tmp_path: Path, name: str) -> None:
    text = starter([full(drawing=name)])
    data = tomllib.loads(text)
    assert data["board"][0]["drawing"] == name
    assert [m for m in messages(tmp_path, text) if " name " in m] == []


def test_every_table_is_explained() -> None:
    lines = TEXT.splitlines()
    for i, line in enumerate(lines):
        if line.startswith("[") and not line.startswith("[cutters."):
            assert lines[i - 1].startswith("#"), line


def added(tables: dict[str, object], **keys: object) -> str:
    """What a job on this bench has besides its boards and the bench's name."""
    start = full(size=(40.0, 30.0), **keys)
    text = on_bench("# a job", Bench("mill.toml", tables), [start])
    return text.removeprefix("# a job").strip()


VEES = {"vee": {"kind": "vee", "tip": 0.1, "angle": 60.0}, "mill": {"kind": "endmill",
        "diameter": 0.8}}  # fmt: skip


def test_a_bench_without_drilling_lacks_no_drill() -> None:
    assert added({}, diameters=(0.8,), slots=(0.5,)) == ""
    assert added({"drilling": {"cutters": []}}, diameters=(0.8,)).endswith(
        '[drilling]\ncutters = ["drill-08"]'
    )


def test_a_borer_for_a_narrow_slot_has_another_name_than_that_of_the_bench() -> None:
    own = {"borer": {"kind": "endmill", "diameter": 1.0}, "bit": {"kind": "drill", "diameter": 0.8}}
    tables = {"cutters": own, "drilling": {"cutters": ["bit"], "borer": "borer"}}
    text = added(tables, diameters=(0.8,), slots=(0.5,))
    assert '[cutters.fine-borer]\npreset = "endmill-0.5"' in text
    # the drills of the bench stay
    assert text.endswith('[drilling]\nborer = "fine-borer"')
    assert added(tables, diameters=(0.8,), slots=(1.2,)) == ""


def test_several_sheets_of_a_bench_are_left_to_it() -> None:
    small = {"size": [20.0, 20.0]}
    assert added({"blank": [small, small]}) == ""
    assert "[blank]\nsize = [60, 50]" in added({"blank": small})


def test_the_groove_of_an_end_mill_is_as_wide_as_the_mill() -> None:
    isolating = {"cutters": ["mill"], "gap": 0.1}
    tables: dict[str, object] = {"cutters": VEES, "isolation": isolating}
    assert added(tables, narrowest=0.9) == ""
    text = added(tables, narrowest=0.7)
    assert text.endswith('[isolation]\ncutters = ["vee-60-01"]\ndepth = 0.08')
    # a vee that the bench has under this name is not defined anew
    again = {**VEES, "vee-60-01": VEES["vee"]}
    text = added({**tables, "cutters": again}, narrowest=0.7)
    assert text == '[isolation]\ncutters = ["vee-60-01"]\ndepth = 0.08'
    # one that is too wide for the gap does not count
    worn = {**VEES, "vee-60-01": {**VEES["vee"], "tip": 0.9}}
    text = added({**tables, "cutters": worn}, narrowest=0.7)
    assert '[cutters.fine-vee-60-01]\npreset = "vee-60-0.1"' in text
    assert text.endswith('[isolation]\ncutters = ["fine-vee-60-01"]\ndepth = 0.08')
