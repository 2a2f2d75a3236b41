"""Where the grooves of two passes come near each other: there alone a misalignment changes copper.

What only one pass cuts moves as it is. So a place matters when both passes cut within the
largest misalignment of it; those places are found from the axes of the cuts, a little too large.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from millprep.geometry.path import FloatArray
from millprep.model.cutter import Cutter
from millprep.model.milling_pass import MillingPass
from millprep.verify.as_cut import unite
from millprep.verify.sweep import Shapes, Steps, sweep
from millprep.verify.trace import Trace

FINE = 2
"""Discs are this much finer than for the proof: gaps shrink slowly, tolerances fast."""
_COARSE = 4
_ROUND = 1 / math.cos(math.pi / (4 * _COARSE))

Cuts = Sequence[tuple[Trace, Cutter, MillingPass]]


@dataclass(frozen=True, slots=True)
class Axes:
    """The cuts of one blank, pass by pass, as straight steps of their axes.

    Attributes:
        cuts: of each program.
        lines: their steps on the blank.
        radius: the largest of each step at the surface, mm.
    """

    numbers: tuple[int, ...]
    cuts: tuple[Steps, ...]
    lines: tuple[Shapes, ...]
    radius: tuple[FloatArray, ...]

    @staticmethod
    def of(cuts: Sequence[Steps]) -> Axes:
        """The axes of programs as read back."""
        lines, radius = [], []
        for cut in cuts:
            steps, cutter, pose = cut.steps, cut.cutter, cut.pose
            ends = np.stack((pose.points(steps[:, 0:2]), pose.points(steps[:, 3:5])), axis=1)
            deep = np.maximum(-np.minimum(steps[:, 2], steps[:, 5]), 0.0)
            known, which = np.unique(deep, return_inverse=True)
            half = np.array([cutter.width(depth) / 2 for depth in known.tolist()], dtype=float)
            drawn = np.asarray(shapely.linestrings(ends), dtype=object)
            # straight down is a point: trees find no lines without length
            down = (ends[:, 0] == ends[:, 1]).all(axis=1)
            drawn[down] = shapely.points(ends[down, 0])
            lines.append(drawn)
            radius.append(half[which.ravel()] if len(known) else np.zeros(0))
        numbers = tuple(cut.number for cut in cuts)
        return Axes(numbers, tuple(cuts), tuple(lines), tuple(radius))

    def _of(self, numbers: set[int]) -> tuple[Shapes, FloatArray]:
        chosen = [i for i, number in enumerate(self.numbers) if number in numbers]
        none = np.array([], dtype=object)
        return (
            np.concatenate([none, *(self.lines[i] for i in chosen)]),
            np.concatenate([np.zeros(0), *(self.radius[i] for i in chosen)]),
        )

    def contacts(self, moving: int, reach: float) -> Shapes:
        """Where a pass cuts within `reach` of what an earlier one cuts within `reach` of it."""
        before = {number for number in self.numbers if number < moving}
        (ones, wide), (others, broad) = self._of({moving}), self._of(before)
        if not len(ones) or not len(others):
            return np.array([], dtype=object)
        far = 2 * reach * _ROUND + float(wide.max() + broad.max())
        grown: list[shapely.Geometry] = []
        for lines, radius, against in ((ones, wide, others), (others, broad, ones)):
            # few steps of a pass come near another's, and one that is near is enough
            near, _ = shapely.STRtree(against).query_nearest(
                lines, max_distance=far, all_matches=False
            )
            areas = shapely.buffer(lines[near], (radius[near] + reach) * _ROUND, quad_segs=_COARSE)
            grown.append(shapely.disjoint_subset_union_all(areas))
        both = np.asarray(shapely.get_parts(shapely.intersection(grown[0], grown[1])), dtype=object)
        # where they come near each other nowhere, the one part is an empty area
        real = (shapely.get_dimensions(both) == 2) & ~shapely.is_empty(both)
        areas_of_both: Shapes = both[real]
        return areas_of_both

    def near(self, boxes: Shapes) -> Axes:
        """The steps that cut in or around some boxes."""
        tree = shapely.STRtree(boxes)
        cuts, lines, radius = [], [], []
        for cut, drawn, half in zip(self.cuts, self.lines, self.radius, strict=True):
            far = float(half.max(initial=0.0))
            close = np.unique(tree.query(drawn, predicate="dwithin", distance=far)[0])
            cuts.append(replace(cut, steps=cut.steps[close]))
            lines.append(drawn[close])
            radius.append(half[close])
        return Axes(self.numbers, tuple(cuts), tuple(lines), tuple(radius))

    def grooves(self, level: float) -> dict[int, shapely.MultiPolygon]:
        """What each pass sweeps at a level of the laminate."""
        swept: dict[int, list[Shapes]] = {}
        for cut in self.cuts:
            areas = sweep(cut.steps, cut.cutter, cut.pose, level, fine=FINE)
            swept.setdefault(cut.number, []).append(areas)
        united = unite([np.concatenate(areas) for areas in swept.values()])
        return dict(zip(swept, united, strict=True))
