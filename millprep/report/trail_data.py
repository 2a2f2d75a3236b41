"""A program as read back, in few bytes: see `compact` for how numbers are told."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from millprep.model.program import ARC_CCW, ARC_CW
from millprep.report.compact import PATH_UNIT, runs, text, whole

if TYPE_CHECKING:
    from millprep.model.program import Trail

FEED_UNIT = 1e-2
WAIT_UNIT = 1e-3


def trail_data(trail: Trail) -> dict[str, Any]:
    """The motion of a program.

    `start` is the first place; `x`, `y` and `z` lead from place to place, z in runs. `kind`,
    `feed` (0 for a rapid) and `line` (differences) are runs. `centre` leads from the start of
    every arc to its centre, x and y in turn. `wait` holds pairs: how many moves further, and
    how long the cutter stands before that move.
    """
    places = whole(trail.xyz, PATH_UNIT)
    dx, dy, dz = np.diff(places, axis=0).T
    arcs = (trail.kind == ARC_CW) | (trail.kind == ARC_CCW)
    centre = whole(trail.centre[arcs], PATH_UNIT) - places[:-1, :2][arcs]
    stands = np.flatnonzero(trail.wait > 0)
    wait = np.column_stack((np.diff(stands, prepend=0), whole(trail.wait[stands], WAIT_UNIT)))
    return {
        "moves": len(trail),
        "start": places[0].tolist(),
        "x": text(dx),
        "y": text(dy),
        "z": runs(dz),
        "kind": runs(trail.kind),
        "feed": runs(whole(np.nan_to_num(trail.feed), FEED_UNIT)),
        "line": runs(np.diff(trail.line, prepend=0)),
        "centre": text(centre),
        "wait": text(wait),
    }
