"""Cuts as moves: down, along, up.

All rapid moves run at the clearance height; the only vertical rapids go up. Down to the
copper the cutter feeds, after a rapid to a small height above it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from millprep.values.cut import HoleCut, Profile, Ring
from millprep.values.cutter import Cutter, Drill, EndMill
from millprep.values.machine import Machine
from millprep.values.path import FloatArray, Path, Point
from millprep.values.plan import ProfilePlan
from millprep.values.program import Move

OVERLAP = 0.3
"""A closed lap runs this far over its own start, mm."""
SHORT_ARC = 0.005
"""Arcs with a shorter chord are run as lines, mm."""
FLAT_ARC = 0.0005
"""Arcs that rise less above their chord are run as lines, mm."""
PITCH = 0.5
"""Boring descends by at most this share of the cutter's step in one turn."""


@dataclass(slots=True)
class Pen:
    """Where the cutter is, and the moves that brought it there."""

    machine: Machine
    cutter: Cutter
    at: tuple[float, float, float]
    moves: list[Move] = field(default_factory=list)

    def rise(self) -> None:
        """Straight up to clearance."""
        x, y, z = self.at
        if z != self.machine.clearance:
            self._go(Move("rapid", x, y, self.machine.clearance))

    def over(self, x: float, y: float) -> None:
        """Rise, then across at clearance."""
        self.rise()
        if self.at[:2] != (x, y):
            self._go(Move("rapid", x, y, self.machine.clearance))

    def plunge(self, z: float) -> None:
        """Straight down at the plunge feed."""
        if self.at[2] != z:
            feed = min(self.cutter.plunge, self.machine.max_plunge)
            self._go(Move("feed", self.at[0], self.at[1], z, feed=feed))

    def follow(self, path: Path, depths: Sequence[float] | None = None) -> None:
        """Along a path whose start the cutter stands on, to one z for every segment's end."""
        feed = min(self.cutter.feed, self.machine.max_feed)
        z = self.at[2]
        for n, (_, (x, y), centre, sweep) in enumerate(path.segments()):
            z_end = z if depths is None else depths[n]
            if centre is None or _nearly_straight(self.at, (x, y), sweep):
                self._go(Move("feed", x, y, z_end, feed=feed))
            else:
                i, j = centre[0] - self.at[0], centre[1] - self.at[1]
                motion = "arc_ccw" if sweep > 0 else "arc_cw"
                self._go(Move(motion, x, y, z_end, i, j, feed))  # type: ignore[arg-type]

    def _go(self, move: Move) -> None:
        self.moves.append(move)
        self.at = (move.x, move.y, move.z)


def _nearly_straight(at: tuple[float, float, float], end: Point, sweep: float) -> bool:
    """Whether an arc is better run as a line.

    Rounded to the last digit, the ends of a very short arc could change places, and a
    controller would run the full circle instead.
    """
    chord = math.hypot(end[0] - at[0], end[1] - at[1])
    return chord < SHORT_ARC or chord / 2 * math.tan(abs(sweep) / 4) < FLAT_ARC


def ring(pen: Pen, cut: Ring, vertex: int) -> None:
    """One isolation lap; a closed one runs over its start."""
    path = cut.path
    if path.closed:
        path = path.started_at(vertex)
        path = path.joined(path.part(0.0, min(OVERLAP, path.length / 2)))
    pen.over(*path.start)
    pen.plunge(-cut.depth)
    pen.follow(path)
    pen.rise()


def hole(pen: Pen, cut: HoleCut) -> None:
    """A drill plunges, withdrawing where the hole is deep; an end mill winds down."""
    if isinstance(pen.cutter, Drill):
        pen.over(*cut.at)
        for depth in _pecks(cut.depth, pen.cutter.diameter):
            pen.plunge(-depth)
            if depth < cut.depth:
                pen.rise()
        pen.rise()
        return
    assert isinstance(pen.cutter, EndMill)
    radius = (cut.diameter - pen.cutter.diameter) / 2
    x, y = cut.at
    # climbing inside a hole runs counter-clockwise
    turn = Path.circle((x, y), radius)
    pen.over(x + radius, y)
    pen.plunge(0.0)
    turns = max(1, math.ceil(cut.depth / (pen.cutter.step * PITCH)))
    for n in range(turns):
        z0, z1 = -cut.depth * n / turns, -cut.depth * (n + 1) / turns
        pen.follow(turn, (((z0 + z1) / 2), z1))
    pen.follow(turn)
    pen.rise()


def _pecks(depth: float, diameter: float) -> list[float]:
    """Depths to withdraw at: none up to 3 diameters, then first 2 diameters, then 1 each.

    Common practice of drill makers: 2-3 diameters in one step, when pecking 2 at first.
    """
    if depth <= 3 * diameter:
        return [depth]
    steps = [2 * diameter]
    while steps[-1] + diameter < depth - diameter / 4:
        steps.append(steps[-1] + diameter)
    return [*steps, depth]


def profile(pen: Pen, cut: Profile, plan: ProfilePlan) -> None:
    """Lap by lap down to full depth, entered by ramps, high over the tabs.

    A closed course goes round and round in one direction; an open one is run from its
    start each time, so that both sides of a join are cut in the same direction.
    """
    assert isinstance(pen.cutter, EndMill)
    laps = max(1, math.ceil(cut.depth / pen.cutter.step - 1e-9))
    path = cut.path
    total = path.length
    slope = math.tan(math.radians(plan.ramp))
    tabs = [(t.start, t.end) for t in cut.tabs]
    if path.closed and tabs:
        # the ramp needs the longest free stretch, so the course starts just after a tab
        begin = max(
            range(len(tabs)),
            key=lambda n: (tabs[(n + 1) % len(tabs)][0] - tabs[n][1]) % total,
        )
        origin = tabs[begin][1] % total
        path = path.part(origin, origin + total)
        path = Path(_closed(path), path.bulge)
        tabs = sorted(((a - origin) % total, (a - origin) % total + b - a) for a, b in tabs)
    pen.over(*path.start)
    pen.plunge(0.0)
    for lap in range(laps):
        high = -cut.depth * lap / laps
        low = -cut.depth * (lap + 1) / laps
        ramp = min((high - low) / slope, total / 3)
        if not path.closed and lap > 0:
            pen.over(*path.start)
            pen.plunge(high)
        _lap(pen, path, high, low, ramp, tabs, cut.tab_depth)
    # what the last ramp left standing
    ramp = min((cut.depth / laps) / slope, total / 3)
    if path.closed:
        _lap_part(pen, path, 0.0, ramp, -cut.depth, -cut.depth, tabs, cut.tab_depth)
    else:
        back = path.part(0.0, ramp)
        pen.over(*back.end)
        pen.plunge(-cut.depth)
        pen.follow(back.reversed())
    pen.rise()


def _closed(path: Path) -> FloatArray:
    """Vertices of a path whose ends meet but for rounding, with the ends made equal."""
    xy = path.xy.copy()
    xy[-1] = xy[0]
    return xy


def _lap(
    pen: Pen,
    path: Path,
    high: float,
    low: float,
    ramp: float,
    tabs: Sequence[tuple[float, float]],
    tab_depth: float,
) -> None:
    """Down the ramp from `high` to `low`, then along the rest of the course."""
    _lap_part(pen, path, 0.0, ramp, high, low, tabs, tab_depth)
    _lap_part(pen, path, ramp, path.length, low, low, tabs, tab_depth)


def _lap_part(
    pen: Pen,
    path: Path,
    start: float,
    end: float,
    z0: float,
    z1: float,
    tabs: Sequence[tuple[float, float]],
    tab_depth: float,
) -> None:
    """A stretch with z from z0 to z1 in proportion, lifted where a tab would be cut."""
    for a, b, lifted in _stretches(start, end, tabs):
        part = path.part(a, b)

        def depth(s: float) -> float:
            return z0 + (z1 - z0) * (s - start) / (end - start)

        floor = -tab_depth if lifted else -math.inf
        pen.plunge(max(depth(a), floor))
        ends = [a + float(s) for s in part.lengths.cumsum()]
        pen.follow(part, [max(depth(s), floor) for s in ends])


def _stretches(
    start: float, end: float, tabs: Sequence[tuple[float, float]]
) -> Iterator[tuple[float, float, bool]]:
    """The parts of a stretch outside and inside of tabs, in order."""
    at = start
    for a, b in tabs:
        a, b = max(a, start), min(b, end)
        if b <= a:
            continue
        if a > at + 1e-6:
            yield at, a, False
        yield max(a, at), b, True
        at = b
    if end > at + 1e-6:
        yield at, end, False

