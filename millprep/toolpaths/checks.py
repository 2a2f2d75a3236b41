"""Findings about a board before any path is made, and about what no cutter reached."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import FloatArray
from millprep.model.blank import Blank, Placement, on_blank, on_drawing
from millprep.model.cut import Lap
from millprep.model.cutter import Cutter, Vee
from millprep.model.finding import MOST_PER_CODE, MOST_PLACES, Finding, many
from millprep.model.job.isolation import LEAST_TIME, CutterUse, IsolationPlan
from millprep.model.job.nets import NetFacts
from millprep.model.job.work import ClearingPlan
from millprep.toolpaths.by_voltage import Widened
from millprep.toolpaths.isolation import LapSpacing, TightGap

LEAST_RIM = 0.015
"""Copper around a hole that a disc of this radius, mm, does not fit into is none."""
LEFT = 0.001
"""Copper that no cutter reached is reported above this area, mm²."""


def check_depth(plan: IsolationPlan, copper: float, thickness: float) -> tuple[Finding, ...]:
    """Whether every groove passes through copper this thick wherever the blank is uneven.

    And whether none passes through a blank this thick.
    """
    deep = sorted({use.depth for use in plan.uses if use.depth + plan.flatness >= thickness})
    through = tuple(
        Finding(
            code="groove-through-blank",
            severity="stop",
            message=(
                f"[isolation] depth {depth:g} cuts through the blank, which is {thickness:g} mm "
                f"thick. A groove only parts the copper: set depth below "
                f"{thickness - plan.flatness:.3f}, 0.06 to 0.35 as a rule."
            ),
        )
        for depth in deep
    )
    shallow = sorted({use.depth for use in plan.uses if use.depth - plan.flatness <= copper})
    return through + tuple(
        Finding(
            code="copper-not-cut-through",
            severity="stop",
            message=(
                f"[isolation] depth {depth:g} is too shallow: the surface may be "
                f"{plan.flatness:g} mm off (flatness), which leaves "
                f"{max(depth - plan.flatness, 0.0):.3f} mm for {copper:g} mm of copper. Set depth "
                f"above {copper + plan.flatness:.3f}."
            ),
        )
        for depth in shallow
    )


def depth_notes(plan: IsolationPlan, blank: Blank) -> tuple[Finding, ...]:
    """What least time chose."""
    if plan.given_depth != LEAST_TIME:
        return ()
    uses = (
        f"{use.cutter.name} {use.depth:g} mm deep in {_laps(use, plan, blank.copper)} "
        f"({use.surface:.3f} mm wide at the surface, {use.foot(blank.copper):.3f} at the foot)"
        for use in plan.uses
    )
    message = f"Least time chose {'; where that does not fit '.join(uses)}."
    return (Finding(code="depth-chosen", severity="note", message=message, blank=blank.number),)


def _laps(use: CutterUse, plan: IsolationPlan, copper: float) -> str:
    return many(len(LapSpacing.for_gap(use, plan, copper).distances), "lap")


SMALL_STEP = 0.05
"""A gap that one lap less would open but for this fraction of it rounds up (assumed)."""


def lap_notes(laps: Sequence[Lap], plan: IsolationPlan, blank: Blank) -> tuple[Finding, ...]:
    """A lap of every piece that a little less gap or a little more depth would save."""
    if plan.course == "middle":
        return ()
    findings: list[Finding] = []
    for use in plan.uses:
        count = len(LapSpacing.for_gap(use, plan, blank.copper).distances)
        foot = use.foot(blank.copper)
        reach = foot * (1 + (count - 2) * (1 - plan.overlap))
        if count < 2 or plan.gap - reach > SMALL_STEP * plan.gap:
            continue
        length = sum(
            lap.path.length
            for lap in laps
            if (lap.cutter, lap.depth) == (use.cutter.name, use.depth) and lap.number == count - 1
        )
        message = (
            f"The gap of {plan.gap:g} mm takes {use.cutter.name} {count} laps; {count - 1} open "
            f"{math.floor(reach * 1000) / 1000:.3f} mm. The last lap takes "
            f"{length / use.cutter.feed:.0f} min. "
        )
        deeper = use.cutter.depth_for(foot * plan.gap / reach) if isinstance(use.cutter, Vee) else 0
        message += "Set [isolation] gap to that"
        if deeper:
            depth = math.ceil((blank.copper + deeper) * 1000) / 1000
            message += f", or depth to {depth:.3f}, which opens {plan.gap:g} mm in {count - 1} laps"
        findings.append(
            Finding(
                code="lap-for-little", severity="note", message=f"{message}.", blank=blank.number
            )
        )
    return tuple(findings)


def check_board(placement: Placement) -> tuple[Finding, ...]:
    """Copper beyond the outline or drilled away, and lettering that would read backwards."""
    drawn = placement.board
    findings = _drilled_away(placement)
    shapely.prepare(drawn.outline)
    within = shapely.covers(drawn.outline, [piece.shape for piece in drawn.pieces])
    for n in np.flatnonzero(~within).tolist():
        piece = drawn.pieces[n]
        beyond = piece.shape.difference(drawn.outline)
        if beyond.area > 1e-6:
            at = beyond.representative_point()
            findings.append(
                on_drawing(
                    placement,
                    "copper-outside-outline",
                    "warn",
                    (
                        f"{beyond.area:.2f} mm² of piece {piece.id} are outside the outline; the "
                        "profile will cut them off. Move the copper or the outline, or check "
                        "which layers the job names."
                    ),
                    (at.x, at.y),
                )
            )
    findings += [
        on_drawing(
            placement,
            "lettering-backwards",
            "warn",
            (
                f"The lettering “{text.words}” on copper would read backwards on the milled "
                "board. Is drawn_from right? The two pictures of the copper show both sides."
            ),
            text.at,
        )
        for text in drawn.lettering
        if text.mirrored != placement.pose.mirrored
    ]
    return tuple(findings)


def _drilled_away(placement: Placement) -> list[Finding]:
    """A stop for every piece that its holes take away whole."""
    drawn = placement.board
    shapes = np.array([piece.shape for piece in drawn.pieces], dtype=object)
    spines = np.array([hole.spine for hole in drawn.holes], dtype=object)
    radii = np.array([hole.diameter / 2 for hole in drawn.holes])
    which, on = shapely.STRtree(shapes).query(spines, predicate="dwithin", distance=radii)
    rims = 2 * shapely.length(spines) + math.tau * radii
    # where no disc fits, every point of what is left lies near the edge of a hole or the copper
    taken = radii * rims - math.pi * radii**2 + _near(rims, 1)
    spare = shapely.area(shapes) - np.bincount(on, taken[which], len(shapes))
    spare -= _near(shapely.length(shapes), shapely.get_num_interior_rings(shapes) + 1)
    findings = []
    for n in np.flatnonzero(spare <= 0).tolist():
        holes = [drawn.holes[k] for k in which[on == n].tolist()]
        if not holes:
            continue
        piece = drawn.pieces[n]
        opened = shapely.union_all([hole.spine.buffer(hole.diameter / 2) for hole in holes])
        if not piece.shape.difference(opened).buffer(-LEAST_RIM).is_empty:
            continue
        first, more = holes[0], len(holes) - 1
        others = f" and {more} more" if more else ""
        message = (
            f"{first.words[0].upper()}{first.words[1:]}{others} leaves nothing of piece "
            f"{piece.id}. Draw the pad wider than the hole. Where no pad is meant, take it out "
            "of the copper."
        )
        findings.append(on_drawing(placement, "copper-drilled-away", "stop", message, piece.at))
    return findings


def _near(length: FloatArray, loops: int | NDArray[np.int32]) -> FloatArray:
    """No more area lies within `LEAST_RIM` of loops of this length, mm²."""
    return 2 * LEAST_RIM * length + math.pi * LEAST_RIM**2 * loops


def tight_gap_findings(
    tight: Sequence[TightGap],
    plan: IsolationPlan,
    copper: float,
    placements: Sequence[Placement],
) -> tuple[Finding, ...]:
    """A stop for every place where no cutter fits, with what would fit."""
    by_index = {p.index: p for p in placements}
    findings = []
    for gap in tight[:MOST_PER_CODE]:
        a, b = gap.pieces
        placement = by_index[a.placement]
        findings.append(
            on_blank(
                placement,
                "gap-too-narrow",
                "stop",
                (
                    f"Gap of {gap.gap:.3f} mm between {a.piece} and {b.piece}: the "
                    f"{gap.width:.3f} mm groove of the finest cutter does not fit. "
                    f"{_remedy(gap.gap, plan, copper)}"
                ),
                gap.at,
            )
        )
    if findings:
        last, rest = findings[-1], tight[len(findings) :]
        places = (gap.at for gap in rest if by_index[gap.pieces[0].placement].blank == last.blank)
        findings[-1] = replace(last, more=len(rest), places=tuple(places)[:MOST_PLACES])
    return tuple(findings)


def _remedy(gap: float, plan: IsolationPlan, copper: float) -> str:
    """The remedy: a shallower groove where a vee of the job allows it, else a finer cutter."""
    least = copper + plan.flatness

    def reach(cutter: Cutter) -> float:
        return cutter.depth_for(gap) if isinstance(cutter, Vee) else 0.0

    cutter = max(plan.cutters, key=reach)
    if reach(cutter) > least:
        return f"Set [isolation] depth to {reach(cutter):.3f} or less: then {cutter.name} fits."
    return f"Use a cutter that cuts no wider than {gap:.3f} mm at {least:.3f} mm depth."


def check_cleared(
    left: BaseGeometry, placement: Placement, plan: ClearingPlan
) -> tuple[Finding, ...]:
    """A warning for copper to be cleared that no cutter reached."""
    parts = [part for part in shapely.get_parts(left) if part.area > LEFT]
    if not parts:
        return ()
    largest = max(parts, key=lambda part: float(part.area))
    at = largest.representative_point()
    finest = min(plan.cutters, key=lambda cutter: cutter.width(plan.depth))
    return (
        on_blank(
            placement,
            "copper-not-cleared",
            "warn",
            (
                f"No cutter clears {many(len(parts), 'place')} "
                f"({sum(part.area for part in parts):.2f} mm² in all). The finest, {finest.name}, "
                f"cuts {finest.width(plan.depth):.3f} mm wide. Add a finer one to [clearing] "
                "cutters."
            ),
            (at.x, at.y),
        ),
    )


def check_voltages(
    widened: Widened, nets: Sequence[NetFacts], placement: Placement
) -> tuple[Finding, ...]:
    """What isolation by voltage widened, and a stop for every pair drawn too near."""
    board, copy = placement.board.name, placement.copy
    if not any(net.volts is not None for net in nets):
        return (
            Finding(
                code="no-net-voltages",
                severity="warn",
                message=(
                    '[isolation] gap is "by voltage", but no net has volts: only base_gap is '
                    "opened. Name nets with volts in [[board.net]], or set gap in mm."
                ),
                board=board,
                copy=copy,
            ),
        )
    findings = [
        Finding(
            code="drawn-too-near",
            severity="stop",
            message=(
                f"{pair.net} and {pair.other} are drawn {pair.gap:.3f} mm from each other at the "
                f"foot of the copper; {pair.volts:g} V require {pair.required:g} mm (IPC-2221 "
                f"table 6-1, {pair.column}). No cut can widen that: draw them farther from each "
                "other."
            ),
            frame="blank",
            at=pair.at,
            board=board,
            copy=copy,
        )
        for pair in widened.too_near
    ]
    if widened.gaps:
        each = ", ".join(f"{net} {gap:.2f}" for net, gap in sorted(widened.gaps.items()))
        findings.append(
            Finding(
                code="gap-by-voltage",
                severity="note",
                message=f"Floating copper is removed for the voltages; gaps in mm: {each}.",
                board=board,
                copy=copy,
            )
        )
    return tuple(findings)
