"""A Gerber file as painted shapes, in the order in which they are painted.

Every statement is understood or refused with its line (Gerber layer format specification, with the
statements that it deprecates and files still have). What draws nothing is noted: comments, names,
attributes.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import shapely

from millprep.drawing.gerber import shapes
from millprep.drawing.gerber.macros import Macro
from millprep.drawing.gerber.painter import MIRRORS, Painter
from millprep.drawing.gerber.shapes import Painted, visible
from millprep.drawing.gerber.statements import (
    TURNS,
    Coordinates,
    Statement,
    UnreadableError,
    is_comment,
    plain,
    statements,
    words,
)
from millprep.drawing.marks.mark import Aside
from millprep.drawing.unit import MM
from millprep.model.job.layers import Unit

MOST_SCALE = 1000
"""What apertures may be scaled by; no board needs ten."""


@dataclass(frozen=True, slots=True)
class GerberLayer:
    """What a Gerber file holds.

    Attributes:
        shapes: all dark, what clear ones take away is gone; mm.
        noted: what draws nothing.
        unit: as the file gives it.
        function: what the file says of itself, `("Copper", "L2", "Bot")`; empty where it does not.
        count: of shapes and notes.
    """

    shapes: tuple[Painted, ...]
    noted: tuple[Aside, ...]
    unit: Unit | None
    function: tuple[str, ...]
    count: int


def read_layer(content: bytes, name: str, unit: Unit | None = None, first: int = 0) -> GerberLayer:
    """Read a Gerber file.

    Args:
        content: of the file.
        name: what to call its one layer.
        unit: of the numbers, where the file itself gives none.
        first: number of its first shape, so that several files can share a ledger.

    Raises:
        UnreadableError: at the first statement that is wrong or not known.
    """
    text = content.removeprefix(b"\xef\xbb\xbf").decode("utf-8", "surrogateescape")
    reader = _Statements(name, unit, first)
    for statement in statements(text):
        try:
            reader.take(statement)
        except (ValueError, ArithmeticError, shapely.GEOSException) as fault:
            # numbers that no board has make the arithmetic stumble
            raise statement.fault(f"draws what no board has ({fault})") from None
    if not reader.ended:
        raise UnreadableError(
            text.count("\n") + 1, "the file ends without M02, so its end may be missing"
        )
    painter = reader.painter
    shapes = painter.shapes
    if turn := reader.xy.turn:
        shapes = [shape.placed(TURNS[turn]) for shape in shapes]
    return GerberLayer(
        tuple(visible(shapes)),
        tuple(painter.noted),
        reader.xy.unit,
        reader.function,
        painter.count - first,
    )


class _Statements:
    """What each statement means; what it paints is the painter's work."""

    def __init__(self, name: str, unit: Unit | None, first: int) -> None:
        self.xy = Coordinates()
        if unit is not None:
            self.xy.mm = MM[unit]
        self.painter = Painter(name, self.xy, first)
        self.ended = False
        self.function: tuple[str, ...] = ()
        self.macros: dict[str, Macro] = {}
        self.macro: tuple[Statement, list[Statement]] | None = None
        self.operation = 2

    def take(self, statement: Statement) -> None:
        """Do what one statement says."""
        if self.ended and not re.fullmatch("M0*[02]", statement.text):
            raise statement.fault("a statement comes after the end of the file, M02")
        if self.macro is not None and statement.section != self.macro[0].section:
            self.macro = None
        if self.macro is not None:
            self.macro[1].append(statement)
        elif is_comment(statement):
            note = re.search(r"#@!\s*(T[FAOD].*)", statement.text)
            if note is not None:
                self._attribute(Statement(statement.line, note[1]))
            else:
                self.painter.note(statement, "comment")
        elif not statement.text:
            return
        elif statement.section and not re.match(r"G\d|[XYD]\d|M0", statement.text):
            self._extended(statement)
        else:
            self._plain(statement)

    # statements between %

    def _extended(self, statement: Statement) -> None:
        text = statement.text
        code = text[:2]
        if code == "AM":
            macro = Macro(text[2:].strip(), [])
            self.macro = (statement, macro.parts)
            self.macros[macro.name] = macro
            return
        self.painter.end_trail()
        if code in ("TF", "TA", "TO", "TD"):
            self._attribute(statement)
        elif code in ("IN", "LN"):
            self.painter.note(statement, "name")
        elif code == "FS":
            self.xy.format_is(statement)
        elif text in ("MOMM", "MOIN"):
            self.xy.unit_is(text[2:], statement)
        elif code == "AD":
            number, aperture = shapes.defined(statement, self.macros)
            self.painter.define(number, aperture)
        elif code == "AB":
            self.painter.block(statement)
        elif code == "SR":
            self.painter.step_and_repeat(statement)
        elif text in ("LPD", "LPC"):
            self.painter.dark = text == "LPD"
        elif code == "LM" and text[2:] in MIRRORS:
            self.painter.mirror = text[2:]
        elif code == "LR":
            self.painter.turn = plain(text[2:], statement)
        elif code == "LS":
            self.painter.scale = plain(text[2:], statement)
            if not 0 < self.painter.scale <= MOST_SCALE:
                raise statement.fault(f"the scale is not above 0 and at most {MOST_SCALE}")
        elif code in _IMAGE:
            _IMAGE[code](self.xy, statement)
        elif text not in _NO_EFFECT:
            raise statement.fault(
                _REFUSED.get(code, "is no statement of the format, or one that is not read")
            )

    def _attribute(self, statement: Statement) -> None:
        self.painter.note(statement, "attribute")
        name, *values = statement.text[2:].split(",")
        code = statement.text[:2]
        if code == "TF" and name == ".FileFunction":
            self.function = tuple(values)
        elif name == ".N" or (code == "TD" and not name):
            self.painter.end_trail()
            value = _unescaped(values[0]) if values and code == "TO" else ""
            self.painter.net = value or None

    # statements of words

    def _plain(self, statement: Statement) -> None:
        place: dict[str, str] = {}
        number: int | None = None
        end = False
        for letter, value in words(statement):
            if letter in "GDMN" and not value.isdigit():
                raise statement.fault(f"{letter} has no number after it")
            if letter == "G":
                self._mode(int(value), statement)
            elif letter == "D":
                number = int(value)
            elif letter == "M":
                if int(value) > 2:
                    raise statement.fault(f"M{value} is no code of the format")
                end = int(value) != 1
            elif letter in "XYIJ":
                if letter in place:
                    raise statement.fault(f"{letter} is there twice")
                place[letter] = value
            elif letter != "N":
                raise statement.fault(f"{letter}{value} is no word of the format")
        if number is not None and number >= 10:
            if place:
                raise statement.fault("an aperture is selected together with coordinates")
            self.painter.select(number, statement)
        elif number == 0 or (number is not None and number > 3):
            raise statement.fault(f"D{number:02d} is no code of the format")
        elif number is not None or place:
            self.operation = number or self.operation
            self.painter.operate(self.operation, place, statement)
        if end:
            self.painter.finish(statement)
            self.ended = True

    def _mode(self, code: int, statement: Statement) -> None:
        if code in (1, 2, 3):
            self.painter.motion = code
        elif code == 36:
            self.painter.open_region(statement)
        elif code == 37:
            self.painter.end_region(statement)
        elif code in (70, 71):
            self.xy.unit_is(f"G{code}", statement)
        elif code in (74, 75):
            self.painter.single = code == 74
        elif code in (90, 91):
            self.xy.steps = code == 91
        elif code not in (54, 55):
            raise statement.fault(f"G{code:02d} is no code of the format, or one that is not read")


def _unescaped(text: str) -> str:
    return re.sub(r"\\u([0-9A-Fa-f]{4})", lambda match: chr(int(match[1], 16)), text)


def _mirror(xy: Coordinates, statement: Statement) -> None:
    a, b = xy.pair(statement, 0.0)
    if {a, b} - {0.0, 1.0}:
        raise statement.fault("takes 0 or 1 behind A and B")
    xy.mirror = (1 - 2 * a, 1 - 2 * b)


def _scale(xy: Coordinates, statement: Statement) -> None:
    xy.scale = xy.pair(statement, 1.0)
    if min(xy.scale) <= 0:
        raise statement.fault("takes values above zero")


def _offset(xy: Coordinates, statement: Statement) -> None:
    xy.offset = xy.pair(statement, 0.0)


def _turn(xy: Coordinates, statement: Statement) -> None:
    if statement.text not in ("IR0", "IR90", "IR180", "IR270"):
        raise statement.fault("turns by 0, 90, 180 or 270 degrees only")
    xy.turn = int(statement.text[2:])


_IMAGE: dict[str, Callable[[Coordinates, Statement], None]] = {
    "MI": _mirror, "SF": _scale, "OF": _offset, "IR": _turn,
}  # fmt: skip
_NO_EFFECT = frozenset({"IPPOS", "ASAXBY", "ASAYBX", "ICAS", "IC"})
"""Statements that change nothing in what is drawn: a positive image, axes of the plotter, and the
code of the characters."""
_REFUSED = {
    "IP": "the image is negative: everything that is not drawn would be copper; export it positive",
    "IF": "the rest is in another file; put it into this one",
    "KO": "a knockout is not read; export the layer without it",
}
