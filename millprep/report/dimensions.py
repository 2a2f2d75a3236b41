"""Running dimensions: one line from a common origin, an arrow and a figure at every place.

The way of dimensioning is that of ISO 129-1 (from memory): the origin is a small circle, all
arrows lead away from it, figures stand at the ends of their extension lines.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from millprep.report import svg
from millprep.report.palette import INK, QUIET
from millprep.report.words import number

Point = tuple[float, float]
SIZE = 2.5
"""Of the figures, mm on paper; all lengths here are."""
ROOM = 2.9
"""Between figures that stand side by side."""
OFF = 2.5
"""From the drawing to the dimension line."""
JOG = 3.0
"""From the dimension line to its figures."""
ARROW = (1.5, 0.45)
THIN, EXTENSION = "0.18", "0.1"


@dataclass(frozen=True, slots=True)
class Mark:
    """A place to be measured: coordinate on the machine, mm; where it is on paper; its name."""

    value: float
    at: Point
    name: str = ""


@dataclass(frozen=True, slots=True)
class Side:
    """A side of the drawing that carries a dimension line.

    Attributes:
        across: 0 where the line runs along x, 1 along y.
        edge: where the drawing ends on this side, on paper.
        out: 1 or -1, the way out of the drawing on paper.
    """

    across: int
    edge: float
    out: int


def room(marks: Sequence[Mark]) -> float:
    """What a dimension line needs beside the drawing, mm on paper."""
    names: dict[str, dict[str, None]] = {}
    for mark in marks:
        told = names.setdefault(number(mark.value, 3), {})
        if mark.name:
            told[mark.name] = None
    longest = max((len(" ".join([value, *told])) for value, told in names.items()), default=0)
    return OFF + JOG + 1.5 + longest * SIZE * svg.NARROW_LETTER if longest else 3.0


def running(side: Side, origin: float, marks: Sequence[Mark]) -> str:
    """The dimension line of one side as SVG; nothing without marks.

    Args:
        side: where it stands.
        origin: of the zero, along the line, on paper.
        marks: in any order; those of the same figure share one arrow.
    """
    groups: dict[str, list[Mark]] = {}
    for mark in marks:
        groups.setdefault(number(mark.value, 3), []).append(mark)
    if not groups:
        return ""
    here = sorted(groups.items(), key=lambda one: _along(side, one[1][0]))
    places = spread([_along(side, group[0]) for _, group in here], ROOM)
    base = side.edge + side.out * OFF
    ends = [origin, *(_along(side, group[0]) for _, group in here)]
    parts = [
        svg.line(_at(side, min(ends), base), _at(side, max(ends), base), stroke=INK,
                 stroke_width=THIN),
        svg.circle(_at(side, origin, base), 0.8, fill="#fff", stroke=INK, stroke_width=THIN),
    ]  # fmt: skip
    for (told, group), place in zip(here, places, strict=True):
        along = _along(side, group[0])
        # to the place that lies deepest in the drawing
        deep = min((one.at[1 - side.across] for one in group), key=lambda v: v * side.out)
        foot, figure = base + side.out * 1.2, base + side.out * JOG
        parts.append(
            svg.chain(
                [_at(side, along, deep), _at(side, along, foot), _at(side, place, figure)],
                fill="none", stroke=QUIET, stroke_width=EXTENSION,
            )
        )  # fmt: skip
        if abs(along - origin) > ARROW[0]:
            parts.append(_arrow(side, along, base, 1 if along > origin else -1))
        names = " ".join(dict.fromkeys(one.name for one in group if one.name))
        parts.append(_figure(side, place, figure + side.out * 0.4, f"{told} {names}".strip()))
    return "".join(parts)


def spread(places: Sequence[float], room: float) -> list[float]:
    """Sorted places moved as little as can be so that neighbours stand `room` apart.

    Neighbours that are too near become a cluster about their common middle (pooling of
    adjacent violators, as in isotonic regression).
    """
    clusters: list[tuple[float, int]] = []  # middle of what was wanted less its share of room
    for k, place in enumerate(places):
        middle, count = place - k * room, 1
        while clusters and clusters[-1][0] > middle:
            before, many = clusters.pop()
            middle = (middle * count + before * many) / (count + many)
            count += many
        clusters.append((middle, count))
    found: list[float] = []
    for middle, count in clusters:
        found += [middle + (len(found) + k) * room for k in range(count)]
    return found


def _along(side: Side, mark: Mark) -> float:
    return mark.at[side.across]


def _at(side: Side, along: float, away: float) -> Point:
    return (along, away) if side.across == 0 else (away, along)


def _arrow(side: Side, along: float, base: float, way: int) -> str:
    long, half = ARROW
    tip, back = _at(side, along, base), along - way * long
    tail = [_at(side, back, base - half), _at(side, back, base + half)]
    return svg.chain([tip, *tail], closed=True, fill=INK)


def _figure(side: Side, place: float, away: float, words: str) -> str:
    """The figure, read from below or from the right."""
    sink = SIZE * 0.36
    if side.across == 0:
        anchor = "end" if side.out > 0 else "start"
        at = (place + sink, away)
        return svg.text(at, words, size=SIZE, turn=-90.0, text_anchor=anchor, fill=INK)
    anchor = "start" if side.out > 0 else "end"
    return svg.text((away, place + sink), words, size=SIZE, text_anchor=anchor, fill=INK)
