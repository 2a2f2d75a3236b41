"""Verniers: the lines of their combs, and where they are: in both margins, near the joins.

The first comb is cut by the pass that comes first, its lines i · p from the centre. The second is
cut by the later pass, its lines i · (p - δ), so that lines coincide where i = s / δ when the later
pass cuts s too far along the direction that is measured. A person reads i with a lens.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import FloatArray, Path, Point
from millprep.model.blank import Blank, Box
from millprep.model.cut import Engraving
from millprep.model.cutter import Cutter
from millprep.model.finding import Finding
from millprep.model.milling_pass import Join, Measured, RegistrationHole, Vernier
from millprep.passes.labels import first_fitting
from millprep.passes.shift import ShiftPlan

SIZES: dict[Measured, tuple[float, float, int]] = {"x": (1.0, 0.02, 10), "y": (0.6, 0.02, 6)}
"""Pitch, step and reach. Along x ±0.2 mm are shown, along y ±0.12 mm, so that the second kind
fits a margin of ten millimetres."""
LINE = 1.2
"""Length of a line from the common edge outward, mm."""
LONGER = 0.5
"""Every fifth line is longer by this at its outer end, the centre one by twice as much."""
SIGN = 0.8
"""Size of the plus sign at the positive end, mm."""


def combs(vernier: Vernier) -> tuple[tuple[Path, ...], tuple[Path, ...]]:
    """Lines of the first comb with its plus sign, and of the second, blank frame."""
    first, second = [], []
    for i in range(-vernier.reach, vernier.reach + 1):
        length = LINE + LONGER * (2 if i == 0 else int(i % 5 == 0))
        first.append(_path(vernier, [(i * vernier.pitch, 0.0), (i * vernier.pitch, -length)]))
        place = i * (vernier.pitch - vernier.step)
        second.append(_path(vernier, [(place, 0.0), (place, length)]))
    # beyond the last line's outer end: so it takes no room along the measured direction
    x, y, half = vernier.reach * vernier.pitch - SIGN / 2, -(LINE + LONGER + SIGN), SIGN / 2
    first.append(_path(vernier, [(x - half, y), (x + half, y)]))
    first.append(_path(vernier, [(x, y - half), (x, y + half)]))
    return tuple(first), tuple(second)


def _path(vernier: Vernier, points: Sequence[Point]) -> Path:
    """Points (along the measured direction, across it) as a path in the blank frame."""
    x, y = vernier.at
    if vernier.measures != "x":
        # turned a quarter to the left: the first comb is on the right
        points = [(-v, u) for u, v in points]
    return Path(np.array([(x + u, y + v) for u, v in points]), np.zeros(len(points) - 1))


def area(vernier: Vernier) -> Box:
    """The box of both combs, blank frame."""
    first, second = combs(vernier)
    xy = np.vstack([path.xy for path in (*first, *second)])
    (x0, y0), (x1, y1) = xy.min(axis=0).tolist(), xy.max(axis=0).tolist()
    return Box(x0, y0, x1, y1)


CLEAR = 1.0
"""Laminate between a vernier and whatever else is cut, and the blank's edge, mm."""


@dataclass(frozen=True, slots=True)
class VernierPlan:
    """The verniers of a blank.

    Attributes:
        verniers: all of them.
        first: lines of first combs, by the number of the pass that cuts them.
        second: lines of second combs, by the number of the pass that cuts them before all else.
        taken: where they are, blank frame.
        findings: passes that get none.
    """

    verniers: tuple[Vernier, ...] = ()
    first: dict[int, tuple[Engraving, ...]] = field(default_factory=dict)
    second: dict[int, tuple[Engraving, ...]] = field(default_factory=dict)
    taken: BaseGeometry = field(default_factory=shapely.Polygon)
    findings: tuple[Finding, ...] = ()


def plan(
    shift: ShiftPlan,
    blank: Blank,
    holes: Sequence[RegistrationHole],
    cut: BaseGeometry,
    clamped: Sequence[BaseGeometry],
    joins: Sequence[Join],
    cutter: Cutter,
    depth: float,
) -> VernierPlan:
    """Verniers for every pass that is found by holes of one before.

    Args:
        shift: windows and poses.
        blank: the laminate.
        holes: registration holes of all passes.
        cut: what is cut on the blank besides, holes and marks included, blank frame.
        clamped: per pass what clamps deny to the spindle, machine frame.
        joins: of all passes.
        cutter: that engraves, at `depth` below the surface.
        depth: of the tip.
    """
    solid = cut.buffer(cutter.width(depth) / 2, quad_segs=4)
    placed: list[Vernier] = []
    findings: list[Finding] = []
    first: dict[int, list[Engraving]] = {}
    second: dict[int, list[Engraving]] = {}
    taken: list[BaseGeometry] = []
    for first_pass, second_pass in _pairs(holes):
        shared = shift.shared(first_pass - 1, second_pass - 1)
        assert shared is not None
        denied = [
            shift.poses[number - 1].inverse().shape(clamped[number - 1])
            for number in (first_pass, second_pass)
        ]
        free = shapely.box(0, 0, *blank.size).difference(
            shapely.union_all([solid, *taken, *denied])
        )
        axis = 0 if shift.step(first_pass - 1, second_pass - 1)[0] else 1
        middle = (shared.x0 + shared.x1, shared.y0 + shared.y1)[axis] / 2
        places = [j.at[axis] for j in joins if j.passes == (first_pass, second_pass)]
        mine = choose(
            blank.number, (first_pass, second_pass), shared, free,
            float(np.mean(places)) if places else middle, axis, len(placed) + 1,
        )  # fmt: skip
        if {vernier.measures for vernier in mine} != {"x", "y"}:
            findings.append(_no_room(second_pass, (shared.x0, shared.y0)))
            continue
        placed += mine
        for vernier in mine:
            taken.append(_grown(area(vernier)))
            a, b = combs(vernier)
            first.setdefault(first_pass, []).extend(_engraved(a, vernier, cutter, depth))
            second.setdefault(second_pass, []).extend(_engraved(b, vernier, cutter, depth))
    return VernierPlan(
        tuple(placed),
        {number: tuple(lines) for number, lines in first.items()},
        {number: tuple(lines) for number, lines in second.items()},
        shapely.union_all(taken),
        tuple(findings),
    )


def _pairs(holes: Sequence[RegistrationHole]) -> list[tuple[int, int]]:
    """For every pass that is found again, the pass that drilled its key."""
    return sorted((h.drilled_in, h.used_in) for h in holes if h.role == "key")


def _engraved(
    paths: Iterable[Path], vernier: Vernier, cutter: Cutter, depth: float
) -> list[Engraving]:
    return [Engraving(path, cutter.name, depth, f"vernier {vernier.id}") for path in paths]


def _no_room(second_pass: int, at: Point) -> Finding:
    return Finding(
        code="no-room-for-vernier",
        severity="note",
        message=(
            f"The margins hold no pair of verniers for pass {second_pass}: the misalignment can be "
            "read at the joins only. Use a margin some millimetres wider."
        ),
        frame="blank",
        at=at,
        mill_pass=second_pass,
    )


def choose(
    blank: int,
    passes: tuple[int, int],
    overlap: Box,
    free: BaseGeometry,
    joins: float,
    axis: int,
    first_number: int,
) -> tuple[Vernier, ...]:
    """Verniers for two passes: one of each kind in both long margins, where they fit.

    Args:
        blank: its number.
        passes: the lower number first.
        overlap: what both windows share, blank frame.
        free: laminate in the margins, clear of boards, holes, clamps and marks.
        joins: where the joins lie on average along the axis; verniers are near it.
        axis: 0 when the blank moves along x, 1 along y.
        first_number: of the first vernier's id.
    """
    room = shapely.intersection(free, overlap.shape)
    middle = (overlap.y0 + overlap.y1, overlap.x0 + overlap.x1)[axis] / 2
    placed: list[Vernier] = []
    for side in (-1, 1):
        for measures, (pitch, step, reach) in SIZES.items():
            ident = f"v{first_number + len(placed)}"
            trial = Vernier(ident, blank, (0.0, 0.0), measures, passes, pitch, step, reach)
            here = shapely.intersection(room, _half(overlap, axis, middle, side))
            at = _nearest(here, area(trial), joins, axis)
            if at is not None:
                placed.append(replace(trial, at=at))
                room = shapely.difference(room, _grown(area(placed[-1])))
    return tuple(placed)


def _nearest(room: BaseGeometry, box: Box, joins: float, axis: int) -> Point | None:
    """The place nearest to the joins along the axis where the room holds the box."""
    places = _places(room)
    places = places[np.argsort(np.abs(places[:, axis] - joins), kind="stable")]
    x0, y0, x1, y1 = _grown(box).bounds
    n = first_fitting(room, np.add(places, (x0, y0)), np.add(places, (x1, y1)))
    return None if n is None else (float(places[n, 0]), float(places[n, 1]))


def _grown(box: Box) -> shapely.Polygon:
    return shapely.box(box.x0 - CLEAR, box.y0 - CLEAR, box.x1 + CLEAR, box.y1 + CLEAR)


def _half(overlap: Box, axis: int, middle: float, side: int) -> shapely.Polygon:
    """The half of the overlap on one side of the centre line along the axis."""
    x0, y0, x1, y1 = overlap.x0, overlap.y0, overlap.x1, overlap.y1
    if axis == 0:
        return shapely.box(x0, y0 if side < 0 else middle, x1, middle if side < 0 else y1)
    return shapely.box(x0 if side < 0 else middle, y0, middle if side < 0 else x1, y1)


def _places(room: BaseGeometry) -> FloatArray:
    """(n, 2) grid over the room; finer across, where margins are narrow."""
    if room.is_empty:
        return np.empty((0, 2))
    x0, y0, x1, y1 = room.bounds
    x, y = np.meshgrid(
        np.arange(math.ceil(2 * x0) / 2, x1, 0.5), np.arange(math.ceil(4 * y0) / 4, y1, 0.25)
    )
    return np.column_stack((x.ravel(), y.ravel()))
