"""What is required of programs besides motion and copper: depths, edges, marks, none missing.

A pass has all the programs that it needs, each once, in the order in which they are run.

What finds the blank and what shows a person its cuts comes first, what frees the boards last. A dry
run that does not go around everything shows nothing, so its outline is compared with the cuts.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from functools import partial
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import Point
from millprep.model.blank import Blank, Clamp
from millprep.model.cutter import with_shapes
from millprep.model.finding import NOT_RUN, Finding, limited
from millprep.model.job.job import JobPlan
from millprep.model.machine import Machine
from millprep.model.milling_pass import MillingPass
from millprep.model.set_of_programs import MilledBlank
from millprep.verify.cut_free import check_cut_free
from millprep.verify.depths import Depths
from millprep.verify.direction import check_directions
from millprep.verify.edges import EDGE
from millprep.verify.holes_as_cut import OFF
from millprep.verify.marks import check_marks
from millprep.verify.read_back import BlankRuns, ReadBack, Run
from millprep.verify.stray_cuts import lap_reach
from millprep.verify.sweep import segments, steps_of
from millprep.verify.trace import HOVER, look_at_zero

SHORT_OF = 0.05
"""A dry run may keep so far inside of what is cut, mm: it is rounded and has few corners."""
AT = 0.011
"""A mark is shown when the tip is this near to it, mm: few decimals are rounded."""
LOOKED = 1.0
"""Over a mark the tip waits for this long at least, s."""
BEFORE = ("dry-run", "probe")
"""Works that cut nothing and come before all that does."""
_NAME = re.compile(r"blank-(\d+)/pass-(\d+)/(\d+)-[A-Za-z0-9.-]+\.ngc", re.ASCII)


def check_passes(job: JobPlan, blank: BlankRuns) -> Iterator[Finding]:
    """What is wrong with the programs of a blank as a whole, pass by pass."""
    yield from _check_pins(job, blank)
    for mill_pass in blank.blank.passes:
        runs = [run for run in blank.runs if run.mill_pass.number == mill_pass.number]
        if not runs:
            continue
        finding = partial(
            _finding, blank=mill_pass.blank, mill_pass=mill_pass.number, file=runs[0].program.file
        )
        yield from check_names(mill_pass, [run.program.file for run in runs])
        yield from _check_order(job, mill_pass, runs)
        yield from _check_dry_run(job.machine, job.setup.clamps, mill_pass, runs, finding)
        yield from _check_shown(job, mill_pass, runs, finding)


def _finding(
    code: str, message: str, *, blank: int, mill_pass: int | None, file: str | None
) -> Finding:
    return Finding(
        code=code,
        severity="stop",
        message=f"{message} {NOT_RUN}",
        blank=blank,
        mill_pass=mill_pass,
        file=file,
    )


def check_names(mill_pass: MillingPass, files: Sequence[str]) -> Iterator[Finding]:
    """Files lie in the folder of their pass, numbered in the order in which they are run."""
    last = 0
    for file in dict.fromkeys(files):
        match = _NAME.fullmatch(file)
        where = None if match is None else (int(match[1]), int(match[2]))
        if match is None or where != (mill_pass.blank, mill_pass.number) or int(match[3]) <= last:
            yield _finding(
                "program-order",
                f"{file} is listed where it is not run: names have the folder of their pass, and a "
                "number that rises.",
                blank=mill_pass.blank,
                mill_pass=mill_pass.number,
                file=file,
            )
            return
        last = int(match[3])
    if any(count > 1 for count in _stretches(files).values()):
        yield _finding(
            "program-order",
            "a file is run twice in a pass.",
            blank=mill_pass.blank,
            mill_pass=mill_pass.number,
            file=files[0],
        )


def _stretches(files: Sequence[str]) -> Counter[str]:
    """How often every file begins anew in a list."""
    return Counter(files[:1]) + Counter(b for a, b in pairwise(files) if a != b)


def _check_order(job: JobPlan, mill_pass: MillingPass, runs: Sequence[Run]) -> Iterator[Finding]:
    """Every cutter once, what frees the boards last, and nothing that does nothing."""
    finding = partial(_finding, blank=mill_pass.blank, mill_pass=mill_pass.number)
    mains = [run for run in runs if run.program.work not in BEFORE]
    # second combs are read before anything else is cut, whatever else their cutter does
    combs = mains[:1] if mill_pass.verniers else []
    names = Counter(run.program.cutter.name for run in mains)
    for name, count in names.items():
        again = count - any(run.program.cutter.name == name for run in combs)
        if again > 1:
            file = [run.program.file for run in mains if run.program.cutter.name == name][-1]
            message = f"{file} is one program more of {name} in its pass than there is work for."
            yield finding("program-unexpected", message, file=file)
    for run in mains:
        if not len(segments(run.trace)):
            message = f"{run.program.file} cuts nothing, and it is to {run.program.work}."
            yield finding("program-empty", message, file=run.program.file)
    first = next((n for n, run in enumerate(runs) if run in mains), len(runs))
    for run in runs[first:]:
        if run.program.work in BEFORE:
            message = f"{run.program.file} shows places after cuts were made. It comes first."
            yield finding("program-order", message, file=run.program.file)
    frees = [n for n, run in enumerate(mains) if _frees(job, run)]
    if frees and frees[0] != len(mains) - 1:
        file = mains[frees[0]].program.file
        message = f"{file} frees boards before all else on them is cut. It comes last in its pass."
        yield finding("program-order", message, file=file)


def _frees(job: JobPlan, run: Run) -> bool:
    """Whether a program is the one that cuts edges."""
    return run.program.cutter.name == job.profile.cutter.name and (
        run.program.work == "profile" or "profile" in run.program.file
    )


def _check_dry_run(
    machine: Machine,
    clamps: Sequence[Clamp],
    mill_pass: MillingPass,
    runs: Sequence[Run],
    finding: partial[Finding],
) -> Iterator[Finding]:
    """Where the machine can go over the clamps, a dry run goes around all that a pass cuts."""
    cut = _cut_area(machine, runs)
    tall = max([c.height for c in clamps if c.on_in(mill_pass.number)], default=0.0)
    over = max(machine.clearance, tall + machine.clamp_clearance if tall > 0 else 0.0)
    if cut.is_empty or over > machine.top:
        return
    first = runs[0]
    if first.program.work != "dry-run":
        message = "The pass has no dry run before its first cut."
        yield finding("dry-run-missing", message, file=first.program.file)
        return
    look = look_at_zero(first.trace)
    after = first.trace.moves[0 if look is None else look.last + 1 :]
    # at the height that goes over the tallest clamp, feeding all the way round
    around = [m for m in after if m.kind == "feed" and min(m.start[2], m.end[2]) >= over - 1e-3]
    places = [m.start[:2] for m in around[:1]] + [m.end[:2] for m in around]
    closed = len(places) > 2 and math.dist(places[0], places[-1]) <= AT
    if not closed or not shapely.multipoints(places).convex_hull.buffer(SHORT_OF).covers(cut):
        message = "The dry run does not go around all that its pass cuts."
        yield finding("dry-run-incomplete", message)


def _cut_area(machine: Machine, runs: Sequence[Run]) -> BaseGeometry:
    """The hull of all that the programs of a pass cut, as far as the axis can go, machine frame."""
    hulls = []
    for run in runs:
        steps = segments(run.trace)
        if run.program.work not in BEFORE and len(steps):
            half = run.program.cutter.width(float(-steps[:, [2, 5]].min())) / 2
            places = shapely.LineString(steps[:, [0, 1, 3, 4]].reshape(-1, 2))
            hulls.append(places.convex_hull.buffer(half))
    if not hulls:
        return shapely.Polygon()
    return shapely.union_all(hulls).convex_hull.intersection(machine.reachable.shape)


def _check_shown(
    job: JobPlan, mill_pass: MillingPass, runs: Sequence[Run], finding: partial[Finding]
) -> Iterator[Finding]:
    """The holes and crosses by which a pass is found are shown before it cuts, or touched."""
    holes = [hole for hole in mill_pass.registration if hole.used_in == mill_pass.number]
    if not holes:
        return
    shown = [at for run in runs if run.program.work in BEFORE for at in _looked_at(run)]
    for hole in holes:
        if not any(math.dist(at, hole.machine) <= AT + job.machine.dialect.digit for at in shown):
            x, y = hole.machine
            message = f"No dry run shows {hole.id} at X{x:g} Y{y:g}, by which the pass is found."
            yield finding("mark-not-shown", message)
            return
    touched = any(run.program.work == "probe" for run in runs)
    if job.registration.probe != "none" and not touched:
        yield finding("program-missing", "No program touches the holes of the pass.")


def _looked_at(run: Run) -> Iterator[Point]:
    """Places over which the tip waits just above the copper, after the look at Z zero."""
    look = look_at_zero(run.trace)
    first = 0 if look is None else look.last + 1
    for dwell in run.trace.dwells:
        before = dwell.before - 1
        if before >= first and dwell.seconds >= LOOKED:
            x, y, z = run.trace.moves[before].end
            if abs(z - HOVER) <= 1e-6:
                yield (x, y)


def _check_pins(job: JobPlan, blank: BlankRuns) -> Iterator[Finding]:
    """The spoilboard has a hole for every pin, as deep and as wide as the job says."""
    runs = [run for run in blank.runs if run.mill_pass.number == 0]
    located = [
        (mill_pass, hole)
        for mill_pass in blank.blank.passes
        for hole in mill_pass.registration
        if hole.pin and hole.role != "witness"
    ]
    pins = {hole.pin for _, hole in located}
    # where readings showed a blank its holes have moved, and the pins have not
    as_planned = {hole.pin: hole for mill_pass, hole in located if not mill_pass.read}
    number = blank.blank.number
    if not pins or job.registration.method != "pins" or not blank.blank.spoilboard:
        if pins and job.registration.method == "pins":
            message = "No program bores the spoilboard for the pins."
            yield _finding("program-missing", message, blank=number, mill_pass=None, file=None)
        return
    depth, radius = job.registration.pin_depth, job.registration.pin / 2
    for run in runs:
        steps = segments(run.trace)
        reach = radius - run.program.cutter.width(run.program.cutter.flute) / 2
        ends = steps[:, 3:6]
        for hole in as_planned.values():
            away = np.hypot(*(ends[:, :2] - np.array(hole.machine)).T)
            here = ends[away <= radius]
            low = -float(here[:, 2].min()) if len(here) else 0.0
            wide = float(away[away <= radius].max(initial=0.0))
            if abs(low - depth) > 0.005 or abs(wide - max(reach, 0.0)) > OFF:
                x, y = hole.machine
                message = (
                    f"The hole of pin {hole.pin} in the spoilboard, at X{x:g} Y{y:g}, is "
                    f"{low:.2f} mm deep and {2 * (wide + radius - reach):.2f} mm wide; the job "
                    f"says {depth:g} and {2 * radius:g} mm."
                )
                yield _finding(
                    "pin-hole", message, blank=number, mill_pass=None, file=run.program.file
                )


SAME_TAB = 0.4
"""The middle of a tab is known to this, mm: edges are looked at every 0.2 mm."""


def check_programs(job: JobPlan, read: ReadBack) -> tuple[Finding, ...]:
    """What is wrong with programs besides motion and copper: depths, edges, marks, dry runs."""
    findings: list[Finding] = []
    for run in read.blanks:
        blank, placements = run.blank.laminate, run.blank.placements
        depths = Depths(job, blank, placements, run.blank.passes)
        for each in run.runs:
            findings += depths.check(each)
        wrong, tabs = check_cut_free(
            with_shapes(job.profile),
            job.machine.dialect.digit,
            blank,
            placements,
            run.blank.joins,
            steps_of(run.cuts),
        )
        findings += [*wrong, *_tabs_elsewhere(run.blank, tabs)]
        findings += check_directions(job, run.blank, run.runs)
        findings += check_passes(job, run)
        findings += check_marks(job, run, _beyond_boards(job, blank))
    return limited(findings)


def _beyond_boards(job: JobPlan, blank: Blank) -> float:
    """How far outside a board's edge its own cuts go at most: laps, and clearing."""
    isolation, clearing = job.isolation, job.clearing
    gap = max(isolation.gap, isolation.pad_gap or 0.0)
    laps = [lap_reach(use.surface, use.foot(blank.copper), gap) for use in isolation.uses]
    clears = () if clearing is None else clearing.cutters
    return max([*laps, *(cutter.width(clearing.depth) for cutter in clears if clearing)]) + EDGE


def _tabs_elsewhere(blank: MilledBlank, left: Sequence[Point]) -> Iterator[Finding]:
    """Tabs that the programs leave elsewhere than the report says.

    That there are enough of them is proved of those that are left. Two boards may share one.
    """
    known = [copy.tabs for copy in blank.copies]
    if None in known:
        # an older report
        return
    tabs = [at for places in known for at in places or ()]
    for mine, others, words in (
        (left, tabs, "The programs leave a tab where report.json has none"),
        (tabs, left, "report.json has a tab where the programs leave none"),
    ):
        for at in mine:
            if min((math.dist(at, other) for other in others), default=math.inf) > SAME_TAB:
                yield Finding(
                    code="tab-place",
                    severity="stop",
                    message=f"{words}. {NOT_RUN}",
                    frame="blank",
                    at=at,
                    blank=blank.number,
                )
