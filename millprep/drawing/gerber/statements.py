"""Statements of a Gerber file, each with its line, and numbers of Gerber and drill files.

Numbers have formats and units, and a Gerber file may map its whole image.

A statement ends with `*`; those that hold more than words are between two `%` (Gerber layer
format specification, "Syntax"). A comment may hold any character but `*`, `%` included.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from millprep.drawing.unit import MM
from millprep.geometry.pose import Affine
from millprep.model.job.layers import Unit

# what to do: against most faults of a file, and where it gives no unit
AGAIN = "export the file again, or correct this line"
STATE_UNIT = "say it in the job, as the unit"


class UnreadableError(Exception):
    """A fabrication file that cannot be read truly; `line` is where, from 1."""

    def __init__(self, line: int, words: str, remedy: str = AGAIN) -> None:
        super().__init__(f"line {line}: {words}")
        self.line, self.remedy = line, remedy


@dataclass(frozen=True, slots=True)
class Statement:
    """One statement.

    Attributes:
        line: on which it begins.
        text: without line ends and its `*`.
        section: which pair of `%` it is between, from 1; 0 for none.
    """

    line: int
    text: str
    section: int = 0

    def fault(self, words: str, remedy: str = AGAIN) -> UnreadableError:
        """What is wrong with it and what to do, as an error to raise."""
        shown = self.text if len(self.text) <= 40 else self.text[:37] + "..."
        return UnreadableError(self.line, f"{shown!r}: {words}", remedy)


MOST_STATEMENTS = 300_000
"""A file of more statements is refused: reading them takes some 10 s."""
_BLANK = re.compile(r"[\s\0\x1a]*")
_COMMENT = re.compile(r"(?:N\d+)?G0*4(?!\d)")
_WORD = re.compile(r"([A-Z])([+-]?[\d.]*)")
_ENDS = str.maketrans("", "", "\r\n\t")


def statements(text: str) -> Iterator[Statement]:
    """All statements of a file, in order.

    Raises:
        UnreadableError: when one has no end.
    """
    at, line = 0, 1
    opened: int | None = None
    section = count = 0
    while True:
        blank = _BLANK.match(text, at)
        assert blank is not None
        line += text.count("\n", at, blank.end())
        at = blank.end()
        if at == len(text):
            break
        if text[at] == "%":
            opened = line if opened is None else None
            section += opened is not None
            at += 1
            continue
        end = text.find("*", at)
        if end < 0:
            shown = text[at : at + 20].strip()
            raise UnreadableError(line, f"the statement {shown!r} has no * at its end")
        body = text[at:end]
        if "%" in body and not _COMMENT.match(body):
            raise UnreadableError(line, "a statement has a % in its midst; a * is missing")
        count += 1
        if count > MOST_STATEMENTS:
            raise UnreadableError(line, f"the file has more than {MOST_STATEMENTS} statements")
        yield Statement(line, body.translate(_ENDS).strip(), section if opened else 0)
        line += text.count("\n", at, end)
        at = end + 1
    if opened is not None:
        raise UnreadableError(opened, "the % that opens a statement here is never closed")


def is_comment(statement: Statement) -> bool:
    """Whether it is a comment."""
    return not statement.section and _COMMENT.match(statement.text) is not None


def words(statement: Statement) -> list[tuple[str, str]]:
    """Letter and number of every word of a plain statement, `X100D01` being two.

    Raises:
        UnreadableError: when it is not made of such words.
    """
    text = statement.text.replace(" ", "")
    out: list[tuple[str, str]] = []
    at = 0
    for match in _WORD.finditer(text):
        if match.start() != at:
            break
        out.append((match[1], match[2]))
        at = match.end()
    if at != len(text):
        raise statement.fault(f"{text[at:][:12]!r} is no word of this format")
    return out


_FORMAT = re.compile(r"FS([LT])([AI])(?:N\d)?(?:G\d)?X(\d)(\d)Y(\d)(\d)(?:Z\d\d)?(?:D\d)?(?:M\d)?")
_PAIR = re.compile(r"(?:A([+-]?[\d.]+))?(?:B([+-]?[\d.]+))?")
UNITS: dict[str, tuple[Unit, float]] = {
    "MM": ("mm", 1.0),
    "IN": ("inch", 25.4),
    "G71": ("mm", 1.0),
    "G70": ("inch", 25.4),
}
"""Statements that give the unit: its name and length in mm."""
TURNS = {
    0: Affine(),
    90: Affine(0, -1, 0, 1, 0, 0),
    180: Affine(-1, 0, 0, 0, -1, 0),
    270: Affine(0, 1, 0, -1, 0, 0),
}


@dataclass(slots=True)
class Coordinates:
    """How numbers become places.

    Attributes:
        unit, mm: its name and length; None until a statement gives it.
        digits: of x and y, before and after the point; None until FS gives them.
        trailing: whether zeros at the end are omitted, not those at the front.
        steps: whether each coordinate counts from the last place.
        mirror, scale, offset: of coordinate data, x and y; the offset in the unit.
        turn: degrees, of the whole image.
        used: whether any number was read, or anything drawn.
    """

    unit: Unit | None = None
    mm: float | None = None
    digits: dict[str, tuple[int, int]] | None = None
    trailing: bool = False
    steps: bool = False
    mirror: tuple[float, float] = (1.0, 1.0)
    scale: tuple[float, float] = (1.0, 1.0)
    offset: tuple[float, float] = (0.0, 0.0)
    turn: int = 0
    used: bool = False

    def unit_is(self, word: str, statement: Statement) -> None:
        """Take the unit from a statement; a second one is a fault, and so is one too late."""
        name, mm = UNITS[word]
        if self.unit not in (None, name):
            raise statement.fault(f"the unit is {name} here and {self.unit} in an earlier line")
        if self.used and self.mm != mm:
            raise statement.fault("the unit comes after the first coordinates")
        self.unit, self.mm = name, mm

    def format_is(self, statement: Statement) -> None:
        """Take the format from a statement FS."""
        match = _FORMAT.fullmatch(statement.text.replace(" ", ""))
        if match is None:
            raise statement.fault("is no format; one is written FSLAX46Y46")
        trailing, steps, *digits = match.groups()
        xy = {"X": (int(digits[0]), int(digits[1])), "Y": (int(digits[2]), int(digits[3]))}
        if self.used and (self.digits, self.trailing) != (xy, trailing == "T"):
            raise statement.fault("the format changes after the first coordinates")
        if max(sum(pair) for pair in xy.values()) < 1:
            raise statement.fault("the format has no digits")
        self.digits, self.trailing, self.steps = xy, trailing == "T", steps == "I"

    def number(self, axis: str, text: str, statement: Statement) -> float:
        """A coordinate word as mm; `axis` is X or Y.

        Raises:
            UnreadableError: when it does not fit the format.
        """
        if self.digits is None:
            raise statement.fault("a coordinate comes before the format, FS")
        mm = self.mm_in_use(statement)
        whole, part = self.digits[axis]
        sign = -1.0 if text.startswith("-") else 1.0
        figures = text.lstrip("+-")
        if not figures.isdigit() or len(text) - len(figures) > 1:
            raise statement.fault(f"{axis}{text} is no coordinate: digits alone, without a point")
        if len(figures) > whole + part and len(figures.lstrip("0")) > whole + part:
            raise statement.fault(
                f"{axis}{text} has more digits than the format gives, {whole} + {part}"
            )
        if self.trailing:
            figures = figures.ljust(whole + part, "0")
        return sign * int(figures) * mm / 10.0**part

    def mm_in_use(self, statement: Statement) -> float:
        """Length of the unit, mm; from here no statement may give another one.

        Raises:
            UnreadableError: when neither the file nor the job has given it.
        """
        if self.mm is None:
            raise statement.fault("no line before gives the unit (MOMM or MOIN)", STATE_UNIT)
        self.used = True
        return self.mm

    def length(self, text: str, statement: Statement) -> float:
        """A decimal number in the unit, as mm."""
        return plain(text, statement) * self.mm_in_use(statement)

    def pair(self, statement: Statement, absent: float) -> tuple[float, float]:
        """The values behind A and B of a statement such as SFA1.0B1.0."""
        match = _PAIR.fullmatch(statement.text[2:].replace(" ", ""))
        if match is None:
            raise statement.fault("takes values behind A and B")
        a, b = (absent if value is None else plain(value, statement) for value in match.groups())
        return a, b

    @property
    def image(self) -> Affine:
        """What coordinate data goes through: mirror, scale and offset; mm."""
        mm = self.mm or 1.0
        (mx, my), (sx, sy), (ox, oy) = self.mirror, self.scale, self.offset
        return Affine(mx * sx, 0.0, ox * mm, 0.0, my * sy, oy * mm)


def plain(text: str, statement: Statement) -> float:
    """A decimal number."""
    if re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)", text) is None or len(text) > 20:
        raise statement.fault(f"{text!r} is no number")
    return float(text)


DIGITS: dict[Unit, tuple[int, int]] = {"inch": (2, 4), "mm": (3, 3)}
"""Digits before and after the point that numbers without one have in a drill file that gives none:
the usual ones."""


@dataclass(slots=True)
class DrillNumbers:
    """How numbers of a drill file become lengths.

    Attributes:
        mm: length of the unit; of the job's, until the file gives its own.
        unit: as the file gives it.
        digits: before and after the point that numbers without one have, as the file gives it.
        trailing: whether zeros at the end are omitted, not those at the front; None until said.
        points: whether places are written with a point; then a number without one is whole.
        used: whether any number was read.
        bare: whether any number counts in last digits.
        short: whether one of these has fewer digits than the format.
    """

    mm: float | None
    points: bool
    unit: Unit | None = None
    digits: tuple[int, int] | None = None
    trailing: bool | None = None
    used: bool = False
    bare: bool = False
    short: bool = False

    @property
    def assumed(self) -> str:
        """What the file does not say of its numbers, in words; "" where it says all."""
        words = []
        if self.bare and self.digits is None:
            words.append(f"{self._digits[1]} digits after the point")
        if self.short and self.trailing is None:
            words.append("zeros omitted at the front, none at the end")
        return " and ".join(words)

    @property
    def _digits(self) -> tuple[int, int]:
        inch = self.mm is not None and self.mm > 1
        return self.digits or DIGITS["inch" if inch else "mm"]

    def unit_is(self, unit: Unit, statement: Statement) -> None:
        """Take the unit; a second one is a fault, and so is one too late."""
        if self.unit not in (None, unit):
            raise statement.fault(f"the unit is {unit} here and {self.unit} in an earlier line")
        mm = MM[unit]
        if self.used and self.mm != mm:
            raise statement.fault("the unit comes after the first number")
        self.unit, self.mm = unit, mm

    def format_is(self, part: str, statement: Statement) -> None:
        """Take LZ or TZ, the zeros that are kept, or digits such as 000.000."""
        if part in ("LZ", "TZ"):
            if self.bare and bool(self.trailing) != (part == "LZ"):
                raise statement.fault("the zeros that are kept come after the first number")
            self.trailing = part == "LZ"
        else:
            whole, digits = part.split(".")
            self.digits_are((len(whole), len(digits)), statement)

    def digits_are(self, digits: tuple[int, int], statement: Statement) -> None:
        """Take the number of digits before and after the point; others later are a fault."""
        if self.digits not in (None, digits):
            raise statement.fault("the number of digits is another one in an earlier line")
        if self.bare and self._digits != digits:
            raise statement.fault("the number of digits comes after the first number")
        self.digits = digits

    def length(self, value: float, statement: Statement) -> float:
        """A decimal number as mm."""
        if self.mm is None:
            raise statement.fault("no line before gives the unit (METRIC or INCH)", STATE_UNIT)
        self.used = True
        return value * self.mm

    def mm_of(self, text: str, statement: Statement) -> float:
        """A word's number as mm.

        Raises:
            UnreadableError: when it does not fit the format.
        """
        if "." in text:
            return self.length(plain(text, statement), statement)
        if self.points:
            if len(text.lstrip("+-0")) > 3:
                raise statement.fault(f"{text} has no point, other places of the file have one")
            return self.length(plain(text, statement), statement)
        self.length(0.0, statement)
        self.bare = True
        whole, part = self._digits
        figures = text.lstrip("+-")
        if not figures.isdigit() or len(text) - len(figures) > 1:
            raise statement.fault(f"{text} is no number")
        if len(figures) > whole + part:
            raise statement.fault(f"{text} has more digits than the format gives, {whole} + {part}")
        self.short = self.short or (len(figures) < whole + part and int(figures) > 0)
        if self.trailing:
            figures = figures.ljust(whole + part, "0")
        sign = -1.0 if text.startswith("-") else 1.0
        return self.length(sign * int(figures) / 10.0**part, statement)
