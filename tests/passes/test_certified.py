"""What joins are said to stand, against the certificate that the proof makes of real grooves.

The certificate looks at exact polygons of what both passes cut, in every direction of mismatch,
and knows nothing of laps, ticks or formulas.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
import shapely

from fixtures.valve_boards import valve_board
from millprep.model.cut import Lap
from millprep.model.milling_pass import Join
from millprep.passes import tolerances
from tests.helpers.cut_valve_boards import Cut, cut
from tests.helpers.join_tolerance import certify

CLOSE = 0.005
MOST_JOINS = 4


@lru_cache
def board(gap: float, sigma: float) -> Cut:
    return cut(valve_board(11), 300.0, gap, sigma)


def grooves(one: Cut, join: Join) -> dict[int, shapely.MultiPolygon]:
    """What every pass cuts around a join at the foot of the copper, from the paths alone."""
    near = shapely.Point(join.at).buffer(6.0)
    found = {}
    for number in join.passes:
        lines = [
            lap.path.line(0.0005) for lap in one.strong.by_pass[number - 1] if isinstance(lap, Lap)
        ]
        close = np.array([line.intersection(near) for line in lines if line.intersects(near)])
        swept = shapely.buffer(close, one.groove.foot / 2, quad_segs=48)
        found[number] = shapely.MultiPolygon(
            [p for p in shapely.get_parts(shapely.union_all(swept)) if not p.is_empty]
        )
    return found


def certified(one: Cut, join: Join, gap: float | None = None) -> tuple[float, float | None]:
    (made,) = certify([join], grooves(one, join), one.room.copper, gap=gap)
    return made.electrical, made.gap


def in_the_open(one: Cut) -> list[Join]:
    """Joins with no foreign copper within the certificate's window, so that nothing else helps."""
    found = []
    for join in one.strong.joins:
        spot = shapely.Point(join.at)
        away = [
            shape.distance(spot)
            for key, shape in one.room.copper.items()
            if key != (join.placement, join.piece)
        ]
        if min(away) > 1.2:
            found.append(join)
    return found


@pytest.mark.parametrize(
    ("gap", "sigma", "ticked"), [(0.3, 0.03, False), (0.16, 0.03, True), (0.2, 0.04, True)]
)
def test_what_a_join_stands_is_what_the_certificate_finds(
    gap: float, sigma: float, ticked: bool
) -> None:
    one = board(gap, sigma)
    chosen = in_the_open(one)[:: max(1, len(in_the_open(one)) // MOST_JOINS)][:MOST_JOINS]
    assert len(chosen) == MOST_JOINS
    for join in chosen:
        assert (join.tick > 0) == ticked
        found, _ = certified(one, join)
        assert join.tolerance_electrical == pytest.approx(found, abs=CLOSE)


def test_the_gap_a_join_keeps_is_what_the_certificate_finds() -> None:
    """Of a gap a little less than the band, up to the closed form's mismatch."""
    one = board(0.3, 0.03)
    for join in in_the_open(one)[:2]:
        required = 0.25
        g = one.groove
        said = tolerances.tolerance_gap(g.foot, g.laps, g.pitch, required, join.overrun)
        _, found = certified(one, join, required)
        assert found == pytest.approx(said, abs=CLOSE)


def test_a_tick_that_was_not_cut_is_missed() -> None:
    one = board(0.16, 0.03)
    join = in_the_open(one)[0]
    bare = replace(one, strong=replace(one.strong, by_pass=one.shared.by_pass))
    found, _ = certified(bare, join)
    assert found == pytest.approx(one.groove.width, abs=CLOSE)
    assert join.tolerance_electrical is not None
    assert join.tolerance_electrical > found + 0.09
