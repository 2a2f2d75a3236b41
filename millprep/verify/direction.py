"""Which way round full circles are run: what they cut is the same, how they cut is not.

An end mill that bores climbs: counter-clockwise. The first lap around a round piece, or within one,
runs as the job says, with the copper on its right when it climbs. Laps farther out may run along
other copper that stays, so they are not judged.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import shapely

from millprep.geometry.path import Point
from millprep.model.board import Hole
from millprep.model.cutter import EndMill
from millprep.model.finding import NOT_RUN, Finding
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import RegistrationHole
from millprep.model.set_of_programs import MilledBlank
from millprep.verify.holes_as_cut import OFF
from millprep.verify.read_back import Run
from millprep.verify.trace import Trace

SAME = 2e-3
"""Centres nearer to each other, mm, are one."""
NEARLY = 0.05
"""A circle may lack so much of its turn, rad."""
FIRST = 0.02
"""A first lap is half the groove's width from copper within this, mm."""
CLEARLY = 2.0
"""Copper on the other side of a lap must be farther by this factor to be none of its own."""


class _Circle(NamedTuple):
    """A full circle: its centre, a place on it, the machine frame; and its line."""

    centre: Point
    at: Point
    clockwise: bool
    line: int


def check_directions(job: JobPlan, blank: MilledBlank, runs: Sequence[Run]) -> Iterator[Finding]:
    """Full circles of the programs of a blank that are run the wrong way round."""
    circles = [(run, circle) for run in runs for circle in _circles(run.trace)]
    if not circles:
        return
    bores: list[Hole | RegistrationHole] = [hole for p in blank.placements for hole in p.holes]
    bores += [hole for each in blank.passes for hole in each.registration]
    spines = shapely.STRtree([hole.spine for hole in bores])
    around = shapely.STRtree([piece for p in blank.placements for piece in p.pieces.values()])
    for run, circle in circles:
        pose = run.mill_pass.pose.inverse()
        first = _first_laps(job, run.program.cutter.name)
        centre, at = pose.point(circle.centre), pose.point(circle.at)
        clockwise: bool | None = None
        if isinstance(run.program.cutter, EndMill):
            # a lap around a pad has the hole's centre too, but does not fit into the hole
            far = math.dist(centre, at) + run.program.cutter.diameter / 2
            here = spines.query(shapely.Point(centre), predicate="dwithin", distance=OFF)
            bored = any(far <= bores[n].diameter / 2 + OFF for n in here)
            clockwise = False if run.mill_pass.number == 0 or bored else None
        if clockwise is None and first:
            clockwise = _lap_clockwise(job, centre, at, around, first)
        if clockwise is not None and clockwise != circle.clockwise:
            words = "clockwise" if circle.clockwise else "counter-clockwise"
            yield Finding(
                code="circle-direction",
                severity="stop",
                message=f"A circle is run {words}, against the direction of its work. {NOT_RUN}",
                frame="machine",
                at=circle.centre,
                blank=run.program.blank,
                mill_pass=run.mill_pass.number or None,
                file=run.program.file,
                line=circle.line,
            )


def _first_laps(job: JobPlan, cutter: str) -> list[float]:
    """How far from copper first laps of a cutter lie; none where laps are not judged."""
    clears = () if job.clearing is None else [each.name for each in job.clearing.cutters]
    if job.isolation.course == "middle" or cutter in clears:
        return []
    return [use.surface / 2 for use in job.isolation.uses if use.cutter.name == cutter]


def _lap_clockwise(
    job: JobPlan, centre: Point, at: Point, around: shapely.STRtree, first: Sequence[float]
) -> bool | None:
    """Which way a lap runs by the piece next to it; None where none is next to it, or two are."""
    spot, radius, reach = shapely.Point(at), math.dist(centre, at), max(first) + FIRST
    near = around.geometries[around.query(spot, predicate="dwithin", distance=CLEARLY * reach)]
    inside, outside = math.inf, math.inf
    for piece in near.tolist():
        for ring in shapely.get_parts(piece.boundary).tolist():
            line = shapely.shortest_line(spot, ring)
            x, y = shapely.get_coordinates(line)[-1].tolist()
            if math.dist((x, y), centre) < radius:
                inside = min(inside, line.length)
            else:
                outside = min(outside, line.length)
    nearest, other = sorted((inside, outside))
    if not any(abs(nearest - away) <= FIRST for away in first) or other < CLEARLY * nearest:
        return None
    # climbing, the copper is on the right: clockwise around it
    return (inside < outside) == (job.isolation.direction == "climb")


def _circles(trace: Trace) -> Iterator[_Circle]:
    """The full circles of a program, halves of the same one taken together."""
    centre: Point | None = None
    kind, turned, done = "", 0.0, False
    for move in trace.moves:
        if move.centre is None or not (move.start[2] < 0 or move.end[2] < 0):
            centre = None
            continue
        if centre is None or kind != move.kind or math.dist(centre, move.centre) > SAME:
            centre, kind, turned, done = move.centre, move.kind, 0.0, False
        turned += _sweep(move.start[:2], move.end[:2], move.centre, move.kind == "arc_cw")
        if not done and turned >= math.tau - NEARLY:
            done = True
            yield _Circle(move.centre, move.end[:2], move.kind == "arc_cw", move.line)


def _sweep(start: Point, end: Point, centre: Point, clockwise: bool) -> float:
    """The angle of an arc, rad, above 0."""
    first = math.atan2(start[1] - centre[1], start[0] - centre[0])
    last = math.atan2(end[1] - centre[1], end[0] - centre[0])
    return ((first - last) if clockwise else (last - first)) % math.tau or math.tau
