"""Laps, clearings, profiles and holes handed to the passes that cut them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from millprep.geometry.path import Path, Point
from millprep.model.cut import Clearing, Cut, HoleCut, Lap, Profile, Tab
from millprep.model.finding import Finding, Refusal
from millprep.model.milling_pass import Join
from millprep.passes.joins import JoinPlan, extent
from millprep.passes.regions import (
    NO_SOLE_PASS,
    Regions,
    crowded,
    profile_overrun,
    stretches_by_region,
)
from millprep.passes.shift import ShiftPlan


@dataclass(frozen=True, slots=True)
class CutsByPass:
    """The cuts of a blank by pass, still in the blank frame, and the joins between them."""

    by_pass: tuple[tuple[Cut, ...], ...]
    joins: tuple[Join, ...]


def share_laps(
    laps: Sequence[Lap],
    plan: JoinPlan,
    shift: ShiftPlan,
    overrun: float,
    reach: float,
    blank: int,
) -> CutsByPass:
    """Pieces cut whole go to one pass; the laps of others are split where their first lap is.

    Args:
        laps: all laps of the blank.
        plan: which pass cuts what.
        shift: windows.
        overrun: of each side past a join.
        reach: a lap this near to a join of its piece's first lap is split next to it.
        blank: number.
    """
    by_pass: list[list[Cut]] = [[] for _ in shift.windows]
    joins: list[Join] = []
    for lap in laps:
        key = (lap.placement, lap.piece)
        k = plan.whole.get(key)
        if k is not None:
            by_pass[k].append(lap)
            continue
        stretches = _stretches(lap, plan, reach)
        if len(stretches) == 1:
            by_pass[stretches[0].side].append(lap)
            continue
        for n, stretch in enumerate(stretches):
            first, last = n == 0, n == len(stretches) - 1
            before = overrun if lap.path.closed or not first else 0.0
            after = overrun if lap.path.closed or not last else 0.0
            by_pass[stretch.side].append(
                replace(lap, path=_part(lap.path, stretch.start - before, stretch.end + after))
            )
            if (lap.number == 0 or plan.leads(lap)) and (lap.path.closed or not last):
                beyond = stretches[(n + 1) % len(stretches)]
                joins.append(
                    Join(
                        blank=blank,
                        placement=lap.placement,
                        piece=lap.piece,
                        at=lap.path.point_at(stretch.end % lap.path.length),
                        passes=(
                            min(stretch.side, beyond.side) + 1,
                            max(stretch.side, beyond.side) + 1,
                        ),
                        overrun=overrun,
                        across=across(lap.path, stretch.end % lap.path.length),
                    )
                )
    return CutsByPass(tuple(map(tuple, by_pass)), tuple(joins))


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Part of a lap that one pass cuts; on a closed lap `end` may pass the length."""

    start: float
    end: float
    side: int


def _stretches(lap: Lap, plan: JoinPlan, reach: float) -> list[_Stretch]:
    path, total = lap.path, lap.path.length
    key = (lap.placement, lap.piece)
    cuts = [along for along, _ in plan.cuts(lap, reach)]
    if path.closed:
        bounds = [*cuts, cuts[0] + total] if cuts else [0.0, total]
    else:
        bounds = [0.0, *(c for c in cuts if 0.0 < c < total), total]
    stretches: list[_Stretch] = []
    for start, end in itertools.pairwise(bounds):
        side = plan.pass_at(key, path.point_at((start + end) / 2 % total))
        assert side is not None
        if stretches and stretches[-1].side == side:
            stretches[-1] = replace(stretches[-1], end=end)
        else:
            stretches.append(_Stretch(start, end, side))
    if path.closed and len(stretches) > 1 and stretches[0].side == stretches[-1].side:
        last = stretches.pop()
        stretches[0] = _Stretch(last.start, stretches[0].end + total, last.side)
        stretches.sort(key=lambda stretch: stretch.start)
    return stretches


def across(path: Path, distance: float) -> Point:
    """Unit vector across a path at a place along it."""
    a = path.point_at(max(distance - 0.01, 0.0))
    b = path.point_at(min(distance + 0.01, path.length))
    run = math.hypot(b[0] - a[0], b[1] - a[1])
    return (-(b[1] - a[1]) / run, (b[0] - a[0]) / run)


def _part(path: Path, start: float, end: float) -> Path:
    """A stretch of a path with its overruns; those of a closed path may pass its start."""
    if not path.closed:
        return path.part(start, end)
    total = path.length
    start, end = (start + total, end + total) if start < 0 else (start, end)
    return path.part(start, min(end, start + total - 1e-6))


def share_clearings(
    clearings: Sequence[Clearing],
    shift: ShiftPlan,
    overrun: float,
    sole_pass: Mapping[int, int] = NO_SOLE_PASS,
) -> tuple[tuple[Clearing, ...], ...]:
    """Clearing is split where a later window begins; each side overruns as laps do.

    No net depends on where it is split, so these are no joins.
    """
    regions = Regions.of(shift, overrun)
    by_pass: list[list[Clearing]] = [[] for _ in shift.windows]
    for clearing in clearings:
        path, whole = clearing.path, sole_pass.get(clearing.placement)
        if whole is None:
            whole = _holding(shift, clearing.path)
        if whole is not None:
            by_pass[whole].append(clearing)
            continue
        stretches = stretches_by_region(path, regions.lines, regions.owner, crowded(overrun))
        for n, (start, end, side) in enumerate(stretches):
            before = overrun if path.closed or n > 0 else 0.0
            after = overrun if path.closed or n < len(stretches) - 1 else 0.0
            alone = len(stretches) == 1
            part = path if alone else _part(path, start - before, end + after)
            by_pass[side].append(replace(clearing, path=part))
    return tuple(map(tuple, by_pass))


def _holding(shift: ShiftPlan, path: Path) -> int | None:
    """The first pass (from 0) whose window holds a path wholly."""
    x0, y0, x1, y1 = extent(path)
    return next(
        (k for k, w in enumerate(shift.windows) if w.contains(x0, y0) and w.contains(x1, y1)),
        None,
    )


def share_profiles(
    profiles: Sequence[Profile], shift: ShiftPlan, radius: float, blank: int
) -> CutsByPass:
    """Profiles split where a later window begins; both sides overrun by the cutter's radius."""
    overrun = profile_overrun(radius)
    regions = Regions.of(shift, overrun)
    by_pass: list[list[Cut]] = [[] for _ in shift.windows]
    joins: list[Join] = []
    for profile in profiles:
        path = profile.path
        stretches = stretches_by_region(path, regions.lines, regions.owner, crowded(overrun))
        if len(stretches) == 1:
            by_pass[stretches[0][2]].append(profile)
            continue
        for n, (start, end, side) in enumerate(stretches):
            # the later pass reaches back over what the one before has cut
            reach = overrun if side > 0 else 0.0
            begin, stop = start - reach, end + reach
            by_pass[side].append(_profile_part(profile, begin, stop))
            beyond = stretches[(n + 1) % len(stretches)][2]
            joins.append(
                Join(
                    blank=blank,
                    placement=profile.placement,
                    piece=None,
                    at=path.point_at(end % path.length),
                    passes=(min(side, beyond) + 1, max(side, beyond) + 1),
                    overrun=overrun,
                    across=across(path, end % path.length),
                )
            )
    return CutsByPass(tuple(map(tuple, by_pass)), tuple(joins))


def _profile_part(profile: Profile, start: float, end: float) -> Profile:
    """A stretch of a closed profile with the tabs that lie on it."""
    total = profile.path.length
    shift = total if start < 0 else 0.0
    path = profile.path.part(start + shift, end + shift)
    tabs = []
    for tab in profile.tabs:
        for turn in (-total, 0.0, total):
            a, b = tab.start + turn - start, tab.end + turn - start
            if b > 0 and a < path.length:
                tabs.append(Tab(max(a, 0.0), min(b, path.length)))
    return replace(profile, path=path, tabs=tuple(sorted(tabs, key=lambda t: t.start)))


def share_holes(
    holes: Sequence[HoleCut],
    plan: JoinPlan,
    shift: ShiftPlan,
    blank: int = 1,
    sole_pass: Mapping[int, int] = NO_SOLE_PASS,
) -> tuple[tuple[HoleCut, ...], ...]:
    """Every hole goes to the pass that cuts its pad's loop, if it reaches; others by their side.

    `sole_pass` are the passes (from 0) that alone cut a board, by its placement.

    Raises:
        Refusal: for slots that no pass holds whole.
    """
    too_long: list[Finding] = []
    by_pass: list[list[HoleCut]] = [[] for _ in shift.windows]
    for hole in holes:
        k = None
        if hole.placement is not None and hole.piece is not None:
            (x0, y0), (x1, y1) = hole.at, hole.end or hole.at
            k = plan.pass_at((hole.placement, hole.piece), ((x0 + x1) / 2, (y0 + y1) / 2))
        if k is None and hole.placement is not None:
            k = sole_pass.get(hole.placement)
        if k is None or not _reaches(shift, k, hole):
            k = next((n for n in range(len(shift.windows)) if _reaches(shift, n, hole)), None)
        if k is None and hole.end is not None and len(shift.windows) > 1:
            too_long.append(_too_long(hole, blank))
        # the motion rules report a hole bored at the very end of the travel
        by_pass[-1 if k is None else k].append(hole)
    if too_long:
        raise Refusal(too_long)
    return tuple(map(tuple, by_pass))


def _too_long(slot: HoleCut, blank: int) -> Finding:
    long = slot.spine.length + slot.diameter
    return Finding(
        code="slot-in-no-pass",
        severity="stop",
        message=(
            f"Slot {slot.hole}, {long:.1f} mm long, fits in the window of no pass. Draw it "
            "as two slots that overlap, or place the board so that one pass holds it."
        ),
        frame="blank",
        at=slot.at,
        blank=blank,
    )


def _reaches(shift: ShiftPlan, k: int, hole: HoleCut) -> bool:
    """Whether the window of pass k (from 0) holds the hole."""
    radius, w = hole.diameter / 2, shift.windows[k]
    return all(
        w.contains(x - radius, y - radius) and w.contains(x + radius, y + radius)
        for x, y in (hole.at, hole.end or hole.at)
    )
