"""Every cut handed to the pass that makes it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from millprep.passes import split
from millprep.passes.joins import JoinPlan
from millprep.passes.shift import ShiftPlan
from millprep.values.cut import Cut, HoleCut, Profile, Ring, Tab
from millprep.values.milling_pass import Join
from millprep.values.path import Path


@dataclass(frozen=True, slots=True)
class Shared:
    """The cuts of a blank by pass, still in the blank frame, and the joins between them."""

    by_pass: tuple[tuple[Cut, ...], ...]
    joins: tuple[Join, ...]


def crowded(overrun: float) -> float:
    """Stretches shorter than this are not cut apart; half of it lies within a line's margin."""
    return min(4 * overrun, 2 * (overrun + 1.0))


def share_rings(
    rings: Sequence[Ring], plan: JoinPlan, shift: ShiftPlan, overrun: float, blank: int
) -> Shared:
    """Bands that stay whole go whole; the others are split at the lines with overrun."""
    by_pass: list[list[Cut]] = [[] for _ in shift.windows]
    joins: list[Join] = []
    for ring in rings:
        k = plan.whole.get((ring.placement, ring.piece))
        if k is not None:
            by_pass[k].append(ring)
            continue
        stretches = split.parts(ring.path, shift.axis, list(plan.lines), crowded(overrun))
        if len(stretches) == 1:
            by_pass[stretches[0][2]].append(ring)
            continue
        for n, (start, end, side) in enumerate(stretches):
            first, last = n == 0, n == len(stretches) - 1
            before = overrun if ring.path.closed or not first else 0.0
            after = overrun if ring.path.closed or not last else 0.0
            by_pass[side].append(replace(ring, path=_stretch(ring, start - before, end + after)))
            if ring.lap == 0 and (ring.path.closed or not last):
                beyond = stretches[(n + 1) % len(stretches)][2]
                joins.append(
                    Join(
                        blank=blank,
                        placement=ring.placement,
                        piece=ring.piece,
                        at=ring.path.point_at(end % ring.path.length if ring.path.closed else end),
                        passes=(min(side, beyond) + 1, max(side, beyond) + 1),
                        overrun=overrun,
                    )
                )
    return Shared(tuple(map(tuple, by_pass)), tuple(joins))


def _stretch(ring: Ring, start: float, end: float) -> Path:
    path = ring.path
    if not path.closed:
        return path.part(start, end)
    total = path.length
    start, end = (start + total, end + total) if start < 0 else (start, end)
    return path.part(start, min(end, start + total - 1e-6))


def share_holes(
    holes: Sequence[HoleCut], plan: JoinPlan, shift: ShiftPlan
) -> tuple[tuple[HoleCut, ...], ...]:
    """Every hole goes to the pass that cuts its pad's loop; others by their side."""
    by_pass: list[list[HoleCut]] = [[] for _ in shift.windows]
    for hole in holes:
        band = (-1 if hole.placement is None else hole.placement, hole.piece or "")
        k = plan.whole.get(band)
        if k is None:
            k = plan.side(hole.at[shift.axis])
        by_pass[k].append(hole)
    return tuple(map(tuple, by_pass))


def profile_lines(shift: ShiftPlan, slack: float) -> list[float]:
    """Where profiles are handed on: as soon as the next window reaches them.

    Pass k cuts only below its overlap with pass k + 1, so the frame that carries the
    registration holes stays whole; the last pass cuts the rest.
    """
    return [shift.low(k + 1) + slack for k in range(len(shift.windows) - 1)]


def share_profiles(
    profiles: Sequence[Profile], shift: ShiftPlan, radius: float, blank: int
) -> Shared:
    """Profiles split where the next window begins; both sides overrun by the cutter's radius."""
    overrun = radius + 0.5
    lines = profile_lines(shift, overrun + 1.0)
    by_pass: list[list[Cut]] = [[] for _ in shift.windows]
    joins: list[Join] = []
    for profile in profiles:
        path = profile.path
        stretches = split.parts(path, shift.axis, lines, crowded(overrun))
        if len(stretches) == 1:
            by_pass[stretches[0][2]].append(profile)
            continue
        for n, (start, end, side) in enumerate(stretches):
            # the later pass reaches back over what the earlier one has cut
            reach = overrun if side > 0 else 0.0
            begin, stop = start - reach, end + reach
            by_pass[side].append(_part(profile, begin, stop))
            beyond = stretches[(n + 1) % len(stretches)][2]
            joins.append(
                Join(
                    blank=blank,
                    placement=profile.placement,
                    piece=None,
                    at=path.point_at(end % path.length),
                    passes=(min(side, beyond) + 1, max(side, beyond) + 1),
                    overrun=overrun,
                )
            )
    return Shared(tuple(map(tuple, by_pass)), tuple(joins))


def _part(profile: Profile, start: float, end: float) -> Profile:
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

