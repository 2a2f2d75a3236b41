"""Where z is zeroed: a place on the copper that no cutter ever touches."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.blank import Blank, Box
from millprep.model.finding import Finding, Refusal

EDGE = 2.0
"""The place keeps this far from the blank's edge and from every cut, mm."""


def choose(
    window: Box,
    pose: Pose,
    blank: Blank,
    cut: BaseGeometry,
    clamped: BaseGeometry,
    asked: Point | None,
    number: int,
) -> Point:
    """The touch point of a pass, machine frame: the asked one if it serves, else the lowest.

    Args:
        window: what the cutter's axis reaches, blank frame.
        pose: blank to machine.
        blank: the laminate; the point lies on it.
        cut: everything any pass removes, blank frame.
        clamped: what clamps deny in this pass, machine frame.
        asked: the job's wish, machine frame.
        number: of the pass, for findings.

    Raises:
        Refusal: when the asked point is cut, clamped or off the blank, or no place is free.
    """
    x0, y0 = max(window.x0, 0.0) + EDGE, max(window.y0, 0.0) + EDGE
    x1, y1 = min(window.x1, blank.size[0]) - EDGE, min(window.y1, blank.size[1]) - EDGE
    denied = cut.buffer(EDGE, quad_segs=4)
    if asked is not None:
        x, y = pose.inverse().point(asked)
        on_blank = x0 <= x <= x1 and y0 <= y <= y1
        hidden = shapely.contains_xy(denied, x, y) or shapely.contains_xy(clamped, *asked)
        if on_blank and not hidden:
            return asked
        raise Refusal([_bad(asked, blank, number)])
    xs, ys = np.arange(np.ceil(x0), x1), np.arange(np.ceil(y0), y1)
    grid = np.array([(x, y) for x in xs for y in ys], dtype=float).reshape(-1, 2)
    free_places = ~shapely.contains_xy(denied, grid) & ~shapely.contains_xy(
        clamped, pose.points(grid)
    )
    if not free_places.any():
        raise Refusal([_none(blank, number)])
    # nearest the low corner of the travel, where the person stands
    return pose.point((float(grid[free_places][0, 0]), float(grid[free_places][0, 1])))


def _bad(asked: Point, blank: Blank, number: int) -> Finding:
    return Finding(
        code="touch-point-not-free",
        severity="stop",
        message=(
            f"The touch point {asked[0]:g}, {asked[1]:g} is cut, clamped or off the blank in "
            f"pass {number}: z would be zeroed on air. Choose another for [setup] touch, at "
            f"least {EDGE:g} mm from every cut, or leave it out."
        ),
        frame="machine",
        at=asked,
        blank=blank.number,
        mill_pass=number,
    )


def _none(blank: Blank, number: int) -> Finding:
    return Finding(
        code="no-touch-point",
        severity="stop",
        message=(
            f"No place on blank {blank.number} is left uncut and free in pass {number} to zero z "
            "on. A wider margin around the boards would do."
        ),
        blank=blank.number,
        mill_pass=number,
    )
