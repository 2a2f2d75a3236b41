"""What clamps deny in each pass, and a free place on the copper to zero Z on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import FloatArray, Point
from millprep.geometry.pose import Pose
from millprep.model.blank import Blank, Box, Clamp
from millprep.model.finding import Finding, Refusal
from millprep.model.job.setup import SetupTable


@dataclass(frozen=True, slots=True)
class Clamping:
    """The clamps of a job and how far the spindle keeps from them.

    Attributes:
        clamps: machine frame.
        reach: from the spindle's axis to the widest part that must clear a clamp.
    """

    clamps: tuple[Clamp, ...] = ()
    reach: float = 0.0

    def denied(self, number: int) -> BaseGeometry:
        """What the clamps of a pass deny to the spindle's axis, machine frame."""
        boxes = [c.box.grown(self.reach) for c in self.clamps if c.on_in(number)]
        return shapely.union_all([b.shape for b in boxes])

    def without(self, n: int) -> Clamping:
        """The clamps without one."""
        return replace(self, clamps=(*self.clamps[:n], *self.clamps[n + 1 :]))

    def with_shifted(self, n: int, x: float, y: float) -> Clamping:
        """The clamps, one of them shifted."""
        b = self.clamps[n].box
        there = replace(self.clamps[n], box=Box(b.x0 + x, b.y0 + y, b.x1 + x, b.y1 + y))
        return replace(self, clamps=(*self.clamps[:n], there, *self.clamps[n + 1 :]))


def clamp_text(clamp: Clamp) -> str:
    """The clamp as a person finds it in the job."""
    b = clamp.box
    on = "" if clamp.passes is None else f" of pass {', '.join(map(str, clamp.passes))}"
    return f"the clamp [{b.x0:g}, {b.y0:g}, {b.x1:g}, {b.y1:g}]{on}"


def denied(clamping: Clamping, count: int) -> Sequence[BaseGeometry]:
    """What is denied in every pass of a blank, from the first."""
    return [clamping.denied(number + 1) for number in range(count)]


EDGE = 2.0
"""The place keeps this far from the blank's edge and from every cut, mm."""
HELD = 25.0
"""So near to a clamp or tape the copper lies as it does where the pass cuts, mm."""


def hold_downs(setup: SetupTable, number: int) -> BaseGeometry | None:
    """What holds the blank in a pass, machine frame; None where all of it is held."""
    if setup.tape is True or setup.vacuum is True:
        return None
    boxes = [clamp.box for clamp in setup.clamps if clamp.on_in(number)]
    for areas in (setup.tape, setup.vacuum):
        boxes += [] if isinstance(areas, bool) else areas
    return shapely.union_all([box.shape for box in boxes])


def touch_point(
    window: Box,
    pose: Pose,
    blank: Blank,
    cut: BaseGeometry,
    clamped: BaseGeometry,
    wished: Point | None,
    number: int,
    held: BaseGeometry | None,
    middle: Point,
) -> Point:
    """The touch point of a pass, machine frame: the wished one if it is free, else a chosen one.

    Of the free places within `HELD` of what holds the blank it is the nearest to the middle of what
    is cut; where there is none, the nearest to what holds the blank.

    Args:
        window: what the cutter's axis reaches, blank frame.
        pose: blank to machine.
        blank: the laminate; the point lies on it.
        cut: everything any pass removes, blank frame.
        clamped: what clamps deny in this pass, machine frame.
        wished: by the job, machine frame.
        number: of the pass, for findings.
        held: what holds the blank in this pass, machine frame; None for all of it.
        middle: of what this pass cuts, blank frame.

    Raises:
        Refusal: when the wished point is cut, clamped or off the blank, or no place is free.
    """
    x0, y0 = max(window.x0, EDGE), max(window.y0, EDGE)
    x1, y1 = min(window.x1, blank.size[0] - EDGE), min(window.y1, blank.size[1] - EDGE)
    denied = cut.buffer(EDGE, quad_segs=4)
    if wished is not None:
        x, y = pose.inverse().point(wished)
        on_blank = x0 <= x <= x1 and y0 <= y <= y1
        hidden = shapely.contains_xy(denied, x, y) or shapely.contains_xy(clamped, *wished)
        if on_blank and not hidden:
            return wished
        raise Refusal([_not_free(wished, blank, number)])
    xs, ys = np.meshgrid(np.arange(np.ceil(x0), x1), np.arange(np.ceil(y0), y1), indexing="ij")
    grid = np.column_stack((xs.ravel(), ys.ravel()))
    free_places = ~shapely.contains_xy(denied, grid) & ~shapely.contains_xy(
        clamped, pose.points(grid)
    )
    if not free_places.any():
        raise Refusal([_no_place(blank, number)])
    here = grid[free_places]
    away: FloatArray = np.hypot(here[:, 0] - middle[0], here[:, 1] - middle[1])
    if held is not None and not held.is_empty:
        far = shapely.distance(shapely.points(pose.points(here)), held)
        near = np.asarray(far <= HELD)
        away = np.where(near, away, np.inf) if near.any() else np.asarray(far)
    # rounded, so that the first of equals is the same on every machine
    best = here[int(np.argmin(away.round(6)))]
    return pose.point((float(best[0]), float(best[1])))


def _not_free(wished: Point, blank: Blank, number: int) -> Finding:
    return Finding(
        code="touch-point-not-free",
        severity="stop",
        message=(
            f"The touch point {wished[0]:g}, {wished[1]:g} is cut, clamped or off the blank in "
            f"pass {number}, so Z cannot be zeroed there. Choose another [setup] touch, at "
            f"least {EDGE:g} mm from every cut, or leave it out."
        ),
        frame="machine",
        at=wished,
        blank=blank.number,
        mill_pass=number,
    )


def _no_place(blank: Blank, number: int) -> Finding:
    return Finding(
        code="no-touch-point",
        severity="stop",
        message=(
            f"No place on blank {blank.number} is left uncut and free in pass {number} to zero z "
            "on. Use a wider margin around the boards."
        ),
        blank=blank.number,
        mill_pass=number,
    )
