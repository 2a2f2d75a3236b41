"""A legend, proved from its program: only its lines are cut, to its depth, off holes and edges."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import FloatArray, Point
from millprep.geometry.pose import Pose
from millprep.model.blank import Blank
from millprep.model.cutter import Cutter, EndMill
from millprep.model.finding import Finding
from millprep.verify.sweep import segments
from millprep.verify.trace import Trace

OFF = 0.01
"""A cut this near to its line, mm, follows it, and a line this near to a cut is cut."""
DEEP = 0.005
"""Depths differ by no more than this, mm."""
LEAST = 0.25
"""What is left of a line between holes need not be engraved if it is no longer than this, mm."""


@dataclass(frozen=True, slots=True)
class LegendRequired:
    """What a legend must be, blank frame, mm.

    Attributes:
        lines: all that the drawing has of it.
        holes: areas that holes and pins take.
        boards: areas of the boards.
        clear: laminate between a groove and hole or edge.
        depth: of the tip.
        cutter: that engraves.
    """

    lines: BaseGeometry
    holes: BaseGeometry
    boards: BaseGeometry
    clear: float
    depth: float
    cutter: Cutter


def check_legend(
    trace: Trace, required: LegendRequired, pose: Pose, blank: Blank, file: str
) -> Iterator[Finding]:
    """What is wrong with the cuts of a legend.

    Args:
        trace: of the program, machine frame.
        required: what it must be.
        pose: blank to machine, for the blank as it lies: turned over.
        blank: the laminate.
        file: of the program.
    """

    def legend_fault(code: str, message: str, at: Point | None = None) -> Finding:
        return Finding(
            code=code,
            severity="stop",
            message=f"{message} Do not run it.",
            frame=None if at is None else "blank",
            at=at,
            blank=blank.number,
            file=file,
        )

    steps = segments(trace)
    low = -float(steps[:, [2, 5]].min()) if len(steps) else 0.0
    across = np.hypot(*(steps[:, 3:5] - steps[:, 0:2]).T) > 1e-9
    high = -float(steps[across][:, [2, 5]].max()) if across.any() else 0.0
    if max(abs(low - required.depth), abs(high - required.depth)) > DEEP:
        message = f"The legend is {high:.3f} to {low:.3f} mm deep; the job says {required.depth:g}."
        yield legend_fault("legend-depth", message)
    if low + DEEP >= blank.thickness - blank.copper:
        yield legend_fault("legend-depth", "The legend cuts into the copper on the other side.")
    back = pose.inverse()
    ends = np.stack((back.points(steps[:, 0:2]), back.points(steps[:, 3:5])), axis=1)
    cuts = shapely.linestrings(ends)
    along = shapely.buffer(required.lines, OFF, quad_segs=4)
    shapely.prepare(along)
    stray = np.flatnonzero(~shapely.covers(along, cuts))
    if len(stray):
        yield legend_fault(
            "legend-stray", "It cuts where the legend has no line.", _at(ends, stray)
        )
    half = required.cutter.width(required.depth) / 2
    near = required.clear + half - OFF
    close = np.flatnonzero(shapely.distance(cuts, required.holes) < near)
    if len(close):
        message = f"It cuts nearer than {required.clear:g} mm to a hole, or over it."
        yield legend_fault("legend-near-hole", message, _at(ends, close))
    inside = shapely.buffer(required.boards, -near, join_style="mitre")
    beyond = np.flatnonzero(~shapely.covers(shapely.buffer(inside, 1e-9), cuts))
    if len(beyond):
        message = f"It cuts nearer than {required.clear:g} mm to the edge of a board, or beyond it."
        yield legend_fault("legend-beyond-edge", message, _at(ends, beyond))
    far = required.clear + half + OFF
    due = shapely.difference(required.lines, shapely.buffer(required.holes, far, quad_segs=64))
    due = shapely.intersection(due, shapely.buffer(required.boards, -far, join_style="mitre"))
    parts = [p for p in shapely.get_parts(due).tolist() if p.length > LEAST]
    missed = shapely.difference(
        shapely.MultiLineString(parts), shapely.buffer(shapely.union_all(cuts), OFF, quad_segs=4)
    )
    if missed.length > OFF:
        spot = missed.representative_point()
        message = f"It leaves out {missed.length:.2f} mm of the legend."
        yield legend_fault("legend-missing", message, (spot.x, spot.y))


def _at(ends: FloatArray, some: np.ndarray[tuple[int], np.dtype[np.int64]]) -> Point:
    x, y = ends[int(some[0])].mean(axis=0).tolist()
    return (x, y)


def check_bores(
    trace: Trace,
    places: Sequence[Point],
    diameter: float,
    depth: tuple[float, float],
    cutter: Cutter,
    file: str,
) -> Iterator[Finding]:
    """What is wrong with the holes of pins: all of them, as wide and as deep as they must be.

    Args:
        trace: of the program, machine frame.
        places: of the holes.
        diameter: of each.
        depth: least and largest depth of the tip below Z0.
        cutter: that makes them.
        file: of the program.
    """
    steps = segments(trace)
    reach = (diameter - cutter.diameter) / 2 if isinstance(cutter, EndMill) else 0.0
    ends = steps[:, 3:6]
    away = np.min([np.hypot(*(ends[:, :2] - np.array(at)).T) for at in places], axis=0)
    good = bool((away <= reach + OFF).all())
    for at in places:
        here = ends[np.hypot(*(ends[:, :2] - np.array(at)).T) <= diameter / 2]
        wide = np.hypot(*(here[:, :2] - np.array(at)).T).max(initial=0.0)
        low = -float(here[:, 2].min(initial=0.0))
        good &= depth[0] - DEEP <= low <= depth[1] + DEEP and abs(wide - reach) <= OFF
    if not good:
        yield Finding(
            code="legend-pin-hole",
            severity="stop",
            message=f"{file} does not make the {len(places)} holes of {diameter:g} mm for the pins "
            "that the blank is turned over on. Do not run it.",
            file=file,
        )
