"""How long a machine runs: from rest to rest, with acceleration, corners and arcs.

Every motion has a speed that it may have in its middle: its feed, on an arc no more than the
acceleration allows across it, v² ≤ a·r. Between two motions the speed is what a path tolerance δ
allows at their corner (junction deviation): v² = a·δ·sin(θ/2) / (1 − sin(θ/2)), θ the angle between
the two, 180° straight on; with an exact stop it is 0 unless they go straight on. Blending without a
stated tolerance has the one by which it cuts a right angle short at the fastest feed. One sweep
back and one forth keep all speeds within what can be braked and gained on each motion, geometry of
uniform acceleration.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.cache import cached
from millprep.gcode.head import first_moves, last_move
from millprep.geometry.path import FloatArray, in_plane
from millprep.model.dialect import FLATTENED
from millprep.model.machine import Machine
from millprep.model.machine_time import ACCELERATION
from millprep.model.program import Figures, Move, Program, SecondTouch, clockwise_of, ends_of

Place = tuple[float, float, float]
Mask = NDArray[np.bool_]

STRAIGHT = 1e-6
"""Half angles whose sine is this near to 1 are no corner."""


def figures_of(program: Program, machine: Machine, factor: float = 1.0) -> Figures:
    """What a program costs, first moves and last with it; how long a person looks nobody knows.

    The least that it takes is all that it cuts below the surface at its feed, and at rapid speed
    the spanning tree of the cuts and the way from the start to the nearest of them and back: no
    order of them and no way between takes less.

    Args:
        program: as it is written.
        machine: its speeds and acceleration.
        factor: what programs of this machine take over their estimates.
    """
    opening = first_moves(program, machine)
    moves = [*opening, *program.moves]
    moves.append(last_move(moves[-1][1:4], machine))
    ends, clockwise = ends_of(moves), clockwise_of(moves)
    motions, speeds = Motions(program.start, ends, clockwise), _speeds(moves, machine)
    dwell = machine.dwell if program.spins else 0.0
    by_feeds = motions.lengths / speeds
    waits = sum(move.wait for move in moves)
    again = sum(
        (m.again.back / machine.rapid + m.again.back / m.again.feed) * 60 for m in moves if m.again
    )
    cuts = np.array([move.feed is not None for move in moves])
    # through air, and no cut
    cuts[: len(opening)] = False
    least = 0.0
    if program.spins:
        mine = slice(len(opening), -1)
        travel = _least_round_trip(program.start, ends[mine], clockwise[mine], ~cuts[mine])
        below = (by_feeds * motions.below)[cuts].sum()
        least = dwell + float(below) + travel / machine.rapid * 60
    return Figures(
        (dwell + _seconds(motions, speeds, moves, machine)) * factor,
        float(by_feeds.sum()) + waits + again + dwell,
        float(motions.lengths[cuts].sum()),
        float(motions.lengths[~cuts].sum()),
        least,
    )


def run_seconds(start: Place, moves: Sequence[Move], machine: Machine) -> float:
    """Seconds that the motions take from rest to rest, waits included.

    Args:
        start: where the machine is at rest, mm.
        moves: in their order.
        machine: its rapids, its acceleration or the assumed one, and how it runs corners.
    """
    motions = Motions(start, ends_of(moves), clockwise_of(moves))
    return _seconds(motions, _speeds(moves, machine), moves, machine)


def _speeds(moves: Sequence[Move], machine: Machine) -> FloatArray:
    """(n,) the speed of every motion in its middle, mm/s."""
    feeds = [machine.rapid if move.feed is None else move.feed for move in moves]
    return np.array(feeds, dtype=float) / 60


class Motions:
    """Motions from a start, each to its end and, as an arc, around its centre.

    Attributes:
        xyz: (n + 1, 3) the start and all ends.
        curved: (n,) which motions are arcs.
        centre, radius, first: (n, 2) and (n,) of an arc, and the angle at which it starts as seen
            from its centre, radians.
        sweep: (n,) how far an arc turns, counter-clockwise, radians.
        flat, lengths: (n,) in the plane and in space, mm.
    """

    def __init__(self, start: Place, ends: FloatArray, clockwise: Mask) -> None:
        self.xyz = np.vstack((start, ends[:, :3]))
        lead = ends[:, 3:]
        self.curved = ~np.isnan(lead[:, 0])
        self.centre = self.xyz[:-1, :2] + lead
        self.radius = np.hypot(*lead.T)
        way = np.diff(self.xyz, axis=0)
        self.first = np.arctan2(*-lead.T[::-1])
        turn = np.arctan2(*(way[:, :2] - lead).T[::-1]) - self.first
        sign = np.where(clockwise, -1.0, 1.0)
        sweep = (sign * turn) % (2 * np.pi)
        self.sweep = sign * np.where(sweep == 0, 2 * np.pi, sweep)
        across = np.hypot(way[:, 0], way[:, 1])
        self.flat = np.where(self.curved, self.radius * np.abs(self.sweep), across)
        self.lengths = np.hypot(self.flat, way[:, 2])

    @property
    def below(self) -> FloatArray:
        """(n,) the share of every motion that is below the surface."""
        z = self.xyz[:, 2]
        high, low = np.maximum(z[:-1], z[1:]), np.minimum(z[:-1], z[1:])
        part = -low / np.where(high > low, high - low, 1.0)
        return np.where(low < 0, np.where(high > 0, part, 1.0), 0.0)

    def directions(self, which: Mask) -> tuple[FloatArray, FloatArray]:
        """(m, 3) unit vectors at the start and at the end of some motions that have a length."""
        way = np.diff(self.xyz, axis=0)[which] / self.lengths[which, None]
        around = np.copysign(self.flat[which] / self.lengths[which], self.sweep[which])

        def tangent(angle: FloatArray) -> FloatArray:
            arc = np.column_stack((-np.sin(angle) * around, np.cos(angle) * around, way[:, 2]))
            return np.where(self.curved[which, None], arc, way)

        first = self.first[which]
        return tangent(first), tangent(first + self.sweep[which])

    def places(
        self, which: Mask | None = None, sagitta: float = FLATTENED
    ) -> tuple[NDArray[np.intp], FloatArray]:
        """Which motion each place is of, and places in the plane along motions to their ends.

        Their chords are off arcs by at most `sagitta`, mm, and none is over more than 120°.
        `which` are the motions that have places, None for all.
        """
        # a chord over the angle a runs radius · (1 - cos(a / 2)) inside of its arc
        arcs = self.curved if which is None else self.curved & which
        widest = 2 * np.arccos(1 - np.minimum(sagitta / self.radius[arcs], 0.5))
        counts = np.ones(len(arcs), np.intp) if which is None else which.astype(np.intp)
        counts[arcs] = np.maximum(np.ceil(np.abs(self.sweep[arcs]) / widest - 1e-9), 1)
        of = np.repeat(np.arange(len(counts)), counts)
        xy = self.xyz[of + 1, :2]
        nth = np.arange(len(of)) - np.repeat(np.cumsum(counts) - counts, counts) + 1
        within = nth < counts[of]
        of_arc = of[within]
        angle = self.first[of_arc] + nth[within] / counts[of_arc] * self.sweep[of_arc]
        out = self.radius[of_arc, None] * np.column_stack((np.cos(angle), np.sin(angle)))
        xy[within] = self.centre[of_arc] + out
        return of, xy


def _seconds(
    motions: Motions, speeds: FloatArray, moves: Sequence[Move], machine: Machine
) -> float:
    """Seconds from rest to rest, waits included."""
    acceleration = machine.acceleration or ACCELERATION
    waits = sum(move.wait for move in moves)
    waits += sum(_second_touch(m.again, machine.rapid, acceleration) for m in moves if m.again)
    moving = motions.lengths > 0
    if not moving.any():
        return waits
    lengths, curved = motions.lengths[moving], motions.curved[moving]
    limit = speeds[moving]
    limit[curved] = np.minimum(limit, np.sqrt(acceleration * motions.radius[moving]))[curved]
    leaving, arriving = motions.directions(moving)
    corner = _corner_speeds(arriving, leaving, acceleration, machine.cut_short(machine.max_feed))
    corner = np.minimum(corner, np.minimum(limit[:-1], limit[1:]))
    # what ends at rest without a motion does so after the motion before
    last = np.cumsum(moving) - 1
    rests = last[np.array([_ends_at_rest(move) for move in moves], dtype=bool)]
    # a person, a dwell or a touch in between means rest
    corner[rests[(rests >= 0) & (rests < len(corner))]] = 0.0
    entry = _reachable(corner, lengths, acceleration)
    v0, v1 = entry[:-1], entry[1:]
    peak = np.minimum(limit, np.sqrt(acceleration * lengths + (v0**2 + v1**2) / 2))
    changing = (2 * peak**2 - v0**2 - v1**2) / (2 * acceleration)
    steady = np.maximum(lengths - changing, 0.0) / peak
    seconds = (2 * peak - v0 - v1) / acceleration + steady
    return float(seconds.sum()) + waits


def _second_touch(again: SecondTouch, rapid: float, acceleration: float) -> float:
    """Seconds up from where a probe touched and down again, each from rest to rest."""
    seconds = 0.0
    for speed in (rapid / 60, again.feed / 60):
        peak = min(speed, math.sqrt(acceleration * again.back))
        seconds += again.back / peak + peak / acceleration
    return seconds


def _ends_at_rest(move: Move) -> bool:
    """Whether the machine stops after a motion for another reason than a corner."""
    return move.wait > 0 or move.stop != "" or move.motion == "probe"


def _corner_speeds(
    arriving: FloatArray, leaving: FloatArray, acceleration: float, tolerance: float
) -> FloatArray:
    """The fastest that each corner may be taken, mm/s."""
    cosine = np.clip((arriving[:-1] * leaving[1:]).sum(axis=1), -1.0, 1.0)
    # of half the angle between the motions, which is 180° where they go straight on
    sine = np.sqrt((1 + cosine) / 2)
    straight = sine > 1 - STRAIGHT
    bend = np.where(straight, 1.0, 1 - sine)
    speeds: FloatArray = np.sqrt(acceleration * tolerance * sine / bend)
    speeds[straight] = np.inf
    return speeds


def _reachable(corner: FloatArray, lengths: FloatArray, acceleration: float) -> FloatArray:
    """Speeds at all ends of motions, from rest to rest, that can be braked to and gained."""
    squares = [0.0, *np.minimum(corner, 1e9).tolist(), 0.0]
    squares = [speed * speed for speed in squares]
    gains = (2 * acceleration * lengths).tolist()
    for k in range(len(gains) - 1, -1, -1):
        squares[k] = min(squares[k], squares[k + 1] + gains[k])
    for k, gain in enumerate(gains):
        squares[k + 1] = min(squares[k + 1], squares[k] + gain)
    speeds: FloatArray = np.sqrt(np.array(squares))
    return speeds


@cached
def _least_round_trip(start: Place, ends: FloatArray, clockwise: Mask, rapid: Mask) -> float:
    """The least travel from a start to all cuts and back, mm. A rapid across ends a cut."""
    motions = Motions(start, ends, clockwise)
    # a chain begins with the place that the rapid leads to
    chain = np.cumsum(rapid & (motions.flat > 0))
    cuts = np.unique(chain[~rapid & (motions.below > 0)])
    if not len(cuts):
        return 0.0
    of, xy = motions.places()
    xy, chain = np.vstack((start[:2], xy)), np.concatenate(([0], chain[of]))
    kept = np.isin(chain, cuts)
    xy, chain = xy[kept], chain[kept]
    lines = np.split(xy, np.flatnonzero(np.diff(chain)) + 1)
    # out to the nearest of them and back, whatever the order between
    shapes = shapely.linestrings(xy, indices=np.searchsorted(cuts, chain))
    away = float(shapely.distance(shapely.Point(start[:2]), shapes).min())
    return 2 * away + least_travel(lines)


SPACING = 0.5
"""Distance of places along lines between which the spanning tree is sought, mm."""
DIGITS = 4
"""Places along lines that are the same to this many decimals, a program's last, are one."""


def least_travel(lines: Sequence[FloatArray]) -> float:
    """What any way between all lines takes at least, mm: the length of their spanning tree.

    A way that touches every line holds a tree that joins them, and none is shorter than the
    minimum spanning tree. Its edges lie in the Delaunay triangulation of the places.

    Args:
        lines: (n, 2) each, cut from end to end or, where closed, from anywhere around.
    """
    if len(lines) < 2:
        return 0.0
    places, line = _spaced(lines)
    # as much nearer may the lines come between two places
    spare = np.where(np.bincount(line) > 1, SPACING / 2, 0.0)
    # between whole numbers triangulation is exact; the third coordinate is the number of the place
    grid = (places * 10**DIGITS).round()
    corners = shapely.multipoints(np.column_stack((grid, np.arange(len(grid)))))
    made = shapely.delaunay_triangles(corners, only_edges=True)
    ends = shapely.get_coordinates(made, include_z=True)[:, 2].astype(np.intp).reshape(-1, 2)
    # a place that is another's too is no corner, but next to that one
    order = np.lexsort((grid[:, 1], grid[:, 0]))
    same = (grid[order[1:]] == grid[order[:-1]]).all(axis=1)
    ends = np.concatenate((ends, np.column_stack((order[1:], order[:-1]))[same]))
    pairs = np.sort(line[ends], axis=1)
    between = pairs[:, 0] != pairs[:, 1]
    pairs, ends = pairs[between], ends[between]
    away = np.hypot(*(places[ends[:, 0]] - places[ends[:, 1]]).T) - spare[pairs].sum(axis=1)
    # Kruskal's tree: the shortest edges that join two parts of it
    order = np.argsort(away, kind="stable")
    _, first = np.unique(pairs[order] @ (len(lines), 1), return_index=True)
    edges = order[np.sort(first)]
    tree = list(range(len(lines)))

    def root(k: int) -> int:
        while tree[k] != k:
            tree[k], k = tree[tree[k]], tree[k]
        return k

    length = 0.0
    for (a, b), weight in zip(pairs[edges].tolist(), away[edges].tolist(), strict=True):
        if root(a) != root(b):
            tree[root(a)] = root(b)
            length += max(weight, 0.0)
    return length


def _spaced(lines: Sequence[FloatArray]) -> tuple[FloatArray, NDArray[np.intp]]:
    """(n, 2) places along all lines and (n,) which line each is of; one for a line of no length.

    No two neighbours are farther from each other along a line than `SPACING`.
    """
    xy = in_plane(np.vstack(lines))
    last = np.cumsum([len(line) for line in lines]) - 1
    steps = np.abs(np.diff(xy))
    # from line to line any distance keeps them in their order
    steps[last[:-1]] = 1.0
    along = np.concatenate(([0.0], steps.cumsum()))
    start = along[np.concatenate(([0], last[:-1] + 1))]
    length = along[last] - start
    parts = np.ceil(length / SPACING).astype(np.intp)
    line = np.repeat(np.arange(len(lines)), parts + 1)
    nth = np.arange(len(line)) - np.repeat(np.cumsum(parts + 1) - parts - 1, parts + 1)
    fine = np.interp(start[line] + nth * (length / np.maximum(parts, 1))[line], along, xy)
    return np.column_stack((fine.real, fine.imag)), line
