"""Where the tool goes while a file is read, and the modal words that decide it."""

from __future__ import annotations

import math

from millprep.verify.arc import arc_centre
from millprep.verify.block import Block, Fault
from millprep.verify.cycles import Cycle, expand
from millprep.verify.modal import ARCS, CYCLES, RESET, spelt
from millprep.verify.trace import Dwell, Kind, Place, TraceMove

SHORTEST_PROBE = 0.254
"""A probe must be aimed at least this far, mm (3.5.6)."""
UNKNOWN = (math.nan, math.nan, math.nan)
_KIND: dict[int, Kind] = {0: "rapid", 10: "feed", 20: "arc_cw", 30: "arc_ccw", 382: "probe"}


class Carriage:
    """The tool's place, its feed, and all motion so far.

    Args:
        dwell_unit: seconds in one of P.
    """

    def __init__(self, dwell_unit: float = 1.0) -> None:
        self.dwell_unit = dwell_unit
        self.modal = dict(RESET)
        self.said: set[str] = set()
        self.relied: dict[str, str] = {}
        self.unit: float | None = None
        self.at: Place = UNKNOWN
        self.feed = 0.0
        self.moves: list[TraceMove] = []
        self.dwells: list[Dwell] = []
        self.cycles: list[int] = []
        self._cycle: Cycle | None = None

    def mm(self, word: str) -> float:
        """Millimetres in one of a word's unit.

        Raises:
            Fault: when no word has told the unit yet.
        """
        if self.unit is None:
            raise Fault(f"{word} comes before G20 or G21: its unit is unknown", standard=False)
        return self.unit

    def set_modal(self, g: dict[str, int]) -> None:
        """What a line's G words leave for all that follow."""
        for group in ("plane", "feed mode", "distance", "return"):
            if group in g:
                self.modal[group] = g[group]
                self.said.add(group)
        if "motion" in g:
            self.modal["motion"] = g["motion"]
            if g["motion"] not in CYCLES:
                self._cycle = None

    def wait(self, p: float, line: int) -> None:
        """A dwell of P."""
        self.dwells.append(Dwell(len(self.moves), line, p * self.dwell_unit))

    def motion_of(self, block: Block, g: dict[str, int]) -> tuple[int | None, bool]:
        """The motion code a line acts under, and whether it has axis words.

        Raises:
            Fault: when one is there without the other.
        """
        axes = any(letter in block.words for letter in "XYZ")
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
        if motion in CYCLES:
            self._rely("return")
            self._drill(motion, block, line)
            return
        end = self._target(block.words)
        centre = None
        if motion != 0:
            self._rely("feed mode")
            if not self.feed > 0:
                raise Fault(f"{spelt(motion)} with no feed")
        if motion in ARCS:
            self._rely("plane")
            centre = arc_centre(motion == 20, block.words, self.at, end, self.mm("an arc"))
        if motion == 382:
            far = math.dist(self.at, end)
            if not far >= SHORTEST_PROBE:
                raise Fault(f"the probe's target is {far:.3f} mm away, or at an unknown distance")
        self._add(_KIND[motion], end, line, centre)
        if motion == 382:
            # It stops where it touches, and only the machine knows where.
            (a, b, c), (x, y, z) = self.moves[-1].start, end
            self.at = (
                x if x == a else math.nan,
                y if y == b else math.nan,
                z if z == c else math.nan,
            )

    def _rely(self, group: str) -> None:
        if group not in self.said:
            self.relied.setdefault(group, spelt(RESET[group]))

    def _add(
        self, kind: Kind, end: Place, line: int, centre: tuple[float, float] | None = None
    ) -> None:
        feed = None if kind == "rapid" else self.feed
        self.moves.append(TraceMove(kind, self.at, end, centre, feed, line))
        self.at = end

    def _target(self, w: dict[str, float]) -> Place:
        unit = self.mm("a length")
        x, y, z = self.at
        if self.modal["distance"] == 900:
            return (
                w["X"] * unit if "X" in w else x,
                w["Y"] * unit if "Y" in w else y,
                w["Z"] * unit if "Z" in w else z,
            )
        for letter, place in zip("XYZ", self.at, strict=True):
            if letter in w and math.isnan(place):
                raise Fault(f"{letter} is counted from an unknown place")
        return (
            x + w.get("X", 0.0) * unit,
            y + w.get("Y", 0.0) * unit,
            z + w.get("Z", 0.0) * unit,
        )

    def _drill(self, motion: int, block: Block, line: int) -> None:
        unit = self.mm("a length")
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
