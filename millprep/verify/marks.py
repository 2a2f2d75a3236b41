"""What is engraved outside the boards: verniers, crosses and names, at their places, and no more.

A vernier whose lines lie off shows a misalignment that is not there. Numbers next to holes
are for the eye, so nothing is required of them but that they stay near their holes.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry import letters
from millprep.geometry.path import FloatArray, Point
from millprep.model.finding import NOT_RUN, Finding
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import MarginText, RegistrationHole, Vernier
from millprep.verify.holes_as_cut import OFF
from millprep.verify.motion_context import Mask
from millprep.verify.read_back import BlankRuns, Run
from millprep.verify.sweep import segments

LINE = 1.0
"""Every line of a comb is at least this long, mm."""
LONGEST = 3.2
"""No line or sign of a comb reaches farther from the common edge, mm."""
CROSS = 1.4
"""The arms of a cross are at least this long, mm."""
NUMBER = 30.0
"""Numbers are engraved within this distance of the holes that they are for, mm."""


def check_marks(job: JobPlan, blank: BlankRuns, reach: float) -> Iterator[Finding]:
    """What is wrong with the marks of a blank.

    Args:
        job: what is required.
        blank: its programs.
        reach: how far from a board's outline its own cuts go, mm.
    """
    passes = blank.blank.passes
    verniers = [vernier for each in passes for vernier in each.verniers]
    holes = [hole for each in passes for hole in each.registration]
    engraved = _engraved(job, blank, reach)
    for vernier in verniers:
        yield from _check_vernier(vernier, blank, engraved)
    for hole in holes:
        if hole.role == "witness":
            lines = engraved.get(hole.drilled_in, np.zeros((0, 4)))
            x, y = hole.blank
            arms = [(x + u, y + v) for u, v in ((CROSS, 0), (-CROSS, 0), (0, CROSS), (0, -CROSS))]
            if not _all_cut(lines, arms):
                message = f"The cross {hole.id} is not engraved at its place."
                yield _finding(blank, "mark-off", message, hole.drilled_in, hole.blank)
    for each in passes:
        lines = engraved.get(each.number, np.zeros((0, 4)))
        for text in each.texts:
            yield from _check_text(text, blank, lines, each.number)
    known = _known(verniers, holes, [text for each in passes for text in each.texts])
    for number, lines in sorted(engraved.items()):
        middles = (lines[:, 0:2] + lines[:, 2:4]) / 2
        stray = ~shapely.intersects_xy(known, middles[:, 0], middles[:, 1])
        if stray.any():
            at = middles[int(np.flatnonzero(stray)[0])]
            message = "A line is engraved outside all boards that is part of no mark."
            yield _finding(blank, "mark-unexpected", message, number, (float(at[0]), float(at[1])))


def _engraved(job: JobPlan, blank: BlankRuns, reach: float) -> dict[int, FloatArray]:
    """(n, 4) straight cuts outside all boards, by pass, blank frame; holes and edges left out."""
    boards = shapely.union_all(
        [p.pose.shape(p.board.outline).buffer(reach) for p in blank.blank.placements]
    )
    shapely.prepare(boards)
    engravers = {use.cutter.name for use in job.isolation.uses}
    deepest = max(use.depth for use in job.isolation.uses) + 0.05
    by_pass: dict[int, list[FloatArray]] = {}
    for run in blank.cutting:
        if run.program.cutter.name in engravers:
            by_pass.setdefault(run.mill_pass.number, []).append(_lines(run, boards, deepest))
    return {number: np.concatenate(lines) for number, lines in by_pass.items()}


def isolating_lines(blank: BlankRuns, job: JobPlan) -> FloatArray:
    """(n, 4) straight cuts of all cutters that isolate, in their order, blank frame."""
    depths = {use.cutter.name: use.depth for use in job.isolation.uses}
    lines = [
        _lines(run, shapely.Polygon(), depths[run.program.cutter.name] + 0.05)
        for run in blank.cutting
        if run.program.cutter.name in depths
    ]
    return np.concatenate(lines) if lines else np.zeros((0, 4))


def _lines(run: Run, boards: shapely.Geometry, deepest: float) -> FloatArray:
    steps = segments(run.trace)
    flat = (np.maximum(steps[:, 2], steps[:, 5]) < 0) & (steps[:, [2, 5]].min(axis=1) >= -deepest)
    steps = steps[flat & (np.hypot(*(steps[:, 3:5] - steps[:, 0:2]).T) > 1e-6)]
    pose = run.mill_pass.pose.inverse()
    a, b = pose.points(steps[:, 0:2]), pose.points(steps[:, 3:5])
    middles = (a + b) / 2
    outside = ~shapely.intersects_xy(boards, middles[:, 0], middles[:, 1])
    lines: FloatArray = np.column_stack((a, b))[outside]
    return lines


def _check_vernier(
    vernier: Vernier, blank: BlankRuns, engraved: dict[int, FloatArray]
) -> Iterator[Finding]:
    """Every line of both combs is at its place, and none is anywhere else."""
    for second in (False, True):
        number = vernier.passes[second]
        lines = engraved.get(number, np.zeros((0, 4)))
        pitch = vernier.pitch - vernier.step if second else vernier.pitch
        side = 1.0 if second else -1.0
        at = [i * pitch for i in range(-vernier.reach, vernier.reach + 1)]
        ends = [_place(vernier, u, side * v) for u in at for v in (0.1, LINE)]
        here = lines[_within(vernier, lines, side)]
        across = _across(vernier, here)
        off = np.abs(across[:, None] - np.array(at)[None, :]).min(axis=1, initial=math.inf)
        if not _all_cut(lines, ends) or (off > OFF).any():
            which = "second" if second else "first"
            message = (
                f"The {which} comb of vernier {vernier.id} is not at its place: it would show a "
                "misalignment that is not there."
            )
            yield _finding(blank, "mark-off", message, number, vernier.at)


def _check_text(
    text: MarginText, blank: BlankRuns, lines: FloatArray, number: int
) -> Iterator[Finding]:
    """Every stroke of a text is cut, and nothing but its strokes is where it lies."""
    strokes = _strokes(text)
    drawn = np.asarray(shapely.linestrings(lines.reshape(-1, 2, 2)))
    here = drawn[shapely.intersects(drawn, around_text(text))]
    cut = shapely.union_all(here).buffer(OFF, quad_segs=4)
    if not cut.covers(strokes) or not strokes.buffer(OFF, quad_segs=4).covers(
        shapely.union_all(here)
    ):
        message = f"{text.text} is not engraved as it reads."
        yield _finding(blank, "mark-off", message, number, text.at)


def _strokes(text: MarginText) -> shapely.MultiLineString:
    """The strokes of a text, blank frame; what is turned reads upwards."""
    (x, y), paths = text.at, letters.strokes(text.text, text.height)
    lines = [path.xy if text.turn == 0 else path.xy[:, ::-1] * (-1.0, 1.0) for path in paths]
    return shapely.MultiLineString([(line + np.array((x, y))).tolist() for line in lines])


def around_text(text: MarginText) -> BaseGeometry:
    """Where a text is, and a little around it."""
    return shapely.box(*_strokes(text).bounds).buffer(0.5, join_style="mitre")


def _place(vernier: Vernier, u: float, v: float) -> Point:
    """A place of a vernier, u along what it measures and v across, blank frame."""
    x, y = vernier.at
    return (x + u, y + v) if vernier.measures == "x" else (x - v, y + u)


def _local(vernier: Vernier, xy: FloatArray) -> FloatArray:
    """(n, 2) places along what a vernier measures and across."""
    away = xy - np.array(vernier.at)
    return away if vernier.measures == "x" else np.column_stack((away[:, 1], -away[:, 0]))


def _within(vernier: Vernier, lines: FloatArray, side: float) -> Mask:
    """Which lines are lines of one comb: they begin at the common edge or near it."""
    a, b = _local(vernier, lines[:, 0:2]), _local(vernier, lines[:, 2:4])
    far = vernier.reach * vernier.pitch + 0.5
    inside = (np.abs(a[:, 0]) <= far) & (np.abs(b[:, 0]) <= far)
    near, away = (
        np.minimum(a[:, 1] * side, b[:, 1] * side),
        np.maximum(a[:, 1] * side, b[:, 1] * side),
    )
    inside &= (near > -0.2) & (near < 0.5) & (away < LONGEST) & (away > 0.3)
    return np.asarray(inside)


def _across(vernier: Vernier, lines: FloatArray) -> FloatArray:
    """Where lines of a comb are along what it measures: both of their ends, one after the other."""
    a, b = _local(vernier, lines[:, 0:2]), _local(vernier, lines[:, 2:4])
    return np.concatenate((a[:, 0], b[:, 0]))


def _all_cut(lines: FloatArray, places: Sequence[Point]) -> bool:
    """Whether a cut comes by every place."""
    if not len(lines):
        return not places
    tree = shapely.STRtree(np.asarray(shapely.linestrings(lines.reshape(-1, 2, 2))))
    hit, _ = tree.query(shapely.points(places), predicate="dwithin", distance=OFF)
    return len(set(hit.tolist())) == len(places)


def _known(
    verniers: Sequence[Vernier],
    holes: Sequence[RegistrationHole],
    texts: Sequence[MarginText],
) -> shapely.Geometry:
    """Where marks may be, blank frame."""
    areas: list[shapely.Geometry] = [around_text(text) for text in texts]
    for vernier in verniers:
        far = vernier.reach * vernier.pitch + 1.0
        corners = [_place(vernier, u, v) for u, v in ((-far, -4), (far, -4), (far, 4), (-far, 4))]
        areas.append(shapely.Polygon(corners))
    for hole in holes:
        reach = NUMBER if hole.role == "key" else 3.0
        areas.append(shapely.Point(hole.blank).buffer(reach))
    known = shapely.union_all(areas)
    shapely.prepare(known)
    return known


def _finding(blank: BlankRuns, code: str, message: str, number: int, at: Point) -> Finding:
    return Finding(
        code=code,
        severity="stop",
        message=f"{message} {NOT_RUN}",
        frame="blank",
        at=at,
        blank=blank.blank.number,
        mill_pass=number,
    )
