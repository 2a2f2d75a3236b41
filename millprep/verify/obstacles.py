"""Collisions: clamps with cutter, shank and collet nut, and pins with the cutter."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import shapely

from millprep.model.blank import Box, Clamp
from millprep.model.cutter import Cutter, Drill, EndMill, Vee
from millprep.model.finding import Finding
from millprep.model.machine import Machine
from millprep.verify.motion_context import SLACK, Mask, Setting


def radius_at(cutter: Cutter, machine: Machine, rise: float) -> float:
    """Largest radius of cutter, shank and collet nut from the tip up to `rise` above it, mm.

    The cutter keeps its own shape up to the end of its flute, then the shank begins, and at the
    stickout the nut.
    """
    shank = cutter.shank / 2
    within = min(rise, cutter.flute)
    if isinstance(cutter, Vee):
        wide = cutter.tip / 2 + within * math.tan(math.radians(cutter.angle) / 2)
        radius = min(wide, max(shank, cutter.tip / 2))
    else:
        assert isinstance(cutter, EndMill | Drill)
        radius = cutter.diameter / 2
    if rise > cutter.flute:
        radius = max(radius, shank)
    if rise > cutter.stickout:
        radius = max(radius, machine.collet / 2)
    return radius


def clamp_rule(s: Setting) -> Iterator[Finding]:
    """Cutter, shank and collet nut keep off the clamps; a rapid sweeps its whole box.

    One finding for each clamp, at its centre, with the line of the first move that is too near.
    """
    m, travel, free = s.moves, s.machine.travel, s.machine.clamp_clearance
    first = s.at or (travel.x0, travel.y0)
    last = s.at or (travel.x1, travel.y1)
    # A place unknown at the start of a move widens its box to wherever it may start.
    unknown = np.isnan(m.start[:, :2])
    low = np.where(unknown, np.fmin(m.low[:, :2], first), m.low[:, :2])
    high = np.where(unknown, np.fmax(m.high[:, :2], last), m.high[:, :2])
    bottom = m.bottom
    only_up = np.isnan(m.start).all(axis=1) & m.rapid & np.isnan(m.end[:, :2]).all(axis=1)
    for clamp in s.clamps:
        box, top = clamp.box, clamp.height + free
        near = (bottom < top - SLACK) & ~only_up
        widest = radius_at(s.cutter, s.machine, s.cutter.stickout + 1.0) + free
        near &= (low[:, 0] < box.x1 + widest) & (high[:, 0] > box.x0 - widest)
        near &= (low[:, 1] < box.y1 + widest) & (high[:, 1] > box.y0 - widest)
        gaps = {
            move: _distance(s, move, (low[move].tolist(), high[move].tolist()), box)
            for move in np.flatnonzero(near).tolist()
        }
        hits = [
            move
            for move, gap in gaps.items()
            if gap < radius_at(s.cutter, s.machine, top - float(bottom[move])) + free - SLACK
        ]
        # a rapid is raised, a cut is where it is
        cuts = [move for move in hits if not m.rapid[move]]
        if cuts:
            yield _cut_at_clamp(s, clamp, cuts[0], gaps[cuts[0]])
        elif hits:
            yield _rapid_at_clamp(s, clamp, hits[0])


def _cut_at_clamp(s: Setting, clamp: Clamp, move: int, gap: float) -> Finding:
    """A clamp that is in the way of a cut."""
    free, rise = s.machine.clamp_clearance, clamp.height - float(s.moves.bottom[move])
    bare = replace(s.cutter, stickout=max(s.cutter.stickout, rise + free + 1.0))
    nut = gap >= radius_at(bare, s.machine, rise + free) + free - SLACK
    part = "the collet nut" if nut else "cutter and shank"
    longer = ", or let the cutter stick out farther" if nut else ""
    message = (
        f"{_words(clamp)} is in the way of a cut: {part} must stay {free:g} mm off it "
        f"(clamp_clearance). Move the clamp{longer}."
    )
    finding = s.finding("clamp-hit", message, move)
    return replace(finding, at=_centre(clamp), frame="machine")


def _rapid_at_clamp(s: Setting, clamp: Clamp, move: int) -> Finding:
    """A clamp that is in the way of rapids alone."""
    free, bottom = s.machine.clamp_clearance, float(s.moves.bottom[move])
    top, most = clamp.height + free, s.machine.above - s.machine.travel_margin
    remedy = f"Raise [machine] clearance to {top:g}, use a lower clamp, or move it."
    if bottom < s.machine.clearance - SLACK:
        remedy = f"Go across at clearance, Z{s.machine.clearance:g}."
    elif top > most:
        remedy = f"Use a clamp of at most {most - free:g} mm, or move it."
    message = (
        f"a rapid at Z{bottom:g} passes {_words(clamp)}, {clamp.height:g} mm high, by less than "
        f"clamp_clearance, {free:g} mm. {remedy}"
    )
    finding = s.finding("rapid-over-clamp", message, move)
    return replace(finding, at=_centre(clamp), frame="machine")


def _words(clamp: Clamp) -> str:
    box = clamp.box
    return f"the clamp at X{box.x0:g} to {box.x1:g}, Y{box.y0:g} to {box.y1:g}"


def _centre(clamp: Clamp) -> tuple[float, float]:
    box = clamp.box
    return ((box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2)


AT_CLAMPS = ("clamp-hit", "rapid-over-clamp")


def once_per_clamp(findings: Sequence[Finding]) -> list[Finding]:
    """The findings of all programs, one for each clamp: a clamp at a cut is moved anyway."""
    of_clamp: dict[object, list[int]] = {}
    for n, finding in enumerate(findings):
        if finding.code in AT_CLAMPS:
            of_clamp.setdefault((finding.blank, finding.at), []).append(n)
    kept: dict[int, Finding] = {}
    for several in of_clamp.values():
        first = min(several, key=lambda n: AT_CLAMPS.index(findings[n].code))
        count = sum(findings[n].code == findings[first].code for n in several)
        more = f" It is in the way of {count} programs." if count > 1 else ""
        kept[first] = replace(findings[first], message=findings[first].message + more)
    return [
        kept.get(n, finding)
        for n, finding in enumerate(findings)
        if finding.code not in AT_CLAMPS or n in kept
    ]


def _distance(s: Setting, move: int, around: tuple[list[float], list[float]], box: Box) -> float:
    clamp = box.shape
    (x0, y0), (x1, y1) = around
    straight = not s.moves.rapid[move] and not s.moves.arc[move]
    if straight and np.isfinite(s.moves.start[move]).all():
        path = shapely.LineString([s.moves.start[move, :2], s.moves.end[move, :2]])
        return float(shapely.distance(path, clamp))
    dx = max(box.x0 - x1, x0 - box.x1, 0.0)
    dy = max(box.y0 - y1, y0 - box.y1, 0.0)
    return float(np.hypot(dx, dy))


def hops(s: Setting) -> Mask:
    """Rapids that may run across below clearance: between two cuts, high enough, off all pins.

    What they sweep of clamps is the clamps' rule. A pin may be as high as clearance.
    """
    m = s.moves
    known = np.isfinite(m.start).all(axis=1) & np.isfinite(m.end).all(axis=1)
    free: Mask = m.rapid & known & (m.bottom >= s.hop - SLACK)
    # over uneven copper what is below its surface there
    seen = s.trace if s.over is None else s.over.trace
    below = np.fmin(seen.columns.start[:, 2], seen.columns.end[:, 2]) < -SLACK
    cuts = np.flatnonzero(~m.rapid & ~m.probe & below)
    if not len(cuts) or not free.any():
        return np.zeros(len(m), dtype=bool)
    free[: cuts[0]] = free[cuts[-1] :] = False
    for hole in s.mill_pass.registration if s.pins else ():
        if hole.used_in == s.mill_pass.number and hole.role != "witness":
            radius = radius_at(s.cutter, s.machine, s.machine.clearance - s.hop)
            reach = hole.diameter / 2 + radius + s.machine.clamp_clearance
            # as high as it may be, whatever the height of the hop
            place = np.array(hole.machine)
            away = np.fmax(m.low[:, :2] - place, place - m.high[:, :2]).clip(0.0)
            free &= np.hypot(*away.T) >= reach - SLACK
    return free


def pin_rule(s: Setting) -> Iterator[Finding]:
    """The cutter keeps off the pins in the holes of this pass."""
    m = s.moves
    below = m.bottom < -SLACK
    if not s.pins:
        return
    for hole in s.mill_pass.registration:
        if hole.used_in != s.mill_pass.number or hole.role == "witness":
            continue
        reach = hole.diameter / 2 + radius_at(s.cutter, s.machine, s.cutter.flute)
        hx, hy = hole.machine
        pin = Box(hx - reach, hy - reach, hx + reach, hy + reach)
        near = below & (m.low[:, 0] < pin.x1) & (m.high[:, 0] > pin.x0)
        near &= (m.low[:, 1] < pin.y1) & (m.high[:, 1] > pin.y0)
        for move in np.flatnonzero(near).tolist():
            width = s.cutter.width(float(-m.bottom[move]))
            path = _path(s, move)
            if shapely.distance(path, shapely.Point(hx, hy)) < (hole.diameter + width) / 2:
                message = f"the cutter runs into the pin in hole {hole.id}."
                yield s.finding("pin-hit", message, move)


def _path(s: Setting, move: int) -> shapely.Geometry:
    """The move in the plane; an arc by the box around it."""
    m = s.moves
    if m.arc[move]:
        return shapely.box(*m.low[move, :2], *m.high[move, :2])
    return shapely.LineString([m.start[move, :2], m.end[move, :2]])
