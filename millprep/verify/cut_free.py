"""Boards as they are cut free: all round, on the right side, through, and held by tabs.

The axis of the cutter must run its radius outside every edge. Along that line the lowest that it
comes by is looked up every `STEP`: through the blank to the depth that the job says, or as low as a
tab allows; a stretch of the second kind is a tab. How many tabs an edge needs follows from the job.
There may be fewer only where the edge has no place for another one.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.cache import cached
from millprep.geometry.path import FloatArray, Point
from millprep.model.blank import Blank, Placement, on_blank
from millprep.model.finding import NOT_RUN, Finding
from millprep.model.job.work import ProfilePlan
from millprep.model.milling_pass import Join
from millprep.verify.motion_context import Mask
from millprep.verify.over_copper import FOLLOWED
from millprep.verify.sweep import Steps, quarter

STEP = 0.2
"""Edges are looked at this often, mm."""
ASIDE = 0.03
"""An axis that runs farther from its line, mm, does not run along it."""
NEARLY = 0.005
"""Areas are made anew here, to this, mm."""
WEB = 1.5
"""Laminate next to a tab narrower than this holds nothing, mm; common practice, no source."""
AT_LEAST = {False: 3, True: 2}
"""Tabs of an outer edge, and of a cut-out that is large enough for any: common practice."""


@dataclass(frozen=True, slots=True)
class _Edge:
    """The line of the axis around one edge of a board, blank frame, and places on it.

    Attributes:
        line: a closed line, counter-clockwise.
        xy: (n, 2) places, `step` apart.
        along: (n, 2) unit vectors of its direction there.
        common: (n,) where another board has the same line.
    """

    placement: Placement
    inner: bool
    line: shapely.LinearRing
    step: float
    xy: FloatArray
    along: FloatArray
    common: Mask


@dataclass(frozen=True, slots=True)
class _Cuts:
    """What the profile cutter does: (n, 6) straight steps below the surface, blank frame."""

    steps: FloatArray
    tree: shapely.STRtree


@cached
def check_cut_free(
    profile: ProfilePlan,
    digit: float,
    blank: Blank,
    placements: Sequence[Placement],
    joins: Sequence[Join],
    cuts: Sequence[Steps],
) -> tuple[list[Finding], list[Point]]:
    """What is wrong with how the boards of a blank are cut out, and the middle of every tab.

    Args:
        profile: what is required.
        digit: the last one of a program, mm.
        blank: the laminate.
        placements: the boards on it.
        joins: where its passes meet.
        cuts: what the programs do that cut it.
    """
    edges, milled = _edges(profile, placements), _cuts_of(profile.cutter.name, cuts)
    z_slack = digit + FOLLOWED + 1e-6
    firm = _firm(profile, blank, placements)
    findings: list[Finding] = []
    tabs: list[Point] = []
    for edge in edges:
        floor, right = _floors(profile, edge, milled, blank, z_slack)
        for first, count in _runs(_lifted(profile, blank, floor, z_slack)):
            x, y = edge.xy[(first + count // 2) % len(floor)].tolist()
            tabs.append((x, y))
        findings += _edge_findings(profile, blank, edge, floor, right, z_slack, joins, firm)
    return findings, tabs


def _edges(profile: ProfilePlan, placements: Sequence[Placement]) -> list[_Edge]:
    """The line of the axis around every edge."""
    radius = profile.cutter.diameter / 2
    rings: list[tuple[Placement, bool, shapely.LinearRing]] = []
    fine = quarter(radius)
    for placement in placements:
        area: shapely.Polygon = placement.pose.shape(placement.board.outline)
        for hole in area.interiors:
            inside = shapely.buffer(shapely.Polygon(hole), -radius, quad_segs=fine)
            parts = [part for part in shapely.get_parts(inside).tolist() if not part.is_empty]
            rings += [(placement, True, part.exterior) for part in parts]
        grown = shapely.buffer(shapely.Polygon(area.exterior), radius, quad_segs=fine)
        rings.append((placement, False, grown.exterior))
    edges: list[_Edge] = []
    outer = np.array([ring for _, inner, ring in rings if not inner], dtype=object)
    owner = np.array([placement.index for placement, inner, _ in rings if not inner])
    tree = shapely.STRtree(outer)
    for placement, inner, ring in rings:
        line = shapely.LinearRing(list(ring.coords)[:: 1 if ring.is_ccw else -1])
        count = max(math.ceil(line.length / STEP), 8)
        at = np.arange(count) * (line.length / count)
        corners = shapely.get_coordinates(line)
        ways = np.diff(corners, axis=0)
        gone = np.concatenate(([0.0], np.cumsum(np.hypot(*ways.T))))
        xy = np.column_stack([np.interp(at, gone, column) for column in corners.T])
        on = np.clip(np.searchsorted(gone, at, side="right") - 1, 0, len(ways) - 1)
        along = ways[on] / np.hypot(*ways[on].T)[:, None]
        near = tree.query(line, predicate="dwithin", distance=ASIDE)
        others = shapely.MultiLineString(list(outer[near[owner[near] != placement.index]]))
        common: Mask = np.asarray(shapely.dwithin(others, shapely.points(xy), ASIDE)) & (not inner)
        edges.append(_Edge(placement, inner, line, line.length / count, xy, along, common))
    return edges


def _cuts_of(cutter: str, cuts: Sequence[Steps]) -> _Cuts:
    """All steps of a cutter below the surface, in whatever pass."""
    some = [np.zeros((0, 6))]
    for cut in cuts:
        if cut.cutter.name == cutter:
            steps, pose = cut.steps.copy(), cut.pose
            steps[:, 0:2], steps[:, 3:5] = pose.points(steps[:, 0:2]), pose.points(steps[:, 3:5])
            some.append(steps)
    steps = np.concatenate(some)
    lines = np.asarray(shapely.linestrings(steps[:, [0, 1, 3, 4]].reshape(-1, 2, 2)))
    return _Cuts(steps, shapely.STRtree(lines))


def _floors(
    profile: ProfilePlan, edge: _Edge, cuts: _Cuts, blank: Blank, slack: float
) -> tuple[FloatArray, Mask]:
    """The lowest z that the tip comes by at every place, and where it goes the right way round."""
    floor, right = np.zeros(len(edge.xy)), np.zeros(len(edge.xy), dtype=bool)
    place, step = cuts.tree.query(shapely.points(edge.xy), predicate="dwithin", distance=ASIDE)
    if not len(place):
        return floor, right
    a, b = cuts.steps[step, 0:2], cuts.steps[step, 3:5]
    way = b - a
    length = np.hypot(*way.T)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = ((edge.xy[place] - a) * way).sum(axis=1) / length**2
        turn = (edge.along[place] * way).sum(axis=1) / length
    share = np.clip(np.nan_to_num(share), 0.0, 1.0)
    z0, z1 = cuts.steps[step, 2], cuts.steps[step, 5]
    np.minimum.at(floor, place, z0 + (z1 - z0) * share)
    # with the board on the right a cutter climbs: clockwise around it, the other way in a cut-out
    wanted = 1.0 if edge.inner == (profile.direction == "climb") else -1.0
    deep = (np.abs(z1 - z0) <= slack) & (z0 <= slack - _depth(profile, blank)) & (length > 0)
    good = deep & (np.nan_to_num(turn) * wanted > 0)
    right[place[good]] = True
    return floor, right


def _depth(profile: ProfilePlan, blank: Blank) -> float:
    return blank.thickness + profile.breakthrough


def _lifted(profile: ProfilePlan, blank: Blank, floor: FloatArray, slack: float) -> Mask:
    """Places where a tab is left."""
    there: Mask = np.abs(floor + blank.thickness - profile.tab_height) <= slack
    return there


def _edge_findings(
    profile: ProfilePlan,
    blank: Blank,
    edge: _Edge,
    floor: FloatArray,
    right: Mask,
    slack: float,
    joins: Sequence[Join],
    firm: shapely.Geometry,
) -> Iterator[Finding]:
    """What is wrong with one edge, the worst first."""
    what = "cut-out" if edge.inner else "edge"
    depth, height = _depth(profile, blank), profile.tab_height

    def finding(code: str, message: str, at: NDArray[np.float64] | Point) -> Finding:
        message = f"{message} {NOT_RUN}"
        return on_blank(edge.placement, code, "stop", message, (float(at[0]), float(at[1])))

    through = floor <= slack - depth
    deep = floor < -depth - slack
    if deep.any():
        at = int(np.argmin(floor))
        message = (
            f"The profile goes {-floor[at]:.2f} mm deep at the {what}, the job says {depth:g} mm."
        )
        yield finding("profile-depth", message, edge.xy[at])
    lifted = _lifted(profile, blank, floor, slack)
    uncut = ~through & ~lifted
    if uncut.any():
        at = int(np.argmax(np.where(uncut, floor, -np.inf)))
        message = (
            f"The {what} is not cut through along {edge.step * uncut.sum():.1f} mm, and that is no "
            f"tab: there the cutter goes {abs(floor[at]):.2f} mm deep. Tabs are "
            f"{height:g} mm high."
        )
        yield finding("edge-not-cut", message, edge.xy[at])
        return
    wrong = through & ~right & ~edge.common
    # where a cutter turns a corner its direction is no edge's
    if wrong.sum() * edge.step > 4 * ASIDE + 2 * STEP:
        at = int(np.flatnonzero(wrong)[0])
        message = f"The {what} is cut the wrong way round, the job says {profile.direction}."
        yield finding("profile-direction", message, edge.xy[at])
    yield from _tab_findings(profile, edge, _runs(lifted), joins, firm, finding)


def _runs(mask: Mask) -> list[tuple[int, int]]:
    """First place and number of places of every stretch of a closed line where a mask holds."""
    n = len(mask)
    if mask.all() or not mask.any():
        return [(0, n)] if mask.all() else []
    starts = np.flatnonzero(mask & ~np.roll(mask, 1)).tolist()
    ends = np.flatnonzero(mask & ~np.roll(mask, -1)).tolist()
    if ends[0] < starts[0]:
        ends = [*ends[1:], ends[0] + n]
    return [(a, b - a + 1) for a, b in zip(starts, ends, strict=True)]


def _tab_findings(
    profile: ProfilePlan,
    edge: _Edge,
    tabs: Sequence[tuple[int, int]],
    joins: Sequence[Join],
    firm: shapely.Geometry,
    finding: object,
) -> Iterator[Finding]:
    """Tabs that are too narrow, too wide, on a bend, or too few."""
    assert callable(finding)
    plan, n, what = profile, len(edge.xy), "cut-out" if edge.inner else "edge"
    lift = plan.tab_width + plan.cutter.diameter
    for first, count in tabs:
        at = edge.xy[(first + count // 2) % n]
        width = count * edge.step - plan.cutter.diameter
        if abs(width - plan.tab_width) > 2 * edge.step:
            message = f"A tab is {width:.1f} mm wide, the job says {plan.tab_width:g} mm."
            yield finding("tab-width", message, at)
        elif float(edge.along[first] @ edge.along[(first + count - 1) % n]) < 0.99:
            message = f"A tab lies round a corner of the {what}, where it breaks off with the edge."
            yield finding("tab-place", message, at)
    total = edge.line.length
    if total < 3 * lift - edge.step:
        return
    needed = max(AT_LEAST[edge.inner], math.ceil(total / plan.tab_every - 1e-6))
    if len(tabs) < needed:
        middles = np.array([(first + (count - 1) / 2) % n for first, count in tabs]) * edge.step
        starts = _free_starts(profile, edge, joins, firm, lift)
        room = _bare(starts, middles - lift / 2, total, lift)
        span = max(total / needed - 2 * edge.step, edge.step)
        # where there is no place for a tab, none begins for as long as tabs are apart
        excused = sum(int(stretch / span) for stretch in room)
        if len(tabs) + excused < needed:
            at = edge.xy[int((middles[0] if len(middles) else 0.0) / edge.step) % n]
            message = (
                f"The {what} is held by {len(tabs)} tabs, and there is room for {needed}: one "
                f"every {plan.tab_every:g} mm, {AT_LEAST[edge.inner]} at least."
            )
            yield finding("tabs-missing", message, at)
    else:
        middles = np.sort([(first + (count - 1) / 2) % n for first, count in tabs]) * edge.step
        gaps = np.diff(np.append(middles, middles[0] + total))
        most = 2 * total / needed + lift
        if gaps.max() > most:
            at = edge.xy[int(middles[int(np.argmax(gaps))] / edge.step) % n]
            message = (
                f"Two tabs of the {what} are {gaps.max():.0f} mm apart, at most {most:.0f} mm are "
                "right for their number."
            )
            yield finding("tab-place", message, at)


def _firm(profile: ProfilePlan, blank: Blank, placements: Sequence[Placement]) -> shapely.Geometry:
    """Laminate outside all kerfs that is connected to the rim, less half a web."""
    width = profile.cutter.diameter
    outlines = [
        shapely.Polygon(p.pose.shape(p.board.outline).exterior).buffer(width) for p in placements
    ]
    laminate = blank.outline or shapely.box(0.0, 0.0, *blank.size)
    left = laminate.difference(shapely.union_all(outlines)).buffer(-WEB / 2 - NEARLY)
    parts = shapely.get_parts(left)
    return max(parts, key=lambda part: part.area) if len(parts) else shapely.Polygon()


def _free_starts(
    profile: ProfilePlan,
    edge: _Edge,
    joins: Sequence[Join],
    firm: shapely.Geometry,
    lift: float,
) -> FloatArray:
    """Where along an edge a tab might begin, `STEP` apart: surely straight, firm and free."""
    corners = np.array(edge.line.coords)
    lengths = np.hypot(*np.diff(corners, axis=0).T)
    before = np.concatenate(([0.0], np.cumsum(lengths)[:-1]))
    starts = np.concatenate(
        [
            np.arange(a + STEP, a + length - lift - STEP, STEP)
            for a, length in zip(before.tolist(), lengths.tolist(), strict=True)
            if length > lift + 3 * STEP
        ]
        or [np.zeros(0)]
    )
    middles = shapely.line_interpolate_point(edge.line, starts + lift / 2)
    good = np.ones(len(starts), dtype=bool)
    if not edge.inner:
        reach = profile.cutter.diameter / 2 + WEB / 2 + 2 * NEARLY
        good &= shapely.distance(middles, firm) <= reach
    mine = [j.at for j in joins if j.placement == edge.placement.index and j.piece is None]
    if mine:
        good &= shapely.distance(middles, shapely.MultiPoint(mine)) > lift + STEP
    near = (
        np.rint(starts / edge.step).astype(int)[:, None]
        + np.arange(-int(4 / edge.step), int((lift + 4) / edge.step))
    ) % len(edge.xy)
    good &= ~edge.common[near].any(axis=1)
    return starts[good]


def _bare(starts: FloatArray, taken: FloatArray, total: float, lift: float) -> list[float]:
    """Lengths of the stretches of a closed line of `total` mm in which no tab can begin."""
    for place in taken.tolist():
        away = np.abs((starts - place + total / 2) % total - total / 2)
        starts = starts[away > 1.5 * lift]
    if not len(starts):
        return [total]
    ordered = np.sort(starts)
    gaps: list[float] = np.diff(np.append(ordered, ordered[0] + total)).tolist()
    return [gap for gap in gaps if gap > 2 * STEP]
