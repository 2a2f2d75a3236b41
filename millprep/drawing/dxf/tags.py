"""A tag scan of our own: the pairs of group code and value of a DXF file, damaged or not.

It shares nothing with the DXF library, so that what the library loses can be counted.

Whether an entity is whole is seen by what each kind must say, after the DXF reference. The library
fills in for what is missing – a circle without a radius gets one of 1 – so this looks at the bare
tags. An entity must not hold less than it says of itself, either.
"""

from __future__ import annotations

import itertools
import struct
from collections.abc import Sequence
from dataclasses import dataclass, field

BINARY_MARK = b"AutoCAD Binary DXF\r\n\x1a\x00"
LEAST_CODE, MOST_CODE = -5, 1071


@dataclass(frozen=True, slots=True)
class Tags:
    """Group codes and values in file order, up to the end mark.

    Attributes:
        codes, values: one each a tag; numbers of binary files are written out as text.
        lines: number of the first line of every tag, from 1; empty where that is 2k + 1.
        broken: index of the tag at or before which a group code could not be read, and the
            words that are there.
        ended: whether the end mark is there.
    """

    codes: list[int]
    values: list[bytes]
    lines: list[int] = field(default_factory=list)
    broken: list[tuple[int, str]] = field(default_factory=list)
    ended: bool = True

    def line(self, index: int) -> int:
        """The line that a tag begins on, from 1."""
        return self.lines[index] if self.lines else 2 * index + 1


def scan(content: bytes) -> Tags:
    """The tags of a file; what cannot be read is skipped and noted, never a fault."""
    if content.startswith(BINARY_MARK):
        return _binary(content)
    content = content.removeprefix(b"\xef\xbb\xbf")
    if b"\r" in content:
        content = content.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    rows = content.split(b"\n")
    while rows and not rows[-1].strip(b"\0 \t"):
        rows.pop()
    codes, values = rows[0::2], rows[1::2]
    try:
        numbers = list(map(int, codes[: len(values)]))
    except ValueError:
        return _damaged(rows)
    if numbers and (min(numbers) < LEAST_CODE or max(numbers) > MOST_CODE):
        return _damaged(rows)
    end = _end(numbers, values)
    if end is None:
        return Tags(numbers, values, ended=False)
    return Tags(numbers[: end + 1], values[: end + 1])


def closed(content: bytes, within: bool) -> bytes:
    """A text file that was cut off, with the marks of its end: without, all would be lost.

    `within` says that it ends within a section.
    """
    rows = content.replace(b"\r\n", b"\n").split(b"\n")
    while rows and not rows[-1].strip(b"\0 \t"):
        rows.pop()
    if len(rows) % 2:
        rows.pop()
    marks = [b"  0", b"ENDSEC"] if within else []
    return b"\n".join([*rows, *marks, b"  0", b"EOF", b""])


def _end(codes: list[int], values: list[bytes]) -> int | None:
    """Index of the end mark."""
    for k in range(len(values) - 1, -1, -1):
        if codes[k] == 0 and values[k].strip() == b"EOF":
            # beyond the first one nothing counts
            return next(i for i in range(k + 1) if codes[i] == 0 and values[i].strip() == b"EOF")
    return None


def _damaged(rows: list[bytes]) -> Tags:
    """Line by line: what is no group code is skipped until one follows."""
    tags = Tags([], [], [], [], ended=False)
    k = 0
    while k + 1 < len(rows):
        try:
            code = int(rows[k])
        except ValueError:
            code = MOST_CODE + 1
        if not LEAST_CODE <= code <= MOST_CODE:
            tags.broken.append((len(tags.codes), f"line {k + 1}: {_shown(rows[k])}"))
            # a code with a slip in it has its value below; a stray row has a code there
            k += 2 if _run(rows, k + 2) >= _run(rows, k + 1) else 1
            continue
        tags.codes.append(code)
        tags.values.append(rows[k + 1])
        tags.lines.append(k + 1)
        k += 2
        if code == 0 and tags.values[-1].strip() == b"EOF":
            return Tags(tags.codes, tags.values, tags.lines, tags.broken)
    return tags


def _run(rows: list[bytes], start: int) -> int:
    """How many rows from here on are group codes, every second one read; of 100 at most."""
    some = range(start, min(start + 200, len(rows)), 2)
    return next((n for n, k in enumerate(some) if not _is_code(rows[k])), len(some))


def _is_code(row: bytes) -> bool:
    try:
        return LEAST_CODE <= int(row) <= MOST_CODE
    except ValueError:
        return False


def _shown(row: bytes) -> str:
    return repr(row[:40].decode("ascii", errors="replace"))


def _format(code: int) -> str:
    """How the binary form writes a value: a struct letter, "s" text, "c" a chunk.

    Ranges after the reference's table of group codes.
    """
    if code in (1004,) or 310 <= code <= 319:
        return "c"
    if code <= 9 or 100 <= code <= 105 or 300 <= code <= 369 or 390 <= code <= 399:
        return "s"
    if 10 <= code <= 59 or 110 <= code <= 149 or 210 <= code <= 239 or 460 <= code <= 469:
        return "d"
    if 1010 <= code <= 1059:
        return "d"
    if 60 <= code <= 79 or 170 <= code <= 179 or 270 <= code <= 289 or 370 <= code <= 389:
        return "h"
    if 400 <= code <= 409 or 1060 <= code <= 1070:
        return "h"
    if 90 <= code <= 99 or 420 <= code <= 429 or 440 <= code <= 459 or code == 1071:
        return "i"
    if 160 <= code <= 169:
        return "q"
    return "B" if 290 <= code <= 299 else "s"


def _binary(data: bytes) -> Tags:
    tags = Tags([], [], [], [], ended=False)
    at = len(BINARY_MARK)
    # the first tag is (0, SECTION): one byte of group code up to R12, two later
    short = data[at : at + 2] == b"\0S"
    try:
        while at < len(data):
            if short and data[at] != 255:
                code, at = data[at], at + 1
            else:
                at += 1 if short else 0
                (code,), at = struct.unpack_from("<h", data, at), at + 2
            kind = _format(code)
            if kind == "s":
                end = data.index(b"\0", at)
                value, after = data[at:end], end + 1
            elif kind == "c":
                after = at + 1 + data[at]
                value = data[at + 1 : after]
            else:
                (number,) = struct.unpack_from("<" + kind, data, at)
                value, after = str(number).encode("ascii"), at + struct.calcsize("<" + kind)
            tags.lines.append(at)
            tags.codes.append(code)
            tags.values.append(value)
            at = after
            if code == 0 and value == b"EOF":
                return Tags(tags.codes, tags.values, tags.lines)
    except (struct.error, ValueError, IndexError):
        tags.broken.append((len(tags.codes), f"byte {at}"))
    return tags


MUST: dict[bytes, tuple[int, ...]] = {
    b"LINE": (10, 20, 11, 21),
    b"CIRCLE": (10, 20, 40),
    b"ARC": (10, 20, 40, 50, 51),
    b"ELLIPSE": (10, 20, 11, 21, 40),
    b"SOLID": (10, 20, 11, 21, 12, 22),
    b"TRACE": (10, 20, 11, 21, 12, 22),
    b"VERTEX": (10, 20),
    b"INSERT": (2, 10, 20),
    b"LWPOLYLINE": (90, 10, 20),
    b"HATCH": (91,),
}
COUNTS: dict[bytes, tuple[tuple[int, int], ...]] = {
    b"LWPOLYLINE": ((90, 10), (90, 20)),
    b"SPLINE": ((72, 40), (73, 10), (74, 11)),
}
"""(code of a count, code of what is counted)."""


def lacks(kind: bytes, codes: Sequence[int], values: Sequence[bytes]) -> str:
    """What an entity lacks, in words; "" when nothing."""
    for code in MUST.get(kind, ()):
        if code not in codes:
            return f"it has no group {code}"
    for stated, counted in COUNTS.get(kind, ()):
        if stated in codes:
            says = _int(values[codes.index(stated)]) or 0
            present = codes.count(counted)
            # some programs state one vertex less than they write, so more is no fault
            if present < says:
                return (
                    f"it says {says} in group {stated}, but group {counted} comes {present} times"
                )
    if kind == b"HATCH":
        return _hatch(codes, values)
    return ""


def _hatch(codes: Sequence[int], values: Sequence[bytes]) -> str:
    """The counts of paths, and of vertices or edges in each."""
    first = codes.index(91)
    says = _int(values[first]) or 0
    starts = [k for k in range(first, len(codes)) if codes[k] == 92]
    if len(starts) < says:
        return f"it says {says} boundary paths, but has {len(starts)}"
    for start, end in itertools.pairwise([*starts, len(codes)]):
        inside = codes[start:end]
        part = inside[: inside.index(75)] if 75 in inside else inside
        if 97 not in part and len(part) == len(inside):
            return "a boundary path does not end"
        # a spline edge has a 97 of its own, its fit points; the path's own is the last
        if 97 in part:
            part = part[: len(part) - 1 - part[::-1].index(97)]
        if 93 not in part:
            return "a boundary path does not say how long it is"
        flag = _int(values[start]) or 0
        says = _int(values[start + part.index(93)]) or 0
        # a polyline path counts vertices, any other its edges, each begun by its type
        present = part.count(10) if flag & 2 else part[part.index(93) :].count(72)
        if present < says:
            return f"a boundary path says it has {says} parts, but has {present}"
    return ""


def scattered(codes: Sequence[int]) -> str:
    """Words on the first coordinate without its partner; "" when all have one."""
    after = False
    for k, code in enumerate(codes):
        if 10 <= code <= 18:
            if k + 1 == len(codes) or codes[k + 1] != code + 10:
                return f"group {code} is not followed by group {code + 10}"
            after = True
        elif 20 <= code <= 28:
            if not after:
                return f"group {code} does not follow group {code - 10}"
            after = False
    return ""


def broken_numbers(codes: Sequence[int], values: Sequence[bytes]) -> list[str]:
    """Values that are no number where one must be, as words."""
    out = []
    for code, value in zip(codes, values, strict=True):
        if 10 <= code <= 59 or 110 <= code <= 149 or 210 <= code <= 239:
            try:
                float(value)
            except ValueError:
                out.append(f"{_shown(value.strip())} is no number in group {code}")
        elif (60 <= code <= 99 or 170 <= code <= 179 or 270 <= code <= 289) and _int(value) is None:
            out.append(f"{_shown(value.strip())} is no whole number in group {code}")
    return out


def _int(value: bytes) -> int | None:
    try:
        return int(value)
    except ValueError:
        pass
    try:
        number = float(value)
        return int(number) if number.is_integer() else None
    except (ValueError, OverflowError):
        return None
