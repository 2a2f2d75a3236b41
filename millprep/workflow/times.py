"""Ways to isolate the boards of a job, with the minutes that each takes."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from millprep import job
from millprep.job.presets import presets
from millprep.model.board import Board
from millprep.model.cutter import EndMill, Vee
from millprep.model.job.isolation import LEAST_TIME, CutterUse, GivenCutter
from millprep.model.job.job import JobPlan
from millprep.toolpaths import least_time
from millprep.toolpaths.least_time import Way
from millprep.workflow import time_log
from millprep.workflow.inputs import read_boards

FINEST_MILL = 1.0
"""Preset end mills up to this diameter are tried for isolation, mm."""
ROWS = 10
"""So many ways of a job's own cutters are listed."""


@dataclass(frozen=True, slots=True)
class WayRow:
    """One way to isolate, in figures that a person chooses by.

    Attributes:
        way: cutters, depths, laps and lengths.
        running: minutes of isolation, as earlier runs of the machine show.
        gap: that is opened at the foot of the copper where the widest groove fits, mm.
        worst_gap: where the surface is low by the flatness of the job, mm.
        flatness: by how much the surface may be off and the groove still cuts through, mm.
        preset: of a cutter that the job does not have; empty where it needs none.
        as_written: whether the job says just this.
    """

    way: Way
    running: float
    gap: float
    worst_gap: float
    flatness: float
    preset: str = ""
    as_written: bool = False

    @property
    def changes(self) -> int:
        """How often a person changes the isolating cutter in a pass."""
        return len({use.cutter.name for use in self.way.uses}) - 1

    @property
    def lines(self) -> str:
        """The line of the job's [isolation] that says this way."""
        uses = (
            f'{{ cutter = "{use.cutter.name}", depth = {use.depth:g} }}' for use in self.way.uses
        )
        return f"cutters = [{', '.join(uses)}]"


def times(job_file: Path, *, repair: bool = False) -> tuple[WayRow, ...]:
    """The ways to isolate the boards of a job, the fastest first.

    First those with the job's cutters, the best for every choice of cutters and laps; then, for
    every preset that isolates and that the job does not have, the best way with it, if that
    is faster. Where none of the job's cutters fits everywhere, the way that leaves least comes
    first, and then every preset that fits.

    Raises:
        Refusal: for mistakes in job or drawings.
    """
    plan = job.load(job_file)
    boards = read_boards(plan, repair=repair)
    written = None if plan.isolation.least_time else plan.isolation.uses
    _, fit = time_log.fit_of(plan.machine)
    factor = 1.0 if fit is None else fit.factor
    free = _free(plan)
    every = least_time.all_ways(free, boards)
    rows = [_row(free, way, factor) for way in [*_distinct(every)][:ROWS] or every[:1]]
    if written is not None:
        rows = _with_written(rows, plan, boards, written, factor)
    quickest = rows[0].way.minutes if rows[0].way.fits else math.inf
    others: list[WayRow] = []
    for name, cutter in _other_cutters(plan):
        best = least_time.all_ways(_free(plan, cutter), boards)[0]
        if best.fits and best.minutes < quickest and any(u.cutter == cutter for u in best.uses):
            others.append(replace(_row(free, best, factor), preset=name))
    return (*rows, *sorted(others, key=lambda row: row.way.minutes))


def _free(plan: JobPlan, *more: Vee | EndMill) -> JobPlan:
    """The job with all depths still to be chosen, and with more cutters."""
    cutters = tuple(GivenCutter(cutter) for cutter in (*plan.isolation.cutters, *more))
    isolation = replace(plan.isolation, given_depth=LEAST_TIME, given_cutters=cutters)
    return replace(plan, isolation=isolation)


def _distinct(ways: Sequence[Way]) -> Iterator[Way]:
    """The best way for every choice of cutters and laps of the wide groove that isolates all."""
    seen: set[object] = set()
    for way in ways:
        kind = (tuple(use.cutter.name for use in way.uses), way.laps[0])
        if kind not in seen and way.fits:
            seen.add(kind)
            yield way


def _with_written(
    rows: list[WayRow],
    plan: JobPlan,
    boards: Sequence[Board],
    uses: Sequence[CutterUse],
    factor: float,
) -> list[WayRow]:
    """The rows with what the job says, at its place."""
    isolation = plan.isolation.with_uses(uses)
    way = least_time.all_ways(replace(plan, isolation=isolation), boards)[0]
    rows = [row for row in rows if row.way.uses != way.uses]
    rows.append(replace(_row(plan, way, factor), as_written=True))
    return sorted(rows, key=lambda row: (not row.way.fits, row.way.minutes))


def _row(plan: JobPlan, way: Way, factor: float) -> WayRow:
    """A way with its figures; `factor` is what earlier runs took over their estimates."""
    isolation, copper = plan.isolation, max(blank.copper for blank in plan.blanks)
    use = way.uses[0]
    foot, least = use.foot(copper), use.cutter.width(use.depth - isolation.flatness, copper)
    gap = max(isolation.gap, foot)
    return WayRow(
        way,
        running=way.running * factor,
        gap=gap,
        worst_gap=gap - (foot - least),
        flatness=min(u.depth for u in way.uses) - copper - least_time.THROUGH,
    )


def _other_cutters(plan: JobPlan) -> Iterator[tuple[str, Vee | EndMill]]:
    """Presets that isolate and whose shape no cutter of the job has, as cutters of their name."""
    known = {_shape(cutter) for cutter in plan.isolation.cutters}
    for name, values in presets()["cutters"].items():
        keys = {key: value for key, value in values.items() if key not in ("meaning", "source")}
        made: Vee | EndMill
        if values["kind"] == "vee":
            made = Vee(name=name, **keys)
        elif values["kind"] == "endmill" and values["diameter"] <= FINEST_MILL:
            made = EndMill(name=name, **keys)
        else:
            continue
        if _shape(made) not in known:
            yield name, made


def _shape(cutter: Vee | EndMill) -> tuple[float, float]:
    """What decides the width of a groove."""
    return (cutter.tip, cutter.angle) if isinstance(cutter, Vee) else (cutter.diameter, 0.0)
