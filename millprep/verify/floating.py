"""Floating copper: where none may be left, and slivers and islands of it.

None may be left in areas to be cleared, and amid gaps cut in their middle.

What is cleared may be missed near pieces, in corners and between laps by less than the cutter's
width; a place that the cutter fits into must be free.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.geometry.path import FloatArray
from millprep.model.as_cut import AsCut, CopperPart
from millprep.model.blank import Placement, on_blank
from millprep.model.finding import MOST_PLACES, NOT_RUN, Finding
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import Join
from millprep.verify.edges import EDGE

SLIVER = 0.015
"""Copper that a disc of this radius, mm, does not fit into is a sliver."""
ISLAND = 0.5
"""Copper smaller than this, mm², that carries no piece is an island, too small to count."""
ROOM = 0.03
"""A cutter fits where this much more than its half width is free on all sides, mm."""


def check_cleared(
    job: JobPlan,
    left: AsCut,
    placements: Sequence[Placement],
    cleared: Mapping[int, shapely.Geometry],
) -> Iterator[Finding]:
    """Areas to be cleared in which floating copper is left.

    Args:
        job: what is required.
        left: the copper of the blank.
        placements: the boards on it.
        cleared: by placement, the area of its board that is cleared, blank frame.
    """
    clearing = job.clearing
    if clearing is None or not cleared or job.isolation.by_voltage:
        return
    half = min(cutter.width(clearing.depth) for cutter in clearing.cutters) / 2 + ROOM
    floating = shapely.union_all([part.shape for part in left.parts if not part.pieces])
    for placement in placements:
        area = cleared.get(placement.index)
        if area is None:
            continue
        room = shapely.buffer(shapely.intersection(floating, area), -half, quad_segs=4)
        if not room.is_empty:
            at = room.representative_point()
            yield on_blank(
                placement,
                "area-not-cleared",
                "stop",
                "floating copper is left in an area to be cleared, wide enough for the cutter "
                f"that clears. {NOT_RUN}",
                (at.x, at.y),
            )


def check_middle(job: JobPlan, left: AsCut, placements: Sequence[Placement]) -> Iterator[Finding]:
    """Ridges of floating copper in gaps that are cut in their middle, one note a board."""
    if job.isolation.course != "middle":
        return
    floating = np.array(
        [p.shape for p in left.parts if not p.pieces and p.shape.area >= ISLAND], dtype=object
    )
    # the frame around the boards is no ridge
    ridges = floating[shapely.is_empty(shapely.buffer(floating, -job.isolation.gap / 2))]
    for placement in placements:
        # a frame along the board's edge ends where the board does, but for rounding
        room = placement.pose.shape(placement.board.outline).buffer(EDGE, join_style="mitre")
        mine = [shape for shape in ridges.tolist() if room.contains(shape)]
        if mine:
            at = max(mine, key=lambda shape: shape.area).representative_point()
            yield on_blank(
                placement,
                "copper-ridge",
                "note",
                "a ridge of floating copper is left in a gap, narrower than the "
                f"{job.isolation.gap:g} mm that [isolation] gap requires. Raise [isolation] "
                "overlap, or brush the board.",
                (at.x, at.y),
            )


TOLERANCE = 2 * EDGE
"""Distances from two pieces may differ by this more than laps are apart, mm."""
JUNCTION = 0.8
"""Where laps meet they run a little beyond the middle, mm."""
SAMPLE = 0.25
"""Laps are looked at this often, mm."""


def check_in_middle(
    job: JobPlan,
    copper: float,
    lines: FloatArray,
    placements: Sequence[Placement],
    joins: Sequence[Join],
) -> Iterator[Finding]:
    """Laps that do not run in the middle of a gap; the edge of a board counts as one more piece.

    Args:
        job: what is required.
        copper: thickness of the foil, mm.
        lines: (n, 4) straight cuts of isolation in their order, blank frame.
        placements: the boards.
        joins: where passes meet; there laps run on, and ticks lead away from the middle.
    """
    if job.isolation.course != "middle" or not len(lines):
        return
    foot = min(use.foot(copper) for use in job.isolation.uses)
    allowance = max(job.isolation.gap - foot, 0.0) + TOLERANCE
    xy, gone = _samples(lines)
    wide = 2 * (job.isolation.gap + max(use.surface for use in job.isolation.uses))
    met = shapely.union_all(
        [shapely.Point(j.at).buffer(wide + 2 * j.overrun + j.tick) for j in joins if j.piece]
    )
    points = np.asarray(shapely.points(xy))
    for placement in placements:
        outline = placement.pose.shape(placement.board.outline)
        inside = np.flatnonzero(shapely.contains_xy(outline.difference(met), xy))
        if not len(inside):
            continue
        tree = shapely.STRtree([*placement.pieces.values(), outline.boundary])
        (which, _), near = tree.query_nearest(
            points[inside], return_distance=True, all_matches=False
        )
        reach = np.zeros(len(inside))
        reach[which] = near + allowance
        hit, _ = tree.query(points[inside], predicate="dwithin", distance=reach)
        off = inside[np.bincount(hit, minlength=len(inside)) < 2]
        run = _longest(off, gone)
        if run is not None:
            yield on_blank(
                placement,
                "lap-off-middle",
                "note",
                "a lap runs nearer to one piece than to the other, though isolation is to run in "
                "the middle of gaps. Look at this place on the picture.",
                (float(xy[run, 0]), float(xy[run, 1])),
            )


def _samples(lines: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Places along lines, and how far along all of them each is."""
    length = np.hypot(*(lines[:, 2:4] - lines[:, 0:2]).T)
    count = np.maximum(np.ceil(length / SAMPLE).astype(int), 1)
    of = np.repeat(np.arange(len(lines)), count)
    share = (np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count) + 0.5) / count[of]
    xy = lines[of, 0:2] + (lines[of, 2:4] - lines[of, 0:2]) * share[:, None]
    return xy, np.cumsum(length[of] / count[of])


def _longest(off: NDArray[np.int64], gone: FloatArray) -> int | None:
    """A place in the middle of the longest stretch that lies off, if it is long."""
    if not len(off):
        return None
    stretches = np.split(off, np.flatnonzero(np.diff(off) > 1) + 1)
    worst = max(stretches, key=lambda some: float(gone[some[-1]] - gone[some[0]]))
    if gone[worst[-1]] - gone[worst[0]] <= JUNCTION:
        return None
    return int(worst[len(worst) // 2])


def check_slivers(
    parts: Sequence[CopperPart], placements: Sequence[Placement], blank: int
) -> list[Finding]:
    """One note for the slivers and one for the islands of a blank, at the largest of each.

    What lies outside all boards is waste: letters are engraved there.
    """
    shapes = np.array(
        [part.shape for part in parts if not part.pieces and part.shape.area < ISLAND],
        dtype=object,
    )
    boards = shapely.union_all([p.pose.shape(p.board.outline) for p in placements])
    shapely.prepare(boards)
    shapes = shapes[shapely.intersects(boards, shapes)]
    if not len(shapes):
        return []
    thin = shapely.is_empty(shapely.buffer(shapes, -SLIVER, quad_segs=2))
    findings: list[Finding] = []
    for code, chosen, word in (
        ("copper-sliver", shapes[thin], "sliver"),
        ("copper-island", shapes[~thin], "island"),
    ):
        if not len(chosen):
            continue
        order = np.argsort(-shapely.area(chosen), kind="stable")
        largest = chosen[order[0]]
        at, *places = (
            (float(spot.x), float(spot.y))
            for spot in shapely.point_on_surface(chosen[order[: MOST_PLACES + 1]]).tolist()
        )
        remain = f"1 {word} of copper remains" if len(chosen) == 1 else (
            f"{len(chosen)} {word}s of copper remain"
        )  # fmt: skip
        findings.append(
            Finding(
                code=code,
                severity="note",
                message=f"{remain} between paths. Raise the overlap, or brush the board; the "
                f"largest has {largest.area:.4f} mm².",
                frame="blank",
                at=at,
                blank=blank,
                places=tuple(places),
            )
        )
    return findings
