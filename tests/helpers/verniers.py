"""Readings of verniers."""

from __future__ import annotations

import numpy as np

from millprep.geometry.pose import Pose
from millprep.model.milling_pass import Vernier
from millprep.passes.verniers import combs


def seen(one: Vernier, motion: Pose) -> float:
    """The line that a person sees run through when the second comb is cut off by a motion.

    Works from the engraved lines alone: the gap from each line of the second comb, at the
    common edge, to the line of the first with the same number; zero is found by interpolation.
    """
    first, second = combs(one)
    along = 0 if one.measures == "x" else 1
    count = 2 * one.reach + 1
    gaps = [
        motion.point(tuple(second[i].xy[0]))[along] - first[i].xy[0][along] for i in range(count)
    ]
    return float(np.interp(0.0, gaps[::-1], np.arange(one.reach, -one.reach - 1, -1.0)))
