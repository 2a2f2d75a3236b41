"""How the boards of a blank are cut free: tabs, cuts that neighbours share, and passes."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import Point
from millprep.model.blank import Blank, Placement
from millprep.model.cut import Cut, Profile
from millprep.model.finding import Finding
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import Join
from millprep.passes.cuts_by_pass import share_profiles
from millprep.passes.shift import ShiftPlan
from millprep.toolpaths import common_line, profile
from millprep.toolpaths.common_line import CommonStretch, Interval


@dataclass(frozen=True, slots=True)
class ProfilesByPass:
    """The profiles of a blank.

    Attributes:
        whole: the profiles, not shared out, with their tabs.
        by_pass: what of them every pass cuts.
        joins: where passes meet on them.
        findings: about tabs.
    """

    whole: tuple[Profile, ...]
    by_pass: tuple[tuple[Cut, ...], ...]
    joins: tuple[Join, ...]
    findings: tuple[Finding, ...]


def profiles_by_pass(
    job: JobPlan,
    blank: Blank,
    profiles: Sequence[Profile],
    placements: Sequence[Placement],
    plan: ShiftPlan,
    left_out: Collection[int] = (),
) -> ProfilesByPass:
    """Profiles with tabs where something firm holds them, common stretches cut once.

    Args:
        job: what is required.
        blank: the laminate.
        profiles: whole, without tabs.
        placements: the boards.
        plan: the passes.
        left_out: placements that are not cut; what they would cut for a neighbour, it cuts itself.
    """
    radius = job.profile.cutter.width(blank.thickness) / 2
    hold = profile.frame(blank, profiles, radius)
    stretches = common_line.common(profiles)

    def firm(n: int, firm_spans: Sequence[Interval], barred: Sequence[Interval]) -> bool:
        return profile.holds(profiles[n], job.profile, hold, firm_spans, barred)

    # boards with no neighbour so near are held by the frame, or not at all
    order = (
        common_line.holding_order(len(profiles), stretches, firm)
        if stretches
        else range(len(profiles))
    )
    untabbed = share_profiles(profiles, plan, radius, blank.number)
    tabbed, findings = _tabbed(job, profiles, placements, untabbed.joins, hold, stretches, order)
    shared = share_profiles(tabbed, plan, radius, blank.number)
    if not stretches:
        return ProfilesByPass(tabbed, shared.by_pass, shared.joins, findings)
    not_cut = {n for n, cut_out in enumerate(profiles) if cut_out.placement in left_out}
    gone = {
        cut_out.placement: common_line.cut_by_neighbours(n, stretches, order, not_cut)
        for n, cut_out in enumerate(profiles)
        if not cut_out.inner
    }
    by_pass = tuple(
        tuple(part for cut in cuts for part in _left(cut, gone)) for cuts in shared.by_pass
    )
    joins = tuple(
        join
        for join in shared.joins
        if not common_line.on_common_line(join.at, gone, join.placement)
    )
    return ProfilesByPass(tabbed, by_pass, joins, findings)


def _left(cut: Cut, gone: dict[int, tuple[tuple[Point, Point], ...]]) -> tuple[Cut, ...]:
    """What of a cut is left where neighbours cut the rest."""
    if not isinstance(cut, Profile) or cut.inner:
        return (cut,)
    return common_line.without(cut, gone.get(cut.placement, ()))


def _tabbed(
    job: JobPlan,
    profiles: Sequence[Profile],
    placements: Sequence[Placement],
    joined: Sequence[Join],
    hold: BaseGeometry,
    stretches: Sequence[CommonStretch],
    order: Sequence[int],
) -> tuple[tuple[Profile, ...], tuple[Finding, ...]]:
    """Profiles with tabs away from pads and joins, where the frame or a held board holds them."""
    by_index = {p.index: p for p in placements}
    done: list[Profile] = []
    findings: list[Finding] = []
    for n, cut_out in enumerate(profiles):
        placement = by_index[cut_out.placement]
        pads = [hole.spine for hole in placement.holes]
        avoid: BaseGeometry = shapely.GeometryCollection(pads) if pads else shapely.Point(1e9, 1e9)
        places = [join.at for join in joined if join.placement == cut_out.placement]
        firm_spans, barred = common_line.tab_places(n, stretches, order)
        tabbed, faults = profile.with_tabs(
            cut_out, job.profile, avoid, places, hold, firm_spans, barred
        )
        done.append(tabbed)
        findings += [
            replace(f, board=placement.board.name, copy=placement.copy, blank=placement.blank)
            for f in faults
        ]
    return tuple(done), tuple(findings)
