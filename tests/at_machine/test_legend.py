"""Legends: where they are engraved, what is cut short, what is refused, and what the proof sees."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from ezdxf.layouts.layout import Modelspace
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from millprep import job
from millprep.at_machine.legend import _only_pass
from millprep.at_machine.legend_parts import _ends, lines_of
from millprep.geometry.path import Path as Line
from millprep.geometry.pose import Affine, Pose
from millprep.model.blank import Blank, Placement
from millprep.model.board import Legend, Lettering
from millprep.model.dialect import Dialect
from millprep.model.finding import Refusal
from millprep.report import report_file
from millprep.verify import reader
from millprep.verify.legend import LegendRequired, check_bores, check_legend
from millprep.verify.sweep import segments
from millprep.verify.trace import Trace
from tests.helpers import workshop
from tests.helpers.small_job import changed, put, run, whole

LOOK = {"layer": "print"}
TEXT = changed('outline = ["shore"]', 'outline = ["shore"], legend = ["print"]')
BLANK = Blank(1, (60.0, 50.0), 1.6, 0.035)
TEXT = changed("spoilboard = 6.0", 'spoilboard = 6.0\nborer = "mill"', TEXT)
SEEN = changed('drawn_from = "copper"', 'drawn_from = "components"', TEXT)


def printed(space: Modelspace) -> None:
    """A line, one over two holes, one beyond the edge, and a text."""
    whole(space)
    space.add_line((3, 3), (27, 3), dxfattribs=LOOK)
    space.add_line((5, 6), (25, 6), dxfattribs=LOOK)
    space.add_line((20, 10), (35, 10), dxfattribs=LOOK)
    space.add_text("R1 é", height=2, dxfattribs=LOOK).set_placement((12, 8))


CLAMPS = "".join(
    f"[[setup.clamp]]\nbox = {box}\nheight = 4.0\n"
    for box in ([0, 15, 8, 35], [52, 15, 60, 35], [20, 0, 40, 8], [20, 42, 40, 50])
)
"""On the middle of each side of the blank."""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a set of one board seen from its components, and of its legend."""
    folder = tmp_path_factory.mktemp("legend")
    job = put(folder, SEEN, printed)
    done = run("prepare", job, "--out", folder / "set")
    assert done.exit_code == 0, done.output
    assert "Engrave it before pass 1" in done.output
    assert "drawing-left-out" not in done.output
    done = run("legend", folder / "set")
    assert done.exit_code == 0, done.output
    (folder / "said.txt").write_text(done.output, "utf-8")
    return folder


def trace_of(made: Path, file: str) -> Trace:
    text = (made / "set-legend" / file).read_text("ascii")
    return reader.read(text, file=file, dialect=Dialect())


def engraved(made: Path) -> BaseGeometry:
    steps = segments(trace_of(made, "3-legend/02-engrave-vee.ngc"))
    flat = steps[(steps[:, 2] < -0.1) & (steps[:, 5] < -0.1)]
    lines = shapely.linestrings(flat[:, [0, 1, 3, 4]].reshape(-1, 2, 2))
    return shapely.union_all(lines)


def test_picture_and_page_of_the_other_side_show_the_legend(made: Path) -> None:
    picture = (made / "set/previews/blank-1-components.svg").read_text("utf-8")
    assert "legend as drawn, engraved before pass 1" in picture
    assert "legend as drawn" not in (made / "set/previews/blank-1-copper.svg").read_text("utf-8")
    assert '"legend":{"rings":' in (made / "set/sheet.html").read_text("utf-8")


def test_a_board_seen_from_its_components_is_engraved_as_it_is_drawn(made: Path) -> None:
    """The blank is 60 x 50 and lies at the origin; the board of 30 x 20 is in its middle."""
    cut = engraved(made)
    line = shapely.LineString([(18, 18), (42, 18)])
    assert line.difference(cut.buffer(0.001)).length == pytest.approx(0, abs=1e-3)
    # 2 mm high from its base line on, an R as wide as 2/3 of that, the lower half of its stem left
    stem = shapely.LineString([(27, 23), (27, 25)])
    assert stem.difference(cut.buffer(0.001)).length == pytest.approx(0, abs=1e-3)
    assert cut.bounds[3] == pytest.approx(25)


def test_lines_end_at_holes_and_edges_and_the_note_says_how_much(made: Path) -> None:
    cut = engraved(made)
    half = workshop.vee().width(0.15) / 2
    for x in (23.0, 37.0):
        assert shapely.Point(x, 21).distance(cut) == pytest.approx(0.5 + 0.3 + half, abs=0.01)
    assert 45 - shapely.intersection(cut, shapely.box(40, 24.9, 60, 25.1)).bounds[2] == (
        pytest.approx(0.3 + half, abs=0.01)
    )
    said = (made / "said.txt").read_text("utf-8")
    assert "mm of the legend are not engraved" in said


def test_heads_and_steps_say_how_the_blank_lies_and_where_zero_is(made: Path) -> None:
    head = (made / "set-legend" / "3-legend" / "02-engrave-vee.ngc").read_text("ascii")
    assert "(blank 1, turned over, component side up, engrave)" in head
    assert "on the laminate, component side up" in head
    assert "turn the blank over about the line through its pins, which runs along X" in head
    steps = (made / "set-legend" / "steps.txt").read_text("utf-8")
    said = (made / "said.txt").read_text("utf-8")
    for line in steps.splitlines()[2:]:
        assert line in said
    assert "4. Set Z zero anew, on the laminate: there is no copper on this side." in steps
    assert (made / "set-legend" / "legend.png").stat().st_size > 1000


def test_both_pins_lie_on_the_line_and_not_as_far_from_both_ends(made: Path) -> None:
    steps = segments(trace_of(made, "1-pin-holes/02-register-2.0.ngc"))
    places = np.unique(np.round(steps[steps[:, 5] < -1.7][:, 3:5]), axis=0)
    assert np.abs(places[:, 1] - 25).max() <= 1
    assert places[:, 0].min() + places[:, 0].max() != 60


def test_the_set_stays_and_a_folder_that_exists_is_refused(made: Path) -> None:
    assert run("verify", made / "set").exit_code == 0
    again = run("legend", made / "set")
    assert again.exit_code == 2
    assert "Delete it, or name another folder" in again.output


def test_the_same_as_json(made: Path, tmp_path: Path) -> None:
    done = run("legend", made / "set", "--out", tmp_path / "new", "--json")
    row = json.loads(done.stdout)
    assert len(row["programs"]) == 5
    assert row["not_engraved_mm"] > 5
    assert run("legend", made / "set", "--blank", "2", "--out", tmp_path / "x").exit_code == 2


def other(old: str, new: str) -> Callable[[], str]:
    return lambda: changed(old, new, TEXT)


@pytest.mark.parametrize(
    ("text", "code", "words"),
    [
        (other(', legend = ["print"]', ""), 1, "No board of the blank has a legend"),
        (
            lambda: changed("[blank]", "clearance = 7.0\n\n[blank]", TEXT) + CLAMPS,
            1,
            "No room for two pins",
        ),
        (
            other("[isolation]", '[registration]\nmethod = "measure"\n[isolation]'),
            1,
            'Set [registration] method = "pins"',
        ),
        (other("[isolation]", "[legend]\ndepth = 0.9\n[isolation]"), 1, "[legend] depth must be"),
        (other('borer = "mill"', ""), 1, "No cutter fits registration holes of 3.02 mm"),
        (other("[isolation]", "[legend]\nclear = 30\n[isolation]"), 2, "clear"),
    ],
)
def test_what_a_legend_needs(
    text: Callable[[], str], code: int, words: str, tmp_path: Path
) -> None:
    prepared = run("prepare", put(tmp_path, text(), printed), "--out", tmp_path / "set")
    if code == 2:
        assert prepared.exit_code == 2
        assert words in prepared.output
        return
    assert prepared.exit_code == 0, prepared.output
    done = run("legend", tmp_path / "set")
    assert done.exit_code == code, done.output
    assert words in done.output
    assert (tmp_path / "set-legend").exists() == (code == 0)


def test_a_board_seen_from_its_copper_is_engraved_turned_over_and_its_text_can_be_read(
    tmp_path: Path,
) -> None:
    assert run("prepare", put(tmp_path, TEXT, printed), "--out", tmp_path / "set").exit_code == 0
    done = run("legend", tmp_path / "set")
    assert "1 of 1 texts of the legend, 'R1 é' first, would read backwards" in done.output
    cut = engraved(tmp_path).buffer(0.001)
    line = shapely.LineString([(18, 32), (42, 32)])
    assert line.difference(cut).length == pytest.approx(0, abs=1e-3)
    # R1 E is 11/3 of its height wide; its R begins at the right end, upside down
    x = 27 + 2 * 11 / 3
    stem = shapely.LineString([(x, 25.01), (x, 26.99)])
    assert stem.difference(cut).length == pytest.approx(0, abs=1e-3)


@pytest.mark.parametrize(
    ("good", "ends"),
    [
        (np.arange(4, 57), (4.0, 53.0)),  # 3 mm off, as far apart as that leaves
        (np.array([4.0, 5.0, 55.0, 56.0]), (4.0, 56.0)),  # no two of them are
    ],
)
def test_pins_are_far_apart_and_off_the_middle(
    good: NDArray[np.float64], ends: tuple[float, float]
) -> None:
    assert _ends(good, 60.0) == ends


def test_a_clamp_that_the_board_comes_under_once_it_is_turned_over_is_reported(
    tmp_path: Path,
) -> None:
    """Copper side up the board ends at Y 32, below the clamp; turned over it is in the clamp."""
    text = changed("size = [60.0, 50.0]", "size = [60.0, 60.0]", TEXT)
    clamp = "[[setup.clamp]]\nbox = [25.0, 40.0, 35.0, 60.0]\nheight = 4.0\n"
    text = changed("[blank]", f"clearance = 7.0\n\n{clamp}\n[blank]", text)
    place = "[[board.place]]\nat = [15.0, 12.0]\n"
    text = changed("[cutters.vee]", f"{place}\n[cutters.vee]", text)
    assert run("prepare", put(tmp_path, text, printed), "--out", tmp_path / "set").exit_code == 0
    done = run("legend", tmp_path / "set")
    assert done.exit_code == 1
    assert "stop: the clamp at X25 to 35, Y40 to 60 is in the way of a cut" in done.stderr
    assert "[clamp-hit] (blank 1, pass 1, 3-legend/02-engrave-vee.ngc line" in done.stderr
    assert not (tmp_path / "set-legend").exists()


def printed_on(legend: Legend | None) -> Placement:
    """A board of 30 x 20 at the blank's corner."""
    lies = workshop.placed(shapely.box(0, 0, 30, 20))
    return replace(lies, board=replace(lies.board, legend=legend))


def test_an_offcut_is_not_turned_over(made: Path) -> None:
    source, plan = report_file.read(made / "set"), job.load(made / "job.toml")
    boards = [printed_on(Legend((), ()))]
    corners = [(0, 0), (60, 0), (60, 30), (30, 30), (30, 50), (0, 50)]
    assert _only_pass(source, plan, BLANK, boards).number == 1
    offcut = replace(BLANK, outline=shapely.Polygon(corners))
    with pytest.raises(Refusal) as refused:
        _only_pass(source, plan, offcut, boards)
    assert [finding.code for finding in refused.value.findings] == ["legend-on-offcut"]


def test_boards_without_a_legend_and_letters_without_strokes_are_left_out(made: Path) -> None:
    plan = job.load(made / "job.toml").legend
    line = Line.lines([(5.0, 10.0), (25.0, 10.0)])
    at = Affine(c=5.0, f=4.0)
    text = Lettering("R1 \N{SNOWMAN}", (5.0, 4.0), mirrored=True, letters=at)
    bare = printed_on(None)
    lines = lines_of([printed_on(Legend((line,), (text,))), bare], plan, BLANK)
    assert [finding.code for finding in lines.findings] == ["legend-letters-left-out"]
    assert lines.findings[0].message == (
        "Text 'R1 \N{SNOWMAN}' is engraved without '\N{SNOWMAN}': there are no strokes for it."
    )
    assert lines_of([bare], plan, BLANK).kept == ()


def test_a_long_board_is_refused(memory_board: Path, tmp_path: Path) -> None:
    done = run("legend", memory_board, "--out", tmp_path / "new")
    assert done.exit_code == 1
    assert "passes, and a legend can be engraved on blanks of one pass only" in done.output
    assert "No board of the blank has a legend" in done.output
    assert not (tmp_path / "new").exists()


def test_the_proof_passes_what_was_written_and_sees_every_seeded_fault(made: Path) -> None:
    trace = trace_of(made, "3-legend/02-engrave-vee.ngc")
    cut = engraved(made)
    board = shapely.box(15, 15, 45, 35)
    holes = shapely.union_all([shapely.Point(x, 21).buffer(0.5) for x in (23, 37)])
    over = Pose.mirror_y(50.0)  # the program is in the frame of the machine, turned over
    good = LegendRequired(
        over.shape(cut), over.shape(holes), over.shape(board), 0.3, 0.15, workshop.vee()
    )

    def found(required: LegendRequired, pose: Pose = over, laminate: Blank = BLANK) -> set[str]:
        return {f.code for f in check_legend(trace, required, pose, laminate, "x.ngc")}

    assert found(good) == set()
    assert found(replace(good, depth=0.16)) == {"legend-depth"}
    assert found(good, laminate=replace(BLANK, thickness=0.18)) == {"legend-depth"}
    assert {"legend-stray", "legend-missing"} <= found(good, over.then(Pose.shift(0.05, 0.05)))
    more = shapely.union_all([good.lines, shapely.LineString([(20, 30), (30, 30)])])
    assert found(replace(good, lines=more)) == {"legend-missing"}
    bored = shapely.union_all([good.holes, over.shape(shapely.Point(30, 18).buffer(0.5))])
    assert found(replace(good, holes=bored)) == {"legend-near-hole"}
    assert found(replace(good, boards=over.shape(shapely.box(15, 15, 44, 35)))) == {
        "legend-beyond-edge"
    }


def test_pin_holes_that_are_not_as_they_must_be_are_seen(made: Path) -> None:
    trace = trace_of(made, "2-spoilboard/blank-1-01-bore-2.0.ngc")
    steps = (made / "set-legend" / "steps.txt").read_text("utf-8")
    holes = re.findall(r"X([\d.]+) Y(\d+)", steps.partition("two holes at")[2])
    places = [(float(x), float(y)) for x, y in holes[:2]]
    assert {y for _, y in places} == {25.0}

    def good(at: list[tuple[float, float]], diameter: float = 2.98, depth: float = 4.5) -> bool:
        return not list(
            check_bores(trace, at, diameter, (depth, depth), workshop.mill(2.0), "x.ngc")
        )

    assert good(places)
    assert not good([*places, (30.0, 25.0)])
    assert not good(places[:1])
    assert not good(places, diameter=3.02)
    assert not good(places, depth=4.4)
    assert not good([places[0], (places[1][0], 25.1)])
