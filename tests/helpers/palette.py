"""How far apart colours that meet in one picture are: `python -m tests.helpers.palette`.

It prints CIEDE2000 of every pair of meanings for every reader, and its exit code is 1 when a pair
is nearer than 20. That is our own choice: 2.3 is taken as just noticeable.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from itertools import combinations
from typing import NamedTuple

from millprep.report import palette
from tests.helpers.colour import READERS, distance

LEAST = 20.0
_CUTTERS = tuple(f"cutter {n}" for n in range(palette.CUTTERS))
_ALWAYS = ("paper", "ink", "laminate")
MEETINGS: dict[str, tuple[str, ...]] = {
    "paths, close-up": (*_ALWAYS, "copper", *_CUTTERS),
    "pass": (*_ALWAYS, "copper", *_CUTTERS, "earlier pass"),
    "copper left": (*_ALWAYS, "copper", "fault"),
    "changes": (*_ALWAYS, "copper", *palette.CHANGES),
    "reading": (*_ALWAYS, *(f"piece {n}" for n in range(len(palette.PIECES)))),
    "lift, grooves without a map": (*_ALWAYS, "copper", "fault"),
}
"""Meanings that meet in a picture on paper."""
ON_SCREEN = (*_ALWAYS, "copper", "fault", *_CUTTERS)
"""Meanings that meet on the review page."""
WITH_A_SCALE = ("ink", "laminate", "copper", "fault")
"""What every step of a colour bar meets; steps are one meaning, low to high."""


class Pair(NamedTuple):
    """Two meanings and their colours where they meet, with their distance for every reader."""

    where: str
    a: str
    b: str
    far: tuple[float, ...]


def pairs() -> Iterator[Pair]:
    """Every pair that meets, on paper and on the page in light and dark."""
    for where, roles in MEETINGS.items():
        for a, b in combinations(roles, 2):
            yield _pair(where, a, b, palette.COLOURS[a], palette.COLOURS[b])
    for n in range(len(palette.SCALE)):
        for a in WITH_A_SCALE:
            step = f"scale {n}"
            yield _pair("colour bar", a, step, palette.COLOURS[a], palette.COLOURS[step])
    for name in palette.SCHEMES:
        for a, b in combinations(ON_SCREEN, 2):
            one, other = (getattr(palette.TABLE[role], name) for role in (a, b))
            yield _pair(f"page, {name}", a, b, one, other)


def _pair(where: str, a: str, b: str, one: str, other: str) -> Pair:
    return Pair(where, a, b, tuple(distance(one, other, reader) for reader in READERS.values()))


def main() -> int:
    """Print all pairs and say whether all are far enough apart."""
    every = list(pairs())
    sys.stdout.write(f"{'where':<28} {'two meanings':<28} " + "  ".join(READERS) + "\n")
    for pair in every:
        far = "  ".join(f"{d:>{len(name)}.1f}" for d, name in zip(pair.far, READERS, strict=True))
        near = "  NEAR" if min(pair.far) < LEAST else ""
        sys.stdout.write(f"{pair.where:<28} {pair.a + ', ' + pair.b:<28} {far}{near}\n")
    least = min(min(pair.far) for pair in every)
    sys.stdout.write(f"{len(every)} pairs, nearest {least:.1f}; {LEAST:.0f} is wanted\n")
    return 0 if least >= LEAST else 1


if __name__ == "__main__":
    sys.exit(main())
