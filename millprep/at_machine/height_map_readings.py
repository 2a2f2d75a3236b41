"""A height map's readings: their file, and the faults in them.

The file holds x, y, z as a person typed them in, or as a machine logged them. A table holds a
point in each line, its numbers separated by commas, semicolons or blanks; a first line may name the
columns. Lines that begin with #, ; or ( are comments. Some are understood: `# set 0123456789ab`,
`# blank 1`, `# pass 2`, `# unit mm`. A log is any text; a pattern with groups named x, y and z
shows where the numbers are in a line.

Faults are a chip or a typing error at one node, or a jump where zero was lost.
A sheet bends evenly, or little from node to node. What bends it are the second differences along
rows and columns and the twist of every cell; they are taken together as one column b, less what an
even bow and twist explain. A fault of a known shape - one node off by s, or all nodes from one on,
when zero was lost while they were probed - adds s·u to b, and the s that explains most of the
bending is u·b / u·u. For a single node that is its distance from where its neighbours let it be
expected without it. A fault is reported when s is more than `TIMES` its own uncertainty and more
than `LEAST`. The uncertainty is that of s for readings whose error shows in the bending that s
leaves unexplained (median of absolute values × 1.4826, which few faults cannot raise), or is the
probe's repeatability, whichever is more.
"""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np

from millprep.files.reading import contents
from millprep.geometry.path import FloatArray
from millprep.model.dialect import log_pattern
from millprep.model.finding import Finding, Refusal, limited
from millprep.model.job.keys import InputFile
from millprep.model.surface_map import SurfaceMap

FARTHEST = 10_000.0
"""A coordinate beyond ten metres is a typing error, mm."""
MOST_LINES = 200_000
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
        raw = contents(file)
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
    points = () if pattern is None else tuple(_logged(lines, pattern))
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
    read_from = InputFile(file.name, hashlib.sha256(raw).hexdigest(), "reading", file)
    return MapReadings(read_from, head, points)


def _logged(lines: Sequence[str], pattern: str) -> Iterator[Reading]:
    """What a pattern picks from a log: of the touches of a place, the last, which is slow."""
    last: Reading | None = None
    for reading in _picked(lines, pattern):
        if last is not None and last[:2] != reading[:2]:
            yield last
        last = reading
    if last is not None:
        yield last


def _picked(lines: Sequence[str], pattern: str) -> Iterator[Reading]:
    """All that a pattern finds."""
    touches = log_pattern(pattern)
    for n, line in enumerate(lines, 1):
        for match in touches.finditer(line):
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
        limited(
            Finding(code=code, severity="stop", message=words, file=file.name, line=line)
            for code, words, line in faults
        ),
        exit_code=2,
    )


TIMES = 6.0
"""A good node is within so many standard deviations of what its neighbours suggest; 5 would
already be one in a million if errors were normally distributed, and those of copper are not."""
LEAST = 0.015
"""Smaller faults do no harm worth a refusal, mm."""
_ROBUST = 1.4826


@dataclass(frozen=True, slots=True)
class HeightFault:
    """A reading that does not fit, or a jump.

    Attributes:
        node: (column, row) of the reading at fault, or of the first that is shifted.
        jump: whether all that were read from there on are shifted.
        by: how far, mm.
        expected: height of a single reading by its neighbours.
        allowed: how far it may be off.
    """

    node: tuple[int, int]
    jump: bool
    by: float
    expected: float
    allowed: float


def bends(surface: SurfaceMap) -> FloatArray:
    """(k, m·n) weights of the heights, row by row, in every bend of the sheet.

    Second differences are those of even spacing: on uneven lines they are weighted so that a
    plane has none.
    """
    m, n = surface.z.shape
    rows: list[FloatArray] = []

    def add(*weights: tuple[int, int, float]) -> None:
        row = np.zeros(m * n)
        for i, j, weight in weights:
            row[j * n + i] = weight
        rows.append(row)

    for j in range(m):
        for i in range(1, n - 1):
            left, right = _weights(surface.x, i)
            add((i - 1, j, left), (i, j, -2.0), (i + 1, j, right))
    for j in range(1, m - 1):
        low, high = _weights(surface.y, j)
        for i in range(n):
            add((i, j - 1, low), (i, j, -2.0), (i, j + 1, high))
    for j in range(m - 1):
        for i in range(n - 1):
            add((i, j, 1.0), (i + 1, j, -1.0), (i, j + 1, -1.0), (i + 1, j + 1, 1.0))
    return np.array(rows)


def _weights(lines: FloatArray, k: int) -> tuple[float, float]:
    before, after = float(lines[k] - lines[k - 1]), float(lines[k + 1] - lines[k])
    return 2 * after / (before + after), 2 * before / (before + after)


def worst_fault(
    surface: SurfaceMap, order: FloatArray, confirmed: FloatArray, repeatability: float
) -> HeightFault | None:
    """The fault that explains the bending best; None when the readings agree.

    Args:
        surface: as read.
        order: (m, n) turn in which every node was read.
        confirmed: (m, n) nodes that were read twice and agreed.
        repeatability: standard deviation of one reading, mm.
    """
    weights = bends(surface)
    # an even bow or twist is no fault, nor is a node that was read twice
    u, v = (axis.ravel() for axis in np.meshgrid(surface.x, surface.y))
    even = weights @ np.column_stack((u * u, v * v, u * v))
    known, _ = np.linalg.qr(np.hstack((even, weights[:, confirmed.ravel() > 0])))
    weights = weights - known @ (known.T @ weights)
    bent = weights @ surface.z.ravel()
    turn = np.argsort(order.ravel(), kind="stable")
    best: HeightFault | None = None
    most = 0.0
    unconfirmed = np.flatnonzero(confirmed.ravel() == 0).tolist()
    cases: list[tuple[int, bool, FloatArray]] = [(k, False, weights[:, k]) for k in unconfirmed]
    cases += [
        (int(turn[first]), True, weights[:, turn[first:]].sum(axis=1))
        for first in range(2, len(turn) - 1)
    ]
    for k, jump, shape in cases:
        length = float(shape @ shape)
        if length < 1e-9:
            continue
        by = float(shape @ bent) / length
        unexplained = _ROBUST * float(np.median(np.abs(bent - by * shape)))
        # a second difference of three readings is √6 times as noisy as one
        sigma = max(unexplained / math.sqrt(6), repeatability)
        heights = weights.T @ shape
        allowed = max(TIMES * sigma * math.sqrt(float(heights @ heights)) / length, LEAST)
        gain = by * by * length
        if abs(by) > allowed and gain > most:
            j, i = divmod(k, surface.z.shape[1])
            most = gain
            best = HeightFault((i, j), jump, by, float(surface.z[j, i]) - by, allowed)
    return best


def interpolation_error(surface: SurfaceMap) -> float:
    """How far the copper may be off the bilinear surface between nodes, mm.

    Linear interpolation over a step h is off by at most h²/8 of the second derivative (any text
    on numerical analysis), which h² times is the second difference; along both axes together. The
    noise of readings bends the surface too, so this errs to the safe side.
    """
    x, y, z = surface.x, surface.y, surface.z
    along = [_bend(x, z, i) for i in range(1, len(x) - 1)]
    across = [_bend(y, z.T, j) for j in range(1, len(y) - 1)]
    return float(max(map(np.max, along)) + max(map(np.max, across))) / 8


def _bend(lines: FloatArray, z: FloatArray, k: int) -> FloatArray:
    """Second difference at a line, over the wider of the two adjacent steps."""
    before, after = float(lines[k] - lines[k - 1]), float(lines[k + 1] - lines[k])
    slope = (z[:, k + 1] - z[:, k]) / after - (z[:, k] - z[:, k - 1]) / before
    bend: FloatArray = np.abs(slope / ((before + after) / 2)) * max(before, after) ** 2
    return bend
