"""Canonical machine state: where the tool goes as the lines of a program are carried out."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from millprep.verify.block import ARCS, CYCLES, RESET, Block, Fault, spelt, whole
from millprep.verify.trace import Dwell, Kind, Place, TraceMove

RADII_DIFFERENCE = 0.002
"""Largest difference of an arc's two radii, mm (3.5.3.2); 0.0002 inch in G20."""
_INCH = 25.4
RETRACTED = 0.254
"""G83 goes back at rapid to this far above the hole's floor, mm."""
CycleMove = tuple[Literal["rapid", "feed", "dwell"], Place]
SHORTEST_PROBE = 0.254
"""A probe must be aimed at least this far, mm (3.5.6)."""
UNKNOWN = (math.nan, math.nan, math.nan)
_KIND: dict[int, Kind] = {0: "rapid", 10: "feed", 20: "arc_cw", 30: "arc_ccw", 382: "probe"}


def arc_centre(
    clockwise: bool, w: Mapping[str, float], start: Place, end: Place, unit: float
) -> tuple[float, float]:
    """The centre, mm, from the words I and J or R of a line; `unit` is mm for one of them.

    Raises:
        Fault: when words are missing or contradict each other.
    """
    if math.isnan(sum(start)):
        raise Fault("an arc from an unknown place")
    if "X" not in w and "Y" not in w:
        raise Fault("an arc without X or Y")
    if "R" in w:
        if "I" in w or "J" in w:
            raise Fault("an arc with R and a centre")
        return _centre_by_radius(start, end, w["R"] * unit, clockwise=clockwise)
    if "I" not in w and "J" not in w:
        raise Fault("an arc without I, J or R")
    x, y, _ = start
    centre = (x + w.get("I", 0.0) * unit, y + w.get("J", 0.0) * unit)
    first = math.dist((x, y), centre)
    last = math.dist(end[:2], centre)
    allowed = RADII_DIFFERENCE if unit == 1.0 else RADII_DIFFERENCE / 10 * _INCH
    # Decimal words are not exact in binary: a difference of just the limit must pass.
    if abs(first - last) > allowed + 1e-9:
        raise Fault(
            f"the arc's radius is {first:.4f} at its start and {last:.4f} at its end, "
            f"a difference of {allowed:.4g} mm is allowed"
        )
    if first == 0:
        raise Fault("an arc of no radius")
    return centre


def _centre_by_radius(
    start: Place, end: Place, radius: float, *, clockwise: bool
) -> tuple[float, float]:
    """Centre of an arc given by its radius; positive for at most half a turn, 3.5.3.1."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    chord = math.hypot(dx, dy)
    if chord == 0:
        raise Fault("an arc with R that ends where it starts")
    if chord / 2 - abs(radius) > RADII_DIFFERENCE:
        raise Fault(f"radius {abs(radius):.4f} is too small to reach the arc's end")
    height = math.sqrt(max(radius * radius - chord * chord / 4, 0.0))
    side = -1.0 if clockwise == (radius > 0) else 1.0
    return (
        (start[0] + end[0]) / 2 - side * dy / chord * height,
        (start[1] + end[1]) / 2 + side * dx / chord * height,
    )


@dataclass(frozen=True, slots=True)
class CannedCycle:
    """What later lines of the same cycle inherit: R, Z, Q, P as written, in mm and seconds."""

    code: int
    r: float
    z: float
    peck: float
    dwell: float


def expand(
    code: int,
    w: dict[str, float],
    at: Place,
    last: CannedCycle | None,
    *,
    unit: float,
    incremental: bool,
    to_r: bool,
) -> tuple[CannedCycle, list[CycleMove]]:
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
    cycle = CannedCycle(code, values["R"], values["Z"], peck, dwell)
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


def _down(cycle: CannedCycle, x: float, y: float, r: float, floor: float) -> Iterator[CycleMove]:
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


class MachineState:
    """The tool's place, its feed, and all motion so far.

    Args:
        dwell_unit: seconds in one of P.
    """

    def __init__(self, dwell_unit: float) -> None:
        self.dwell_unit = dwell_unit
        self.modal = dict(RESET)
        self.said: set[str] = set()
        self.relied: dict[str, str] = {}
        self.unit: float | None = None
        self.at: Place = UNKNOWN
        self._touched = False
        self.feed = 0.0
        self.moves: list[TraceMove] = []
        self.dwells: list[Dwell] = []
        self.cycles: list[int] = []
        self._cycle: CannedCycle | None = None

    def mm(self, word: str) -> float:
        """Millimetres in one of a word's unit.

        Raises:
            Fault: when no word has set the unit yet.
        """
        if self.unit is None:
            raise Fault(f"{word} comes before G20 or G21: its unit is unknown", standard=False)
        return self.unit

    def set_modal(self, g: dict[str, int]) -> None:
        """What a line's G words leave for all that follow."""
        for group, code in g.items():
            if group == "motion":
                self.modal[group] = code
                if code not in CYCLES:
                    self._cycle = None
            elif group in ("plane", "feed mode", "distance", "return"):
                self.modal[group] = code
                self.said.add(group)

    def wait(self, p: float, line: int) -> None:
        """A dwell of P."""
        self.dwells.append(Dwell(len(self.moves), line, p * self.dwell_unit))

    def motion_of(self, block: Block, g: dict[str, int]) -> tuple[int | None, bool]:
        """The motion code a line acts under, and whether it has axis words.

        Raises:
            Fault: when one is there without the other.
        """
        axes = not block.words.keys().isdisjoint("XYZ")
        motion = g.get("motion")
        if axes and motion is None:
            motion = self.modal["motion"]
        if motion == 800 and axes:
            raise Fault("axis words under G80, which ends all motion")
        if motion is not None and motion != 800 and not axes:
            raise Fault(f"{spelt(motion)} without X, Y or Z")
        return motion, axes

    def move(self, motion: int, block: Block, line: int) -> None:
        """Carry out a motion code with the axis words of its line.

        Raises:
            Fault: when the report refuses it, or it leads from an unknown place.
        """
        self._rely("distance")
        unit = self.mm("a length")
        if motion in CYCLES:
            self._rely("return")
            self._drill(motion, block, line, unit)
            return
        end = self._target(block.words, unit)
        by = self._counted(block.words, unit) if math.isnan(end[2]) else None
        centre = None
        if motion != 0:
            self._rely("feed mode")
            if not self.feed > 0:
                raise Fault(f"{spelt(motion)} with no feed")
        if motion in ARCS:
            self._rely("plane")
            centre = arc_centre(motion == 20, block.words, self.at, end, unit)
        if motion == 382:
            far = math.dist(self.at, end) if by is None else math.hypot(*by)
            if not far >= SHORTEST_PROBE:
                raise Fault(f"the probe's target is {far:.3f} mm away, or at an unknown distance")
        self._add(_KIND[motion], end, line, centre, by)
        if motion == 382:
            # It stops where it touches, and only the machine knows where.
            (a, b, c), (x, y, z) = self.moves[-1].start, end
            self.at = (
                x if x == a else math.nan,
                y if y == b else math.nan,
                z if z == c else math.nan,
            )
        self._touched = motion == 382 or by is not None

    def _rely(self, group: str) -> None:
        if group not in self.said:
            self.relied.setdefault(group, spelt(RESET[group]))

    def _add(
        self,
        kind: Kind,
        end: Place,
        line: int,
        centre: tuple[float, float] | None = None,
        by: Place | None = None,
    ) -> None:
        feed = None if kind == "rapid" else self.feed
        self.moves.append(TraceMove(kind, self.at, end, centre, feed, line, by))
        self.at = end

    def _counted(self, w: dict[str, float], unit: float) -> Place | None:
        """How far a move up or down leads from a touch; None for any other."""
        if self.modal["distance"] != 910 or not self._touched or set(w) & {"X", "Y"}:
            return None
        return (0.0, 0.0, w["Z"] * unit)

    def _target(self, w: dict[str, float], unit: float) -> Place:
        x, y, z = self.at
        if self.modal["distance"] == 900:
            return (
                w["X"] * unit if "X" in w else x,
                w["Y"] * unit if "Y" in w else y,
                w["Z"] * unit if "Z" in w else z,
            )
        for letter, place in zip("XYZ", self.at, strict=True):
            if letter in w and math.isnan(place) and not (letter == "Z" and self._touched):
                raise Fault(f"{letter} is counted from an unknown place")
        return (
            x + w.get("X", 0.0) * unit,
            y + w.get("Y", 0.0) * unit,
            z + w.get("Z", 0.0) * unit,
        )

    def _drill(self, motion: int, block: Block, line: int, unit: float) -> None:
        self._rely("feed mode")
        if not self.feed > 0:
            raise Fault(f"{spelt(motion)} with no feed")
        if math.isnan(sum(self.at)):
            raise Fault("a drilling cycle from an unknown place")
        if self._cycle is not None and self.modal["distance"] == 910:
            # Interpreters differ in what R is counted from.
            raise Fault("increments in a drilling cycle that follows another", standard=False)
        self._cycle, moves = expand(
            motion,
            block.words,
            self.at,
            self._cycle,
            unit=unit,
            incremental=self.modal["distance"] == 910,
            to_r=self.modal["return"] == 990,
        )
        self.cycles.append(line)
        for kind, end in moves:
            if kind == "dwell":
                self.wait(self._cycle.dwell, line)
            else:
                self._add(kind, end, line)
