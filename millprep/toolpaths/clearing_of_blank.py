"""Copper that belongs to no piece: what of it is cleared on a blank, and by which courses."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.offset import offsets
from millprep.model.blank import Blank
from millprep.model.cut import Clearing
from millprep.model.finding import Finding
from millprep.model.layout import Placement
from millprep.model.metal import metal
from millprep.model.net import NetFacts
from millprep.model.pad import AS_CUT, joined, lands
from millprep.model.plan import ClearingPlan, JobPlan
from millprep.toolpaths import by_voltage, checks
from millprep.toolpaths.around_pads import around_lands
from millprep.toolpaths.clearing import clear
from millprep.toolpaths.floating_gaps import Asked

Facts = Mapping[str, Sequence[NetFacts]]
"""The nets that the job names, by the name of their board."""


def cleared(
    job: JobPlan, blank: Blank, placements: Sequence[Placement], facts: Facts
) -> tuple[tuple[Clearing, ...], tuple[Finding, ...]]:
    """The courses that clear the boards of a blank, and what was noticed on the way."""
    clearings: list[Clearing] = []
    findings: list[Finding] = []
    for placement in placements:
        area, found = _area(job, blank, placement, facts.get(placement.board.name, ()))
        findings += found
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
        findings += checks.not_cleared(done.left, placement, plan)
    return tuple(clearings), tuple(findings)


def _plan(job: JobPlan) -> ClearingPlan:
    """How it is cleared; without [clearing] as it is isolated."""
    told = job.isolation
    return job.clearing or ClearingPlan(told.cutters, "areas", told.depth, told.overlap)


def _area(
    job: JobPlan, blank: Blank, placement: Placement, nets: Sequence[NetFacts]
) -> tuple[BaseGeometry, tuple[Finding, ...]]:
    """What is to be cleared of a copy, at the foot of the copper, blank frame."""
    told = job.isolation
    plan = next(one for one in job.boards if one.name == placement.board.name)
    whole = job.clearing is not None and job.clearing.copper == "all"
    if not (whole or plan.clear or told.by_voltage or told.pad_gap):
        return shapely.Polygon(), ()
    # of several cutters the one that leaves most: what is cleared twice does no harm
    skirt = min((c.width(told.depth) - c.width(told.depth, blank.copper)) / 2 for c in told.cutters)
    foot = min(c.width(told.depth, blank.copper) for c in told.cutters)
    gap = max(told.gap, foot)
    outline = placement.pose.shape(placement.board.outline)
    pieces = {piece.id: placement.pose.shape(piece.shape) for piece in placement.board.pieces}
    grooves = shapely.union_all(offsets(list(pieces.values()), skirt + gap))
    floating = shapely.difference(outline, grooves)
    if whole:
        return floating, ()
    areas = [
        shapely.intersection(placement.pose.shape(shapely.Polygon(corners)), floating)
        for corners in plan.clear
    ]
    if told.pad_gap is not None:
        soldered = [placement.pose.shape(land.shape) for land in lands(placement.board)]
        areas.append(around_lands(floating, soldered, gap=told.pad_gap, skirt=skirt))
    findings: tuple[Finding, ...] = ()
    if told.by_voltage:
        rules = job.rules
        asked = Asked(
            column=rules.spacing, lands=rules.lands, least_counted=rules.least_counted_gap
        )
        widened = by_voltage.widen(
            floating,
            pieces,
            nets,
            asked,
            gap=gap,
            skirt=skirt,
            metal=[one for _, one in metal(placement, rules.fixing_metal)] if rules.edge else [],
            lands=placement.pose.shape(
                joined(lands(placement.board) if rules.lands else (), AS_CUT)
            ),
        )
        areas.append(widened.area)
        findings = checks.voltages(widened, nets, placement)
    found = shapely.union_all(areas)
    return found, tuple(replace(f, blank=placement.blank) for f in findings)
