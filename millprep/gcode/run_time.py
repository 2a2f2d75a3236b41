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
from millprep.geometry.path import FloatArray
from millprep.geometry.tour import least_travel
from millprep.model.machine import Machine
from millprep.model.machine_time import ACCELERATION
from millprep.model.program import Move, Program, SecondTouch, clockwise_of, ends_of

Place = tuple[float, float, float]
Mask = NDArray[np.bool_]

STRAIGHT = 1e-6
"""Half angles whose sine is this near to 1 are no corner."""


def run_seconds(start: Place, moves: Sequence[Move], machine: Machine) -> float:
    """Seconds that the motions take from rest to rest, waits included.

    Args:
        start: where the machine is at rest, mm.
        moves: in their order.
        machine: its rapids, its acceleration or the assumed one, and how it runs corners.
    """
    acceleration = machine.acceleration or ACCELERATION
    waits = sum(move.wait for move in moves)
    waits += sum(_second_touch(m.again, machine.rapid, acceleration) for m in moves if m.again)
    motions = _Motions(start, moves, machine.rapid)
    if not len(motions.lengths):
        return waits
    limit = np.minimum(motions.speeds, np.sqrt(acceleration * motions.radii))
    corner = _corner_speeds(motions, acceleration, machine.cut_short(machine.max_feed))
    corner = np.minimum(corner, np.minimum(limit[:-1], limit[1:]))
    # a person, a dwell or a touch in between means rest
    corner[motions.rests[:-1]] = 0.0
    entry = _reachable(corner, motions.lengths, acceleration)
    v0, v1 = entry[:-1], entry[1:]
    peak = np.minimum(limit, np.sqrt(acceleration * motions.lengths + (v0**2 + v1**2) / 2))
    changing = (2 * peak**2 - v0**2 - v1**2) / (2 * acceleration)
    steady = np.maximum(motions.lengths - changing, 0.0) / peak
    seconds = (2 * peak - v0 - v1) / acceleration + steady
    return float(seconds.sum()) + waits


def _second_touch(again: SecondTouch, rapid: float, acceleration: float) -> float:
    """Seconds up from where a probe touched and down again, each from rest to rest."""
    seconds = 0.0
    for speed in (rapid / 60, again.feed / 60):
        peak = min(speed, math.sqrt(acceleration * again.back))
        seconds += again.back / peak + peak / acceleration
    return seconds


class _Motions:
    """Lengths, mm, speeds, mm/s, radii, mm, and directions at both ends of all motions.

    `rests` are those after which the machine is at rest.
    """

    def __init__(self, start: Place, moves: Sequence[Move], rapid: float) -> None:
        ways = _ways(start, ends_of(moves), clockwise_of(moves))
        moving = ways[:, 0] > 0
        speeds = np.array([rapid if move.feed is None else move.feed for move in moves]) / 60
        ways, self.speeds = ways[moving], speeds[moving]
        self.lengths, self.radii = ways[:, 0], ways[:, 1]
        self.leaving, self.arriving = ways[:, 2:5], ways[:, 5:8]
        # what ends at rest without a motion does so after the motion before
        last = np.cumsum(moving) - 1
        ending = np.array([_ends_at_rest(move) for move in moves], dtype=bool)
        self.rests = np.zeros(len(ways), dtype=bool)
        self.rests[last[ending & (last >= 0)]] = True


@cached
def _ways(start: Place, ends: FloatArray, clockwise: Mask) -> FloatArray:
    """(n, 8) length, radius, and the directions at the start and at the end of all motions."""
    rows: list[tuple[float, ...]] = []
    at = start
    for (*end, i, j), turns in zip(ends.tolist(), clockwise.tolist(), strict=True):
        rows.append(_line(at, end) if math.isnan(i) else _arc(at, end, (i, j), turns))
        at = (end[0], end[1], end[2])
    return np.array(rows).reshape(-1, 8)


def _ends_at_rest(move: Move) -> bool:
    """Whether the machine stops after a motion for another reason than a corner."""
    return move.wait > 0 or move.stop != "" or move.motion == "probe"


def _line(start: Sequence[float], end: Sequence[float]) -> tuple[float, ...]:
    """Length, radius, and the direction at the start and at the end of a straight motion."""
    length = math.dist(start, end)
    if length == 0:
        return (0.0,) * 8
    way = tuple((b - a) / length for a, b in zip(start, end, strict=True))
    return (length, math.inf, *way, *way)


def _arc(
    start: Sequence[float], end: Sequence[float], lead: tuple[float, float], clockwise: bool
) -> tuple[float, ...]:
    """The same of an arc, which may climb; `lead` from its start to its centre."""
    radius, sign = math.hypot(*lead), -1 if clockwise else 1
    first, last, sweep = _swept(start, end, lead, clockwise)
    flat, climb = radius * sweep, end[2] - start[2]
    length = math.hypot(flat, climb)
    across, up = sign * flat / length, climb / length
    ends = (
        value
        for angle in (first, last)
        for value in (-math.sin(angle) * across, math.cos(angle) * across, up)
    )
    return (length, radius, *ends)


def _swept(
    start: Sequence[float], end: Sequence[float], lead: tuple[float, float], clockwise: bool
) -> tuple[float, float, float]:
    """Where an arc begins and ends as seen from its centre, and how far it turns, radians."""
    first = math.atan2(-lead[1], -lead[0])
    last = math.atan2(end[1] - (start[1] + lead[1]), end[0] - (start[0] + lead[0]))
    sign = -1 if clockwise else 1
    return first, last, (sign * (last - first)) % (2 * math.pi) or 2 * math.pi


def _corner_speeds(motions: _Motions, acceleration: float, tolerance: float) -> FloatArray:
    """The fastest that each corner may be taken, mm/s."""
    cosine = np.clip((motions.arriving[:-1] * motions.leaving[1:]).sum(axis=1), -1.0, 1.0)
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


CHORD = math.radians(5)
"""Arcs are cut into chords of this angle where the least travel between cuts is sought."""


def least_seconds(program: Program, machine: Machine) -> float:
    """What the same cuts take at least, s: no order of them and no way between takes less.

    All that is cut below the surface at its feed, and at rapid speed the spanning tree of the cuts
    and the way from the start to the nearest of them and back. A rapid across ends a cut.
    """
    if not program.spins:
        return 0.0
    rapid = np.array([move.feed is None for move in program.moves], dtype=bool)
    travel, below = _least_ways(program.start, program.ends, program.clockwise, rapid)
    seconds = machine.dwell
    for move, length in zip(program.moves, below.tolist(), strict=True):
        if move.feed is not None:
            seconds += length / move.feed * 60
    return seconds + travel / machine.rapid * 60


@cached
def _least_ways(
    start: Place, ends: FloatArray, clockwise: Mask, rapid: Mask
) -> tuple[float, FloatArray]:
    """The least travel to all cuts and back, mm, and of every motion what is below the surface."""
    chains: list[list[tuple[float, float]]] = []
    below: list[float] = []
    at, cutting = start, False
    rows = zip(ends.tolist(), clockwise.tolist(), rapid.tolist(), strict=True)
    for (x, y, z, i, j), turns, fast in rows:
        end, lead = (x, y, z), None if math.isnan(i) else (i, j)
        if fast or min(at[2], z) >= 0:
            cutting = cutting and (not fast or end[:2] == at[:2])
            below.append(0.0)
        else:
            if not cutting:
                chains.append([at[:2]])
            cutting = True
            chains[-1] += _chords(at, end, lead, turns)
            below.append(_below(at, end, lead, turns))
        at = end
    lines = [np.array(chain[:1] if _is_place(chain) else chain) for chain in chains]
    # out to the nearest of them and back, whatever the order between
    shapes = [shapely.LineString(line) if len(line) > 1 else shapely.Point(line) for line in lines]
    away = float(shapely.distance(shapely.Point(start[:2]), shapes).min()) if shapes else 0.0
    return 2 * away + least_travel(lines), np.array(below)


def _is_place(chain: Sequence[tuple[float, float]]) -> bool:
    return all(place == chain[0] for place in chain)


def _below(start: Place, end: Place, lead: tuple[float, float] | None, clockwise: bool) -> float:
    """Length of a motion that is below the surface, mm."""
    way = _line(start, end) if lead is None else _arc(start, end, lead, clockwise)
    high, low = max(start[2], end[2]), min(start[2], end[2])
    return way[0] if high <= 0 else way[0] * -low / (high - low)


def _chords(
    start: Place, end: Place, lead: tuple[float, float] | None, clockwise: bool
) -> list[tuple[float, float]]:
    """Places along a motion to its end, in the plane."""
    if lead is None:
        return [end[:2]]
    cx, cy, radius = start[0] + lead[0], start[1] + lead[1], math.hypot(*lead)
    first, _, sweep = _swept(start, end, lead, clockwise)
    sign = -1 if clockwise else 1
    count = math.ceil(sweep / CHORD)
    angles = (first + sign * sweep * k / count for k in range(1, count + 1))
    return [(cx + radius * math.cos(a), cy + radius * math.sin(a)) for a in angles]
