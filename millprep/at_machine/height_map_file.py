"""A height map's file: x, y, z as a person typed them in, or as a machine logged them.

A table holds a point in each line, its numbers separated by commas, semicolons or blanks; a first
line may name the columns. Lines that begin with #, ; or ( are comments. Some are understood:
`# set 0123456789ab`, `# blank 1`, `# pass 2`, `# unit mm`. A log is any text; a pattern with
groups named x, y and z shows where the numbers are in a line.
"""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from millprep.model.finding import Finding, Refusal
from millprep.model.set_of_programs import InputFile

FARTHEST = 10_000.0
"""A coordinate beyond ten metres is a typing error, mm."""
MOST_LINES = 200_000
MOST_FAULTS = 20
_HEAD = re.compile(r"[#;(]+\s*(set|blank|pass|unit)\b\s*[:=]?\s*([^\s)]+)", re.IGNORECASE)
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)
_COMMENT = ("#", ";", "(")


class Reading(NamedTuple):
    """A point, mm, and its line in the file."""

    x: float
    y: float
    z: float
    line: int


@dataclass(frozen=True, slots=True)
class MapReadings:
    """What a file holds.

    Attributes:
        file: name and hash.
        head: what its comments state: set, blank, pass, unit; empty for a plain table.
        points: in the file's order.
    """

    file: InputFile
    head: dict[str, str]
    points: tuple[Reading, ...]


def load(file: Path, pattern: str | None = None) -> MapReadings:
    """Read a map's file.

    Args:
        file: a table or a log.
        pattern: of the machine's log, with groups x, y and z; lines that do not match are left
            out. A file in which no line matches is taken for a table.

    Raises:
        Refusal: exit code 2, with every mistake of the file.
    """
    try:
        raw = file.read_bytes()
        text = raw.decode("utf-8-sig")
    except OSError as fault:
        message = f"The map cannot be read ({fault.strerror})."
        raise _refusal(file, [("map-unreadable", message, None)]) from None
    except UnicodeDecodeError:
        message = "The map is not a text file. Save it as a table of x, y and z."
        raise _refusal(file, [("map-unreadable", message, None)]) from None
    lines = text.splitlines()
    if len(lines) > MOST_LINES:
        message = f"The map has {len(lines)} lines, at most {MOST_LINES} are read. Shorten it."
        raise _refusal(file, [("map-unreadable", message, None)])
    head = {match[1].lower(): match[2] for line in lines if (match := _HEAD.match(line.strip()))}
    points = () if pattern is None else tuple(_logged(lines, re.compile(pattern)))
    faults: list[tuple[str, str, int | None]] = []
    if not points:
        points = tuple(_table(lines, faults))
    for p in points:
        if not all(abs(v) <= FARTHEST for v in p[:3]):
            words = f"x, y and z must be within {FARTHEST:g} mm, not {p.x:g}, {p.y:g}, {p.z:g}."
            faults.append(("map-syntax", words, p.line))
    if not points and not faults:
        faults.append(("map-syntax", "The map holds no point.", None))
    if faults:
        raise _refusal(file, faults)
    return MapReadings(InputFile(file.name, hashlib.sha256(raw).hexdigest()), head, points)


def _logged(lines: Sequence[str], pattern: re.Pattern[str]) -> Iterator[Reading]:
    """What a pattern picks from a log."""
    for n, line in enumerate(lines, 1):
        for match in pattern.finditer(line):
            try:
                x, y, z = (float(match[name]) for name in "xyz")
            except (TypeError, ValueError):
                continue
            yield Reading(x, y, z, n)


def _table(lines: Sequence[str], faults: list[tuple[str, str, int | None]]) -> Iterator[Reading]:
    """The points of a table; what is wrong with it goes to `faults`."""
    columns = (0, 1, 2)
    width: int | None = None
    first = True
    for n, line in enumerate(lines, 1):
        text = line.strip()
        if not text or text.startswith(_COMMENT):
            continue
        cells = _cells(text)
        names = [cell.strip("\"' ").lower() for cell in cells]
        if first and {"x", "y", "z"} <= set(names):
            columns = (names.index("x"), names.index("y"), names.index("z"))
            width, first = len(cells), False
            continue
        first = False
        width = 3 if width is None else width
        if len(cells) == width and cells[columns[2]] == "":
            at = f"X{cells[columns[0]]} Y{cells[columns[1]]}"
            faults.append(("map-hole", f"z is missing at {at}. Probe it and write it down.", n))
            continue
        if len(cells) != width:
            words = f"This line has {len(cells)} columns, {width} are expected"
            faults.append(("map-syntax", f"{words}: x, y and z of a point.", n))
            continue
        numbers = [_number(cells[k]) for k in columns]
        wrong = [cells[k] for k, v in zip(columns, numbers, strict=True) if not math.isfinite(v)]
        if wrong:
            words = f"{wrong[0][:20]!r} is not a number. Write x, y and z in mm."
            faults.append(("map-syntax", words, n))
            continue
        x, y, z = numbers
        yield Reading(x, y, z, n)


def _cells(line: str) -> list[str]:
    """The cells of a line; where semicolons separate them, a comma is a decimal mark."""
    if ";" in line:
        return [cell.strip().replace(",", ".") for cell in line.split(";")]
    if "," in line:
        return [cell.strip() for cell in line.split(",")]
    return line.split()


def _number(cell: str) -> float:
    return float(cell) if _NUMBER.fullmatch(cell) else math.nan


def _refusal(file: Path, faults: Sequence[tuple[str, str, int | None]]) -> Refusal:
    return Refusal(
        [
            Finding(code=code, severity="stop", message=words, file=file.name, line=line)
            for code, words, line in faults[:MOST_FAULTS]
        ],
        exit_code=2,
    )
