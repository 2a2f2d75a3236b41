"""Ticks: as long as is missing, as long as there is room, on both sides, and away from copper."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from millprep.geometry.path import Path
from millprep.model.cut import Cut, Lap
from millprep.model.milling_pass import Join
from millprep.passes.spurs import ENOUGH, STEP, IsolationGroove, TickRoom, add, wanted

GROOVE = IsolationGroove(surface=0.14, foot=0.12, pitch=0.1, laps=2)
"""Laps 0.07 and 0.17 beside the copper; W = 0.22."""
TRACK = shapely.box(-20.0, -1.0, 20.0, 0.0)
E_ = 0.4
EDGE = shapely.box(-30.0, -30.0, 30.0, 30.0)
WINDOWS = (shapely.box(-30.0, -30.0, 5.0, 30.0), shapely.box(-5.0, -30.0, 30.0, 30.0))
JOIN = Join(1, 0, "c1", (0.0, 0.07), (1, 2), E_, (0.0, 1.0), 0.15, predicted_rms=0.05)
"""Asks for 0.45 in total: ticks of 0.25."""


def sides(*, climb: bool = True) -> tuple[tuple[Cut, ...], ...]:
    """Both passes' laps above a track, joined at x = 0; pass 1 has the left-hand side."""
    found: list[tuple[Cut, ...]] = []
    for x0, x1 in ((-15.0, E_), (-E_, 15.0)):
        mine = []
        for lap in (0, 1):
            y = 0.07 + 0.1 * lap
            path = Path.lines([(x0, y), (x1, y)] if climb else [(x1, y), (x0, y)])
            mine.append(Lap(path, 0, "c1", lap, "vee", 0.08))
        found.append(tuple(mine))
    return tuple(found)


def room(*foreign: shapely.Polygon, **changes: object) -> TickRoom:
    copper = {(0, "c1"): TRACK, **{(0, f"f{n}"): shape for n, shape in enumerate(foreign)}}
    made = TickRoom(copper, EDGE, WINDOWS, 0.2)
    return replace(made, **changes)  # type: ignore[arg-type]


def made(
    where: TickRoom, cuts: tuple[tuple[Cut, ...], ...] | None = None, join: Join = JOIN
) -> tuple[Join, list[Lap]]:
    joins, by_pass = add([join], cuts or sides(), {(0, "c1"): ("vee", GROOVE)}, where)
    laps = [lap for some in by_pass for lap in some if isinstance(lap, Lap)]
    return joins[0], laps


def test_ticks_are_as_long_as_is_missing() -> None:
    assert ENOUGH == 3.0
    assert wanted(0.22, 0.15) == pytest.approx(0.25)
    assert wanted(0.22, 0.151) == pytest.approx(0.25)
    assert wanted(0.22, 0.16) == pytest.approx(0.3)
    assert wanted(0.45, 0.15) == 0.0
    assert wanted(0.44, 0.15) == pytest.approx(0.1), "no shorter than is worth its time"


@pytest.mark.parametrize("climb", [True, False])
def test_both_outermost_laps_get_one_at_the_join_and_no_other_lap(climb: bool) -> None:
    before = sides(climb=climb)
    join, laps = made(room(), before)
    assert join.tick == pytest.approx(0.25)
    flat = [cut for some in before for cut in some if isinstance(cut, Lap)]
    for old, new in zip(flat, laps, strict=True):
        if old.number == 0:
            assert new.path is old.path
            continue
        assert new.path.length == pytest.approx(old.path.length + 0.25)
        tips = [p for p in (new.path.start, new.path.end) if p[1] > 0.3]
        assert len(tips) == 1
        x, y = tips[0]
        assert (abs(x), y) == pytest.approx((E_, 0.17 + 0.25))
        # it is cut the same way round as before, in one go
        assert math.copysign(1, new.path.xy[-1, 0] - new.path.xy[0, 0]) == (1 if climb else -1)
    first, second = (new for new in laps if new.number == 1)
    assert first.path.xy[:, 0].max() == pytest.approx(E_)
    assert second.path.xy[:, 0].min() == pytest.approx(-E_)


def test_foreign_copper_keeps_its_gap() -> None:
    """From the tip, half a groove and the gap: 0.17 + m + 0.07 + 0.2."""
    for away, tick in ((0.70, 0.25), (0.68, 0.2), (0.55, 0.1), (0.5, 0.0)):
        join, _ = made(room(shapely.box(-9.0, away, 9.0, 3.0)))
        assert join.tick == pytest.approx(tick), away
    join, laps = made(room(shapely.box(0.0, 0.6, 9.0, 3.0)))
    assert join.tick == pytest.approx(0.15), "the narrower of both sides counts"
    lines = shapely.union_all([lap.path.line() for lap in laps])
    assert lines.distance(shapely.box(0.0, 0.6, 9.0, 3.0)) >= 0.07 + 0.2 - 1e-9


def test_own_copper_the_boards_edge_and_the_window_are_respected() -> None:
    bend = shapely.union_all([TRACK, shapely.box(-9.0, 0.45, 9.0, 1.0), shapely.box(9, -1, 10, 1)])
    own = room(copper={(0, "c1"): bend})
    assert made(own)[0].tick == pytest.approx(0.1)
    assert made(room(edge=shapely.box(-30, -30, 30, 0.35)))[0].tick == pytest.approx(0.1)
    narrow = (WINDOWS[0], shapely.box(-5.0, -30.0, 30.0, 0.3))
    assert made(room(windows=narrow))[0].tick == pytest.approx(0.1)


def test_a_lap_that_is_missing_on_one_side_leaves_no_room() -> None:
    first, second = sides()
    join, laps = made(room(), (first, second[:1]))
    assert join.tick == 0.0
    assert [lap.path for lap in laps] == [
        cut.path for cut in (*first, second[0]) if isinstance(cut, Lap)
    ]


def test_a_join_that_stands_enough_gets_none() -> None:
    strong = replace(JOIN, predicted=0.07)
    join, laps = made(room(), join=strong)
    assert join is strong
    assert all(len(lap.path) == 1 for lap in laps)


def test_ends_elsewhere_are_left_alone() -> None:
    far = replace(JOIN, at=(3.0, 0.07))
    join, laps = made(room(), join=far)
    assert join.tick == 0.0
    assert all(len(lap.path) == 1 for lap in laps)


def test_lengths_are_whole_steps() -> None:
    for predicted in np.linspace(0.08, 0.3, 40).tolist():
        length = wanted(0.2, predicted)
        assert length == 0 or length / STEP == pytest.approx(round(length / STEP))
        assert 0.2 + length >= ENOUGH * predicted - 1e-9
