"""Cutting boards out: cut-outs first, then the outer edge, held by tabs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from millprep.geometry.offset import from_line, offset
from millprep.geometry.path import FloatArray, Path, Point
from millprep.model.blank import Blank, Placement, on_blank
from millprep.model.cut import Profile, Tab
from millprep.model.finding import Finding
from millprep.model.job.work import ProfilePlan

CORNER = 0.05
"""Laminate left in a corner farther than this from the drawn edge is worth a finding, mm."""
TAB_STEP = 0.5
"""Places for a tab are tried at steps of this, mm."""
WEB = 1.5
"""Laminate next to a tab narrower than this holds nothing, mm; common practice, no source."""
KEEP_AWAY = 3.0
"""A tab keeps this far from holes and joins where it can, mm."""


def profile(
    placements: Sequence[Placement], blank: Blank, plan: ProfilePlan
) -> tuple[tuple[Profile, ...], tuple[Finding, ...]]:
    """The cuts that free every board of a blank, without tabs; cut-outs come first."""
    radius = plan.cutter.width(blank.thickness) / 2
    inner: list[Profile] = []
    outer: list[Profile] = []
    findings: list[Finding] = []
    for placement in placements:
        area: shapely.Polygon = placement.pose.shape(placement.board.outline)
        for hole in area.interiors:
            cutout = shapely.Polygon(hole)
            axis = offset(cutout, -radius)
            if axis.is_empty:
                findings.append(_too_small(placement, cutout, radius))
                continue
            findings += _corners(placement, cutout.difference(offset(axis, radius)), radius)
            inner += [
                _profile(part.exterior, True, placement, blank, plan)
                for part in shapely.get_parts(axis)
            ]
        board = shapely.Polygon(area.exterior)
        grown = offset(board, radius)
        assert isinstance(grown, shapely.Polygon)
        if board.convex_hull.area - board.area > math.pi * (CORNER / 2) ** 2:
            # only in a hollow corner is anything left
            findings += _corners(placement, offset(grown, -radius).difference(board), radius)
        outer.append(_profile(grown.exterior, False, placement, blank, plan))
    return (*inner, *outer), tuple(findings)


def _profile(
    boundary: shapely.LinearRing,
    inner: bool,
    placement: Placement,
    blank: Blank,
    plan: ProfilePlan,
) -> Profile:
    # climbing has the board on the right: clockwise around it, counter-clockwise in a cut-out
    ccw = inner == (plan.direction == "climb")
    line = boundary if boundary.is_ccw == ccw else shapely.LinearRing(list(boundary.coords)[::-1])
    depth = blank.thickness + plan.breakthrough
    return Profile(
        path=from_line(line),
        cutter=plan.cutter.name,
        depth=depth,
        tab_depth=blank.thickness - plan.tab_height,
        tabs=(),
        placement=placement.index,
        inner=inner,
    )


def frame(blank: Blank, profiles: Sequence[Profile], radius: float) -> BaseGeometry:
    """What outer tabs may hold to: laminate outside all boards that is connected to the rim.

    Webs between two kerfs that are narrower than `WEB` hold nothing and are not in it.
    """
    kerfs = []
    for profile in profiles:
        if not profile.inner:
            corners = profile.path.flattened()
            # what the cutter goes round is board, not frame
            kerfs.append(offset(shapely.Polygon(corners), radius))
    laminate = blank.outline or shapely.box(0.0, 0.0, *blank.size)
    left = laminate.difference(shapely.union_all(kerfs))
    firm = shapely.get_parts(offset(left, -WEB / 2))
    return max(firm, key=lambda part: part.area) if len(firm) else shapely.Polygon()


def with_tabs(
    profile: Profile,
    plan: ProfilePlan,
    avoid: BaseGeometry,
    joins: Sequence[Point],
    hold: BaseGeometry | None = None,
    firm_spans: Sequence[tuple[float, float]] = (),
    barred: Sequence[tuple[float, float]] = (),
) -> tuple[Profile, tuple[Finding, ...]]:
    """The profile with its tabs, on straight stretches, away from holes, pads and joins.

    Args:
        profile: without tabs; the cut-out of a board needs none when it is small.
        plan: width, spacing and cutter.
        avoid: what tabs keep away from, blank frame.
        joins: places where passes meet on this path.
        hold: the frame, shrunk by half a web; a tab of an outer profile ends on it. None leaves
            every place open.
        firm_spans: stretches of the path where a tab ends on a board that is held, and no frame
            is needed.
        barred: stretches where no tab may be, since a neighbour cuts them.
    """
    width = plan.tab_width + plan.cutter.width(profile.depth)
    total = profile.path.length
    if total < 3 * width:
        return profile, ()
    starts, points, cost = _tab_costs(profile.path, width, avoid, joins)
    if hold is not None and not profile.inner:
        shapely.prepare(hold)
        reach = plan.cutter.width(profile.depth) / 2 + WEB / 2 + 0.01
        firm = shapely.dwithin(hold, points, reach)
        for a, b in firm_spans:
            firm |= (starts >= a) & (starts + width <= b)
        cost = np.where(firm, cost, np.inf)
    for a, b in barred:
        cost = np.where((starts < b) & (starts + width > a), np.inf, cost)
    if not np.isfinite(cost).any():
        return profile, (_no_tab(profile, width),)
    count = max(3 if not profile.inner else 2, math.ceil(total / plan.tab_every))
    best: tuple[float, list[float]] = (math.inf, [])
    for phase in np.linspace(0, total / count, 8, endpoint=False).tolist():
        chosen: list[float] = []
        sum_cost = 0.0
        for k in range(count):
            target = phase + k * total / count
            away = np.abs((starts - target + total / 2) % total - total / 2)
            score = np.where(away <= total / count / 2, cost + away / plan.tab_every, np.inf)
            n = int(np.argmin(score))
            if not math.isfinite(float(score[n])):
                sum_cost += 10
                continue
            gaps = (abs((starts[n] - c + total / 2) % total - total / 2) for c in chosen)
            if all(gap > 1.5 * width for gap in gaps):
                chosen.append(float(starts[n]))
                sum_cost += float(score[n])
            else:
                sum_cost += 10
        if chosen and sum_cost < best[0]:
            best = (sum_cost, chosen)
    tabs = tuple(Tab(start, start + width) for start in sorted(best[1]))
    return replace(profile, tabs=tabs), ()


def holds(
    profile: Profile,
    plan: ProfilePlan,
    hold: BaseGeometry,
    firm_spans: Sequence[tuple[float, float]],
    barred: Sequence[tuple[float, float]],
) -> bool:
    """Whether a tab finds a place on a profile; the arguments are those of `with_tabs`."""
    tabbed, _ = with_tabs(profile, plan, shapely.Point(1e9, 1e9), (), hold, firm_spans, barred)
    return bool(tabbed.tabs)


def _tab_costs(
    path: Path, width: float, avoid: BaseGeometry, joins: Sequence[Point]
) -> tuple[FloatArray, NDArray[np.object_], FloatArray]:
    """Possible starts of a tab along the path, its middle there, and what each place costs.

    It costs infinitely much where no tab can be.
    """
    starts = [np.zeros(0)]
    middles = [np.zeros((0, 2))]
    at = 0.0
    for n, (bulge, length) in enumerate(zip(path.bulge, path.lengths.tolist(), strict=True)):
        if bulge == 0 and length >= width:
            # a tab that would run over the path's own start would be cut by the entry
            starts.append(np.arange(at, at + length - width + 1e-9, TAB_STEP))
            share = (starts[-1] - at + width / 2) / length
            middles.append(path.xy[n] + share[:, None] * (path.xy[n + 1] - path.xy[n]))
        at += length
    points = np.asarray(shapely.points(np.concatenate(middles)))
    cost: FloatArray = np.zeros(len(points))
    reach = KEEP_AWAY + width / 2
    (near, _), away = shapely.STRtree(shapely.get_parts(avoid)).query_nearest(
        points, max_distance=reach, return_distance=True, all_matches=False
    )
    cost[near] = (reach - away) / KEEP_AWAY
    if joins:
        gap = shapely.distance(points, shapely.MultiPoint(list(joins)))
        cost = np.where(gap < width, np.inf, cost)
    return np.concatenate(starts), points, cost


def _corners(placement: Placement, left: BaseGeometry, radius: float) -> list[Finding]:
    """A finding for every corner in which the round cutter leaves laminate."""
    findings = []
    for part in shapely.get_parts(left):
        if part.area <= 0 or offset(part, -CORNER / 2).is_empty:
            continue
        at = part.representative_point()
        findings.append(
            on_blank(
                placement,
                "corner-not-reached",
                "warn",
                (
                    f"{part.area:.2f} mm² of laminate are left in an inner corner: the cutter's "
                    f"radius is {radius:g} mm. Use a thinner end mill, file the corner, or round "
                    "it in the drawing."
                ),
                (at.x, at.y),
            )
        )
    return findings


def _too_small(placement: Placement, cutout: shapely.Polygon, radius: float) -> Finding:
    at = cutout.representative_point()
    return on_blank(
        placement,
        "cutout-too-narrow",
        "stop",
        (
            f"A cut-out is too narrow for the profile cutter of {2 * radius:g} mm. "
            "Name a thinner end mill in [profile] cutter or widen the cut-out."
        ),
        (at.x, at.y),
    )


def _no_tab(profile: Profile, width: float) -> Finding:
    return Finding(
        code="no-place-for-tabs",
        severity="warn",
        message=(
            f"No straight stretch of {width:g} mm next to firm laminate is free for a tab: the "
            "piece comes loose in the last depth step. Lower tab_width, raise [[blank]] "
            "spacing, or hold the piece with tape."
        ),
        frame="blank",
        at=profile.path.start,
    )
