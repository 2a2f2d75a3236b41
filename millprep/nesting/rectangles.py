"""Rectangles on a rectangular blank: the largest free rectangles are known at every step.

The free space of a partly filled blank is kept as all its maximal rectangles, overlapping as
they are (Jylänki, "A Thousand Ways to Pack the Bin", 2010, MAXRECTS). Every board is taken
larger by the spacing to the right and above, the blank too, so neighbours only touch.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from millprep.geometry.path import FloatArray
from millprep.nesting.no_fit import PLAY
from millprep.nesting.place import DIGITS, Lean, Orientation, able, allowed_orientations, scores
from millprep.nesting.wanted import StockSheet, is_box


def suits(orientations: Sequence[Orientation], sheets: Sequence[StockSheet]) -> bool:
    """Whether all boards and blanks are upright rectangles and nothing is kept out.

    One group of places to avoid, upright rectangles too, is allowed.
    """
    return all(is_box(orientation.shape) for orientation in orientations) and all(
        sheet.is_box
        and not sheet.keep_outs
        and len(sheet.avoided) < 2
        and all(is_box(place) for group in sheet.avoided for place in group)
        for sheet in sheets
    )


Free = tuple[int, FloatArray, FloatArray]
"""A sheet's number, its free rectangles, and those of boards that keep off what is avoided."""


class Rectangles:
    """Places by maximal free rectangles, (n, 4) arrays of x0, y0, x1, y1."""

    def __init__(self, orientations: Sequence[Orientation], sheets: Sequence[StockSheet]) -> None:
        self.orientations = tuple(orientations)
        self.sheets = tuple(sheets)
        self._of = allowed_orientations(orientations)
        self._able = [self._off(n) for n in range(len(sheets))]

    def empty(self, sheet: int) -> Free:
        """The sheet's number and its one free rectangle, whole and less what is avoided."""
        stock = self.sheets[sheet]
        x0, y0, x1, y1 = stock.outline.bounds
        m, s = stock.margin, stock.spacing
        free = np.array([[x0 + m, y0 + m, x1 - m + s, y1 - m + s]])
        off = free
        for place in (place for group in stock.avoided for place in group):
            x0, y0, x1, y1 = place.bounds
            # a board is taken larger to the right and above, so there it may reach into one
            off = _less(off, (x0 + s, y0 + s, x1, y1))
        return sheet, free, off

    def _off(self, sheet: int) -> frozenset[int]:
        """The orientations that keep off what is avoided on a sheet; none where nothing is."""
        if not self.sheets[sheet].avoided:
            return frozenset()
        _, _, free = self.empty(sheet)
        sizes = free[:, 2:] - free[:, :2] - self.sheets[sheet].spacing
        fits = [
            bool((sizes >= np.array(w.size) - PLAY).all(axis=1).any()) for w in self.orientations
        ]
        return frozenset(able(self.orientations, fits))

    def best(self, blank: Free, kind: int, lean: Lean) -> tuple[int, tuple[float, float]] | None:
        """The best low corner of a free rectangle that holds the board."""
        sheet, *frees = blank
        # the smallest number that can be written and is not below the corner
        lows = [
            np.round(np.ceil(free[:, :2] * 10**DIGITS - 0.01) * 10.0**-DIGITS, DIGITS)
            for free in (frees if self._able[sheet] else frees[:1])
        ]
        axis, spacing = self.sheets[sheet].axis, self.sheets[sheet].spacing
        best: tuple[float, int, tuple[float, float]] | None = None
        for n in self._of[kind]:
            orientation = self.orientations[n]
            which = int(n in self._able[sheet])
            free, corners = frees[which], lows[which]
            room = free[:, 2:] - corners - spacing - orientation.size
            fits = corners[(room >= -PLAY).all(axis=1)]
            if not len(fits):
                continue
            values = scores(orientation, fits, lean, axis)
            m = int(np.argmin(values))
            if best is None or values[m] < best[0] - PLAY:
                best = (float(values[m]), n, (float(fits[m, 0]), float(fits[m, 1])))
        return None if best is None else best[1:]

    def filled(
        self,
        blank: Free,
        orientation: int,
        at: tuple[float, float],
        live: Sequence[int],  # noqa: ARG002 - the protocol's; rectangles are the same for all
    ) -> Free:
        """Free rectangles cut at the board."""
        sheet, free, off = blank
        spacing = self.sheets[sheet].spacing
        x0, y0 = at
        x1, y1 = (
            a + s + spacing for a, s in zip(at, self.orientations[orientation].size, strict=True)
        )
        left = _less(free, (x0, y0, x1, y1))
        return sheet, left, left if off is free else _less(off, (x0, y0, x1, y1))

    def work(self, live: Sequence[int]) -> int:  # noqa: ARG002 - the protocol's
        """Always about the same."""
        return 6


def _less(free: FloatArray, taken: tuple[float, float, float, float]) -> FloatArray:
    """Free rectangles cut at one that is taken, and those that lie within others dropped."""
    x0, y0, x1, y1 = taken
    meets = (
        (free[:, 0] < x1 - PLAY)
        & (free[:, 2] > x0 + PLAY)
        & (free[:, 1] < y1 - PLAY)
        & (free[:, 3] > y0 + PLAY)
    )
    cut = free[meets]
    pieces = [free[~meets]]
    for column, edge, keep in (
        (2, x0, cut[:, 0] < x0 - PLAY),
        (0, x1, cut[:, 2] > x1 + PLAY),
        (3, y0, cut[:, 1] < y0 - PLAY),
        (1, y1, cut[:, 3] > y1 + PLAY),
    ):
        piece = cut[keep].copy()
        piece[:, column] = edge
        pieces.append(piece)
    return _maximal(np.concatenate(pieces))


def _maximal(free: FloatArray) -> FloatArray:
    """Without rectangles that lie within another; of equal ones the first stays."""
    within = (
        (free[:, None, 0] >= free[None, :, 0] - PLAY)
        & (free[:, None, 1] >= free[None, :, 1] - PLAY)
        & (free[:, None, 2] <= free[None, :, 2] + PLAY)
        & (free[:, None, 3] <= free[None, :, 3] + PLAY)
    )
    both = within & within.T
    later = np.tri(len(free), k=-1, dtype=bool)
    drop = (within & ~both) | (both & later)
    result: FloatArray = free[~drop.any(axis=1)]
    return result
