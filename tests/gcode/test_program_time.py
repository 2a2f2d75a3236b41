"""Lengths and times of programs whose figures are known by heart."""

from __future__ import annotations

import math

import pytest

from millprep.gcode.head import HOVER, LOOK_FEED, SLOW_FEED, SLOW_FROM
from millprep.gcode.run_time import figures_of
from millprep.model.program import Figures, Move, Program, SecondTouch
from tests.helpers.workshop import MACHINE, vee


def figures(*moves: Move) -> Figures:
    program = Program(
        "blank-1/pass-1/01-x.ngc", 1, 1, vee(), ("isolate",), 0.1, 1e4, (0, 0, 5), moves
    )
    return figures_of(program, MACHINE)


def test_lines() -> None:
    got = figures(
        Move("rapid", 30, 40, 5), Move("feed", 30, 40, 0, feed=60), Move("feed", 33, 44, 0, feed=60)
    )
    top = MACHINE.above
    # from where it starts up, down for a look and back at first; up again at the end
    slow = SLOW_FROM - HOVER
    rapid, down = top - HOVER + 50 + top, top - SLOW_FROM
    assert got.travel_length == pytest.approx(rapid + down + slow)
    assert got.cut_length == pytest.approx(10)
    minutes = rapid / MACHINE.rapid + down / LOOK_FEED + slow / SLOW_FEED
    assert got.by_feeds_seconds == pytest.approx(MACHINE.dwell + minutes * 60 + 10)


@pytest.mark.parametrize(
    ("motion", "end", "sweep"),
    [
        ("arc_ccw", (0, 2), math.pi / 2),
        ("arc_cw", (0, 2), 3 * math.pi / 2),
        ("arc_ccw", (2, 0), 2 * math.pi),
    ],
)
def test_arcs(motion: str, end: tuple[float, float], sweep: float) -> None:
    got = figures(
        Move("rapid", 2, 0, 5),
        Move(motion, *end, 5, -2, 0, 60),  # type: ignore[arg-type]
    )
    assert got.cut_length == pytest.approx(2 * sweep)


def test_a_helix_is_longer_than_its_circle() -> None:
    got = figures(Move("rapid", 2, 0, 5), Move("arc_ccw", 2, 0, 2, -2, 0, 60))
    assert got.cut_length == pytest.approx(math.hypot(4 * math.pi, 3))


def test_a_second_touch_is_timed_by_its_feeds() -> None:
    touch = Move("probe", 0, 0, -1, feed=60)
    once, twice = figures(touch), figures(touch._replace(again=SecondTouch(0.5, 30.0)))
    more = (0.5 / MACHINE.rapid + 0.5 / 30) * 60
    assert twice.by_feeds_seconds - once.by_feeds_seconds == pytest.approx(more)
