"""All rules of the trade on every copy of a set as cut, and on its cutters."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from millprep.model.as_cut import AsCut
from millprep.model.blank import Placement
from millprep.model.cut import HoleMade
from millprep.model.cutter import Cutter, Drill, wider
from millprep.model.finding import Finding
from millprep.model.job.job import JobPlan
from millprep.model.job.nets import BALANCED, NetFacts
from millprep.model.job.rules import RulesPlan
from millprep.model.judged import Across, AtLoad, BoardJudged, Field, NetJudged
from millprep.model.program import Cutting
from millprep.model.set_of_programs import MilledBlank
from millprep.verify.rules.copies import Copies
from millprep.verify.rules.cutters import cutters
from millprep.verify.rules.drop import Drop, copper_of, current, drop
from millprep.verify.rules.holes import AS_DRAWN, Made, annular_rings, bases, check_small_pads
from millprep.verify.rules.spacing import SpacingRule, spacing


def judge(
    nets: Sequence[NetFacts],
    placement: Placement,
    as_cut: AsCut,
    thickness: float,
    required: RulesPlan,
    *,
    solve: bool,
    made: Made = AS_DRAWN,
    wider: float = 0.0,
    copies: Copies | None = None,
) -> tuple[BoardJudged, tuple[Finding, ...]]:
    """What the rules find on a copy.

    Args:
        nets: that the job names.
        placement: the copy.
        as_cut: copper of its blank.
        thickness: of the copper, mm.
        required: by the job.
        solve: whether volts and currents of nets with loads are worked out, seconds for each.
        made: how its holes are made.
        wider: how much farther out than nominal an edge of a groove may lie, mm.
        copies: nets solved on copies before, under the same rules.
    """
    rule = SpacingRule(
        column=required.spacing,
        pad_column=required.lands,
        least_counted=required.least_counted_gap,
        edge=required.edge,
        fixing_metal=required.fixing_metal,
    )
    spacings, faults = spacing(nets, placement, as_cut, rule)
    findings = list(faults)
    judged: list[NetJudged] = []
    for net in nets:
        if net.loads and not solve:
            judged.append(NetJudged(net, None))
            continue
        if net.loads and copies is not None:
            copper = copper_of(net, placement, as_cut)
            alone = partial(_net, net, placement, as_cut, thickness, required)
            net_judged, faults = copies.judged(net, placement, copper, thickness, alone)
        else:
            net_judged, faults = _net(net, placement, as_cut, thickness, required)
        judged.append(net_judged)
        findings += faults
    fits, faults = bases(placement, required, made)
    findings += faults
    left, faults = annular_rings(placement, as_cut, required, made, wider)
    findings += (*faults, *check_small_pads(placement, required.level))
    board = BoardJudged(
        placement.index, required, thickness, tuple(judged), spacings, across(judged), fits, left
    )
    return board, tuple(findings)


def _net(
    net: NetFacts, placement: Placement, as_cut: AsCut, thickness: float, required: RulesPlan
) -> tuple[NetJudged, tuple[Finding, ...]]:
    solved, faults = drop(
        net,
        placement,
        as_cut,
        thickness,
        celsius=required.celsius,
        most_lost=required.most_lost,
    )
    neck, more = current(net, placement, as_cut, thickness, required.temperature_rise, solved)
    if solved is None:
        return NetJudged(net, neck), (*faults, *more)
    done = NetJudged(
        net,
        neck,
        solved.feed,
        solved.loads,
        solved.hottest,
        solved.error,
        field(solved),
        solved.wires,
    )
    return done, (*faults, *more)


def field(solved: Drop) -> Field:
    """What the solution holds for a picture."""
    mesh, flow = solved.solution.mesh, solved.solution.flow
    density = np.hypot(flow[:, 0], flow[:, 1])
    return Field(mesh.points, mesh.triangles, solved.solution.potential, density)


def across(judged: Sequence[NetJudged]) -> tuple[Across, ...]:
    """Loads that two nets name, one giving the current that the other takes, in order."""
    by_name: dict[str, list[tuple[NetJudged, AtLoad]]] = {}
    for net in judged:
        for at in net.loads:
            if at.load.name != net.feed:
                by_name.setdefault(at.load.name, []).append((net, at))
    acrosses: list[Across] = []
    for name, ends in by_name.items():
        if len(ends) != 2:
            continue
        (high, gives), (low, takes) = sorted(ends, key=lambda end: -end[1].load.amperes)
        amperes = gives.load.amperes
        if abs(amperes + takes.load.amperes) > BALANCED * abs(amperes):
            continue
        acrosses.append(
            Across(
                name,
                high.net.name,
                low.net.name,
                amperes,
                _between(high.net, low.net),
                gives.lost - takes.lost,
            )
        )
    return tuple(acrosses)


def _between(high: NetFacts, low: NetFacts) -> float | None:
    """Volts between two feeds, when each is one figure."""
    for net in (high, low):
        if net.volts is None or net.volts[0] != net.volts[1]:
            return None
    assert high.volts is not None
    assert low.volts is not None
    return high.volts[0] - low.volts[0]


@dataclass(frozen=True, slots=True)
class Judged:
    """What the rules find on a set: of every board, of every program's cutting, and in words."""

    boards: tuple[BoardJudged, ...]
    cutting: tuple[Cutting, ...]
    findings: tuple[Finding, ...]


def judged(
    blanks: Sequence[MilledBlank],
    as_cut: Sequence[AsCut],
    plan: JobPlan,
    facts: Mapping[str, tuple[NetFacts, ...]],
    *,
    whole: bool = False,
) -> Judged:
    """What the rules find.

    Args:
        blanks: of a set, as planned.
        as_cut: their copper as cut, one for each.
        plan: the job, with what is required.
        facts: nets that the job names, by the board's name.
        whole: whether currents and volts at loads are worked out as well, which takes seconds
            for each net, and boards without a named net are judged too, by their holes.
    """
    flatness = plan.isolation.flatness
    grooves = max(wider(cutter, flatness) for cutter in plan.isolation.cutters)
    copies = Copies()
    boards: list[BoardJudged] = []
    findings: list[Finding] = []
    for blank, copper in zip(blanks, as_cut, strict=True):
        made = holes_made(blank, plan.cutters)
        for placement in blank.placements:
            nets = facts[placement.board.name]
            if nets or whole:
                board, faults = judge(
                    nets,
                    placement,
                    copper,
                    blank.laminate.copper,
                    plan.rules,
                    solve=whole,
                    made=made.get(placement.index, {}),
                    wider=grooves,
                    copies=copies,
                )
                boards.append(board)
                findings += faults
    without_nets = [name for name, nets in facts.items() if not nets]
    if without_nets:
        findings.append(_not_judged(without_nets))
    loaded = [net.name for nets in facts.values() for net in nets if net.loads]
    if loaded and not whole:
        findings.append(_not_solved(loaded))
    programs = [program for blank in blanks for program in blank.programs]
    grades = {blank.number: blank.laminate.grade for blank in blanks}
    cutting, faults = cutters(programs, grades, plan.machine, whole=whole)
    return Judged(tuple(boards), cutting, (*findings, *faults))


def holes_made(blank: MilledBlank, tools: Sequence[Cutter]) -> dict[int, dict[str, HoleMade]]:
    """How the holes of every copy on a blank are made, by placement and the hole's id."""
    by_name = {cutter.name: cutter for cutter in tools}
    in_other_pass = {
        (drilled.placement, drilled.hole): drilled.most for drilled in blank.drilled_in_other_pass
    }
    result: dict[int, dict[str, HoleMade]] = {}
    for hole in blank.cuts.holes:
        assert hole.placement is not None, "a registration hole among the holes of boards"
        cutter = by_name[hole.cutter]
        result.setdefault(hole.placement, {})[hole.hole] = HoleMade(
            hole.diameter,
            cutter.diameter if isinstance(cutter, Drill) else None,
            wider(cutter, 0.0),
            in_other_pass.get((hole.placement, hole.hole), 0.0),
        )
    return result


def _not_judged(boards: list[str]) -> Finding:
    message = (
        f"The job names no net of {', '.join(boards)}, so no voltage, current or drop is checked "
        "there. Name nets with [[board.net]]; millprep check lists the results."
    )
    return Finding(code="nets-not-named", severity="note", message=message)


def _not_solved(nets: list[str]) -> Finding:
    message = (
        f"Volts and currents at the loads of {', '.join(nets)} are computed by millprep check, "
        "not here; spacing is checked."
    )
    return Finding(code="loads-not-solved", severity="note", message=message)
