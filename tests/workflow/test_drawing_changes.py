"""Two jobs, or a set and a job, compared by their drawings."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path

import ezdxf
import pytest
import shapely
from ezdxf.layouts.layout import Modelspace

from millprep.model.board import Hole
from millprep.workflow.drawing_changes import (
    BoardChange,
    DrawingsCompared,
    _holes,
    compare_drawings,
)
from tests.helpers import small_job
from tests.helpers.small_job import Draw, changed, put, run


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A set of two copies."""
    folder = tmp_path_factory.mktemp("built")
    text = changed("drawn_from", "count = 2\ndrawn_from", changed("60.0, 50.0", "100.0, 50.0"))
    result = run("prepare", put(folder, text), "--out", folder / "set", "--effort", "low")
    assert result.exit_code == 0, result.output
    return folder / "set"


def compared(old: Path, folder: Path, what: Draw, text: str = small_job.JOB) -> DrawingsCompared:
    return compare_drawings(old, put(folder, text, what))


def only(drawings: DrawingsCompared) -> BoardChange:
    (board,) = drawings.boards
    return board


def test_a_set_is_as_its_own_job_has_it(built: Path) -> None:
    drawings = compare_drawings(built, built / "job" / "job.toml")
    assert only(drawings).same
    assert (drawings.keys, drawings.cut_again) == ((), ())
    assert drawings.built == (("lamp", 1), ("lamp", 2))


def test_added_copper_is_measured_and_named_by_what_it_joins(built: Path, tmp_path: Path) -> None:
    def more(space: Modelspace) -> None:
        small_job.whole(space)
        small_job.track(space, [(15.0, 14.0), (15.0, 6.0)], width=0.6)

    drawings = compared(built, tmp_path, more)
    (added,) = only(drawings).added
    # between the pad's edge at y 12.8 and the track's at y 6.5
    assert added.area == pytest.approx(0.6 * 6.3, abs=1e-3)
    assert (added.pieces, added.joins) == (("c1",), ("c1", "c2"))
    assert (only(drawings).removed, only(drawings).holes, only(drawings).edge) == ((), (), None)
    assert drawings.cut_again == (("lamp", 1), ("lamp", 2))
    # and the other way round it is removed; the copies are still those of the set
    back = compare_drawings(tmp_path / "job.toml", built)
    (removed,) = only(back).removed
    assert removed.area == added.area
    assert removed.joins == ("c1", "c2")
    assert back.cut_again == drawings.cut_again


def test_holes_are_moved_resized_added_and_removed(built: Path, tmp_path: Path) -> None:
    def other(space: Modelspace) -> None:
        small_job.edge(space)
        small_job.pad(space, 8.0, 6.0, hole=0.8)
        small_job.pad(space, 22.0, 6.0)
        small_job.track(space, [(8.0, 6.0), (22.0, 6.0)], width=1.0)
        small_job.track(space, [(13.8, 14.0), (16.2, 14.0)], width=2.4)
        for x, y, hole in ((15.5, 14.0, 1.0), (26.0, 16.0, 1.0)):
            space.add_circle((x, y), hole / 2, dxfattribs={"layer": "wells"})

    board = only(compared(built, tmp_path, other))
    assert [(change.what, change.at) for change in board.holes] == [
        ("resized", (8.0, 6.0)),
        ("moved", (15.5, 14.0)),
        ("added", (26.0, 16.0)),
    ]
    assert (board.added, board.removed) == ((), ())


def test_a_hole_far_from_where_one_was_is_another(built: Path, tmp_path: Path) -> None:
    def other(space: Modelspace) -> None:
        small_job.whole(space)
        for circle in space.query("CIRCLE"):
            if circle.dxf.center.x == 8.0:
                circle.dxf.center = (8.0, 16.0)

    board = only(compared(built, tmp_path, other))
    assert [(change.what, change.at) for change in board.holes] == [
        ("removed", (8.0, 6.0)),
        ("added", (8.0, 16.0)),
    ]


def test_of_two_holes_near_a_new_one_the_nearest_was_moved_there() -> None:
    """The other is removed: no hole comes from two."""
    before = [Hole("h1", (10.0, 5.0), 1.0), Hole("h2", (10.6, 5.0), 1.0)]
    after = [Hole("h1", (10.7, 5.0), 1.0)]
    changes = [(c.what, c.before, c.after) for c in _holes(before, after)]
    assert changes == [("removed", before[0], None), ("moved", before[1], after[0])]


def test_another_edge_is_measured(built: Path, tmp_path: Path) -> None:
    def longer(space: Modelspace) -> None:
        ends = ((0.0, 0.0), (33.0, 0.0), (33.0, 20.0), (0.0, 20.0), (0.0, 0.0))
        for start, end in pairwise(ends):
            space.add_line(start, end, dxfattribs={"layer": "shore"})
        small_job.copper(space)

    edge = only(compared(built, tmp_path, longer)).edge
    assert edge is not None
    assert (edge.before, edge.after) == ((30.0, 20.0), (33.0, 20.0))
    assert edge.added == pytest.approx(60.0)
    assert edge.removed == 0.0


def test_a_drawing_moved_as_a_whole_is_the_same_board(built: Path, tmp_path: Path) -> None:
    job = put(tmp_path)
    doc = ezdxf.readfile(tmp_path / "lamp.dxf")  # type: ignore[attr-defined]
    for entity in doc.modelspace():
        entity.translate(5.0, -3.0, 0.0)
    doc.saveas(tmp_path / "lamp.dxf")
    drawings = compare_drawings(built, job)
    assert only(drawings).same
    assert only(drawings).shift == (5.0, -3.0)
    assert drawings.cut_again == ()
    # nothing is offered to be drawn
    lines = run("compare", built, job).stdout.splitlines()
    assert lines[0] == "lamp: the same, 5.000, -3.000 mm from where it was drawn before"
    assert not [line for line in lines if "picture" in line]


def test_slivers_along_edges_in_common_are_no_change(built: Path, tmp_path: Path) -> None:
    def drawn_finer(space: Modelspace) -> None:
        small_job.whole(space)
        small_job.track(space, [(8.0, 6.0), (22.0, 6.0)], width=1.004)

    assert only(compared(built, tmp_path, drawn_finer)).same


def test_keys_that_differ_are_listed_by_their_tables(built: Path, tmp_path: Path) -> None:
    text = changed("gap = 0.3", "gap = 0.4").replace('"drill-1.0"', '"drill-1.0"\nspindle = 11000')
    drawings = compared(built, tmp_path, small_job.whole, text)
    listed = {key.key: (key.before, key.after) for key in drawings.keys}
    assert listed == {
        "isolation.gap": ("0.3", "0.4"),
        "cutters.drill.spindle": ("12000", "11000"),
        "blank.1.size": ("[100, 50]", "[60, 50]"),
        "board.lamp.count": ("2", "1"),
    }
    assert drawings.cut_again == ()


def test_a_board_of_one_job_alone_is_named(built: Path, tmp_path: Path) -> None:
    job = put(tmp_path, changed('name = "lamp"', 'name = "lantern"'))
    drawings = compare_drawings(built, job)
    assert [(b.board, b.before is None, b.after is None) for b in drawings.boards] == [
        ("lamp", False, True),
        ("lantern", True, False),
    ]
    result = run("compare", built, job)
    assert f"lantern: only in {job}" in result.stdout
    assert "no board needs to be cut again" in result.stdout


def test_the_command_lists_changes_by_number_and_draws_them(built: Path, tmp_path: Path) -> None:
    def more(space: Modelspace) -> None:
        small_job.whole(space)
        small_job.pad(space, 25.0, 15.0)

    job = put(tmp_path, small_job.JOB, more)
    result = run("compare", built, job, "--pictures", tmp_path / "pictures")
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert lines[0] == "lamp: changed"
    assert [line.split("  ")[1:3] for line in lines[1:3]] == [
        ["1", "copper added"],
        ["2", "hole added"],
    ]
    assert "cut again: lamp copies 1, 2" in lines
    name = "board-01-lamp-changes"
    assert f"picture: {tmp_path / 'pictures' / name}.png" in lines
    svg = (tmp_path / "pictures" / f"{name}.svg").read_text("utf-8")
    assert "1 × copper added, 1 × hole added" in svg
    assert (tmp_path / "pictures" / f"{name}.png").stat().st_size > 1000
    row = json.loads(run("compare", built, job, "--json").stdout)
    (board,) = row["boards"]
    (added,) = board["copper_added"]
    # round ends of 2.4 mm, 2.4 mm apart
    assert added["area"] == pytest.approx(
        shapely.Point(0, 0).buffer(1.2).area + 2.4 * 2.4, rel=0.01
    )
    assert board["holes"][0]["after"] == {
        "at": [25.0, 15.0], "end": None, "diameter": 1.0, "piece": added["pieces"][0],
    }  # fmt: skip
    assert row["cut_again"] == [{"board": "lamp", "copy": 1}, {"board": "lamp", "copy": 2}]


def test_pictures_of_two_sets_are_a_slip_of_usage(built: Path, tmp_path: Path) -> None:
    result = run("compare", built, built, "--pictures", tmp_path)
    assert result.exit_code == 2
    assert "name a job for --pictures" in result.stderr
