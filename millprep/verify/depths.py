"""How deep every cutter goes, and how much at once: as the job says, no deeper and no less.

Grooves have the depth of their cutter's use, holes and edges end their breakthrough below the
blank. An end mill takes no more than its step from what it cut there before, a drill no more than
three diameters.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import product

import numpy as np
import shapely

from millprep.cache import cached
from millprep.geometry.path import FloatArray
from millprep.model.blank import Blank, Placement
from millprep.model.cutter import Drill, EndMill
from millprep.model.finding import NOT_RUN, Finding
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import MillingPass
from millprep.verify.holes_as_cut import OFF
from millprep.verify.motion_context import SLACK, Mask, table
from millprep.verify.over_copper import FOLLOWED
from millprep.verify.read_back import Run
from millprep.verify.sweep import Shapes, segments
from millprep.verify.trace import Trace

DRILLED_AT_ONCE = 3.0
"""A drill goes so many of its diameters deep in one step, at most: common practice of drill
makers."""
CELL = 0.3
"""What was cut at a place is kept in squares of this side, mm."""
COLUMN = 4_000_037
"""From the number of a square to that of the next one along x: more than lie along y."""
SAMPLE = 0.25
"""Paths are looked at this often, mm."""
STROKE = 0.9
"""So much of a cutter's way, mm, belongs to one stroke: more than what was cut is spread to."""
SNUG = 0.2
"""A hole that leaves an axis so little room, mm, is wound down in turns shorter than a stroke."""
STEP_SLACK = 0.02
"""A depth step may be deeper by this, mm: on a ramp depths are compared over half a square."""
NEAR_KERF = 0.05
"""An axis so near to an edge's line, mm, cuts that edge."""
SEVERAL = 1000.0
"""More than any depth, mm."""


class Depths:
    """The depths that a job allows on one blank.

    Args:
        job: what is required.
        blank: the laminate.
        placements: the boards on it.
        passes: their registration holes; None where not all are known, and any cut may be one.
    """

    def __init__(
        self,
        job: JobPlan,
        blank: Blank,
        placements: Sequence[Placement],
        passes: Sequence[MillingPass] | None,
    ) -> None:
        self.job, self.blank = job, blank
        self.known = passes is not None
        holes = [hole for p in placements for hole in p.holes]
        drilled = [
            hole for each in passes or () for hole in each.registration if hole.role != "witness"
        ]
        self.spines: Shapes = np.array(
            [*(hole.spine for hole in holes), *(hole.spine for hole in drilled)], dtype=object
        )
        self.wide = np.array([*(h.diameter for h in holes), *(h.diameter for h in drilled)])
        self.slots = np.array([spine.geom_type != "Point" for spine in self.spines], dtype=bool)
        self.edges: Shapes = np.array(
            [p.pose.shape(p.board.outline).boundary for p in placements], dtype=object
        )
        self.slack = job.machine.dialect.digit + FOLLOWED + SLACK

    def check(self, run: Run) -> Iterator[Finding]:
        """What is wrong with the depths of a program that cuts, as over flat copper."""
        cutter = run.program.cutter
        if run.program.work in ("dry-run", "probe") or not run.trace.moves:
            return
        if isinstance(cutter, Drill):
            yield from self._drilled(run, cutter)
            return
        m = table(run.trace)
        inside = (m.end[:, 2] < -SLACK) & ~np.isnan(m.end[:, :2]).any(axis=1)
        moves = np.flatnonzero(inside)
        depth, limit = -m.end[moves, 2], self._limits(run, m.end[moves, :2])
        grooves = np.array(sorted(self._grooves(cutter.name)) or [-SEVERAL])
        off = np.abs(depth[:, None] - grooves[None, :]).min(axis=1)
        bad = (depth > limit + self.slack) & (off > self.slack)
        for move in moves[bad].tolist():
            yield self._deep(run, -m.end[move, 2], int(m.line[move]), m.end[move, :2])
        if isinstance(cutter, EndMill):
            yield from self._steps(run, cutter)

    def _grooves(self, cutter: str) -> set[float]:
        """The depths of a cutter's grooves in the copper."""
        depths = {use.depth for use in self.job.isolation.uses if use.cutter.name == cutter}
        clearing = self.job.clearing
        if clearing is not None and cutter in {each.name for each in clearing.cutters}:
            depths.add(clearing.depth)
        return depths

    def _limits(self, run: Run, xy: FloatArray) -> FloatArray:
        """How deep the axis may go at every place of the machine frame, grooves left aside."""
        if run.mill_pass.number == 0:
            return np.full(len(xy), self.job.registration.pin_depth)
        job, thickness = self.job, self.blank.thickness
        if not self.known and isinstance(run.program.cutter, EndMill):
            deepest = max(job.profile.breakthrough, job.drilling.breakthrough)
            return np.full(len(xy), thickness + deepest)
        limit = np.zeros(len(xy))
        radius = run.program.cutter.width(run.program.cutter.flute) / 2
        here = np.asarray(shapely.points(run.mill_pass.pose.inverse().points(xy)))
        if len(self.edges) and run.program.cutter.name == self.job.profile.cutter.name:
            place, _ = shapely.STRtree(self.edges).query(
                here, predicate="dwithin", distance=radius + NEAR_KERF
            )
            limit[place] = thickness + job.profile.breakthrough
        if not isinstance(run.program.cutter, EndMill):
            return limit
        through = thickness + job.drilling.breakthrough
        for place in self._in_holes(here, radius).nonzero()[0].tolist():
            limit[place] = max(limit[place], through)
        return limit

    def _in_holes(self, here: Shapes, radius: float, *, tight: bool = False) -> Mask:
        """Which places an axis may be at that mills a hole; `tight`: a slot, or a snug one."""
        inside = np.zeros(len(here), dtype=bool)
        snug = self.slots | (self.wide / 2 - radius < SNUG)
        some = snug if tight else np.ones(len(self.spines), dtype=bool)
        # not np.unique, which loads masked arrays
        for room in sorted(set(self.wide[some].tolist())):
            mine = self.spines[some & (self.wide == room)]
            reach = max(room / 2 - radius, 0.0) + OFF
            place, _ = shapely.STRtree(mine).query(here, predicate="dwithin", distance=reach)
            inside[place] = True
        return inside

    def _drilled(self, run: Run, drill: Drill) -> Iterator[Finding]:
        """Every hole has the one depth, in steps that a drill bears."""
        if run.mill_pass.number == 0:
            required = self.job.registration.pin_depth
        else:
            required = self.blank.thickness + self.job.drilling.breakthrough + drill.point
        floors: dict[tuple[float, float], tuple[float, int]] = {}
        for move in run.trace.moves:
            x, y, z = move.end
            if move.kind == "rapid" or not z < 0:
                continue
            floor, _ = floors.get((x, y), (0.0, 0))
            if floor - z > DRILLED_AT_ONCE * drill.diameter + self.slack:
                yield self._at_once(run, floor - z, DRILLED_AT_ONCE * drill.diameter, move.line)
            if z < floor:
                floors[x, y] = (z, move.line)
        for (x, y), (floor, line) in floors.items():
            if abs(-floor - required) > self.slack:
                message = (
                    f"{drill.name} drills {-floor:.3f} mm deep, the job says {required:.3f} mm."
                )
                yield self._finding(run, "hole-depth", message, line, (x, y))

    def _steps(self, run: Run, mill: EndMill) -> Iterator[Finding]:
        """Nowhere does an end mill take more than its step from what it cut there before.

        Where a slot's ramp turns back, both of its ways are taken at once.
        """
        steps = segments(run.trace)
        if not len(steps) or steps[:, [2, 5]].min() >= -mill.step - self.slack:
            return
        # the program that it takes up may have cut there before
        again = 0 if self.known else len(_samples(segments(_first_cut(run.trace))))
        xyz, taken = _deep_steps(steps, again, mill.step + STEP_SLACK + self.slack)
        if not len(xyz):
            return
        pose = run.mill_pass.pose.inverse()
        here = np.asarray(shapely.points(pose.points(xyz[:, :2])))
        most = np.full(len(xyz), mill.step)
        most[self._in_holes(here, mill.diameter / 2, tight=True)] *= 2
        bad = np.flatnonzero(taken > most + STEP_SLACK + self.slack)
        if len(bad):
            worst = int(bad[0])
            line = _line_at(run, xyz[worst])
            yield self._at_once(run, float(taken[worst]), float(most[worst]), line)

    def _at_once(self, run: Run, taken: float, most: float, line: int) -> Finding:
        name = run.program.cutter.name
        message = f"{name} goes {taken:.2f} mm deeper in one go, at most {most:g} mm are allowed."
        return self._finding(run, "step-too-deep", message, line)

    def _deep(self, run: Run, depth: float, line: int, at: FloatArray) -> Finding:
        name, grooves = run.program.cutter.name, sorted(self._grooves(run.program.cutter.name))
        allowed = " or ".join(f"{groove:g}" for groove in grooves)
        words = f"the job says {allowed} mm" if grooves else "the job has no such cut"
        message = f"{name} goes {depth:.3f} mm deep here, {words}."
        return self._finding(run, "cut-depth", message, line, (float(at[0]), float(at[1])))

    def _finding(
        self,
        run: Run,
        code: str,
        message: str,
        line: int,
        at: tuple[float, float] | None = None,
    ) -> Finding:
        return Finding(
            code=code,
            severity="stop",
            message=f"{message} {NOT_RUN}",
            frame=None if at is None else "machine",
            at=at,
            blank=run.program.blank,
            mill_pass=run.mill_pass.number or None,
            file=run.program.file,
            line=line,
        )


def _first_cut(trace: Trace) -> Trace:
    """What a program does until it goes across at rapid for the first time after it cuts."""
    cut = False
    for number, move in enumerate(trace.moves):
        cut |= move.kind != "rapid" and move.end[2] < 0
        if cut and move.kind == "rapid" and move.start[:2] != move.end[:2]:
            return replace(trace, moves=trace.moves[:number])
    return trace


@cached
def _deep_steps(steps: FloatArray, again: int, most: float) -> tuple[FloatArray, FloatArray]:
    """(n, 3) places along steps where more than `most` is taken of what was left, and how much.

    The first `again` samples do not count.
    """
    xyz = _samples(steps)
    # what the cutter cut within the last millimetre is still the same stroke
    order = np.cumsum(np.sqrt((np.diff(xyz, axis=0, prepend=xyz[:1]) ** 2).sum(axis=1)))
    cell = np.floor(xyz[:, :2] / CELL).astype(np.int64) @ (COLUMN, 1)
    cells, number = np.unique(cell, return_inverse=True)
    by_cell = np.argsort(number, kind="stable")
    number = number[by_cell]
    lowest = np.minimum.accumulate(xyz[by_cell, 2] - SEVERAL * number) + SEVERAL * number
    # every place is looked up a stroke before it is cut, in its square and in all around it
    whole = order[-1] + 2 * STROKE
    when = number * whole + order[by_cell]
    # and no farther once enough was cut there before
    deep = again + np.flatnonzero(-xyz[again:, 2] > most)
    taken = -xyz[deep, 2]
    for i, j in product((0, -1, 1), repeat=2):
        near = cell[deep] + COLUMN * i + j
        there = np.minimum(cells.searchsorted(near), len(cells) - 1)
        last = when.searchsorted(there * whole + order[deep] - STROKE) - 1
        cut = (cells[there] == near) & (last >= 0) & (number[last] == there)
        taken[cut] = np.minimum(taken[cut], (lowest[last] - xyz[deep, 2])[cut])
        still = taken > most
        deep, taken = deep[still], taken[still]
    return xyz[deep], taken


def _samples(steps: FloatArray) -> FloatArray:
    """(n, 3) places along steps, in order, both ends of each among them."""
    length = np.hypot(*(steps[:, 3:5] - steps[:, 0:2]).T)
    count = np.maximum(np.ceil(length / SAMPLE).astype(int), 1) + 1
    of = np.repeat(np.arange(len(steps)), count)
    k = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
    share = (k / (count[of] - 1))[:, None]
    places: FloatArray = steps[of, 0:3] + (steps[of, 3:6] - steps[of, 0:3]) * share
    return places


def _line_at(run: Run, place: FloatArray) -> int:
    """The first line whose move ends as low as a place, nearest to it."""
    low = [m for m in run.trace.moves if m.end[2] <= place[2] + 1e-6 and m.kind != "rapid"]
    near = min(low, key=lambda m: float(np.hypot(m.end[0] - place[0], m.end[1] - place[1])))
    return near.line
