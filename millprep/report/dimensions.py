"""Running dimensions: one line from a common origin, an arrow and a figure at every place.

The way of dimensioning is that of ISO 129-1 (from memory): the origin is a small circle, all
arrows lead away from it, figures are at the ends of their extension lines.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from millprep.geometry.path import Point
from millprep.report.fonts import width_of
from millprep.report.scene import Area, Circle, Line, Shape, Text
from millprep.report.words import number

SIZE = 3.2
"""Of the figures, mm on paper, 9 pt; all lengths here are."""
ROOM = 3.5
"""Between figures side by side."""
OFF = 2.5
"""From the drawing to the dimension line."""
JOG = 3.0
"""From the dimension line to its figures."""
ARROW = (1.5, 0.45)
THIN, EXTENSION = 0.18, 0.1


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
    """What a dimension line needs outside the drawing, mm on paper."""
    names: dict[str, dict[str, None]] = {}
    for mark in marks:
        at_value = names.setdefault(number(mark.value, 3), {})
        if mark.name:
            at_value[mark.name] = None
    figures = [" ".join([value, *at_value]) for value, at_value in names.items()]
    longest = max((width_of(figure, SIZE) for figure in figures), default=0.0)
    return OFF + JOG + 1.5 + longest if figures else 3.0


def running(side: Side, origin: float, marks: Sequence[Mark]) -> list[Shape]:
    """The dimension line of one side; nothing without marks.

    Args:
        side: where it is.
        origin: of the zero, along the line, on paper.
        marks: in any order; those of the same figure share one arrow.
    """
    groups: dict[str, list[Mark]] = {}
    for mark in marks:
        groups.setdefault(number(mark.value, 3), []).append(mark)
    if not groups:
        return []
    here = sorted(groups.items(), key=lambda entry: _along(side, entry[1][0]))
    places = spread([_along(side, group[0]) for _, group in here], ROOM)
    base = side.edge + side.out * OFF
    ends = [origin, *(_along(side, group[0]) for _, group in here)]
    line = np.array([_at(side, min(ends), base), _at(side, max(ends), base)])
    parts: list[Shape] = [
        Line((line,), THIN, "ink"),
        Circle((_at(side, origin, base),), 0.8, "paper", "ink", THIN),
    ]
    for (value, group), place in zip(here, places, strict=True):
        along = _along(side, group[0])
        # to the place that lies deepest in the drawing
        deep = min((mark.at[1 - side.across] for mark in group), key=lambda v: v * side.out)
        foot, figure = base + side.out * 1.2, base + side.out * JOG
        leader = [_at(side, along, deep), _at(side, along, foot), _at(side, place, figure)]
        parts.append(Line((np.array(leader),), EXTENSION, "quiet"))
        if abs(along - origin) > ARROW[0]:
            parts.append(_arrow(side, along, base, 1 if along > origin else -1))
        names = " ".join(dict.fromkeys(mark.name for mark in group if mark.name))
        parts.append(_figure(side, place, figure + side.out * 0.4, f"{value} {names}".strip()))
    return parts


def spread(places: Sequence[float], room: float) -> list[float]:
    """Sorted places moved as little as can be so that neighbours are `room` apart.

    Neighbours that are too near become a cluster about their common centre (pooling of
    adjacent violators, as in isotonic regression).
    """
    clusters: list[tuple[float, int]] = []  # centre of what was wanted less its part of the room
    for k, place in enumerate(places):
        centre, count = place - k * room, 1
        while clusters and clusters[-1][0] > centre:
            before, many = clusters.pop()
            centre = (centre * count + before * many) / (count + many)
            count += many
        clusters.append((centre, count))
    spaced: list[float] = []
    for centre, count in clusters:
        spaced += [centre + (len(spaced) + k) * room for k in range(count)]
    return spaced


def _along(side: Side, mark: Mark) -> float:
    return mark.at[side.across]


def _at(side: Side, along: float, away: float) -> Point:
    return (along, away) if side.across == 0 else (away, along)


def _arrow(side: Side, along: float, base: float, way: int) -> Shape:
    long, half = ARROW
    tip, back = _at(side, along, base), along - way * long
    tail = [_at(side, back, base - half), _at(side, back, base + half)]
    return Area((shapely.Polygon([tip, *tail]),), "ink")


def _figure(side: Side, place: float, away: float, words: str) -> Shape:
    """The figure, read from below or from the right."""
    sink = SIZE * 0.36
    if side.across == 0:
        at = (place + sink, away)
        return Text(at, words, SIZE, anchor="end" if side.out > 0 else "start", turn=-90.0)
    return Text((away, place + sink), words, SIZE, anchor="start" if side.out > 0 else "end")
