"""An RS-274 reader by NISTIR 6556 (Kramer, Proctor, Messina, 2000).

It shares nothing with the writer: it tells what a controller would do with a file, or why
it would refuse it.

Within a line the words take effect in the order of table 8, however they are written. Words
the report allows but whose effect is not in the file (offsets, other planes, expressions)
are refused as well: what cannot be known cannot be proved.
"""

from __future__ import annotations

import math

from millprep.proof.arc import arc_centre
from millprep.proof.block import Block, Fault, parse, whole
from millprep.proof.cycles import Cycle, expand
from millprep.proof.groups import check_letters, grouped_g, grouped_m
from millprep.proof.modal import ARCS, CYCLES, RESET, spelt
from millprep.proof.trace import (
    Dwell,
    Kind,
    Place,
    SpindleEvent,
    Stop,
    ToolChange,
    Trace,
    TraceMove,
)
from millprep.values.finding import Finding, Refusal

SHORTEST_PROBE = 0.254
"""A probe must be aimed at least this far, mm (3.5.6)."""
MOST_FINDINGS = 50
_INCH = 25.4
_UNKNOWN = (math.nan, math.nan, math.nan)
_KIND: dict[int, Kind] = {0: "rapid", 10: "feed", 20: "arc_cw", 30: "arc_ccw", 382: "probe"}


def read(text: str, *, file: str) -> Trace:
    """What the program in `text` does.

    `file` is only named in findings. Places are unknown (nan) until a word tells them; the
    unit must be said before the first length.

    Raises:
        Refusal: with every fault of the file, each with its line.
    """
    return _Reader(file).run(text)


class _Reader:
    """The state of the machine while a file is read."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.faults: list[Finding] = []
        self.modal = dict(RESET)
        self.said: set[str] = set()
        self.relied: dict[str, str] = {}
        self.unit: float | None = None
        self.at: Place = _UNKNOWN
        self.feed = 0.0
        self.rpm = 0.0
        self.tool = 0
        self.cycle: Cycle | None = None
        self.moves: list[TraceMove] = []
        self.spindle: list[SpindleEvent] = []
        self.dwells: list[Dwell] = []
        self.stops: list[Stop] = []
        self.changes: list[ToolChange] = []
        self.deletable: list[int] = []
        self.ended: str | None = None
        self.last_line = 0
        self.words_above = ""
        self.line = 0

    def run(self, text: str) -> Trace:
        lines = text.split("\n")
        percent = False
        first = True
        for self.line, raw in enumerate(lines, 1):
            raw = raw.removesuffix("\r")
            bare = raw.strip(" \t")
            if not bare:
                continue
            if bare == "%":
                if first:
                    percent, first = True, False
                    continue
                if percent:
                    self._end("%")
                    break
            first = False
            try:
                block = parse(raw)
                if not (block.g or block.m or block.words or block.deletable):
                    self.words_above = block.comment or self.words_above
                    continue
                self._carry_out(block)
                self.words_above = ""
            except Fault as fault:
                self._refuse(fault)
                if len(self.faults) >= MOST_FINDINGS:
                    break
            if self.ended:
                break
        if not self.ended and len(self.faults) < MOST_FINDINGS:
            self.line = len(lines)
            self._refuse(
                Fault(
                    "the file has an opening percent line and no closing one"
                    if percent
                    else "the file ends without M2, M30 or percent lines: it may be cut short"
                )
            )
        if self.faults:
            raise Refusal(self.faults)
        return Trace(
            file=self.file,
            moves=tuple(self.moves),
            spindle=tuple(self.spindle),
            dwells=tuple(self.dwells),
            stops=tuple(self.stops),
            tool_changes=tuple(self.changes),
            ended=self.ended,  # type: ignore[arg-type]
            last_line=self.last_line,
            deletable=tuple(self.deletable),
            assumed=tuple(sorted(self.relied.values())),
        )

    def _refuse(self, fault: Fault) -> None:
        self.faults.append(
            Finding(
                code="rs274-error" if fault.standard else "rs274-unproved",
                severity="stop",
                message=f"{fault.message}. Write the set again; do not run this file.",
                file=self.file,
                line=self.line,
            )
        )

    def _end(self, word: str) -> None:
        self.ended, self.last_line = word, self.line

    # One line, in the order of table 8.

    def _carry_out(self, block: Block) -> None:
        g = grouped_g(block.g)
        m = grouped_m(block.m)
        if block.deletable:
            self.deletable.append(self.line)
        motion, axes = self._motion_of(block, g)
        check_letters(block.words, {motion, g.get("non-modal")})
        before = len(self.moves)
        w = block.words
        self._units(g, w)
        if (feed := w.get("F")) is not None:
            if feed < 0:
                raise Fault("a negative feed")
            self.feed = feed * self._mm("F")
        if (rpm := w.get("S")) is not None:
            if rpm < 0:
                raise Fault("a negative spindle speed")
            self._speed(rpm, before)
        if (tool := w.get("T")) is not None:
            self.tool = whole(tool, "T")
        if "tool change" in m:
            # 3.6.3: the spindle stands when the tool has been changed.
            self.changes.append(ToolChange(before, self.line, self.tool))
            self._turn(5, before)
        if "spindle" in m:
            self._turn(m["spindle"], before)
        if g.get("non-modal") == 40:
            if "P" not in w or w["P"] < 0:
                raise Fault("G4 needs P, seconds of 0 or more")
            self.dwells.append(Dwell(before, self.line, w["P"]))
        for group in ("plane", "feed mode", "distance", "return"):
            if group in g:
                self.modal[group] = g[group]
                self.said.add(group)
        if "motion" in g:
            self.modal["motion"] = g["motion"]
            if g["motion"] not in CYCLES:
                self.cycle = None
        if axes and motion is not None:
            self._move(motion, block)
        stopping = m.get("stopping")
        if stopping in (0, 1):
            words = block.comment or self.words_above
            self.stops.append(Stop(len(self.moves), self.line, stopping == 1, words))
        elif stopping is not None:
            self._end(f"M{stopping}")

    def _units(self, g: dict[str, int], w: dict[str, float]) -> None:
        if "units" not in g:
            return
        unit = _INCH if g["units"] == 200 else 1.0
        if self.unit not in (None, unit) and "F" in w:
            # By table 8 this F is still in the old unit; controllers differ.
            raise Fault("F stands in the line that changes the unit", standard=False)
        self.unit = unit

    def _mm(self, word: str) -> float:
        if self.unit is None:
            raise Fault(f"{word} comes before G20 or G21: its unit is unknown", standard=False)
        return self.unit

    def _rely(self, group: str) -> None:
        if group not in self.said:
            self.relied.setdefault(group, spelt(RESET[group]))

    def _speed(self, rpm: float, before: int) -> None:
        turning = self.spindle and self.spindle[-1].on
        self.rpm = rpm
        if turning:
            last = self.spindle[-1]
            self.spindle.append(last._replace(before=before, line=self.line, rpm=rpm))

    def _turn(self, m: int, before: int) -> None:
        on = m != 5
        self.spindle.append(SpindleEvent(before, self.line, on, m != 4, self.rpm if on else 0.0))

    def _motion_of(self, block: Block, g: dict[str, int]) -> tuple[int | None, bool]:
        """The motion code this line acts under, and whether it has axis words."""
        axes = any(letter in block.words for letter in "XYZ")
        motion = g.get("motion")
        if axes and motion is None:
            motion = self.modal["motion"]
        if motion == 800 and axes:
            raise Fault("axis words under G80, which ends all motion")
        if motion is not None and motion != 800 and not axes:
            raise Fault(f"{spelt(motion)} without X, Y or Z")
        return motion, axes

    def _move(self, motion: int, block: Block) -> None:
        self._rely("distance")
        if motion in CYCLES:
            self._rely("return")
            self._drill(motion, block)
            return
        end = self._target(block.words)
        centre = None
        if motion != 0:
            self._rely("feed mode")
            if not self.feed > 0:
                raise Fault(f"{spelt(motion)} with no feed")
        if motion in ARCS:
            self._rely("plane")
            centre = arc_centre(motion == 20, block.words, self.at, end, self._mm("an arc"))
        if motion == 382:
            far = math.dist(self.at, end)
            if not far >= SHORTEST_PROBE:
                raise Fault(f"the probe's target is {far:.3f} mm away, or at an unknown distance")
        self._add(_KIND[motion], end, centre)
        if motion == 382:
            # It stops where it touches, and only the machine knows where.
            (a, b, c), (x, y, z) = self.moves[-1].start, end
            self.at = (
                x if x == a else math.nan,
                y if y == b else math.nan,
                z if z == c else math.nan,
            )

    def _add(self, kind: Kind, end: Place, centre: tuple[float, float] | None = None) -> None:
        feed = None if kind == "rapid" else self.feed
        self.moves.append(TraceMove(kind, self.at, end, centre, feed, self.line))
        self.at = end

    def _target(self, w: dict[str, float]) -> Place:
        unit = self._mm("a length")
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

    def _drill(self, motion: int, block: Block) -> None:
        unit = self._mm("a length")
        self._rely("feed mode")
        if not self.feed > 0:
            raise Fault(f"{spelt(motion)} with no feed")
        if math.isnan(sum(self.at)):
            raise Fault("a drilling cycle from an unknown place")
        if self.cycle is not None and self.modal["distance"] == 910:
            # Interpreters differ in what R is counted from.
            raise Fault("increments in a drilling cycle that follows another", standard=False)
        self.cycle, moves = expand(
            motion,
            block.words,
            self.at,
            self.cycle,
            unit=unit,
            incremental=self.modal["distance"] == 910,
            to_r=self.modal["return"] == 990,
        )
        for kind, end in moves:
            if kind == "dwell":
                self.dwells.append(Dwell(len(self.moves), self.line, self.cycle.dwell))
            else:
                self._add(kind, end)
