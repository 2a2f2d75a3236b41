"""Whether an entity is whole: what each kind must say, after the DXF reference.

The library fills in for what is missing – a circle without a radius gets one of 1 – so this
looks at the bare tags. An entity must not hold less than it says of itself, either.
"""

from __future__ import annotations

from collections.abc import Sequence

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
    for start, end in zip(starts, [*starts[1:], len(codes)], strict=True):
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
                out.append(f"{_shown(value)} is no number in group {code}")
        elif (60 <= code <= 99 or 170 <= code <= 179 or 270 <= code <= 289) and _int(value) is None:
            out.append(f"{_shown(value)} is no whole number in group {code}")
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


def _shown(value: bytes) -> str:
    return repr(value.strip()[:40].decode("ascii", errors="replace"))
