"""Cuts as moves: down, along, up.

Rapid moves across run at the clearance height, or as hops below it. Straight down, from there, they
end at the approach height above the highest copper; below it the cutter feeds.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from millprep.gcode.head import HOVER, down_for_a_look
from millprep.gcode.travel import Hops
from millprep.geometry.path import Path, Point, Segment
from millprep.model.cut import Clearing, Engraving, HoleCut, Lap, Profile
from millprep.model.cutter import Cutter, Drill, EndMill
from millprep.model.job.work import ProfilePlan
from millprep.model.machine import Machine
from millprep.model.program import Motion, Move

OVERLAP = 0.3
"""A closed lap runs this far over its own start, mm."""
SHORT_ARC = 0.002
"""Arcs with a shorter chord are run as lines, mm."""
FLAT_ARC = 0.0005
"""Arcs that rise less above their chord are run as lines, mm."""
CRUMB = 1e-6
"""Shorter stretches of a profile are left to their neighbours, mm."""
LOOK = 4.0
"""Seconds that a dry run waits at a place."""
PITCH = 0.5
"""Boring descends by at most this fraction of the cutter's step in one turn."""


@dataclass(slots=True)
class Pen:
    """Where the cutter is, and the moves that brought it there.

    `approach` is the height that rapids may go down to; without one it feeds down all the way.
    From there down to `near` it feeds as fast as the machine may go down: the copper is lower.
    Without `hops` all travel is at clearance.
    """

    machine: Machine
    cutter: Cutter
    at: tuple[float, float, float]
    moves: list[Move] = field(default_factory=list)
    approach: float = math.inf
    near: float = math.inf
    hops: Hops | None = None

    def rise(self) -> None:
        """Straight up to clearance."""
        x, y, z = self.at
        if z != self.machine.clearance:
            self.go(Move("rapid", x, y, self.machine.clearance))

    def over(self, x: float, y: float) -> None:
        """Rise, then across: low where nothing is in the way, else at clearance."""
        hops, (u, v, z) = self.hops, self.at
        hop = hops is not None and z <= hops.height and hops.free((u, v), (x, y))
        height = hops.height if hops is not None and hop else self.machine.clearance
        if z != height:
            self.go(Move("rapid", u, v, height))
        if (u, v) != (x, y):
            self.go(Move("rapid", x, y, height))

    def plunge(self, z: float) -> None:
        """Straight down: at rapid to the approach height, fast on to near the copper, then slowly.

        Anything lower may meet copper, even over a groove that is there already.
        """
        if z < self.approach:
            self.descend()
        x, y, here = self.at
        if z < self.near < here and self.plunge_feed < self.machine.max_plunge:
            self.go(Move("feed", x, y, self.near, feed=self.machine.max_plunge))
        self.lower(z)

    def descend(self) -> None:
        """At rapid straight down to the approach height."""
        x, y, here = self.at
        if self.approach < here:
            self.go(Move("rapid", x, y, self.approach))

    def lower(self, z: float) -> None:
        """Straight to a height at the plunge feed."""
        if self.at[2] != z:
            self.go(Move("feed", self.at[0], self.at[1], z, feed=self.plunge_feed))

    def follow(self, path: Path, depths: Sequence[float] | None = None) -> None:
        """Along a path from its start, where the cutter is, to one z for every segment's end.

        On a ramp the cutter goes down no faster than it plunges.
        """
        z = self.at[2]
        for n, segment in enumerate(path.segments()):
            z_end = z if depths is None else depths[n]
            z_start = self.at[2]
            halves = _halves(segment)
            feed = self._feed(float(path.lengths[n]), z_start - z_end)
            for k, (_, (x, y), centre, sweep) in enumerate(halves, 1):
                z_here = z_start + (z_end - z_start) * k / len(halves)
                if centre is None or _nearly_straight(self.at, (x, y), sweep):
                    self.go(Move("feed", x, y, z_here, feed=feed))
                    continue
                i, j = centre[0] - self.at[0], centre[1] - self.at[1]
                motion: Motion = "arc_ccw" if sweep > 0 else "arc_cw"
                self.go(Move(motion, x, y, z_here, i, j, feed))

    def _feed(self, run: float, fall: float) -> float:
        """The feed along a segment this long in the plane that goes down this much."""
        feed = min(self.cutter.feed, self.machine.max_feed)
        if fall <= 0:
            return feed
        return min(feed, self.plunge_feed * math.hypot(run, fall) / fall)

    @property
    def plunge_feed(self) -> float:
        """The feed straight down."""
        return min(self.cutter.plunge, self.machine.max_plunge)

    def go(self, move: Move) -> None:
        """One move more."""
        self.moves.append(move)
        self.at = (move.x, move.y, move.z)


def _halves(segment: Segment) -> tuple[Segment, ...]:
    """A segment, in two where it is more than half a circle: its ends could be too near."""
    start, end, centre, sweep = segment
    if centre is None or abs(sweep) <= 1.01 * math.pi:
        return (segment,)
    x, y = start[0] - centre[0], start[1] - centre[1]
    cos, sin = math.cos(sweep / 2), math.sin(sweep / 2)
    middle = (centre[0] + x * cos - y * sin, centre[1] + x * sin + y * cos)
    return (
        Segment(start, middle, centre, sweep / 2),
        Segment(middle, end, centre, sweep / 2),
    )


def _nearly_straight(at: tuple[float, float, float], end: Point, sweep: float) -> bool:
    """Whether an arc is better run as a line.

    Rounded to the last digit, the ends of a very short arc could change places, and a
    controller would run the full circle instead.
    """
    chord = math.hypot(end[0] - at[0], end[1] - at[1])
    return chord < SHORT_ARC or chord / 2 * math.tan(abs(sweep) / 4) < FLAT_ARC


def lap(pen: Pen, cut: Lap | Clearing, vertex: int) -> None:
    """One lap of isolation or clearing; a closed one runs over its start."""
    path = cut.path.started_at(vertex) if cut.path.closed else cut.path
    pen.over(*path.start)
    pen.plunge(-cut.depth)
    pen.follow(path)
    if path.closed:
        pen.follow(path.part(0.0, min(OVERLAP, path.length / 2)))


def engraving(pen: Pen, cut: Engraving) -> None:
    """One line of a number, a cross or a comb."""
    pen.over(*cut.path.start)
    pen.plunge(-cut.depth)
    pen.follow(cut.path)


def look(pen: Pen, at: Point, *, rises: bool = True) -> None:
    """Down to `HOVER` above the copper, wait for a person to look, and up if it `rises`."""
    pen.over(*at)
    # a blank that lies wrong shows on the way down
    if pen.at[2] != HOVER:
        for move in down_for_a_look(pen.at, pen.machine):
            pen.go(move)
    pen.moves[-1] = pen.moves[-1]._replace(wait=LOOK)
    if rises:
        pen.rise()


def hole(pen: Pen, cut: HoleCut) -> None:
    """A drill plunges, withdrawing where the hole is deep; an end mill winds down.

    Slots are another module's.
    """
    if isinstance(pen.cutter, Drill):
        pen.over(*cut.at)
        for depth in _pecks(cut.depth, pen.cutter.diameter):
            pen.plunge(-depth)
            if depth < cut.depth:
                pen.rise()
        return
    for radius in turn_radii(cut.diameter, pen.cutter.width(cut.depth)):
        _wind(pen, cut, radius)


def _wind(pen: Pen, cut: HoleCut, radius: float) -> None:
    """Down a helix to the hole's depth, and once round there."""
    assert isinstance(pen.cutter, EndMill)
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


def turn_radii(hole: float, cutter: float) -> list[float]:
    """Radii of the helices that make a hole, from the centre outward.

    One helix would leave a loose core in a hole wider than twice the cutter, which jams or
    breaks it. The first one reaches over the centre, each next one overlaps it.
    """
    last, first, step = (hole - cutter) / 2, 0.45 * cutter, 0.9 * cutter
    more = max(0, math.ceil((last - first) / step - 1e-9))
    return [last - (last - first) * n / more if more else last for n in range(more, -1, -1)]


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
    """Depth step by depth step down to full depth, entered by ramps, high over the tabs.

    A closed profile goes round and round in one direction. An open one is run from its
    start each time, so that both sides of a join are cut in the same direction; its ramp
    runs backwards to the start, and the step then cuts what the ramp left. What is cut loose may
    lift: all travel is at clearance.
    """
    assert isinstance(pen.cutter, EndMill)
    path = cut.path
    total = path.length
    slope = math.tan(math.radians(plan.ramp))
    # a depth step is no deeper than the cutter allows, and than a ramp can go down on it
    deepest = min(pen.cutter.step, 0.9 * total * slope)
    steps = max(1, math.ceil(cut.depth / deepest - 1e-9))
    ramp = cut.depth / steps / slope
    tabs = [(t.start, t.end) for t in cut.tabs]
    if path.closed and tabs:
        # the ramp needs the longest free stretch, so the profile starts just after a tab; among
        # equals the first, whatever a turned blank makes of the last digits
        begin = max(
            range(len(tabs)),
            key=lambda n: round((tabs[(n + 1) % len(tabs)][0] - tabs[n][1]) % total, 6),
        )
        origin = tabs[begin][1] % total
        path = _turned(path, origin)
        tabs = sorted(((a - origin) % total, (a - origin) % total + b - a) for a, b in tabs)
    back = [(ramp - b, ramp - a) for a, b in reversed(tabs)]
    pen.rise()
    pen.over(*(path.start if path.closed else path.point_at(ramp)))
    for n in range(steps):
        high = -cut.depth * n / steps
        low = -cut.depth * (n + 1) / steps
        if path.closed:
            _profile_part(pen, path, 0.0, ramp, high, low, tabs, cut.tab_depth)
            _profile_part(pen, path, ramp, total, low, low, tabs, cut.tab_depth)
            continue
        pen.rise()
        pen.over(*path.point_at(ramp))
        if ramp > CRUMB:
            down = path.part(0.0, ramp).reversed()
            _profile_part(pen, down, 0.0, ramp, high, low, back, cut.tab_depth)
        _profile_part(pen, path, 0.0, total, low, low, tabs, cut.tab_depth)
    if path.closed:
        # what the last ramp left standing
        _profile_part(pen, path, 0.0, ramp, -cut.depth, -cut.depth, tabs, cut.tab_depth)
    pen.rise()


def _turned(path: Path, origin: float) -> Path:
    """A closed path that starts at a distance along itself."""
    whole = path.part(origin, origin + path.length)
    xy, bulge = whole.xy.copy(), whole.bulge
    # rounding may leave a crumb of path between the end and the start
    while len(bulge) > 2 and math.dist(xy[-2], xy[0]) < CRUMB:
        xy, bulge = xy[:-1], bulge[:-1]
    xy[-1] = xy[0]
    return Path(xy, bulge)


def _profile_part(
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
        if b <= a + CRUMB:
            continue
        if a > at + CRUMB:
            yield at, a, False
        yield max(a, at), b, True
        at = b
    if end > at + CRUMB:
        yield at, end, False
