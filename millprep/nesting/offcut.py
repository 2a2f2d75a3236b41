"""What is left of a blank: how far it is used, and the outline that a later job can take."""

from __future__ import annotations

from collections.abc import Sequence

import shapely

from millprep.model.layout import Spot
from millprep.nesting.wanted import Sheet, Wanted, areas_on

DIGITS = 4


def covered(blank: int, spots: Sequence[Spot], wanted: Sequence[Wanted], sheet: Sheet) -> float:
    """Share of a blank's usable area that boards cover, 0 to 1."""
    area = sum(shape.area for _, shape in areas_on(blank, spots, wanted))
    return float(area / sheet.usable.area)


def used_length(blank: int, spots: Sequence[Spot], wanted: Sequence[Wanted], sheet: Sheet) -> float:
    """From the blank's low end to the farthest board along its long direction, mm."""
    far = [shape.bounds[sheet.axis + 2] for _, shape in areas_on(blank, spots, wanted)]
    return float(max(far) - sheet.outline.bounds[sheet.axis]) if far else 0.0


def offcut(
    blank: int,
    spots: Sequence[Spot],
    wanted: Sequence[Wanted],
    sheet: Sheet,
    straight: bool = True,
) -> shapely.Polygon | None:
    """The largest piece of laminate left, blank frame, four decimals; None when none is left.

    Args:
        blank: its number.
        spots: all of the layout.
        wanted: every board.
        sheet: the blank's.
        straight: cut off square behind the farthest board, so that two cuts with a saw free it;
            otherwise everything farther than the spacing from every board, on all sides.
    """
    here = [shape for _, shape in areas_on(blank, spots, wanted)]
    x0, y0, x1, y1 = sheet.outline.bounds
    if straight:
        reach = used_length(blank, spots, wanted, sheet)
        cut = reach + sheet.spacing if here else 0.0
        beyond = (
            shapely.box(x0 + cut, y0, max(x1, x0 + cut), y1)
            if sheet.axis == 0
            else shapely.box(x0, y0 + cut, x1, max(y1, y0 + cut))
        )
        rest = sheet.outline.intersection(beyond)
    else:
        # what a board's cut-out holds is waste, not an offcut
        filled = [shapely.Polygon(shape.exterior).buffer(sheet.spacing) for shape in here]
        rest = sheet.outline.difference(shapely.union_all(filled))
    pieces = [p for p in shapely.get_parts(rest) if isinstance(p, shapely.Polygon)]
    pieces = [p for p in pieces if p.area > 1.0]
    if not pieces:
        return None
    largest = max(pieces, key=lambda p: (p.area, p.bounds))
    rounded = shapely.set_precision(shapely.simplify(largest, 0.0), 10.0**-DIGITS)
    left = max(shapely.get_parts(rounded), key=lambda p: p.area)
    return left if isinstance(left, shapely.Polygon) else None
