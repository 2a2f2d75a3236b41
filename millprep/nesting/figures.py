"""Figures of a layout: how full a blank is, what no layout can beat, and the offcut that is left.

For the bounds, half the spacing around every board belongs to it alone, so boards and blank may all
be taken larger by that half and need only not overlap (the margin keeps boards off the blank's
edge). Areas then give both bounds.
"""

from __future__ import annotations

from collections.abc import Sequence

import shapely

from millprep.model.blank import Spot
from millprep.nesting.no_fit import convex_parts, no_fit
from millprep.nesting.place import Orientation, orientations_of
from millprep.nesting.wanted import StockSheet, Wanted, areas_on


def grown(shape: shapely.Polygon, spacing: float) -> float:
    """Area of a shape and half the spacing around it, never more than the true one, mm²."""
    return float(shape.buffer(spacing / 2, quad_segs=16).area)


def most_covered(wanted: Sequence[Wanted], sheet: StockSheet) -> float:
    """Fraction of a blank's usable area that boards can cover at most, 0 to 1.

    The knapsack of all copies by area, filled fractionally (Dantzig, 1957): never below the
    true optimum.
    """
    usable = sheet.usable
    room = _room(sheet)
    covered = 0.0
    density = sorted(
        ((board.outline.area / grown(board.outline, sheet.spacing), board) for board in wanted),
        key=lambda pair: -pair[0],
    )
    for fraction, board in density:
        needed = grown(board.outline, sheet.spacing) * len(board.copies)
        covered += fraction * min(needed, room)
        room -= min(needed, room)
    return min(1.0, covered / usable.area) if usable.area > 0 else 0.0


def _room(sheet: StockSheet) -> float:
    """Area of the usable part and half the spacing around it, never less than the true one."""
    usable = sheet.usable
    # an arc's chords lie inside it by a fraction of 1 - cos(pi / 4n): the circle that holds them
    return float(usable.buffer(sheet.spacing / 2 * 1.0013, quad_segs=16).area)


def least_blanks(wanted: Sequence[Wanted], sheets: Sequence[StockSheet]) -> int:
    """No layout needs fewer blanks: the larger of a bound by areas and one by pairs.

    By areas: the largest blanks in stock must hold all boards. By pairs: kinds of which no two
    boards go on one blank, whatever the pair, need a blank for each copy.
    """
    if not any(board.copies for board in wanted):
        return 0
    return max(_by_area(wanted, sheets), _by_pairs(wanted, sheets))


def _by_area(wanted: Sequence[Wanted], sheets: Sequence[StockSheet]) -> int:
    least = min(sheet.spacing for sheet in sheets)
    needed = sum(grown(board.outline, least) * len(board.copies) for board in wanted)
    # the spacing of every blank is at least `least`; its own room is larger still
    rooms = sorted((_room(s) for s in sheets for _ in range(s.count)), reverse=True)
    number = 0
    while needed > 1e-6 and number < len(rooms):
        needed -= rooms[number]
        number += 1
    return max(1, number + (needed > 1e-6))


def _by_pairs(wanted: Sequence[Wanted], sheets: Sequence[StockSheet]) -> int:
    copies = [len(board.copies) for board in wanted]
    orientations = orientations_of(wanted, 0.0)
    lonely = [
        k for k in range(len(wanted)) if copies[k] and not _together(k, k, orientations, sheets)
    ]
    chosen: list[int] = []
    for kind in sorted(lonely, key=lambda k: (-copies[k], k)):
        if not any(_together(kind, second, orientations, sheets) for second in chosen):
            chosen.append(kind)
    number = sum(copies[k] for k in chosen)
    single = [k for k in range(len(wanted)) if copies[k] and k not in lonely]
    # one copy of a kind that pairs with itself but with none of those chosen
    return number + any(
        not any(_together(k, c, orientations, sheets) for c in chosen) for k in single
    )


def _together(
    first: int, second: int, orientations: Sequence[Orientation], sheets: Sequence[StockSheet]
) -> bool:
    """Whether two boards might fit on one blank; keep-outs and outlines are taken as boxes."""
    for sheet in sheets:
        x0, y0, x1, y1 = sheet.outline.bounds
        width, height = x1 - x0 - 2 * sheet.margin, y1 - y0 - 2 * sheet.margin
        for a in (orientation for orientation in orientations if orientation.kind == first):
            for b in (orientation for orientation in orientations if orientation.kind == second):
                low = (a.size[0] - width, a.size[1] - height)
                high = (width - b.size[0], height - b.size[1])
                if low[0] > 0 or low[1] > 0 or high[0] < 0 or high[1] < 0:
                    continue
                offsets = shapely.box(low[0] - 1e-6, low[1] - 1e-6, high[0] + 1e-6, high[1] + 1e-6)
                # a little less than the spacing: the 16-gon must lie within its disc
                nearer = no_fit(convex_parts(a.shape), convex_parts(b.shape), sheet.spacing * 0.98)
                if not nearer.covers(offsets):
                    return True
    return False


DIGITS = 4
NARROWEST = 10.0
"""Between its margins an offcut is this wide at least, mm: of less no board can be cut."""


def covered(
    blank: int, spots: Sequence[Spot], wanted: Sequence[Wanted], sheet: StockSheet
) -> float:
    """Fraction of a blank's usable area that boards cover, 0 to 1."""
    area = sum(shape.area for _, shape in areas_on(blank, spots, wanted))
    return float(area / sheet.usable.area)


def used_length(
    blank: int, spots: Sequence[Spot], wanted: Sequence[Wanted], sheet: StockSheet
) -> float:
    """From the blank's low end to the farthest board along its long direction, mm."""
    far = [shape.bounds[sheet.axis + 2] for _, shape in areas_on(blank, spots, wanted)]
    return float(max(far) - sheet.outline.bounds[sheet.axis]) if far else 0.0


def offcut(
    blank: int, spots: Sequence[Spot], wanted: Sequence[Wanted], sheet: StockSheet
) -> shapely.Polygon | None:
    """The largest piece of laminate left, blank frame, four decimals.

    None when none is left of which a board could be cut, the margin of the blank around it.

    It is cut off square behind the farthest board, so that two cuts with a saw separate it.

    Args:
        blank: its number.
        spots: all of the layout.
        wanted: every board.
        sheet: the blank's.
    """
    x0, y0, x1, y1 = sheet.outline.bounds
    reach = used_length(blank, spots, wanted, sheet)
    cut = reach + sheet.spacing if reach else 0.0
    beyond = (
        shapely.box(x0 + cut, y0, max(x1, x0 + cut), y1)
        if sheet.axis == 0
        else shapely.box(x0, y0 + cut, x1, max(y1, y0 + cut))
    )
    rest = sheet.outline.intersection(beyond)
    pieces = [p for p in shapely.get_parts(rest) if isinstance(p, shapely.Polygon)]
    narrow = sheet.margin + NARROWEST / 2
    pieces = [p for p in pieces if not shapely.buffer(p, -narrow, join_style="mitre").is_empty]
    if not pieces:
        return None
    largest = max(pieces, key=lambda p: (p.area, p.bounds))
    snapped = shapely.set_precision(shapely.simplify(largest, 0.0), 10.0**-DIGITS)
    largest_part = max(shapely.get_parts(snapped), key=lambda p: p.area)
    return largest_part if isinstance(largest_part, shapely.Polygon) else None
