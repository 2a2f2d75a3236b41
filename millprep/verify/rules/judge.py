"""All rules of the trade on one copy of a board, as cut."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np

from millprep.model.as_cut import AsCut
from millprep.model.finding import Finding
from millprep.model.judged import Across, AtLoad, BoardJudged, Field, NetJudged
from millprep.model.layout import Placement
from millprep.model.net import BALANCED, NetFacts
from millprep.model.plan import RulesPlan
from millprep.verify.rules.annular_rings import AS_DRAWN, Made, rings, small_lands
from millprep.verify.rules.copies import Copies
from millprep.verify.rules.current import current
from millprep.verify.rules.drop import Drop, copper_of, drop
from millprep.verify.rules.holes import bases
from millprep.verify.rules.spacing import SpacingRule, spacing


def judge(
    nets: Sequence[NetFacts],
    placement: Placement,
    as_cut: AsCut,
    thickness: float,
    asked: RulesPlan,
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
        asked: by the job.
        solve: whether volts and currents of nets with loads are worked out, seconds for each.
        made: how its holes are made.
        wider: how much farther out than asked an edge of a groove may lie, mm.
        copies: nets solved on copies before, under the same rules.
    """
    rule = SpacingRule(
        column=asked.spacing,
        lands=asked.lands,
        least_counted=asked.least_counted_gap,
        edge=asked.edge,
        fixing_metal=asked.fixing_metal,
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
            alone = partial(_net, net, placement, as_cut, thickness, asked)
            one, faults = copies.judged(net, placement, copper, thickness, alone)
        else:
            one, faults = _net(net, placement, as_cut, thickness, asked)
        judged.append(one)
        findings += faults
    found, faults = bases(placement, asked, made)
    findings += faults
    left, faults = rings(placement, as_cut, asked, made, wider)
    findings += (*faults, *small_lands(placement, asked.level))
    board = BoardJudged(
        placement.index, asked, thickness, tuple(judged), spacings, across(judged), found, left
    )
    return board, tuple(findings)


def _net(
    net: NetFacts, placement: Placement, as_cut: AsCut, thickness: float, asked: RulesPlan
) -> tuple[NetJudged, tuple[Finding, ...]]:
    solved, faults = drop(
        net,
        placement,
        as_cut,
        thickness,
        celsius=asked.celsius,
        most_lost=asked.most_lost,
    )
    neck, more = current(net, placement, as_cut, thickness, asked.temperature_rise, solved)
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
    for one in judged:
        for at in one.loads:
            if at.load.name != one.feed:
                by_name.setdefault(at.load.name, []).append((one, at))
    found: list[Across] = []
    for name, ends in by_name.items():
        if len(ends) != 2:
            continue
        (high, gives), (low, takes) = sorted(ends, key=lambda end: -end[1].load.amperes)
        amperes = gives.load.amperes
        if abs(amperes + takes.load.amperes) > BALANCED * abs(amperes):
            continue
        found.append(
            Across(
                name,
                high.net.name,
                low.net.name,
                amperes,
                _between(high.net, low.net),
                gives.lost - takes.lost,
            )
        )
    return tuple(found)


def _between(high: NetFacts, low: NetFacts) -> float | None:
    """Volts between two feeds, when each is one figure."""
    for net in (high, low):
        if net.volts is None or net.volts[0] != net.volts[1]:
            return None
    assert high.volts is not None
    assert low.volts is not None
    return high.volts[0] - low.volts[0]
