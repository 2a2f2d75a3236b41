"""Drilling cycles as plain moves: NISTIR 6556, section 3.5.16."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from millprep.verify.block import Fault, whole
from millprep.verify.trace import Place

RETRACTED = 0.254
"""G83 goes back at rapid to this far above the hole's floor, mm."""


@dataclass(frozen=True, slots=True)
class Cycle:
    """What later lines of the same cycle inherit: R, Z, Q, P as written, in mm and seconds."""

    code: int
    r: float
    z: float
    peck: float
    dwell: float


CycleMove = tuple[Literal["rapid", "feed", "dwell"], Place]


def expand(
    code: int,
    w: dict[str, float],
    at: Place,
    last: Cycle | None,
    *,
    unit: float,
    incremental: bool,
    to_r: bool,
) -> tuple[Cycle, list[CycleMove]]:
    """The moves of one line of G81, G82 or G83 that starts at `at`, and what it leaves sticky.

    Raises:
        Fault: when the report refuses the line.
    """
    if last is not None and last.code != code:
        last = None
    kept = {} if last is None else {"R": last.r, "Z": last.z}
    given = {letter: w[letter] * unit for letter in "RZ" if letter in w}
    values = kept | given
    for letter in "RZ":
        if letter not in values:
            raise Fault(f"a drilling cycle without {letter}")
    peck = w["Q"] * unit if "Q" in w else (last.peck if last else 0.0)
    if code == 830 and not peck > 0:
        raise Fault("G83 needs Q above 0")
    dwell = w.get("P", last.dwell if last else 0.0)
    if dwell < 0 or (code == 820 and "P" not in w and last is None):
        raise Fault("G82 needs P, seconds of 0 or more")
    cycle = Cycle(code, values["R"], values["Z"], peck, dwell)
    x, y, z = at
    r = cycle.r + (z if incremental else 0.0)
    floor = cycle.z + (r if incremental else 0.0)
    if r < floor:
        raise Fault("R lies below Z in a drilling cycle")
    times = whole(w.get("L", 1.0), "L")
    if times == 0:
        raise Fault("L must be above 0")
    # 3.5.16.1: with the distance absolute, L repeats the cycle at the same place.
    moves: list[CycleMove] = []
    if z < r:
        moves.append(("rapid", (x, y, r)))
        z = r
    back = r if to_r else z
    for _ in range(times):
        if incremental:
            x, y = x + w.get("X", 0.0) * unit, y + w.get("Y", 0.0) * unit
        else:
            x, y = w["X"] * unit if "X" in w else x, w["Y"] * unit if "Y" in w else y
        moves.append(("rapid", (x, y, z)))
        if z != r:
            moves.append(("rapid", (x, y, r)))
        moves.extend(_down(cycle, x, y, r, floor))
        moves.append(("rapid", (x, y, back)))
        z = back
    return cycle, moves


def _down(cycle: Cycle, x: float, y: float, r: float, floor: float) -> Iterator[CycleMove]:
    if cycle.code == 830:
        reached = r - cycle.peck
        while reached > floor:
            yield "feed", (x, y, reached)
            yield "rapid", (x, y, r)
            yield "rapid", (x, y, reached + RETRACTED)
            reached -= cycle.peck
    yield "feed", (x, y, floor)
    if cycle.code == 820:
        yield "dwell", (x, y, floor)
