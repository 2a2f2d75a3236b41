"""Boards one kerf apart, on disk: each is freed but for its tabs, common cuts are made once."""

from __future__ import annotations

from pathlib import Path

import pytest
import shapely

from millprep.geometry.path import Path as Lines
from millprep.model.cut import Profile
from millprep.model.set_of_programs import CutSet
from millprep.passes import profiles_by_pass
from millprep.workflow.laying import Choice
from millprep.workflow.prepare import prepare
from tests.helpers import small_job
from tests.helpers.laminate import left, ways

RADIUS = 1.0
GRID = (140.0, 110.0)
REGISTRATION = '\n[registration]\ncutters = ["mill"]\n'


def made(
    folder: Path,
    key: str,
    choice: Choice | None = None,
    *,
    count: int = 9,
    size: tuple[float, float] = GRID,
    more: str = "",
) -> CutSet:
    text = small_job.changed("60.0, 50.0", f"{size[0]}, {size[1]}")
    text = small_job.changed("drawn_from", f"count = {count}\ndrawn_from", text)
    text = small_job.changed("margin = 10.0", f"margin = 12.0\n{key}", text)
    folder.mkdir()
    job = small_job.put(folder, text + more)
    return prepare(job, folder / "out", choice=choice or Choice("low"))


def pieces(cut_set: CutSet, out: Path, size: tuple[float, float] = GRID) -> tuple[int, int]:
    """Pieces of laminate that hang together above the tabs, and where the tabs are."""
    tab = cut_set.blanks[0].cuts.profiles[0].tab_depth
    whole = shapely.box(0.0, 0.0, *size)
    above, below = (left(out, "mill", z, whole, RADIUS) for z in (-tab + 0.02, -tab - 0.02))
    return len(above), len(below)


def lengths(cut_set: CutSet, out: Path) -> tuple[float, float]:
    """Of all ways at full depth, and of those that are not run over twice."""
    found = ways(out, "mill", -cut_set.blanks[0].cuts.profiles[0].depth + 0.005)
    # what lies beside each other by rounding is one way
    rounded = [shapely.set_precision(way, 0.001) for way in found]
    return sum(way.length for way in found), shapely.union_all(rounded).length


@pytest.mark.parametrize(
    ("choice", "boards"),
    [
        (Choice("low"), 9),
        (Choice("low", skip=(("lamp", 5),)), 8),
        (Choice("low", skip=(("lamp", 1), ("lamp", 9))), 7),
    ],
    ids=["all", "the middle one skipped", "the ends skipped"],
)
def test_every_board_is_freed_and_held_by_its_tabs(
    choice: Choice, boards: int, tmp_path: Path
) -> None:
    """Nine boards lie so that one has no frame beside it; its tabs lead to boards that hold."""
    cut_set = made(tmp_path / "shared", "shared_kerf = true", choice)
    assert "no-place-for-tabs" not in {f.code for f in cut_set.findings}
    # all boards and the frame apart above the tabs, and all together where the tabs are
    out = tmp_path / "shared" / "out"
    assert pieces(cut_set, out) == (boards + 1, 1)
    # by another cutter, or deeper than any, nothing is freed
    whole = shapely.box(0.0, 0.0, *GRID)
    assert len(left(out, "vee", -0.2, whole, RADIUS)) == 1
    assert len(left(out, "mill", -5.0, whole, RADIUS)) == 1


def test_the_common_cut_is_made_once(tmp_path: Path) -> None:
    shared = made(tmp_path / "shared", "shared_kerf = true")
    own = made(tmp_path / "own", "")
    once, twice = tmp_path / "shared" / "out", tmp_path / "own" / "out"
    assert pieces(own, twice) == (10, 1)
    assert lengths(shared, once)[0] < 0.8 * lengths(own, twice)[0]
    areas = [p.pose.shape(p.board.outline) for p in shared.layout.placements]
    streets = [
        near.area
        for n, a in enumerate(areas)
        for b in areas[:n]
        if (near := a.buffer(2.1, cap_style="flat", join_style="mitre").intersection(b)).area > 1
    ]
    assert len(streets) >= 10
    # no more is run over again than the short ends that run on into a neighbour's cut
    length, distinct = lengths(shared, once)
    assert length - distinct <= 2 * 3.0 * len(streets) + 1.0


def test_boards_one_kerf_apart_on_a_blank_that_is_moved(tmp_path: Path) -> None:
    size = (420.0, 80.0)
    cut_set = made(tmp_path / "moved", "shared_kerf = true", count=22, size=size, more=REGISTRATION)
    assert len(cut_set.passes) == 2
    tops, below = pieces(cut_set, tmp_path / "moved" / "out", size)
    assert (tops, below) == (23, 1)


def test_neighbours_cut_nothing_of_a_window_within_a_board() -> None:
    square = [(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0), (0.0, 0.0)]
    window = Profile(Lines.lines(square), "mill", 1.8, 1.1, (), 0, inner=True)
    assert profiles_by_pass._left(window, {0: (((0.0, 0.0), (10.0, 0.0)),)}) == (window,)
