"""Drill files: holes, slots and routed cuts, each with the width of its tool.

Read are the statements of the XNC format, and those that drill files of the older kind have:
numbers without a point, repeated holes, tools that are defined in the body, slots by G85. Whatever
else there is refuses the file, with its line.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np

from millprep.drawing.gerber.shapes import MOST_SHAPES, PenRun, arc, ends_of
from millprep.drawing.gerber.statements import (
    MOST_STATEMENTS,
    DrillNumbers,
    Statement,
    UnreadableError,
)
from millprep.drawing.marks.mark import Aside, Source, Stroke
from millprep.drawing.unit import MM
from millprep.geometry.path import FloatArray, Point
from millprep.geometry.pose import Affine
from millprep.model.job.layers import Unit

_WORD = re.compile(r"([A-Z])([+-]?[\d.]*)")
_POINT = re.compile(r"[^;]*[XY][+-]?\d*\.")
_UNIT = re.compile(r"(INCH|METRIC)((?:,(?:LZ|TZ|0+\.0+))*)")
_TOOL = re.compile(r"T(\d+)((?:[CFSBHZ][+-]?[\d.]+)*)")
_DIGITS_NOTE = re.compile(r";\s*FILE_FORMAT\s*=\s*(\d):(\d)")
_FUNCTION = re.compile(r";\s*#@!\s*TF\.FileFunction,(.*)")
_NO_EFFECT = re.compile(r"VER,1|FMAT,2|ATC,O[NF]+|DETECT,O[NF]+|R,(H|C|CP|CR|D)|/|AUTO SAFETY")
"""Statements of the header that change no place and no tool."""


@dataclass(frozen=True, slots=True)
class DrillFile:
    """What a drill file holds.

    Attributes:
        strokes: one for each hole, slot and cut, as wide as its tool, mm.
        noted: what cuts nothing.
        unit: as the file gives it.
        assumed: what the file does not say of its numbers and is taken as usual; "" for nothing.
        function: what the file says of itself, `("Plated", "1", "2", "PTH")`.
        count: of strokes and notes.
    """

    strokes: tuple[Stroke, ...]
    noted: tuple[Aside, ...]
    unit: Unit | None
    assumed: str
    function: tuple[str, ...]
    count: int


def read_drill(content: bytes, name: str, unit: Unit | None = None, first: int = 0) -> DrillFile:
    """Read a drill file.

    Args:
        content: of the file.
        name: what to call its one layer.
        unit: of the numbers, where the file itself gives none.
        first: number of its first hole, so that several files can share a ledger.

    Raises:
        UnreadableError: at the first line that is wrong or not known.
    """
    lines = content.decode("utf-8", "replace").splitlines()
    if len(lines) > MOST_STATEMENTS:
        raise UnreadableError(MOST_STATEMENTS, "the file has more lines than this")
    reader = _Drill(name, unit, first, points=any(map(_POINT.match, lines)))
    for number, text in enumerate(lines, 1):
        reader.take(Statement(number, text.strip(" \t\0\x1a")))
    if not reader.ended:
        raise UnreadableError(
            max(len(lines), 1), "the file ends without M30, so its end may be missing"
        )
    count = reader.count - first
    return DrillFile(
        tuple(reader.strokes), tuple(reader.noted), reader.numbers.unit, reader.numbers.assumed,
        reader.function, count,
    )  # fmt: skip


class _Drill:
    """The state of the format, changed by one line after the other."""

    def __init__(self, name: str, unit: Unit | None, first: int, *, points: bool) -> None:
        self.name, self.count = name, first
        self.numbers = DrillNumbers(None if unit is None else MM[unit], points)
        self.steps = False
        self.header = False
        self.ended = False
        self.tools: dict[int, tuple[float, Statement]] = {}
        self.tool: int | None = None
        self.at: Point = (0.0, 0.0)
        self.routing = False
        self.motion = 0
        self.down: bool | None = None
        self.trail: PenRun | None = None
        self.strokes: list[Stroke] = []
        self.noted: list[Aside] = []
        self.function: tuple[str, ...] = ()

    def take(self, statement: Statement) -> None:
        """Do what one line says."""
        text = statement.text
        if not text:
            return
        if text.startswith((";", "M47")):
            self._comment(statement)
        elif self.ended:
            raise statement.fault("a line comes after the end of the file, M30")
        elif text in ("M48", "%", "M95"):
            self.header = text == "M48"
        elif match := _UNIT.fullmatch(text):
            self.numbers.unit_is("inch" if match[1] == "INCH" else "mm", statement)
            for part in match[2].split(",")[1:]:
                self.numbers.format_is(part, statement)
        elif text in ("M71", "M72"):
            self.numbers.unit_is("mm" if text == "M71" else "inch", statement)
        elif text in ("M30", "M00", "M30*", "M02"):
            self._end_trail()
            self.ended = True
        elif match := _TOOL.fullmatch(text):
            self._tool(int(match[1]), match[2], statement)
        elif text in ("ICI,ON", "ICI", "ICI,OFF"):
            self.steps = text != "ICI,OFF"
        elif not _NO_EFFECT.fullmatch(text):
            self._words(statement)

    def _comment(self, statement: Statement) -> None:
        if match := _DIGITS_NOTE.match(statement.text):
            self.numbers.digits_are((int(match[1]), int(match[2])), statement)
        elif match := _FUNCTION.match(statement.text):
            self.function = tuple(match[1].split(","))
        source = self._source("comment", statement.line)
        self.noted.append(Aside(source, "it is a comment", harmless=True))

    def _source(self, kind: str, line: int) -> Source:
        self.count += 1
        return Source(self.name, kind, f"of line {line}", self.count - 1)

    def _tool(self, number: int, sizes: str, statement: Statement) -> None:
        self._end_trail()
        given = dict(_WORD.findall(sizes))
        if "C" in given:
            try:
                diameter = float(given["C"])
            except ValueError:
                diameter = 0.0
            if not diameter > 0:
                raise statement.fault("the diameter of the tool is not above zero")
            self.tools[number] = (diameter, statement)
        if self.header:
            return
        if number == 0:
            self.tool = None
        elif number in self.tools:
            self.tool = number
        else:
            raise statement.fault(f"no line before gives the diameter of tool T{number}")

    def _words(self, statement: Statement) -> None:
        text = statement.text.replace(" ", "")
        words = _WORD.findall(text)
        if "".join(letter + value for letter, value in words) != text or self.header:
            raise statement.fault("is no line of the format, or one that is not read")
        slot = [k for k, word in enumerate(words) if word == ("G", "85")]
        if slot:
            self._slot(words[: slot[0]], words[slot[0] + 1 :], statement)
            return
        place: dict[str, str] = {}
        zero = False
        for letter, value in words:
            if letter == "G" and value.isdigit():
                zero = zero or int(value) == 93
                self._mode(int(value), statement)
            elif letter == "M" and value in ("15", "16", "17"):
                if value != "15":
                    self._end_trail()
                self.down = value == "15"
            elif letter in "XYAIJR" and letter not in place and value:
                place[letter] = value
            else:
                raise statement.fault(f"{letter}{value} is no word that is read here")
        if zero:
            if any(self.numbers.mm_of(value, statement) for value in place.values()):
                raise statement.fault("the zero of the drill file is set to another place")
        elif place:
            self._go(place, statement)

    def _mode(self, code: int, statement: Statement) -> None:
        if code in (0, 1, 2, 3):
            if code == 0:
                self._end_trail()
                self.down = None
            elif not self.routing:
                raise statement.fault("a routed cut begins without G00")
            self.routing, self.motion = True, code
        elif code in (5, 81):
            self._end_trail()
            self.routing = False
        elif code in (90, 91):
            self.steps = code == 91
        elif code != 93:
            raise statement.fault(f"G{code:02d} is no code that is read here")

    def _target(self, place: dict[str, str], statement: Statement) -> Point:
        if self.steps:
            x, y = self._lengths(place, "XY", statement)
            return (self.at[0] + x, self.at[1] + y)
        return self._lengths(place, "XY", statement, self.at)

    def _lengths(
        self, place: dict[str, str], axes: str, statement: Statement, usual: Point = (0.0, 0.0)
    ) -> Point:
        """Two lengths of a line, mm; the usual one where it has none."""
        x, y = (
            self.numbers.mm_of(place[axis], statement) if axis in place else length
            for axis, length in zip(axes, usual, strict=True)
        )
        return x, y

    def _go(self, place: dict[str, str], statement: Statement) -> None:
        if "R" in place:
            self._repeat(place, statement)
            return
        to = self._target(place, statement)
        if not self.routing:
            if set(place) - {"X", "Y"}:
                raise statement.fault("a hole is given by X and Y alone")
            self._paint("hole", [to], [], statement)
        elif self.motion > 0:
            self._cut(to, place, statement)
        self.at = to

    def _repeat(self, place: dict[str, str], statement: Statement) -> None:
        """The last hole again, several times, each a step further."""
        times = place.pop("R")
        last = self.strokes[-1].source.kind if self.strokes else ""
        strange = not times.isdigit() or not place or set(place) - {"X", "Y"}
        if self.routing or last != "hole" or strange:
            raise statement.fault("repeats no hole; one is repeated by R3X0.1")
        if len(self.strokes) + int(times) > MOST_SHAPES:
            raise statement.fault(f"the file has more than {MOST_SHAPES} holes")
        dx, dy = self._lengths(place, "XY", statement)
        for _ in range(int(times)):
            self.at = (self.at[0] + dx, self.at[1] + dy)
            self._paint("hole", [self.at], [], statement)

    def _slot(
        self, start: list[tuple[str, str]], end: list[tuple[str, str]], statement: Statement
    ) -> None:
        if {letter for letter, _ in (*start, *end)} - {"X", "Y"} or not end:
            raise statement.fault("is no slot; one is written X1.0Y2.0G85X3.0Y2.0")
        first = self.at = self._target(dict(start), statement)
        self.at = self._target(dict(end), statement)
        self._paint("slot", [first, self.at], [0.0], statement)

    def _cut(self, to: Point, place: dict[str, str], statement: Statement) -> None:
        if self.down is False:
            raise statement.fault("cuts with the tool up, after M16 or M17")
        self._diameter(statement)
        steps = [(to, 0.0)]
        if self.motion > 1:
            steps = self._arc(to, place, statement)
        if self.trail is None:
            self.trail = PenRun(statement.line, [self.at])
        self.trail.add(steps)
        if len(self.trail.points) > MOST_SHAPES:
            raise statement.fault(f"the cut has more than {MOST_SHAPES} corners")

    def _arc(
        self, to: Point, place: dict[str, str], statement: Statement
    ) -> list[tuple[Point, float]]:
        """Steps of an arc given by its centre, I and J, or by its radius, A."""
        clockwise = self.motion == 2
        if "A" not in place:
            centre = self._lengths(place, "IJ", statement)
            return arc(self.at, to, centre, clockwise, False, statement)
        radius = self.numbers.mm_of(place["A"], statement)
        (x0, y0), (x1, y1) = self.at, to
        chord = math.dist(self.at, to)
        if not chord > 0 or radius < chord / 2 - 0.05:
            raise statement.fault("no arc of this radius leads there")
        # the shorter way round
        high = math.sqrt(max(radius**2 - chord**2 / 4, 0.0)) * (1 if not clockwise else -1)
        offset = (
            (x1 - x0) / 2 - (y1 - y0) / chord * high,
            (y1 - y0) / 2 + (x1 - x0) / chord * high,
        )
        return arc(self.at, to, offset, clockwise, False, statement)

    def _end_trail(self) -> None:
        trail, self.trail = self.trail, None
        if trail is None:
            return
        points, bulges = trail.points, trail.bulges
        if not any(bulges):
            points = ends_of(points)
            bulges = [0.0] * (len(points) - 1)
        kind = "slot" if len(points) == 2 and not any(bulges) else "cut"
        self._paint(kind, points, bulges, Statement(trail.line, ""))

    def _diameter(self, statement: Statement) -> float:
        if self.tool is None:
            raise statement.fault("no tool is selected")
        diameter = self.numbers.length(self.tools[self.tool][0], statement)
        if diameter > 100:  # mm
            raise statement.fault(f"tool T{self.tool} is {diameter:g} mm wide, and no tool is")
        return diameter

    def _paint(
        self, kind: str, points: list[Point], bulges: list[float], statement: Statement
    ) -> None:
        if len(self.strokes) >= MOST_SHAPES:
            raise statement.fault(f"the file has more than {MOST_SHAPES} holes")
        diameter = self._diameter(statement)
        xy: FloatArray = np.array(points, dtype=float)
        if kind == "slot" and math.dist(points[0], points[-1]) <= 1e-9:
            kind, xy, bulges = "hole", xy[:1], []  # a slot of no length is a hole
        closed = len(points) > 2 and math.dist(points[0], points[-1]) <= 1e-9
        widths = np.full(max(len(bulges), 1), diameter)
        self.strokes.append(
            Stroke(
                self._source(kind, statement.line),
                xy[:-1] if closed else xy,
                np.array(bulges, dtype=float),
                widths,
                closed,
                Affine(),
            )
        )
