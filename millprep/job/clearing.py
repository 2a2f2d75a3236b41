"""Tables of clearing: copper of no piece that is taken away, and where."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from pydantic import Field

from millprep.geometry.path import Point
from millprep.job.fields import Number, Pair, Table, Words, choice, entry, number
from millprep.model.cutter import Cutter
from millprep.model.plan import ClearingPlan, Floating


class ClearTable(Table):
    """An area of a board that is cleared of copper that belongs to no piece."""

    box: Annotated[list[Number], Field(min_length=4, max_length=4)] | None = entry(
        "The area as a rectangle, drawing coordinates",
        "four plain numbers in mm, [x0, y0, x1, y1]",
        unit="mm",
        default=None,
        words="none, `corners` tell",
    )
    corners: Annotated[list[Pair], Field(min_length=3)] | None = entry(
        "The area by its corners in order, drawing coordinates",
        "a list of points in mm, three at least, [[x, y], …]",
        unit="mm",
        default=None,
        words="none, `box` tells",
    )


class ClearingTable(Table):
    """How copper that belongs to no piece is taken away."""

    cutters: Annotated[list[Words], Field(min_length=1)] = entry(
        "Vees or end mills that clear; the widest first, each does what the wider ones left",
        "a list of names defined as [cutters.NAME]",
    )
    copper: Floating = choice(
        "What is cleared: the areas of [[board.clear]], or all copper that belongs to no piece",
        Floating,
        default="areas",
    )
    depth: float | None = number(
        "Depth of the tip below the copper surface",
        "mm",
        default=None,
        words="that of [isolation]",
        above=0,
        most=5,
    )
    overlap: float = number(
        "Share of the groove's foot by which neighbouring laps overlap",
        "",
        default=0.2,
        least=0,
        below=1,
    )


def clearing_of(
    table: ClearingTable | None, depth: float, cutters: Mapping[str, Cutter]
) -> ClearingPlan | None:
    """How a checked job clears; `depth` of isolation."""
    if table is None:
        return None
    return ClearingPlan(
        cutters=tuple(cutters[name] for name in table.cutters),
        copper=table.copper,
        depth=depth if table.depth is None else table.depth,
        overlap=table.overlap,
    )


def areas_of(tables: list[ClearTable]) -> tuple[tuple[Point, ...], ...]:
    """The corners of every area of a checked board."""
    found: list[tuple[Point, ...]] = []
    for table in tables:
        if table.box is not None:
            x0, y0, x1, y1 = table.box
            found.append(((x0, y0), (x1, y0), (x1, y1), (x0, y1)))
        if table.corners is not None:
            found.append(tuple((x, y) for x, y in table.corners))
    return tuple(found)
