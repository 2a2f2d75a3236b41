"""Holes drilled in another pass than their copper is cut in."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from millprep.geometry.offset import from_line
from millprep.geometry.path import Path, Point
from millprep.model.cut import HoleCut, Lap
from millprep.passes.tolerances import drilled_in_other_pass

PAD = shapely.Point(20.0, 10.0).buffer(1.2, quad_segs=16).exterior


def lap(line: shapely.LineString, piece: str = "c1", number: int = 0) -> Lap:
    path: Path = from_line(line)
    return Lap(path, 0, piece, number, "vee", 0.08)


def hole(x: float, name: str = "h1") -> HoleCut:
    return HoleCut((x, 10.0), 1.0, "drill", 2.0, "drill", 0, name, "c1")


def expected(a: int, b: int, at: Point, across: Point) -> float:
    assert np.hypot(*across) == pytest.approx(1.0)
    return abs(a - b) * 0.1


def test_a_hole_is_reported_when_the_pass_of_its_copper_is_another() -> None:
    whole = lap(shapely.LineString(PAD.coords))
    assert drilled_in_other_pass([[whole], []], [[hole(20.0)], []], expected) == ()
    (one,) = drilled_in_other_pass([[], [], [whole]], [[hole(20.0)], [], []], expected)
    assert (one.placement, one.hole, one.passes) == (0, "h1", (1, 3))
    assert one.most == pytest.approx(0.2)


def test_of_a_joined_lap_only_what_goes_around_the_hole_counts() -> None:
    ways = [shapely.LineString([(0, y), (20, y)]) for y in (9.0, 11.0)]
    on = [shapely.LineString([(20, y), (40, y)]) for y in (9.0, 11.0)]
    laps = [[lap(line) for line in ways], [lap(line) for line in on]]
    assert drilled_in_other_pass(laps, [[hole(5.0)], []], expected) == ()
    # the other pass begins beside it
    (one,) = drilled_in_other_pass(laps, [[hole(19.8)], []], expected)
    assert one.passes == (1, 2)


def test_laps_of_other_pieces_and_outer_laps_do_not_count() -> None:
    line = shapely.LineString(PAD.coords)
    laps = [[lap(line)], [lap(line, "c2"), lap(line, number=1)]]
    assert drilled_in_other_pass(laps, [[hole(20.0)], []], expected) == ()
