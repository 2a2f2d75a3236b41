"""Where a program has the cutter at a time, worked out from its text alone."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

_WORD = re.compile(r"([A-Z])(-?[\d.]+)")


class Stand(NamedTuple):
    """Place of the cutter, machine frame, and the line that is under way."""

    x: float
    y: float
    z: float
    line: int


class Motion(NamedTuple):
    """A motion of a program, with what it waits before and takes, s, and its place at a share."""

    line: int
    waited: float
    needed: float
    at: Callable[[float], tuple[float, float, float]]


def motions(file: Path, start: tuple[float, float, float], rapid: float) -> Iterator[Motion]:
    """All motions by lengths and feeds; a wait counts to the motion after it."""
    x, y, z = start
    feed, waited = rapid, 0.0
    for number, text in enumerate(file.read_text("ascii").splitlines(), start=1):
        words = dict(_WORD.findall(re.sub(r"\(.*\)", "", text)))
        if "F" in words:
            feed = float(words["F"])
        if text.startswith("G4"):
            waited += float(words["P"])
            continue
        if not re.match(r"G[0-3] ", text):
            continue
        x1, y1, z1 = (float(words.get(k, v)) for k, v in (("X", x), ("Y", y), ("Z", z)))
        flat, sweep, cx, cy, radius = math.hypot(x1 - x, y1 - y), 0.0, x, y, 0.0
        if "I" in words:
            cx, cy = x + float(words["I"]), y + float(words["J"])
            radius = math.hypot(x - cx, y - cy)
            sweep = math.atan2(y1 - cy, x1 - cx) - math.atan2(y - cy, x - cx)
            sweep = sweep % math.tau if text.startswith("G3") else -(-sweep % math.tau)
            sweep = sweep or (math.tau if text.startswith("G3") else -math.tau)
            flat = radius * abs(sweep)
        speed = rapid if text.startswith("G0") else feed

        def at(
            share: float,
            ends: tuple[float, ...] = (x, y, z, x1, y1, z1),
            arc: tuple[float, ...] = (cx, cy, radius, sweep),
        ) -> tuple[float, float, float]:
            (x, y, z, x1, y1, z1), (cx, cy, radius, sweep) = ends, arc
            if radius:
                angle = math.atan2(y - cy, x - cx) + sweep * share
                x1, y1 = cx + radius * math.cos(angle), cy + radius * math.sin(angle)
                return x1, y1, z + (z1 - z) * share
            return x + (x1 - x) * share, y + (y1 - y) * share, z + (z1 - z) * share

        yield Motion(number, waited, math.hypot(flat, z1 - z) / speed * 60, at)
        waited = 0.0
        x, y, z = x1, y1, z1


def walk(
    file: Path, start: tuple[float, float, float], rapid: float, until: float, lasts: float
) -> Stand:
    """Follow a program that lasts so many seconds for some of them, its times stretched to that."""
    known = list(motions(file, start, rapid))
    left = until / lasts * sum(motion.waited + motion.needed for motion in known)
    for motion in known:
        if left < motion.waited + motion.needed:
            share = max(left - motion.waited, 0.0) / motion.needed if motion.needed else 0.0
            return Stand(*motion.at(share), motion.line)
        left -= motion.waited + motion.needed
    raise ValueError(f"{file.name} takes less than {until} s")
