"""The blank of a starter job: a size that holds all boards, and how many of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from millprep.geometry.path import Point


class SheetSize(NamedTuple):
    """A size of blank, mm, and how many of it."""

    x: float
    y: float
    blanks: int

    @property
    def keys(self) -> list[str]:
        """As [blank] has them."""
        size = f"size = [{self.x:g}, {self.y:g}]"
        return [size] if self.blanks == 1 else [size, f"count = {self.blanks}"]


class Room(NamedTuple):
    """What decides how many boards a blank holds, mm.

    Attributes:
        travel: of the machine, (x, y).
        margin: around the boards.
        spacing: between them.
    """

    travel: Sequence[float]
    margin: float
    spacing: float

    def sheet_for(self, sizes: Sequence[Point]) -> SheetSize:
        """Blanks that hold boards of these sizes in rows, none of them turned.

        They are larger than the travel only where a board is. Of all lengths of rows it takes
        the one that needs the fewest blanks, then the least laminate.
        """
        widest, tallest = max(x for x, _ in sizes), max(y for _, y in sizes)
        most_x = max(widest, self.travel[0] - 2 * self.margin)
        most_y = max(tallest, self.travel[1] - 2 * self.margin)
        rows = sorted(sizes, key=lambda size: (-size[1], -size[0]))
        limits, along = {most_x}, -self.spacing
        for x, _ in rows:
            along += x + self.spacing
            if widest <= along < most_x:
                limits.add(along)
        tried = (self._in_rows(rows, limit, most_y) for limit in sorted(limits))
        return min(tried, key=lambda s: (s.blanks, s.x * s.y, s))

    def fits(self, sizes: Sequence[Point], sheet: Sequence[float]) -> bool:
        """Whether each board by itself fits on a blank of this size."""
        x, y = (side - 2 * self.margin for side in sheet)
        return all(along <= x and across <= y for along, across in sizes)

    def count_on(self, sizes: Sequence[Point], sheet: Sequence[float]) -> int:
        """How many blanks of this size boards that fit on it take in rows."""
        x, y = (side - 2 * self.margin for side in sheet)
        rows = sorted(sizes, key=lambda size: (-size[1], -size[0]))
        return self._in_rows(rows, x, y).blanks

    def _in_rows(self, sizes: Sequence[Point], most_x: float, most_y: float) -> SheetSize:
        wide = high = x = y = row = 0.0
        blanks = 1
        for i, (along, across) in enumerate(sizes):
            if i and x + self.spacing + along > most_x + 1e-9:
                x, y, row = 0.0, y + row + self.spacing, 0.0
                if y + across > most_y + 1e-9:
                    blanks, y = blanks + 1, 0.0
            x += along + (self.spacing if x else 0.0)
            row = max(row, across)
            wide, high = max(wide, x), max(high, y + row)
        wide, high = (math.ceil(round(side + 2 * self.margin, 6)) for side in (wide, high))
        return SheetSize(wide, high, blanks)
