"""Running time against closed forms, and against the same motion in small steps of time."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from millprep import job
from millprep.gcode.run_time import Motions, figures_of, run_seconds
from millprep.model.machine_time import ACCELERATION
from millprep.model.program import Move, Program, SecondTouch, clockwise_of, ends_of
from tests.helpers.stepped_motion import stepped_seconds
from tests.helpers.workshop import MACHINE, mill

A = 150.0
EXAMPLES = Path(__file__).parents[2] / "examples" / "lighthouse"
START = (0.0, 0.0, 0.0)
APPROACH = 0.9
"""Between the approach height of the examples and the look at Z zero, mm."""


def line(x: float, y: float, feed: float | None = 600.0, wait: float = 0.0) -> Move:
    return Move("rapid" if feed is None else "feed", x, y, 0.0, feed=feed, wait=wait)


def seconds(moves: list[Move], tolerance: float = 0.0) -> float:
    path: dict[str, Any] = {"path_mode": "blending", "path_tolerance": tolerance}
    machine = replace(MACHINE, acceleration=A, **(path if tolerance else {}))
    return run_seconds(START, moves, machine)


@pytest.mark.parametrize("length", [0.01, 0.3, 2 / 3, 5.0, 100.0])
@pytest.mark.parametrize("feed", [100.0, 600.0, None])
def test_one_motion_from_rest_to_rest(length: float, feed: float | None) -> None:
    """t = L/v + v/a where L ≥ v²/a, else 2·√(L/a): trapezoid and triangle, closed forms."""
    speed = (1500.0 if feed is None else feed) / 60
    expected = length / speed + speed / A
    if length < speed**2 / A:
        expected = 2 * math.sqrt(length / A)
    assert seconds([line(length, 0, feed)]) == pytest.approx(expected, rel=1e-3)


def test_straight_on_needs_no_stop_and_a_wait_does() -> None:
    whole = seconds([line(10, 0)])
    assert seconds([line(4, 0), line(10, 0)]) == pytest.approx(whole)
    halves = seconds([line(4, 0, wait=2.0), line(10, 0)])
    assert halves == pytest.approx(seconds([line(4, 0)]) + seconds([line(6, 0)]) + 2)


@pytest.mark.parametrize("turn", [30.0, 90.0, 150.0])
@pytest.mark.parametrize("tolerance", [0.0, 0.01, 0.05])
def test_a_corner_is_taken_at_the_speed_of_its_junction_deviation(
    turn: float, tolerance: float
) -> None:
    """v² = a·δ·sin(θ/2)/(1 − sin(θ/2)), θ between the two motions: 180° less the turn."""
    half = math.radians(180 - turn) / 2
    corner = math.sqrt(A * tolerance * math.sin(half) / (1 - math.sin(half)))
    speed, length = 10.0, 20.0
    corner = min(corner, speed)
    leg = (
        speed / A
        + (speed - corner) / A
        + (length - speed**2 / (2 * A) - (speed**2 - corner**2) / (2 * A)) / speed
    )
    way = math.radians(turn)
    far = line(length + length * math.cos(way), length * math.sin(way))
    assert seconds([line(length, 0), far], tolerance) == pytest.approx(2 * leg, rel=1e-3)


def test_an_arc_is_no_faster_than_its_radius_allows() -> None:
    """v² = a·r on a full circle, entered and left at rest."""
    radius = 0.3
    circle = Move("arc_ccw", 0.0, 0.0, 0.0, radius, 0.0, 6000.0)
    speed = math.sqrt(A * radius)
    expected = 2 * math.pi * radius / speed + speed / A
    assert seconds([circle]) == pytest.approx(expected, rel=1e-3)


def stepped(moves: list[Move], tolerance: float) -> float:
    """The same motion in steps of time: as fast as can still be braked before each limit."""
    ends = [(0.0, 0.0), *((m.x, m.y) for m in moves)]
    lengths = [math.dist(a, b) for a, b in pairwise(ends)]
    stops = np.cumsum(lengths)
    limits = [(float(stops[-1]), 0.0)]
    for k, (a, b, c) in enumerate(zip(ends, ends[1:], ends[2:], strict=False)):
        u = np.subtract(b, a) / lengths[k]
        v = np.subtract(c, b) / lengths[k + 1]
        half = math.sqrt((1 + float(np.clip(u @ v, -1, 1))) / 2)
        corner = 1e9 if half > 1 - 1e-6 else math.sqrt(A * tolerance * half / (1 - half))
        limits.append((float(stops[k]), corner))
    limits.sort()
    feeds = [(m.feed or 1500.0) / 60 for m in moves]
    # a slower motion ahead is a limit where it begins
    limits += [(float(stops[k]), feeds[k + 1]) for k in range(len(feeds) - 1)]
    limits.sort()
    at, speed, time, step = 0.0, 0.0, 0.0, 2e-4
    places = np.array([p for p, _ in limits])
    squares = np.array([v * v for _, v in limits])
    k = 0
    while at < stops[-1] - 1e-6:
        while at > stops[k] and k + 1 < len(stops):
            k += 1
        ahead = places >= at
        most = math.sqrt(float((squares[ahead] + 2 * A * (places[ahead] - at)).min()))
        speed = max(min(speed + A * step, feeds[k], most), 1e-3)
        at += speed * step
        time += step
    return time


def test_a_path_in_small_steps_of_time_takes_as_long() -> None:
    rng = np.random.default_rng(3)
    places = np.cumsum(rng.normal(0, 1.5, (60, 2)), axis=0)
    moves = [line(float(x), float(y), float(rng.choice([200.0, 600.0, 1200.0]))) for x, y in places]
    for tolerance in (0.0, 0.02):
        assert seconds(moves, tolerance) == pytest.approx(stepped(moves, tolerance), rel=0.01)


def test_the_least_time_is_what_is_cut_and_the_tree_between() -> None:
    """Two cuts of 30 mm, 40 mm from each other, 1 mm deep."""
    deep = [
        Move("rapid", 0, 0, 5), Move("feed", 0, 0, -1, feed=60), Move("feed", 30, 0, -1, feed=600),
        Move("rapid", 30, 0, 5), Move("rapid", 30, 40, 5), Move("feed", 30, 40, -1, feed=60),
        Move("feed", 0, 40, -1, feed=600), Move("rapid", 0, 40, 5),
    ]  # fmt: skip
    program = Program(
        file="a.ngc", blank=1, mill_pass=1, cutter=mill(1.0), works=("isolate",), depth=1.0,
        spindle=12000.0, start=(0.0, 0.0, 5.0), moves=tuple(deep),
    )  # fmt: skip
    cutting = 2 * (1 / 60 + 30 / 600) * 60
    # places along the lines are half a millimetre from each other
    travel = (40 - 0.5) / MACHINE.rapid * 60
    least = figures_of(program, MACHINE).least_seconds
    assert least == pytest.approx(MACHINE.dwell + cutting + travel)


@pytest.mark.parametrize("work", ["isolate", "drill"])
def test_a_program_of_an_example_takes_as_long_in_small_steps(indicators: Path, work: str) -> None:
    report = json.loads((indicators / "report.json").read_text("utf-8"))
    each = report["passes"][-1]
    row = next(program for program in each["programs"] if program["work"] == work)
    plan = job.load(EXAMPLES / "indicators.toml")
    start = (*each["touch"], plan.machine.clearance)
    file = indicators / row["file"]
    took = stepped_seconds(file, start, plan.machine.rapid, ACCELERATION)
    assert row["seconds"] == pytest.approx(took, rel=0.01)
    # what is compared is not lengths and feeds
    assert row["by_feeds_seconds"] < 0.95 * took


def test_an_example_is_cut_in_little_more_than_the_least_time(example_set: Path) -> None:
    """By lengths and feeds at most 1.15 of the least, 3 % of it down through air to cuts."""
    report = json.loads((example_set / "report.json").read_text("utf-8"))
    took = report["by_feeds_seconds"]
    assert took <= 100 * 60
    assert took <= 1.15 * report["least_seconds"]
    table = (example_set / "toolpaths.csv").read_text("ascii")
    rows = [line.split(",") for line in table.splitlines()[1:]]
    air = 0.0
    for before, row in pairwise(rows):
        # a new program first shows its zero from clearance; a dry run shows places alone
        if before[:3] != row[:3] or "dry-run" in row[2] or not row[10]:
            continue
        (x, y, high), (u, v, low) = map(float, before[5:8]), map(float, row[5:8])
        if (x, y) == (u, v) and 0 <= high < APPROACH:
            air += (high - max(low, 0.0)) / float(row[10]) * 60
    assert 0 < air <= 0.03 * took


@pytest.mark.parametrize("sagitta", [0.002, 0.1, 10.0])
def test_chords_of_arcs_are_off_them_by_no_more_than_is_said(sagitta: float) -> None:
    half = Move("arc_ccw", -5.0, 0.0, 0.0, -5.0, 0.0, 100.0)
    whole = Move("arc_cw", -5.0, 0.0, 0.0, 0.8, 0.6, 100.0)
    moves = [line(2.0, 3.0), line(5.0, 0.0), half, whole]
    motions = Motions(START, ends_of(moves), clockwise_of(moves))
    of, xy = motions.places(np.array([False, True, True, True]), sagitta)
    assert sorted(set(of.tolist())) == [1, 2, 3]
    for n, centre, radius, sense in ((2, (0.0, 0.0), 5.0, 1), (3, (-4.2, 0.6), 1.0, -1)):
        start = motions.xyz[n, :2]
        out = np.vstack((start, xy[of == n])) - centre
        assert np.hypot(*out.T) == pytest.approx(radius)
        assert xy[of == n][-1].tolist() == motions.xyz[n + 1, :2].tolist()
        turned = np.diff(np.unwrap(np.arctan2(out[:, 1], out[:, 0]))) * sense
        assert turned.sum() == pytest.approx((math.pi, math.tau)[n - 2])
        assert 0 < turned.min() <= turned.max() <= math.tau / 3 + 1e-9
        assert radius * (1 - math.cos(turned.max() / 2)) <= sagitta + 1e-12


def test_where_nothing_moves_only_waits_take_time() -> None:
    assert seconds([]) == 0.0
    assert seconds([line(0.0, 0.0, wait=2.0)]) == 2.0


def test_a_wait_in_place_ends_the_motion_before_it_at_rest() -> None:
    still = line(4.0, 0.0, wait=2.0)
    expected = seconds([line(4.0, 0.0, wait=2.0), line(10.0, 0.0)])
    assert seconds([line(4.0, 0.0), still, line(10.0, 0.0)]) == pytest.approx(expected)


def test_a_second_touch_goes_up_and_down_from_rest_to_rest() -> None:
    again = SecondTouch(0.5, 30.0)
    once = Move("probe", 0.0, 0.0, -1.0, feed=100.0)
    up = 2 * math.sqrt(0.5 / A)  # too short to reach 25 mm/s
    down = 0.5 / 0.5 + 0.5 / A
    twice = once._replace(again=again)
    assert seconds([twice]) - seconds([once]) == pytest.approx(up + down)
