"""What no layout can beat: a least number of blanks and a greatest share of one blank covered.

Around every board half the spacing belongs to it alone, so boards and blank may all be taken
larger by that half and need only not overlap (the spacing of a board to the blank's edge is the
margin's matter). Areas then give both bounds.
"""

from __future__ import annotations

from collections.abc import Sequence

import shapely

from millprep.nesting.parts import convex_parts, no_fit
from millprep.nesting.place import Way, ways_of
from millprep.nesting.wanted import Sheet, Wanted


def grown(shape: shapely.Polygon, spacing: float) -> float:
    """Area of a shape and half the spacing around it, never more than the true one, mm²."""
    return float(shape.buffer(spacing / 2, quad_segs=16).area)


def most_covered(wanted: Sequence[Wanted], sheet: Sheet) -> float:
    """Share of a blank's usable area that boards can cover at most, 0 to 1.

    The knapsack of all copies by area, filled fractionally (Dantzig, 1957): never below the
    true optimum.
    """
    usable = sheet.usable
    room = _room(sheet)
    covered = 0.0
    density = sorted(
        ((one.outline.area / grown(one.outline, sheet.spacing), one) for one in wanted),
        key=lambda pair: -pair[0],
    )
    for share, one in density:
        asked = grown(one.outline, sheet.spacing) * len(one.copies)
        covered += share * min(asked, room)
        room -= min(asked, room)
    return min(1.0, covered / usable.area) if usable.area > 0 else 0.0


def _room(sheet: Sheet) -> float:
    """Area of the usable part and half the spacing around it, never less than the true one."""
    usable = sheet.usable
    # an arc's chords lie inside it by a share of 1 - cos(pi / 4n): the circle that holds them
    return float(usable.buffer(sheet.spacing / 2 * 1.0013, quad_segs=16).area)


def least_blanks(wanted: Sequence[Wanted], sheets: Sequence[Sheet]) -> int:
    """No layout does with fewer blanks: the larger of a bound by areas and one by pairs.

    By areas: the largest blanks in stock must hold all boards. By pairs: kinds of which no two
    boards go on one blank, whatever the pair, need a blank for each copy.
    """
    if not any(one.copies for one in wanted):
        return 0
    return max(_by_area(wanted, sheets), _by_pairs(wanted, sheets))


def _by_area(wanted: Sequence[Wanted], sheets: Sequence[Sheet]) -> int:
    least = min(sheet.spacing for sheet in sheets)
    asked = sum(grown(one.outline, least) * len(one.copies) for one in wanted)
    # the spacing of every blank is at least `least`; its own room is larger still
    rooms = sorted((_room(s) for s in sheets for _ in range(s.count)), reverse=True)
    number = 0
    while asked > 1e-6 and number < len(rooms):
        asked -= rooms[number]
        number += 1
    return max(1, number + (asked > 1e-6))


def _by_pairs(wanted: Sequence[Wanted], sheets: Sequence[Sheet]) -> int:
    copies = [len(one.copies) for one in wanted]
    ways = ways_of(wanted, 0.0)
    lonely = [k for k in range(len(wanted)) if copies[k] and not _together(k, k, ways, sheets)]
    chosen: list[int] = []
    for kind in sorted(lonely, key=lambda k: (-copies[k], k)):
        if not any(_together(kind, other, ways, sheets) for other in chosen):
            chosen.append(kind)
    number = sum(copies[k] for k in chosen)
    single = [k for k in range(len(wanted)) if copies[k] and k not in lonely]
    # one copy of a kind that pairs with itself but with none of those chosen
    return number + any(not any(_together(k, c, ways, sheets) for c in chosen) for k in single)


def _together(one: int, other: int, ways: Sequence[Way], sheets: Sequence[Sheet]) -> bool:
    """Whether two boards might go on one blank; keep-outs and outlines other than the box aside."""
    for sheet in sheets:
        x0, y0, x1, y1 = sheet.outline.bounds
        width, height = x1 - x0 - 2 * sheet.margin, y1 - y0 - 2 * sheet.margin
        for a in (way for way in ways if way.kind == one):
            for b in (way for way in ways if way.kind == other):
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
