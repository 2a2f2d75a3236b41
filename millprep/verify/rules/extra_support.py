"""Where one more clamp or strip of tape would be in nobody's way and hold a blank best."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np
import shapely

from millprep.geometry.path import FloatArray
from millprep.geometry.pose import Pose
from millprep.model.blank import Blank, Box
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import ExtraSupport, Holding, MillingPass, SupportKind
from millprep.verify.rules.plate import Plate, Support

LONG, OUTSIDE, OVER = 15.0, 15.0, 4.0
"""A clamp along the edge, outside of it and over it, mm; over it as far as the job's own clamps."""
HEIGHT = 4.0
"""Of a clamp above the copper, mm, where the job has none."""
STRIDE = 5.0
"""Places are tried this far from each other, mm."""
BEYOND = 20.0
"""A clamp may be so far beyond the travel, mm: farther nobody knows what is there."""
STRIPS = ((60.0, 10.0), (10.0, 60.0), (30.0, 10.0), (10.0, 30.0), (20.0, 20.0), (10.0, 10.0))
"""Strips of tape, mm."""
NEAR = 30.0
"""A strip is tried where most is lifted too much within this, mm."""
TRIED = 8
"""Strips of each size."""


def clamp_room(laminate: Blank, mill_pass: MillingPass, job: JobPlan) -> tuple[Box, ...]:
    """Boxes over the blank's edges in which clamps are in nobody's way, machine frame.

    No cut, no travel move lower than `clamp_clearance` above the clamp, no other clamp is there,
    and nothing that an offcut lacks; the spindle keeps half its collet nut away.
    """
    x0, y0, x1, y1 = mill_pass.pose.shape(shapely.box(0.0, 0.0, *laminate.size)).bounds
    rim = Box(x0, y0, x1, y1)
    on = [clamp.box for clamp in job.setup.clamps if clamp.on_in(mill_pass.number)]
    height = max((clamp.height for clamp in job.setup.clamps), default=HEIGHT)
    over = min((depth for box in on if (depth := _over(box, rim)) >= 1.0), default=OVER)
    low, travel = _low_places(mill_pass, height + job.machine.clamp_clearance), job.machine.travel
    edges = (
        (Box(x0, y0 - OUTSIDE, x1, y0 + over), False, y0 >= travel.y0 - BEYOND),
        (Box(x0, y1 - over, x1, y1 + OUTSIDE), False, y1 <= travel.y1 + BEYOND),
        (Box(x0 - OUTSIDE, y0, x0 + over, y1), True, x0 >= travel.x0 - BEYOND),
        (Box(x1 - over, y0, x1 + OUTSIDE, y1), True, x1 <= travel.x1 + BEYOND),
    )
    lacking = _lacking(laminate, mill_pass)
    return tuple(
        box
        for edge, upright, within in edges
        if within
        for box in _stretches(
            edge, upright, travel, low, [*on, *_boxes(lacking, edge)], job.machine.collet / 2
        )
    )


def _lacking(laminate: Blank, mill_pass: MillingPass) -> shapely.Geometry:
    """What an offcut lacks of its rectangle, machine frame."""
    whole = shapely.box(0.0, 0.0, *laminate.size)
    return mill_pass.pose.shape(shapely.difference(whole, laminate.outline or whole))


def _boxes(shape: shapely.Geometry, within: Box) -> list[Box]:
    """Boxes around the parts of a shape that are within a box."""
    parts = shapely.get_parts(shapely.intersection(shape, within.shape))
    # shapes that touch the box have a line in common with it
    return [Box(*bounds) for bounds in shapely.bounds(parts[shapely.area(parts) > 0]).tolist()]


def _over(clamp: Box, rim: Box) -> float:
    """How far a clamp reaches over the blank's edge, mm."""
    over = clamp.shape.intersection(rim.shape)
    x0, y0, x1, y1 = over.bounds if not over.is_empty else (0.0, 0.0, 0.0, 0.0)
    return float(min(x1 - x0, y1 - y0))


def _low_places(mill_pass: MillingPass, height: float) -> FloatArray:
    """(n, 2) places of the spindle's axis below a height, and where Z is zeroed."""
    parts = [np.array([mill_pass.touch])]
    for program in mill_pass.programs:
        assert program.trail is not None, "programs were read back before"
        z = program.trail.xyz[:, 2]
        parts.append(program.trail.steps(np.minimum(z[:-1], z[1:]) < height, 1.0))
    return np.concatenate(parts)


def _stretches(
    edge: Box, upright: bool, travel: Box, low: FloatArray, on: list[Box], reach: float
) -> Iterator[Box]:
    """The parts of a strip along an edge in which a clamp is in nobody's way."""
    # the strip is looked at along x
    turn = slice(None, None, -1) if upright else slice(None)
    start, end = np.array(edge.bounds).reshape(2, 2)[:, turn] + 0.0
    near, far = np.array(travel.bounds).reshape(2, 2)[:, turn] + 0.0
    taken = low[:, turn]
    taken = taken[(taken[:, 1] > start[1] - reach) & (taken[:, 1] < end[1] + reach)]
    bars = [(x - reach, x + reach) for x in sorted(set(taken[:, 0].round(1).tolist()))]
    for box in on:
        a, b = np.array(box.bounds).reshape(2, 2)[:, turn] + 0.0
        if a[1] < end[1] and b[1] > start[1]:
            bars.append((a[0] - 1.0, b[0] + 1.0))
    begin, limit = max(start[0], near[0]), min(end[0], far[0])
    for left, right in [*sorted(bars), (limit, np.inf)]:
        # rounded inwards, to places that a person can measure
        first, last = np.ceil(begin), np.floor(min(left, limit))
        if last - first >= LONG:
            ends = np.array([(first, start[1]), (last, end[1])])[:, turn]
            yield Box(*map(float, ends.ravel().tolist()))
        begin = max(begin, right)


def extra_supports(
    plate: Plate,
    laminate: Blank,
    mill_pass: MillingPass,
    job: JobPlan,
    holding: Holding,
    counts: FloatArray,
    springs: Mapping[str, float],
) -> tuple[ExtraSupport, ...]:
    """The clamp and the strip of tape that would help most, the better one first.

    That is what leaves the least lift beyond what is allowed, on average over all cuts. Which they
    are is found with one more spring of stiffness k at a place c, which takes
    w(p, c)² / (1/k + w(c, c)) from the compliance of a place p; what they leave is worked out.

    Args:
        plate: the blank as it is held.
        laminate: the blank.
        mill_pass: the pass.
        job: what already holds the blank.
        holding: the lift of every place.
        counts: how many cuts each place is for.
        springs: stiffness of a clamp and of tape, N/mm³.
    """
    rim = mill_pass.pose.shape(shapely.box(0.0, 0.0, *laminate.size))
    tried: list[tuple[SupportKind, Box]] = []
    tried += [("clamp", box) for room in holding.room for box in _clamps(room, rim.bounds)]
    tried += [("tape", box) for box in _strips(laminate, mill_pass, job, holding, counts)]
    if not tried:
        return ()
    back = mill_pass.pose.inverse()
    on = [box.shape.intersection(rim) for _, box in tried]
    centres = back.points(shapely.get_coordinates(shapely.centroid(on)))
    stiffness = np.array([springs[kind] for kind, _ in tried]) * shapely.area(on)
    places = back.points(holding.places[:, :2])
    given = plate.deflection(np.concatenate((places, centres)), centres)
    less = given[: len(places)] ** 2 / (1 / stiffness + np.diagonal(given[len(places) :]))
    used = (holding.places[:, 2, None] - holding.force * less) / holding.places[:, 3, None]
    best: dict[SupportKind, Box] = {}
    # rounded, so that the first of equals is the same on every machine
    for n in np.argsort(_excess(used, counts).round(6), kind="stable").tolist():
        best.setdefault(*tried[n])
    now = float(_excess((holding.places[:, 2] / holding.places[:, 3])[:, None], counts)[0])
    made = [
        _made(plate, mill_pass, holding, counts, box, springs[kind]) for kind, box in best.items()
    ]
    left = [
        (excess, ExtraSupport(kind, box, lift, share))
        for (kind, box), (excess, lift, share) in zip(best.items(), made, strict=True)
        if excess < now
    ]
    return tuple(support for _, support in sorted(left, key=lambda pair: round(pair[0], 6)))


def _excess(used: FloatArray, counts: FloatArray) -> FloatArray:
    """Mean of what cuts lift beyond what is allowed, in shares of that, for each column."""
    return np.asarray(counts @ np.maximum(used - 1.0, 0.0) / counts.sum())


def _made(
    plate: Plate,
    mill_pass: MillingPass,
    holding: Holding,
    counts: FloatArray,
    box: Box,
    stiffness: float,
) -> tuple[float, float, float]:
    """What one more clamp or strip leaves: mean excess, lift at the worst place, share."""
    support = Support(on_blank(box, mill_pass.pose), stiffness)
    stiffer = replace(plate, supports=(*plate.supports, support))
    places = mill_pass.pose.inverse().points(holding.places[:, :2])
    lift = holding.force * stiffer.compliance(places)
    used = lift / holding.places[:, 3]
    worst = float(lift[np.argmax(used.round(6))])
    excess = float(_excess(used[:, None], counts)[0])
    return excess, worst, float(counts[used > 1].sum() / counts.sum())


def on_blank(box: Box, pose: Pose) -> Box:
    """A box of the machine in the blank frame.

    A blank that lies a little askew turns it by so little that it stays upright.
    """
    back = pose.inverse()
    x, y = back.point(((box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2))
    sideways, upright = (box.x1 - box.x0) / 2, (box.y1 - box.y0) / 2
    if abs(back.b) > abs(back.a):
        sideways, upright = upright, sideways
    return Box(x - sideways, y - upright, x + sideways, y + upright)


def _clamps(room: Box, rim: tuple[float, ...]) -> Iterator[Box]:
    """Places for a clamp in a stretch of an edge of the blank."""
    upright = room.x0 < rim[0] or room.x1 > rim[2]
    start, end = (room.y0, room.y1) if upright else (room.x0, room.x1)
    for at in np.append(np.arange(start, end - LONG, STRIDE), end - LONG).tolist():
        if upright:
            yield Box(room.x0, at, room.x1, at + LONG)
        else:
            yield Box(at, room.y0, at + LONG, room.y1)


def _strips(
    laminate: Blank, mill_pass: MillingPass, job: JobPlan, holding: Holding, counts: FloatArray
) -> Iterator[Box]:
    """Strips of tape under laminate that nothing cuts into, near what lifts too much."""
    rim, travel = (
        mill_pass.pose.shape(shapely.box(0.0, 0.0, *laminate.size)).bounds,
        job.machine.travel,
    )
    x0, y0, x1, y1 = (
        max(rim[0], travel.x0), max(rim[1], travel.y0),
        min(rim[2], travel.x1), min(rim[3], travel.y1),
    )  # fmt: skip
    taped = job.setup.tape if isinstance(job.setup.tape, tuple) else ()
    through = [np.empty((0, 2))]
    for program in mill_pass.programs:
        assert program.trail is not None, "programs were read back before"
        if program.depth >= laminate.thickness:
            z = program.trail.xyz[:, 2]
            below = np.minimum(z[:-1], z[1:]) <= -laminate.thickness
            through.append(program.trail.steps(below, 1.0))
    drilled = shapely.buffer(shapely.MultiPoint(np.concatenate(through)), 2.0, quad_segs=2)
    barred = shapely.union_all(
        [drilled, _lacking(laminate, mill_pass), *(box.shape for box in taped)]
    )
    shapely.prepare(barred)
    excess = np.maximum(holding.places[:, 2] / holding.places[:, 3] - 1.0, 0.0) * counts
    places, weight = holding.places[excess > 0, :2], excess[excess > 0]
    for wide, high in STRIPS:
        xs, ys = np.arange(x0, x1 - wide, STRIDE), np.arange(y0, y1 - high, STRIDE)
        low = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)
        far = np.abs(low[:, None] + (wide / 2, high / 2) - places[None]).max(axis=2)
        helped = (weight * (far < NEAR)).sum(axis=1)
        tried = 0
        for n in np.argsort(-helped, kind="stable").tolist():
            x, y = low[n].tolist()
            box = Box(x, y, x + wide, y + high)
            if helped[n] == 0 or tried == TRIED:
                break
            if not barred.intersects(box.shape):
                tried += 1
                yield box
