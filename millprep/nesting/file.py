"""A layout as text that a person can edit: one line a copy, read back with its line numbers."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import shapely

from millprep.files.reading import toml
from millprep.model.blank import Spot
from millprep.model.finding import Finding, Refusal
from millprep.model.job.keys import LARGEST
from millprep.nesting.wanted import StockSheet

FORMAT = 1
HEADER = """\
# Where every board lies. A later run takes these places as they are and only adds what is new.
# x, y: low corner of the box around the board as it lies, from the blank's low corner, mm.
# turn: degrees counter-clockwise. Change them by hand: every run proves the layout first.
"""


@dataclass(frozen=True, slots=True)
class WrittenBlank:
    """A blank as the file names it; its number is its place, from 1."""

    size: tuple[float, float]
    outline: tuple[tuple[float, float], ...] | None = None
    line: int | None = None


@dataclass(frozen=True, slots=True)
class WrittenLayout:
    """What a layout file says.

    Attributes:
        blanks: number 1 first.
        lines: line of every board and copy, where it is known.
    """

    blanks: tuple[WrittenBlank, ...]
    spots: tuple[Spot, ...]
    lines: Mapping[tuple[str, int], int]


TOKEN = re.compile(r'''"""(?:\\.|[^\\])*?"""|"(?:\\.|[^"\\\n])*"|'[^'\n]*'|#[^\n]*|\{''')
"""Strings, comments, and the braces that open a copy's line."""


def text_of(spots: Sequence[Spot], blanks: Sequence[int], sheets: Sequence[StockSheet]) -> str:
    """The file's text; `blanks` holds the place in `sheets` for every blank, number 1 first."""
    lines = [HEADER + f"format = {FORMAT}"]
    names = {spot.board: json.dumps(spot.board, ensure_ascii=False) for spot in spots}
    wide = max((len(name) for name in names.values()), default=0)
    for number, index in enumerate(blanks, start=1):
        sheet = sheets[index]
        x0, y0, x1, y1 = sheet.outline.bounds
        lines += ["", "[[blank]]", f"number = {number}"]
        lines.append(f"size = [{_number(x1 - min(x0, 0.0))}, {_number(y1 - min(y0, 0.0))}]")
        if not sheet.is_box:
            corners = (f"[{_number(x)}, {_number(y)}]" for x, y in sheet.outline.exterior.coords)
            lines.append(f"outline = [{', '.join(list(corners)[:-1])}]")
        lines.append("boards = [")
        lines += [
            f"  {{board = {names[s.board]:{wide}}, copy = {s.copy:3}, "
            f"x = {s.x:9.4f}, y = {s.y:9.4f}, turn = {s.turn:g}}},"
            if float(f"{s.turn:g}") == s.turn
            else f"  {{board = {names[s.board]:{wide}}, copy = {s.copy:3}, "
            f"x = {s.x:9.4f}, y = {s.y:9.4f}, turn = {s.turn!r}}},"
            for s in spots
            if s.blank == number
        ]
        lines.append("]")
    return "\n".join(lines) + "\n"


def _number(value: float) -> str:
    return f"{round(value, 4) + 0.0:.4f}".rstrip("0").removesuffix(".")


def read(text: str, file: str) -> WrittenLayout:
    """What a layout file says.

    Args:
        text: the file's.
        file: its name, for messages.

    Raises:
        Refusal: with every mistake and its line.
    """
    try:
        data = toml(text)
    except ValueError as error:
        where = re.search(r"at line (\d+)", str(error))
        line = int(where.group(1)) if where else None
        raise Refusal(
            [_mistake(f"The layout file is not valid TOML: {error}.", file, line)], 2
        ) from error
    reader = _LayoutReader(text, file)
    result = reader.layout(data)
    if reader.findings:
        raise Refusal(reader.findings, 2)
    return result


def sheets_of(layout: WrittenLayout, sheets: Sequence[StockSheet], file: str) -> tuple[int, ...]:
    """For every blank of the file the place of its sheet among the job's.

    Raises:
        Refusal: for blanks of a size or outline that the job has not.
    """
    indices: list[int] = []
    findings: list[Finding] = []
    for number, blank in enumerate(layout.blanks, start=1):
        shape = shapely.Polygon(blank.outline or shapely.box(0, 0, *blank.size).exterior.coords)
        same = (
            n
            for n, sheet in enumerate(sheets)
            if shape.is_valid and shape.symmetric_difference(sheet.outline).area < 1e-3
        )
        index = next(same, None)
        if index is None:
            size = " × ".join(_number(side) for side in blank.size)
            message = (
                f"Blank {number} of the layout is {size} mm, but the job has no such [[blank]]. "
                "Add it to the job, or lay out again."
            )
            findings.append(_mistake(message, file, blank.line, "layout-blank-unknown"))
        else:
            indices.append(index)
    if findings:
        raise Refusal(findings, 2)
    return tuple(indices)


def _mistake(message: str, file: str, line: int | None, code: str = "layout-file") -> Finding:
    return Finding(code=code, severity="stop", message=message, file=file, line=line)


class _LayoutReader:
    """Collects mistakes while the parts of the file become values."""

    def __init__(self, text: str, file: str) -> None:
        self.file = file
        self.findings: list[Finding] = []
        self._copies = list(_inline_tables(text))
        self._headers = [
            n
            for n, line in enumerate(text.splitlines(), start=1)
            if re.match(r"\s*\[\[\s*blank\s*\]\]", line)
        ]

    def layout(self, data: dict[str, Any]) -> WrittenLayout:
        """The whole file."""
        if data.get("format") != FORMAT:
            self._report(f"format must be {FORMAT}.", None)
        self._unknown(data, {"format", "blank"}, "the file", None)
        blanks: list[WrittenBlank] = []
        spots: list[Spot] = []
        lines: dict[tuple[str, int], int] = {}
        entries = data.get("blank", [])
        if not isinstance(entries, list):
            entries = [None]  # which is no blank either, and says so
        total = sum(len(e["boards"]) for e in entries if _is_list(e, "boards"))
        # a file written in another style of TOML reads as well, only without lines
        copies = iter(self._copies if len(self._copies) == total else [None] * total)
        headers = self._headers if len(self._headers) == len(entries) else [None] * len(entries)
        for number, (entry, line) in enumerate(zip(entries, headers, strict=True), start=1):
            blanks.append(self._blank(entry, number, line))
            for row in entry["boards"] if _is_list(entry, "boards") else ():
                where = next(copies)
                spot = self._spot(row, number, where)
                if spot is not None:
                    spots.append(spot)
                    if where is not None:
                        lines[spot.board, spot.copy] = where
        return WrittenLayout(tuple(blanks), tuple(spots), lines)

    def _blank(self, entry: Any, number: int, line: int | None) -> WrittenBlank:
        if not isinstance(entry, dict):
            self._report("a blank is a table: [[blank]].", line)
            return WrittenBlank((1.0, 1.0), None, line)
        self._unknown(entry, {"number", "size", "outline", "boards"}, f"blank {number}", line)
        if entry.get("number") != number:
            self._report(f"blanks are numbered in order, this one is {number}.", line)
        size = entry.get("size")
        if not (isinstance(size, list) and _are_numbers(size, 2) and min(size) > 0):
            self._report(f"blank {number} needs size = [x, y] in mm.", line)
            size = [1.0, 1.0]
        if not isinstance(entry.get("boards", []), list):
            self._report(f"blank {number}: boards is a list, one line a copy.", line)
        outline = entry.get("outline")
        corners: tuple[tuple[float, float], ...] | None = None
        if outline is not None:
            good = isinstance(outline, list) and len(outline) >= 3
            if good and all(_are_numbers(corner, 2) for corner in outline):
                corners = tuple((float(x), float(y)) for x, y in outline)
            else:
                self._report(f"blank {number}: outline is a list of three or more [x, y].", line)
        return WrittenBlank((float(size[0]), float(size[1])), corners, line)

    def _spot(self, row: Any, blank: int, line: int | None) -> Spot | None:
        if not isinstance(row, dict):
            self._report('a copy is {board = "…", copy = 1, x = 0.0, y = 0.0, turn = 0}.', line)
            return None
        self._unknown(row, {"board", "copy", "x", "y", "turn"}, "a copy", line)
        name, copy = row.get("board"), row.get("copy")
        if not isinstance(name, str) or not name:
            self._report("a copy needs the name of its board.", line)
            return None
        if not isinstance(copy, int) or isinstance(copy, bool) or copy < 1:
            self._report(f"board {name}: copy is a number from 1.", line)
            return None
        numbers = [row.get("x"), row.get("y"), row.get("turn", 0)]
        if not _are_numbers(numbers, 3):
            words = f"x, y and turn are numbers within ±{LARGEST:g}."
            self._report(f"board {name} copy {copy}: {words}", line)
            return None
        x, y, turn = (float(number) for number in numbers)
        return Spot(name, copy, blank, x, y, turn)

    def _unknown(
        self, data: Mapping[str, Any], known: set[str], what: str, line: int | None
    ) -> None:
        for key in data:
            if key not in known:
                self._report(f"{what} has no key {key}; known: {', '.join(sorted(known))}.", line)

    def _report(self, message: str, line: int | None) -> None:
        self.findings.append(_mistake(f"Layout file: {message}", self.file, line))


def _is_list(entry: Any, key: str) -> bool:
    return isinstance(entry, dict) and isinstance(entry.get(key), list)


def _are_numbers(value: Any, count: int) -> bool:
    return (
        isinstance(value, list)
        and len(value) == count
        and all(isinstance(n, int | float) and not isinstance(n, bool) for n in value)
        and all(abs(n) <= LARGEST for n in value)
    )


def _inline_tables(text: str) -> Iterator[int]:
    """The line of every `{` that is neither in a string nor in a comment."""
    for match in TOKEN.finditer(text):
        if match.group() == "{":
            yield text.count("\n", 0, match.start()) + 1
