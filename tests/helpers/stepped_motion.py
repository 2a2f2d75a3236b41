"""The motion of a program in small steps of time, from its text: as fast as can still be braked.

Nothing here knows the formulas of `gcode/run_time.py`: lengths, directions and curvature come from
places along each motion, and speed is gained and braked step by step.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np

from tests.helpers.browser_walk import Motion, motions

STEP = 5e-4
"""Of time, s."""
SAMPLES = 64
"""Places along a motion that its length is summed over."""
NEAR = 1e-4
"""Share of a motion over which its direction at an end is taken."""


class _Piece:
    """A motion that has a length: mm, mm/s, directions at both ends, and what it waits before."""

    def __init__(self, motion: Motion, acceleration: float) -> None:
        at = np.array([motion.at(k / SAMPLES) for k in range(SAMPLES + 1)])
        self.length = float(np.linalg.norm(np.diff(at, axis=0), axis=1).sum())
        self.waited = motion.waited
        self.speed = self.length / motion.needed if motion.needed else math.inf
        if self.length > 0:
            radius = _radius(*(np.array(motion.at(share))[:2] for share in (0.25, 0.5, 0.75)))
            self.speed = min(self.speed, math.sqrt(acceleration * radius))
            self.leaving = _way(motion, 0.0, NEAR)
            self.arriving = _way(motion, 1.0 - NEAR, 1.0)


def _way(motion: Motion, a: float, b: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    step = np.array(motion.at(b)) - np.array(motion.at(a))
    return np.asarray(step / np.linalg.norm(step))


def _radius(a: np.ndarray, b: np.ndarray, c: np.ndarray) -> float:
    """Of the circle through three places; infinite for a straight line."""
    u, v = b - a, c - a
    area = abs(float(u[0] * v[1] - u[1] * v[0])) / 2
    sides = math.dist(a, b) * math.dist(b, c) * math.dist(a, c)
    return sides / (4 * area) if area > 1e-9 * sides else math.inf


def stepped_seconds(
    file: Path, start: tuple[float, float, float], rapid: float, acceleration: float
) -> float:
    """How long a program runs with exact stops at all corners, waits included."""
    pieces = [_Piece(motion, acceleration) for motion in motions(file, start, rapid)]
    waits = sum(piece.waited for piece in pieces)
    pieces = [piece for piece in pieces if piece.length > 1e-9]
    ends = [
        min(a.speed, b.speed) if b.waited == 0 and _straight(a, b) else 0.0
        for a, b in pairwise(pieces)
    ]
    return waits + _ran(pieces, [*ends, 0.0], acceleration)


def _straight(a: _Piece, b: _Piece) -> bool:
    """Whether one motion leads into the next within a sixth of a degree."""
    return math.acos(min(1.0, float(a.arriving @ b.leaving))) < math.radians(1 / 6)


def _ran(pieces: Sequence[_Piece], ends: Sequence[float], acceleration: float) -> float:
    """Seconds for pieces in a row; `ends` is the fastest that each may be left."""
    places = np.cumsum([piece.length for piece in pieces]).tolist()
    fastest = max(piece.speed for piece in pieces)
    reach = fastest**2 / (2 * acceleration) + fastest * STEP
    time = at = speed = 0.0
    k = 0
    while k < len(pieces):
        most = pieces[k].speed
        ahead = k
        while ahead < len(pieces):
            left = places[ahead] - at
            most = min(most, math.sqrt(ends[ahead] ** 2 + 2 * acceleration * max(left, 0.0)))
            if left > reach:
                break
            ahead += 1
        # nothing is reached at no speed at all
        speed = max(min(speed + acceleration * STEP, most), acceleration * STEP / 2)
        at += speed * STEP
        time += STEP
        while k < len(pieces) and at >= places[k]:
            speed = min(speed, ends[k])
            k += 1
    return time
