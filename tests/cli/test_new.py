"""`millprep new`: what it writes loads, and prepares, once its questions are answered."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from ezdxf import filemanagement, units
from ezdxf.layouts.layout import Modelspace

from millprep.cli.main import commands
from millprep.job import load
from millprep.job import schema as json_schema
from millprep.model.job.board import BoardPlan
from millprep.model.job.layers import LayerRoles
from millprep.workflow.prepare import prepare
from tests.helpers import small_job
from tests.helpers.small_job import run

ROOT = Path(__file__).parents[2]
DIALECTS = ROOT / "fixtures" / "dialects"
CALL = "from millprep.cli import main; main()"
ROLES = LayerRoles(("sheen",), ("shore",), ("wells",))


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def written(*words: str, drawing: str = "lamp.dxf") -> BoardPlan:
    """The board of the job that `new` writes, which must load as it stands."""
    result = run("new", drawing, "--drawn-from", "copper", *words, "--out", "job.toml")
    assert result.exit_code == 0, result.output
    assert "left to fill in" not in result.stdout
    return load(Path("job.toml")).boards[0]


def bare(space: Modelspace) -> None:
    """Copper and holes without an edge."""
    small_job.copper(space)


def test_roles_come_back_as_the_survey_found_them() -> None:
    small_job.draw(Path("lamp.dxf"))
    board = written()
    assert board.roles == ROLES
    assert (board.drawn_from, board.unit) == ("copper", None)


def test_a_job_prepares_without_further_editing() -> None:
    small_job.draw(Path("lamp.dxf"))
    written()
    cut_set = prepare(Path("job.toml"), Path("out"))
    assert [(p.pieces, p.shorts, p.opens) for p in cut_set.proofs] == [(2, 0, 0)]


def test_the_unit_is_written_and_applied() -> None:
    small_job.draw(Path("lamp.dxf"), unit=0)
    board = written("--unit", "mm")
    assert board.unit == "mm"


def test_without_a_unit_one_answer_suffices() -> None:
    small_job.draw(Path("lamp.dxf"), unit=0)
    result = run("new", "lamp.dxf", "--drawn-from", "components", "--out", "job.toml")
    assert result.stdout == "wrote job.toml; left to fill in: unit\n"
    text = Path("job.toml").read_text("utf-8")
    assert "#   mm: 30.00 × 20.00 mm" in text
    assert "#   inch: 762.00 × 508.00 mm" in text
    Path("job.toml").write_text(text.replace('unit = "FILL IN"', 'unit = "mm"'), "utf-8")
    assert load(Path("job.toml")).boards[0].unit == "mm"
    cut_set = prepare(Path("job.toml"), Path("out"))
    assert [p.pieces for p in cut_set.proofs] == [2]


@pytest.mark.parametrize(
    ("words", "roles"),
    [
        (("--margin", "1.5"), LayerRoles(("sheen",), (), ("wells",), outline_margin=1.5)),
        (
            ("--outline", "-1,-2,31,22.5"),
            LayerRoles(("sheen",), (), ("wells",), outline_box=(-1.0, -2.0, 31.0, 22.5)),
        ),
    ],
)
def test_an_outline_that_is_given(words: tuple[str, ...], roles: LayerRoles) -> None:
    for what in (bare, small_job.whole):
        Path("job.toml").unlink(missing_ok=True)
        small_job.draw(Path("lamp.dxf"), what)
        assert written(*words).roles == roles


def test_outline_and_holes_from_other_drawings() -> None:
    small_job.draw(Path("edge.dxf"), lambda space: small_job.edge(space))

    def wells(space: Modelspace) -> None:
        for x, y in ((8, 6), (22, 6), (15, 14)):
            space.add_circle((x, y), 0.5, dxfattribs={"layer": "wells"})

    def sheen(space: Modelspace) -> None:
        small_job.track(space, [(8.0, 6.0), (22.0, 6.0)], width=2.4)
        small_job.track(space, [(14.0, 14.0), (16.0, 14.0)], width=2.4)

    small_job.draw(Path("holes.dxf"), wells)
    small_job.draw(Path("lamp.dxf"), sheen)
    board = written("--outline-drawing", "edge.dxf", "--holes-drawing", "holes.dxf")
    assert board.roles == ROLES
    assert [file.name for file in board.files] == ["lamp.dxf", "edge.dxf", "holes.dxf"]
    cut_set = prepare(Path("job.toml"), Path("out"))
    assert len(cut_set.layout.placements[0].board.holes) == 3


def test_a_gap_in_the_outline_is_offered_with_its_place() -> None:
    def draw(space: Modelspace) -> None:
        small_job.edge(space, gap=0.03)
        small_job.copper(space)

    small_job.draw(Path("lamp.dxf"), draw)
    result = run("new", "lamp.dxf", "--drawn-from", "copper", "--out", "job.toml")
    assert result.stdout == "wrote job.toml; left to fill in: close_gaps\n"
    assert run("prepare", "job.toml", "--out", "out").exit_code == 3
    text = Path("job.toml").read_text("utf-8")
    assert "#   0.000, 0.015: 0.0300 mm" in text
    Path("job.toml").write_text(text.replace("# close_gaps = 0.0", "close_gaps = 0.0"), "utf-8")
    cut_set = prepare(Path("job.toml"), Path("out"))
    assert [p.pieces for p in cut_set.proofs] == [2]


def answered(name: str, *changes: tuple[str, str]) -> LayerRoles:
    """The roles of a dialect's job once a person has answered what it asks."""
    shutil.copy(DIALECTS / f"{name}.dxf", "board.dxf")
    result = run("new", "board.dxf", "--drawn-from", "copper", "--out", "job.toml")
    assert "left to fill in" in result.stdout
    text = Path("job.toml").read_text("utf-8")
    for old, new in changes:
        assert text.count(old) == 1
        text = text.replace(old, new)
    Path("job.toml").write_text(text, "utf-8")
    return load(Path("job.toml")).boards[0].roles


@pytest.mark.parametrize(
    ("name", "changes", "pieces"),
    [
        (
            "nested-and-overlapping",
            [('{ "foil" = "FILL IN" }', '{ "foil" = "overlapping outlines" }')],
            1,
        ),
        ("bare-centre-lines", [('{ "foil" = "FILL IN" }', '{ "foil" = 0.8 }')], 2),
        ("gap-or-copper-in-a-fill", [('{ "foil" = "FILL IN" }', '{ "foil" = "fills" }')], 1),
        (
            "through-pads",
            [
                ("layers.copper = []", 'layers.copper = ["foil", "through"]'),
                ('layers.holes = ["FILL IN"]', 'layers.holes = ["through"]'),
            ],
            2,
        ),
    ],
)
def test_what_is_left_to_fill_in_suffices(
    name: str, changes: list[tuple[str, str]], pieces: int
) -> None:
    answered(name, *changes)
    cut_set = prepare(Path("job.toml"), Path("out"))
    assert [(p.pieces, p.shorts, p.opens) for p in cut_set.proofs] == [(pieces, 0, 0)]


def test_holes_that_are_not_settled_are_asked_for() -> None:
    shutil.copy(DIALECTS / "through-pads.dxf", "board.dxf")
    result = run("new", "board.dxf", "--drawn-from", "copper", "--out", "job.toml")
    assert result.stdout == "wrote job.toml; left to fill in: layers.copper, layers.holes\n"
    assert "#   through: 3 circles of 2 sizes, no more" in Path("job.toml").read_text("utf-8")


def test_both_readings_stand_in_the_job() -> None:
    shutil.copy(DIALECTS / "nested-and-overlapping.dxf", "board.dxf")
    text = run("new", "board.dxf").stdout
    assert '#   "nested outlines": 3 closed lines' in text
    assert "refused: copper-not-nested" in text
    assert '#   "overlapping outlines": 3 closed lines, each filled; 1 piece' in text


def test_a_gap_too_narrow_for_any_vee_is_reported() -> None:
    def draw(space: Modelspace) -> None:
        small_job.edge(space)
        small_job.track(space, [(8.0, 6.0), (22.0, 6.0)], width=1.0)
        small_job.track(space, [(8.0, 7.1), (22.0, 7.1)], width=1.0)

    small_job.draw(Path("lamp.dxf"), draw)
    result = run("new", "lamp.dxf", "--drawn-from", "copper")
    assert "warning: the narrowest gap is 0.100 mm, and no preset vee passes it" in result.stderr


MISTAKES: dict[str, tuple[tuple[str, ...], int, str]] = {
    "unknown unit": (("--unit", "ell"), 2, "'ell' is not one of"),
    "unknown side": (("--drawn-from", "above"), 2, "'above' is not one of"),
    "two outlines": (("--margin", "1", "--outline", "0,0,1,1"), 2, "both give the outline"),
    "three outlines": (
        ("--margin", "1", "--outline-drawing", "lamp.dxf"),
        2,
        "--margin and --outline-drawing both give",
    ),
    "margin below 0": (("--margin", "-1"), 2, "--margin must be 0 to 1000 mm"),
    "margin no number": (("--margin", "nan"), 2, "--margin must be 0 to 1000 mm"),
    "three numbers": (("--outline", "0,0,1"), 2, "--outline must be X0,Y0,X1,Y1"),
    "words": (("--outline", "a,b,c,d"), 2, "--outline must be X0,Y0,X1,Y1"),
    "turned over": (("--outline", "3,0,1,1"), 2, "must have X0 < X1"),
    "without end": (("--outline", "0,0,inf,1"), 2, "must have X0 < X1"),
    "no such edge": (("--outline-drawing", "none.dxf"), 3, "there is no file none.dxf"),
    "no such holes": (("--holes-drawing", "none.dxf"), 3, "there is no file none.dxf"),
    "other unit": (("--unit", "inch"), 3, "$INSUNITS says mm"),
    "no folder": (("--out", "none/job.toml"), 2, "there is no folder none"),
}


@pytest.mark.parametrize(("words", "code", "said"), MISTAKES.values(), ids=MISTAKES.keys())
def test_mistakes(words: tuple[str, ...], code: int, said: str) -> None:
    small_job.draw(Path("lamp.dxf"))
    result = run("new", "lamp.dxf", *words)
    assert result.exit_code == code
    assert said in result.stderr
    assert [path.name for path in Path().iterdir()] == ["lamp.dxf"]


def test_changes_of_a_damaged_drawing_are_listed_to_be_accepted() -> None:
    shutil.copy(DIALECTS / "damaged-cut-off.dxf", "board.dxf")
    assert run("new", "board.dxf").exit_code == 3
    text = run("new", "board.dxf", "--repair").stdout
    assert "# accept_repairs = []" in text
    assert "#   'missing-eof'" in text


@pytest.mark.parametrize("name", sorted(file.stem for file in DIALECTS.glob("*.dxf")))
def test_no_drawing_breaks_it(name: str) -> None:
    result = run("new", DIALECTS / f"{name}.dxf")
    assert result.exit_code in (0, 3)
    assert bool(result.stdout) == (
        result.exit_code == 0 or "as this job is, the drawing is refused" in result.stderr
    )


def test_a_drawing_of_any_name_and_layer() -> None:
    doc = filemanagement.new(units=units.MM)
    for y in (5, 9):
        doc.modelspace().add_lwpolyline(
            [(5, y), (9, y)], dxfattribs={"layer": "Züge 100% {0}", "const_width": 1}
        )
    doc.saveas("a b {x}.dxf")
    board = written("--margin", "1", drawing="a b {x}.dxf")
    assert board.layers.copper == ("Züge 100% {0}",)
    assert board.drawing.copper.name == "a b {x}.dxf"


def test_several_drawings_and_copies_prepare_without_further_editing() -> None:
    small_job.draw(Path("lamp.dxf"))
    Path("more").mkdir()
    small_job.draw(Path("more/lamp.dxf"))
    small_job.draw(Path("a=2"))
    result = run(
        *("new", "lamp.dxf=9", "more/lamp.dxf=3", "a=2", "--drawn-from", "copper"),
        *("--out", "three.toml", "--schema"),
    )
    assert result.stdout == "wrote three.toml; read it, then: millprep prepare three.toml\n"
    plan = load(Path("three.toml"))
    assert (plan.name, [board.name for board in plan.boards]) == (
        "three",
        ["lamp", "lamp 2", "a=2"],
    )
    assert [board.count for board in plan.boards] == [9, 3, 1]
    cut_set = prepare(Path("three.toml"), Path("out"))
    assert (len(cut_set.copies), len(cut_set.blanks), len(cut_set.passes)) == (13, 1, 1)
    assert sum(proof.pieces for proof in cut_set.proofs) == 2 * 13


def test_the_first_line_names_the_schema_which_is_written_if_asked_for() -> None:
    small_job.draw(Path("lamp.dxf"))
    written()
    assert not Path("millprep-job.json").exists()
    first = Path("job.toml").read_text("utf-8").splitlines()[0]
    assert first == "#:schema ./millprep-job.json"
    assert run("schema", "-o", "millprep-job.json").stdout == "wrote millprep-job.json\n"
    by_schema = Path("millprep-job.json").read_text("utf-8")
    Path("job.toml").unlink()
    written("--schema")
    assert Path("millprep-job.json").read_text("utf-8") == by_schema
    assert json.loads(by_schema) == json_schema()


@pytest.mark.parametrize(
    ("drawings", "message"),
    [
        (("lamp.dxf=0",), "lamp.dxf=0: the count must be 1 to 1000"),
        (("lamp.dxf=1001",), "the count must be 1 to 1000"),
        (("lamp.dxf", "lamp.dxf"), "lamp.dxf is there twice; write lamp.dxf=2"),
        (("lamp.dxf", "b.dxf", "--region", "0,0,1,1"), "--region answers for one drawing"),
        (("lamp.dxf", "--schema"), "--schema writes next to the job"),
        ((), "Missing argument 'DRAWING[=COUNT]...'"),
        (("lamp.dxf=two",), "there is no file lamp.dxf=two"),
    ],
)
def test_slips_in_drawings_and_counts(drawings: tuple[str, ...], message: str) -> None:
    small_job.draw(Path("lamp.dxf"))
    small_job.draw(Path("b.dxf"))
    result = run("new", *drawings)
    assert result.exit_code in (2, 3)
    assert message in " ".join(result.stderr.split())


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """A person who answers."""
    monkeypatch.setattr("millprep.cli.terminal.somebody_answers", lambda: True)


def answering(drawing: str, *lines: str, options: tuple[str, ...] = ()) -> Result:
    """`new` with these answers; it must not ask for more."""
    result = CliRunner().invoke(
        commands, ["new", drawing, *options, "--out", "job.toml"], input="\n".join(lines) + "\n"
    )
    assert result.exit_code == 0, result.output
    return result


@pytest.mark.usefixtures("terminal")
def test_on_a_terminal_it_asks_and_needs_no_edit() -> None:
    small_job.draw(Path("lamp.dxf"), bare, unit=0)
    result = answering("lamp.dxf", "both", "copper", "mm", "1.5")
    assert "write one of components, copper" in result.stderr
    assert "  mm: 16.40 × 8.00 mm, 100% of the holes are drill sizes" in result.stderr
    assert result.stdout == "wrote job.toml; read it, then: millprep prepare job.toml\n"
    board = load(Path("job.toml")).boards[0]
    assert (board.drawn_from, board.unit, board.outline_margin) == ("copper", "mm", 1.5)
    assert len(prepare(Path("job.toml"), Path("out")).copies) == 1


def lettered(space: Modelspace) -> None:
    """The board with texts between and beside its pads, on a layer of their own."""
    small_job.whole(space)
    for words, x, y in (("R1", 15.0, 7.0), ("J1", 15.0, 16.0), ("made at home", 2.0, 2.0)):
        space.add_text(words, dxfattribs={"layer": "scrawl"}).set_placement((x, y))


@pytest.mark.usefixtures("terminal")
def test_texts_that_could_name_parts_are_offered() -> None:
    small_job.draw(Path("lamp.dxf"), lettered)
    assert answering("lamp.dxf", "copper", "scrawl").stderr.count("  scrawl: R1, J1\n") == 1
    assert load(Path("job.toml")).boards[0].roles.parts == ("scrawl",)
    Path("job.toml").unlink()
    answering("lamp.dxf", "copper", "none")
    assert "parts" not in Path("job.toml").read_text("utf-8")


def test_a_layer_of_part_names_is_an_option_and_else_a_comment() -> None:
    small_job.draw(Path("lamp.dxf"), lettered)
    assert written("--parts-layer", "SCRAWL").roles.parts == ("scrawl",)
    Path("job.toml").unlink()
    assert written().roles.parts == ()
    line = '# layers.parts = ["scrawl"]   # its texts could name parts: R1, J1\n'
    assert line in Path("job.toml").read_text("utf-8")


@pytest.mark.usefixtures("terminal")
@pytest.mark.parametrize(
    ("lines", "refused", "edge"),
    [
        (("shore",), (), {"outline": ("shore",)}),
        (("rims", "shore, rim"), ("write one of rim, sheen",), {"outline": ("shore", "rim")}),
        (
            ("0", "2000", "1-2", "1.5"),
            ("above 0 and at most 1000", "at most 1000 mm", "1-2 is no number; write it in mm"),
            {"outline_margin": 1.5},
        ),
        (
            ("1,2,3", "9,9,0,0", "-1,-2, 31,22.5"),
            ("the edge must be X0,Y0,X1,Y1 in mm; got 1,2,3", "the edge must have X0 < X1"),
            {"outline_box": (-1.0, -2.0, 31.0, 22.5)},
        ),
    ],
)
def test_an_edge_is_answered_by_layers_a_margin_or_a_box(
    lines: tuple[str, ...], refused: tuple[str, ...], edge: dict[str, object]
) -> None:
    def two_edges(space: Modelspace) -> None:
        small_job.copper(space)
        for layer in ("shore", "rim"):
            space.add_lwpolyline(small_job.CORNERS, close=True, dxfattribs={"layer": layer})

    small_job.draw(Path("lamp.dxf"), two_edges)
    said = answering("lamp.dxf", "copper", *lines).stderr
    assert said.count("Error: ") == len(refused)
    assert all(words in said for words in refused)
    bare_roles = LayerRoles(("sheen",), (), ("wells",))
    assert load(Path("job.toml")).boards[0].roles == replace(bare_roles, **edge)  # type: ignore[arg-type]


@pytest.mark.usefixtures("terminal")
def test_units_and_layers_of_other_drawings_are_asked_for() -> None:
    def edges(space: Modelspace) -> None:
        for layer in ("shore", "rim"):
            space.add_lwpolyline(small_job.CORNERS, close=True, dxfattribs={"layer": layer})

    small_job.draw(Path("edge.dxf"), edges, unit=0)
    small_job.draw(Path("lamp.dxf"), bare)
    other = ("--outline-drawing", "edge.dxf")
    result = answering("lamp.dxf", "copper", "mm", "shores", "rim", options=other)
    assert "Unit of the file of the outline: mm, inch" in result.stderr
    assert "  mm: 30.00 × 20.00 mm" in result.stderr
    assert "  Of edge.dxf: rim, shore." in result.stderr
    assert "Error: write one of rim, shore" in result.stderr
    assert "left to fill in" not in result.stdout
    roles = load(Path("job.toml")).boards[0].roles
    assert (roles.outline, roles.outline_unit) == (("rim",), "mm")


@pytest.mark.usefixtures("terminal")
def test_what_a_person_passes_over_stays_open() -> None:
    small_job.draw(Path("lamp.dxf"), unit=0)
    result = answering("lamp.dxf", "", "mm")
    assert result.stdout == "wrote job.toml; left to fill in: drawn_from\n"
    assert 'unit = "mm"' in Path("job.toml").read_text("utf-8")


ASKED: dict[str, tuple[tuple[str, ...], str]] = {
    "nested-and-overlapping": (("overlapping outlines",), '"overlapping outlines"'),
    "gap-or-copper-in-a-fill": (("fills, nested outlines",), '["fills", "nested outlines"]'),
    "bare-centre-lines": (("0.8",), 'layers.widths = { "foil" = 0.8 }'),
    "through-pads": (("foil", "through"), 'layers.holes = ["through"]'),
}


@pytest.mark.usefixtures("terminal")
@pytest.mark.parametrize(("name", "case"), ASKED.items())
def test_every_kind_of_question(name: str, case: tuple[tuple[str, ...], str]) -> None:
    shutil.copy(DIALECTS / f"{name}.dxf", "board.dxf")
    answers, line = case
    result = answering("board.dxf", "copper", *answers)
    assert "left to fill in" not in result.stdout
    assert line in Path("job.toml").read_text("utf-8")
    load(Path("job.toml"))


@pytest.mark.usefixtures("terminal")
def test_a_gap_in_the_edge_may_be_closed() -> None:
    def draw(space: Modelspace) -> None:
        small_job.edge(space, gap=0.03)
        small_job.copper(space)

    small_job.draw(Path("lamp.dxf"), draw)
    answering("lamp.dxf", "copper", "yes")
    assert load(Path("job.toml")).boards[0].close_gaps == 0.04
    Path("job.toml").unlink()
    result = answering("lamp.dxf", "copper", "no")
    assert result.stdout == "wrote job.toml; left to fill in: close_gaps\n"


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo-terminals")
def test_a_real_terminal_is_asked_and_a_pipe_is_not() -> None:
    import pty

    small_job.draw(Path("lamp.dxf"))
    command = [sys.executable, "-c", CALL, "new", "lamp.dxf", "--out", "job.toml"]
    here, there = pty.openpty()
    os.write(here, b"copper\n")
    done = subprocess.run(
        command, stdin=there, stdout=subprocess.PIPE, stderr=there, check=True, text=True
    )
    assert done.stdout == "wrote job.toml; read it, then: millprep prepare job.toml\n"
    assert b"Do you see the components or the copper" in os.read(here, 100_000)
    Path("job.toml").unlink()
    piped = subprocess.run(
        command, stdin=subprocess.PIPE, capture_output=True, text=True, check=True
    )
    assert piped.stdout == "wrote job.toml; left to fill in: drawn_from\n"


def mixed(space: Modelspace) -> None:
    """Copper, holes and edge on one layer, each in a colour of its own."""
    for draw, colour in ((small_job.copper, 1), (small_job.edge, 5)):
        before = set(space)
        draw(space)
        for entity in set(space) - before:
            hole = entity.dxftype() == "CIRCLE" and colour == 1
            entity.dxf.color = 4 if hole else colour
            entity.dxf.layer = "0"


def test_a_layer_is_split_by_colour_into_the_selections_of_the_job() -> None:
    small_job.draw(Path("lamp.dxf"), mixed)
    result = run("new", "lamp.dxf", "--drawn-from", "copper")
    assert "--split colour" in result.stderr, result.output
    board = written("--split", "colour")
    assert [(s.name, s.layer, s.colour) for s in board.roles.selections] == [
        ("0, colour 1", "0", 1),
        ("0, colour 4", "0", 4),
        ("0, colour 5", "0", 5),
    ]
    assert board.roles.copper == ("0, colour 1",)
    assert board.roles.outline == ("0, colour 5",)
    assert board.roles.holes == ("0, colour 4",)
    cut_set = prepare(Path("job.toml"), Path("out"))
    assert [(p.pieces, p.shorts, p.opens) for p in cut_set.proofs] == [(2, 0, 0)]


def test_the_line_around_everything_is_split_off() -> None:
    def draw(space: Modelspace) -> None:
        mixed(space)
        for entity in space:
            entity.dxf.color = 7

    small_job.draw(Path("lamp.dxf"), draw)
    board = written("--split", "edge")
    within, edge = board.roles.selections
    assert (within.name, edge.name) == ("0, within the edge", "0, edge")
    assert within.region is not None
    assert edge.region is None
    assert (board.roles.outline, board.roles.copper) == (("0, edge",), ("0, within the edge",))
    cut_set = prepare(Path("job.toml"), Path("out"))
    assert [p.pieces for p in cut_set.proofs] == [2]


def test_layers_that_are_named_give_gap_cutters_and_holes() -> None:
    def draw(space: Modelspace) -> None:
        small_job.whole(space)
        words = {"layer": "print", "const_width": 0.5}
        space.add_lwpolyline([(2.0, 2.0), (28.0, 2.0)], dxfattribs=words)

    small_job.draw(Path("lamp.dxf"), draw)
    result = run("new", "lamp.dxf", "--drawn-from", "copper", "--out", "open.toml")
    assert "left to fill in: layers.copper" in result.stdout
    assert "options of new that answer it: --copper-layer" in result.stderr
    board = written("--copper-layer", "SHEEN")
    assert board.roles == ROLES
    result = run("new", "lamp.dxf", "--copper-layer", "sheens")
    assert result.exit_code == 3
    assert 'Nothing is drawn on a layer "sheens"; nearest spelling: "sheen"' in result.stderr


def penned(space: Modelspace) -> None:
    """The board with an edge that is open by 0.2 mm and drawn to and fro across itself."""
    small_job.copper(space)
    corners = [(0, 0), (30, 0), (30, 20), (16, 20), (14, 20.1), (15, 19.9), (15, 20.2), (0, 20)]
    space.add_lwpolyline([*corners, (0, 0.2)], dxfattribs={"layer": "shore", "const_width": 0.5})


@pytest.mark.usefixtures("terminal")
def test_the_line_of_a_pen_is_asked_for() -> None:
    small_job.draw(Path("lamp.dxf"), penned)
    result = answering("lamp.dxf", "copper", "left", "inner")
    assert "Which line of what its pen draws is the edge: outer" in result.stderr
    assert "Error: write one of outer" in result.stderr
    assert load(Path("job.toml")).boards[0].roles.outline_pen == "inner"


@pytest.mark.usefixtures("terminal")
def test_gaps_of_an_edge_without_unit_stay_open() -> None:
    def draw(space: Modelspace) -> None:
        small_job.edge(space, gap=0.03)
        small_job.copper(space)

    small_job.draw(Path("lamp.dxf"), draw, unit=0)
    result = answering("lamp.dxf", "copper", "")
    assert result.stdout == "wrote job.toml; left to fill in: unit, close_gaps\n"


def test_an_edge_that_only_its_pen_closes_is_offered_by_its_rims() -> None:
    small_job.draw(Path("lamp.dxf"), penned)
    result = run("new", "lamp.dxf", "--drawn-from", "copper", "--out", "open.toml")
    assert "left to fill in: outline_pen" in result.stdout
    assert written("--outline-pen", "outer").roles.outline_pen == "outer"
    cut_set = prepare(Path("job.toml"), Path("out"))
    x0, y0, x1, y1 = cut_set.layout.placements[0].board.outline.bounds
    assert (x1 - x0, y1 - y0) == pytest.approx((30.5, 20.5), abs=0.2)
    text = Path("job.toml").read_text("utf-8").replace('outline_pen = "outer"', "")
    Path("bare.toml").write_text(text, "utf-8")
    refused = run("prepare", "bare.toml", "--out", "bare")
    assert refused.exit_code == 3
    assert "as wide as it is drawn it encloses the board" in refused.stderr


def test_a_layer_of_everything_is_refused_with_what_is_wrong() -> None:
    def draw(space: Modelspace) -> None:
        small_job.edge(space)
        for line in space:
            line.dxf.layer = "0"
        for y in (5, 9):
            space.add_lwpolyline([(5, y), (25, y + 6)])
            space.add_lwpolyline([(5, y + 6), (25, y)])

    small_job.draw(Path("lamp.dxf"), draw)
    result = run("new", "lamp.dxf", "--drawn-from", "copper", "--out", "open.toml")
    assert result.exit_code == 3
    assert "[copper-mixed]" in result.stderr
    assert "of open lines cross each other" in result.stderr
    answered = run(
        "new", "lamp.dxf", "--drawn-from", "copper", "--split", "edge", "--track-width", "0.6",
        "--out", "job.toml",
    )  # fmt: skip
    assert answered.exit_code == 0, answered.output
    refused = run("prepare", "job.toml", "--out", "out")
    assert "[copper-lines-cross]" in refused.stderr


def test_gaps_of_an_edge_are_closed_by_an_answer() -> None:
    def draw(space: Modelspace) -> None:
        small_job.edge(space, gap=0.03)
        small_job.copper(space)

    small_job.draw(Path("lamp.dxf"), draw)
    assert written("--close-gaps", "0.04").roles.close_gaps == 0.04
    assert prepare(Path("job.toml"), Path("out")).proofs


def test_a_narrow_cut_out_has_a_mill_that_goes_around_in_it() -> None:
    def draw(space: Modelspace) -> None:
        small_job.whole(space)
        corners = [(4.0, 15.0), (12.0, 15.0), (12.0, 16.2), (4.0, 16.2)]
        space.add_lwpolyline(corners, close=True, dxfattribs={"layer": "shore"})

    small_job.draw(Path("lamp.dxf"), draw)
    written()
    plan = load(Path("job.toml"))
    assert plan.profile.cutter.diameter == 1.0
    cut_set = prepare(Path("job.toml"), Path("out"))
    assert not [finding for finding in cut_set.findings if finding.severity == "stop"]
