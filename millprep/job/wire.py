"""Table of a wire whose resistance counts, and what it resists."""

from __future__ import annotations

import math

from millprep.job.fields import LARGEST, Pair, Table, entry, number
from millprep.model.plan import WireLink
from millprep.standards.copper import wire_resistance

POINT_ALLOWED = "a point [x, y] in plain numbers, mm"


class WireTable(Table):
    """A copper wire soldered by hand, of which the volts that it loses count."""

    start: Pair = entry("One end, drawing coordinates", POINT_ALLOWED, unit="mm")
    end: Pair = entry("The other end, drawing coordinates", POINT_ALLOWED, unit="mm")
    diameter: float | None = number(
        "Diameter of its copper, a solid wire",
        "mm",
        default=None,
        words="what `area` says",
        above=0,
        most=20,
    )
    area: float | None = number(
        "Section of its copper, as stranded wire is sold",
        "mm²",
        default=None,
        words="what `diameter` says",
        above=0,
        most=300,
    )
    length: float | None = number(
        "Length of the wire",
        "mm",
        default=None,
        words="straight from end to end",
        above=0,
        most=LARGEST,
    )


def wires_of(tables: list[WireTable], celsius: float) -> tuple[WireLink, ...]:
    """The wires of a board whose checks have passed, at the temperature of its copper."""
    return tuple(_wire(table, celsius) for table in tables)


def _wire(table: WireTable, celsius: float) -> WireLink:
    start, end = (table.start[0], table.start[1]), (table.end[0], table.end[1])
    length = math.dist(start, end) if table.length is None else table.length
    area = table.area if table.area is not None else math.pi * (table.diameter or 0.0) ** 2 / 4
    return WireLink(start, end, wire_resistance(length, area, celsius))
