"""Floating copper: what of it is cleared on a blank, and by which paths."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.offset import offsets
from millprep.model.blank import Blank
from millprep.model.cut import Clearing
from millprep.model.finding import Finding
from millprep.model.job.job import JobPlan
from millprep.model.job.work import ClearingPlan
from millprep.model.layout import Placement, metal
from millprep.model.net import NetFacts
from millprep.model.pad import AS_CUT, board_pads, joined
from millprep.toolpaths import by_voltage, checks
from millprep.toolpaths.clearing import clear
from millprep.toolpaths.floating_gaps import SpacingRules

Facts = Mapping[str, Sequence[NetFacts]]
"""The nets that the job names, by the name of their board."""


def cleared(
    job: JobPlan, blank: Blank, placements: Sequence[Placement], facts: Facts
) -> tuple[tuple[Clearing, ...], tuple[Finding, ...]]:
    """The paths that clear the boards of a blank, with findings."""
    clearings: list[Clearing] = []
    findings: list[Finding] = []
    for placement in placements:
        area, noticed = _area(job, blank, placement, facts.get(placement.board.name, ()))
        findings += noticed
        if area.is_empty:
            continue
        plan = _plan(job)
        done = clear(
            area,
            [placement.pose.shape(piece.shape) for piece in placement.board.pieces],
            plan.cutters,
            depth=plan.depth,
            copper=blank.copper,
            overlap=plan.overlap,
            direction=job.isolation.direction,
            placement=placement.index,
            beyond=job.isolation.gap / 2,
        )
        clearings += done.clearings
        findings += checks.check_cleared(done.left, placement, plan)
    return tuple(clearings), tuple(findings)


def _plan(job: JobPlan) -> ClearingPlan:
    """How to clear; without [clearing] as for isolation."""
    isolation = job.isolation
    return job.clearing or ClearingPlan(
        cutters=isolation.cutters,
        # every cutter may go as deep as its shallowest groove
        depth=min(use.depth for use in isolation.uses),
        overlap=isolation.overlap,
    )


def _area(
    job: JobPlan, blank: Blank, placement: Placement, nets: Sequence[NetFacts]
) -> tuple[BaseGeometry, tuple[Finding, ...]]:
    """What to clear on a copy, at the foot of the copper, blank frame."""
    isolation = job.isolation
    plan = next(board_plan for board_plan in job.boards if board_plan.name == placement.board.name)
    whole = job.clearing is not None and job.clearing.copper == "all"
    if not (whole or plan.clear or isolation.by_voltage or isolation.pad_gap):
        return shapely.Polygon(), ()
    # of several cutters the one that leaves most: what is cleared twice does no harm
    skirt = min(use.skirt(blank.copper) for use in isolation.uses)
    foot = min(use.foot(blank.copper) for use in isolation.uses)
    gap = max(isolation.gap, foot)
    outline = placement.pose.shape(placement.board.outline)
    pieces = {piece.id: placement.pose.shape(piece.shape) for piece in placement.board.pieces}
    grooves = shapely.union_all(offsets(list(pieces.values()), skirt + gap))
    floating = shapely.difference(outline, grooves)
    if whole:
        return floating, ()
    areas = [
        shapely.intersection(placement.pose.shape(shapely.Polygon(area.outline)), floating)
        for area in plan.clear
    ]
    if isolation.pad_gap is not None:
        soldered = [placement.pose.shape(pad.shape) for pad in board_pads(placement.board)]
        areas.append(copper_around_pads(floating, soldered, gap=isolation.pad_gap, skirt=skirt))
    findings: tuple[Finding, ...] = ()
    if isolation.by_voltage:
        rules = job.rules
        spacing = SpacingRules(
            column=rules.spacing, pad_column=rules.lands, least_counted=rules.least_counted_gap
        )
        widened = by_voltage.widen(
            floating,
            pieces,
            nets,
            spacing,
            gap=gap,
            skirt=skirt,
            metal=[board_plan for _, board_plan in metal(placement, rules.fixing_metal)]
            if rules.edge
            else [],
            pads=placement.pose.shape(
                joined(board_pads(placement.board) if rules.lands else (), AS_CUT)
            ),
        )
        areas.append(widened.area)
        findings = checks.check_voltages(widened, nets, placement)
    area = shapely.union_all(areas)
    return area, tuple(replace(f, blank=placement.blank) for f in findings)


SPARE = 0.01
"""Gaps are widened by this much more, for the rounding of curves, mm."""


def copper_around_pads(
    floating: BaseGeometry, pads: Sequence[BaseGeometry], *, gap: float, skirt: float
) -> BaseGeometry:
    """The floating copper to remove for a wider gap around pads, at the foot of the copper.

    The gap is for soldering by hand without a solder mask. Copper of another piece that is drawn
    nearer stays, and the proof reports it.

    Args:
        floating: copper that isolation leaves and that belongs to no piece.
        pads: drawn, in the frame of the floating copper.
        gap: required, mm.
        skirt: how far the foot of the copper reaches beyond its drawn edge, mm.
    """
    if not pads:
        return shapely.Polygon()
    strips = shapely.union_all(offsets(pads, skirt + gap + SPARE))
    return shapely.intersection(floating, strips)
