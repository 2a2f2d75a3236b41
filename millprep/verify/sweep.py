"""What a cutter sweeps at one level of the laminate.

At a level below the surface a cutter is a disc, whose radius grows with the depth of the tip
below that level. A straight move therefore sweeps the convex hull of the discs at its two
ends: exact for a cylinder, and for a cone on a ramp as well, since its radius is linear in
depth. Arcs are flattened to `PATH_TOLERANCE` first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.geometry.path import FloatArray
from millprep.geometry.pose import Pose
from millprep.model.cutter import Cutter, Drill, EndMill, Vee
from millprep.model.milling_pass import MillingPass
from millprep.verify.trace import Trace

Shapes = NDArray[np.object_]

PATH_TOLERANCE = 0.002
"""Distance of chords and their corners from an arc, mm: at 5 µm the narrowest gap was 4 µm off."""
SHORTER = 0.15
"""A chord from an arc's end, which is on it, is shorter by this share than between corners off."""
DISC_TOLERANCE = 0.001
"""Distance of a disc's polygon from its circle, mm; the polygon lies inside."""
CHUNK = 192
"""Segments swept as one piece: short enough for small unions, long enough to be few."""
SAME = 1e-9
"""Corners this near to each other, mm, are one."""
WORKERS = 2


@dataclass(frozen=True, slots=True)
class Steps:
    """What copper sees of a program.

    Attributes:
        steps: machine frame, as from `segments`.
        cutter: its shape alone.
        number: of the pass.
        pose: from the machine to the blank.
    """

    steps: FloatArray
    cutter: Cutter
    number: int
    pose: Pose


def steps_of(cuts: Sequence[tuple[Trace, Cutter, MillingPass]]) -> tuple[Steps, ...]:
    """What copper sees of programs, each read back with its cutter and its pass."""
    return tuple(
        Steps(segments(trace), cutter.shape, mill_pass.number, mill_pass.pose.inverse())
        for trace, cutter, mill_pass in cuts
    )


def segments(trace: Trace) -> FloatArray:
    """Every cutting move below the surface as (n, 6) straight steps x0 y0 z0 x1 y1 z1, mm.

    Rapids and probes below the surface count as cutting: the metal does not know the word.
    """
    return trace.once(_segments)


def _segments(trace: Trace) -> FloatArray:
    moves = trace.columns
    below = (moves.start[:, 2] < 0) | (moves.end[:, 2] < 0)
    every = np.hstack((moves.start, moves.end))[below]
    arcs = np.flatnonzero(moves.arc[below])
    if len(arcs):
        bends = bends_of(every[arcs], moves.centre[below][arcs], moves.clockwise[below][arcs])
        chords, owner = bends.chords(PATH_TOLERANCE, PATH_TOLERANCE)
        order = np.concatenate((np.arange(len(every)), arcs[owner]))
        straight = np.ones(len(order), dtype=bool)
        straight[arcs] = False
        every = np.vstack((every, chords))[straight]
        every = every[np.argsort(order[straight], kind="stable")]
    kept: FloatArray = every[~np.isnan(every).any(axis=1)]
    kept.setflags(write=False)
    return kept


@dataclass(frozen=True, slots=True)
class Bends:
    """Arcs and helices; the radius of each runs evenly from its first to its last.

    Attributes:
        ends: (n, 6) first and last point of each.
        centre: (n, 2).
        first, swept: (n,) angle of the first point, and the angle from there to the last, radians.
        radius: (n, 2) at the first and the last point.
    """

    ends: FloatArray
    centre: FloatArray
    first: FloatArray
    swept: FloatArray
    radius: FloatArray

    @property
    def around(self) -> FloatArray:
        """(n,) length of each in the plane."""
        around: FloatArray = np.abs(self.swept) * self.radius.mean(axis=1)
        return around

    def chords(self, off: float, beyond: float = 0.0) -> tuple[FloatArray, NDArray[np.intp]]:
        """Chords of all of them, no farther than `off` from the arc, and whose each is.

        Their corners, but for both ends, lie `beyond` it, 0 or `off`, which takes fewer.
        """
        first, swept, ends = self.first, self.swept, self.ends
        r0, r1 = self.radius.T
        most = np.maximum(np.maximum(r0, r1), 1e-12)
        turn = 2 * np.arccos(np.clip((most - off) / (most + beyond), -1.0, 1.0))
        # a chord from an end, which is on the arc, may turn less
        less = SHORTER * beyond / off
        count = np.maximum(np.ceil(np.abs(swept) / turn + 2 * less), 1).astype(int)
        owner = np.repeat(np.arange(len(ends)), count)
        k = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)

        out = np.empty((len(owner), 6))
        for columns, step in ((slice(0, 3), k), (slice(3, 6), k + 1)):
            t = np.clip((step - less) / (count[owner] - 2 * less), 0.0, 1.0)
            angle = first[owner] + swept[owner] * t
            radius = r0[owner] + (r1 - r0)[owner] * t + beyond
            z = ends[owner, 2] + (ends[:, 5] - ends[:, 2])[owner] * t
            ring = np.column_stack((np.cos(angle), np.sin(angle)))
            out[:, columns] = np.column_stack((self.centre[owner] + radius[:, None] * ring, z))
            # both ends as written: chords of neighbours must meet
            for end, source in ((step == 0, slice(0, 3)), (step == count[owner], slice(3, 6))):
                out[end, columns] = ends[owner[end], source]
        return out, owner


def bends_of(ends: FloatArray, centre: FloatArray, clockwise: NDArray[np.bool_]) -> Bends:
    """Arcs by their first and last points, (n, 6); equal ones are a full turn."""
    a, b = ends[:, 0:2] - centre, ends[:, 3:5] - centre
    first = np.arctan2(a[:, 1], a[:, 0])
    swept = np.arctan2(b[:, 1], b[:, 0]) - first
    swept += math.tau * (~clockwise & (swept <= 0)) - math.tau * (clockwise & (swept >= 0))
    closed = (ends[:, 0:2] == ends[:, 3:5]).all(axis=1)
    swept = np.where(closed, np.where(clockwise, -math.tau, math.tau), swept)
    return Bends(ends, centre, first, swept, np.column_stack((np.hypot(*a.T), np.hypot(*b.T))))


def arc_samples(
    start: tuple[float, float, float],
    end: tuple[float, float, float],
    centre: tuple[float, float],
    clockwise: bool,
    sagitta: float,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Angles in radians, radii and heights along an arc, close enough for `sagitta`."""
    (ax, ay), (bx, by) = (
        (start[0] - centre[0], start[1] - centre[1]),
        (end[0] - centre[0], end[1] - centre[1]),
    )
    first, last = math.atan2(ay, ax), math.atan2(by, bx)
    sweep = last - first
    if start[:2] == end[:2]:
        sweep = -math.tau if clockwise else math.tau
    elif clockwise and sweep >= 0:
        sweep -= math.tau
    elif not clockwise and sweep <= 0:
        sweep += math.tau
    r0, r1 = math.hypot(ax, ay), math.hypot(bx, by)
    step = 2 * math.acos(max(1 - sagitta / max(r0, r1), -1.0))
    count = max(math.ceil(abs(sweep) / step), 1)
    t = np.linspace(0.0, 1.0, count + 1)
    return first + sweep * t, r0 + (r1 - r0) * t, start[2] + (end[2] - start[2]) * t


def sweep(steps: FloatArray, cutter: Cutter, pose: Pose, level: float, *, fine: int = 1) -> Shapes:
    """Areas that cover what the steps cut at `level` below the surface, not yet united.

    `steps` as from `segments`; `pose` moves their x and y into the frame of the result. Discs
    have `fine` times as many corners as `DISC_TOLERANCE` asks for.
    """
    reach = clipped(steps, level)
    if not len(reach):
        return np.array([], dtype=object)
    radius = np.column_stack(
        [radii(cutter, -reach[:, 2], level), radii(cutter, -reach[:, 5], level)]
    )
    a, b = pose.points(reach[:, 0:2]), pose.points(reach[:, 3:5])
    if isinstance(cutter, EndMill):
        # it goes the same way at every depth, and is as wide there
        first = _first(np.hstack((a, b)))
        a, b, radius = a[first], b[first], radius[first]
    moving = np.abs(b - a).max(axis=1) > 1e-9
    level_cut = moving & (np.abs(radius[:, 1] - radius[:, 0]) < 1e-7)
    ramp = moving & ~level_cut
    areas = [
        *_stadiums(a[level_cut], b[level_cut], radius[level_cut].max(axis=1), fine),
        *_ramps(a[ramp], b[ramp], radius[ramp], fine),
    ]
    # Up or down is a disc; most are at an end of a cut of the same depth, which is as round.
    still = np.flatnonzero(~moving)
    bare = still[~_covered(still, a, b, radius, level_cut)]
    spots = radius[bare].max(axis=1)
    keep = spots > 1e-9
    # a drill goes up where it went down: one disc
    once = bare[keep][_first(np.column_stack((a[bare], spots))[keep])]
    areas.extend(_discs(a[once], radius[once].max(axis=1), fine))
    return np.concatenate(areas) if areas else np.array([], dtype=object)


def _first(rows: FloatArray) -> NDArray[np.intp]:
    """The first of all rows that are alike, bit by bit, in order."""
    whole = np.ascontiguousarray(rows).view(f"V{8 * rows.shape[1]}").ravel()
    first: NDArray[np.intp] = np.sort(np.unique(whole, return_index=True)[1])
    return first


def clipped(steps: FloatArray, level: float) -> FloatArray:
    """The part of every step whose tip is at or below the level."""
    z0, z1 = steps[:, 2], steps[:, 5]
    top = -level
    keep = np.minimum(z0, z1) < top - 1e-9
    s = steps[keep].copy()
    for here, there in ((0, 3), (3, 0)):
        above = s[:, here + 2] > top
        if above.any():
            high, low = s[above, here : here + 3], s[above, there : there + 3]
            t = (high[:, 2] - top) / (high[:, 2] - low[:, 2])
            s[above, here : here + 3] = high + (low - high) * t[:, None]
            s[above, here + 2] = top
    return s


def radii(cutter: Cutter, depth: FloatArray, level: float) -> FloatArray:
    """Half of `cutter.width` for many depths, where the tip is at or below the level."""
    rise = np.maximum(depth - level, 0.0)
    match cutter:
        case Vee():
            return np.asarray(
                cutter.tip / 2 + rise * math.tan(math.radians(cutter.angle) / 2), dtype=float
            )
        case EndMill():
            return np.full(len(depth), cutter.diameter / 2)
    assert isinstance(cutter, Drill)
    cone = rise * math.tan(math.radians(cutter.point_angle) / 2)
    return np.minimum(cone, cutter.diameter / 2)


def quarter(radius: float) -> int:
    """Segments a quarter circle needs for `DISC_TOLERANCE`, at least 8."""
    if radius <= DISC_TOLERANCE:
        return 8
    return max(8, math.ceil(math.pi / 4 / math.acos(1 - DISC_TOLERANCE / radius)))


def _stadiums(a: FloatArray, b: FloatArray, radius: FloatArray, fine: int) -> list[Shapes]:
    if not len(a):
        return []
    same = np.abs(np.diff(radius)) < 1e-7
    joined = (np.abs(a[1:] - b[:-1]).max(axis=1) < 1e-9) & same
    run = np.concatenate(([0], np.cumsum(~joined)))
    first = np.concatenate(([0], np.flatnonzero(~joined) + 1))
    within = np.arange(len(a)) - first[run]
    chain = np.cumsum((within % CHUNK) == 0) - 1
    starts = np.flatnonzero((within % CHUNK) == 0)
    points = np.insert(b, starts, a[starts], axis=0)
    lines: Shapes = np.asarray(
        shapely.linestrings(points, indices=np.insert(chain, starts, chain[starts]))
    )
    wide = radius[starts]
    return [dilated(lines[wide == r], r, fine * quarter(r)) for r in np.unique(wide).tolist()]


def dilated(shapes: Shapes, by: float | FloatArray, quad_segs: int) -> Shapes:
    """The shapes grown by a disc, or worn for a negative `by`, half of them in each thread."""
    far = np.broadcast_to(np.asarray(by, dtype=float), len(shapes))

    def grow(turn: slice) -> Shapes:
        return np.asarray(shapely.buffer(shapes[turn], far[turn], quad_segs=quad_segs))

    if len(shapes) < 100:
        return grow(slice(None))
    with ThreadPoolExecutor(WORKERS) as pool:
        # By turns, not in halves: large shapes come together in reading order.
        turns = pool.map(grow, [slice(k, None, WORKERS) for k in range(WORKERS)])
        out = np.empty(len(shapes), dtype=object)
        for k, done in enumerate(turns):
            out[k::WORKERS] = done
        return out


def _ramps(a: FloatArray, b: FloatArray, radius: FloatArray, fine: int) -> list[Shapes]:
    """Convex hulls of the discs at both ends."""
    if not len(a):
        return []
    n = 4 * fine * quarter(float(radius.max()))
    angle = np.arange(n) * (math.tau / n)
    unit = np.column_stack((np.cos(angle), np.sin(angle)))
    rims = np.concatenate(
        (
            a[:, None, :] + radius[:, 0, None, None] * unit,
            b[:, None, :] + radius[:, 1, None, None] * unit,
        ),
        axis=1,
    )
    hulls: Shapes = np.asarray(shapely.convex_hull(shapely.linestrings(rims)))
    return [hulls[shapely.get_dimensions(hulls) == 2]]


def _discs(at: FloatArray, radius: FloatArray, fine: int) -> list[Shapes]:
    areas: list[Shapes] = []
    for r in np.unique(radius).tolist():
        # all discs are moved from one
        disc = shapely.buffer(shapely.Point(0.0, 0.0), r, quad_segs=fine * quarter(r))
        corners = at[radius == r, None] + shapely.get_coordinates(disc)
        areas.append(np.asarray(shapely.polygons(corners)))
    return areas


def _covered(
    still: NDArray[np.intp],
    a: FloatArray,
    b: FloatArray,
    radius: FloatArray,
    level_cut: NDArray[np.bool_],
) -> NDArray[np.bool_]:
    """Which discs the level cut before or after them covers."""
    covered = np.zeros(len(still), dtype=bool)
    for near, ends in ((np.maximum(still - 1, 0), b), (np.minimum(still + 1, len(a) - 1), a)):
        covered |= (
            level_cut[near]
            & (np.abs(ends[near] - a[still]).max(axis=1) < 1e-9)
            & (radius[near].max(axis=1) >= radius[still].max(axis=1) - 1e-9)
        )
    return covered


def alike(some: Shapes, others: Shapes) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Every two areas that are the same, corner by corner: numbers in `some` and in `others`."""
    first, second = shapely.STRtree(others).query(some)
    same = shapely.equals_exact(
        shapely.normalize(some)[first], shapely.normalize(others)[second], SAME
    )
    return first[same], second[same]
