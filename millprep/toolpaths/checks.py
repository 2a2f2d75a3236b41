"""What can be said of a board before any path is made."""

from __future__ import annotations

from collections.abc import Sequence

import shapely
from shapely.geometry.base import BaseGeometry

from millprep.model.blank import Blank
from millprep.model.copy_findings import on_blank, on_drawing
from millprep.model.cutter import Cutter, Vee
from millprep.model.finding import Finding
from millprep.model.layout import Placement
from millprep.model.net import NetFacts
from millprep.model.plan import ClearingPlan, IsolationPlan
from millprep.toolpaths.by_voltage import Widened
from millprep.toolpaths.isolation import TightGap

SHOWN = 12
"""Findings of one kind that are listed one by one; the rest is counted."""
LEFT = 0.001
"""Copper of more area than this that no cutter reached is told, mm²."""


def depth(plan: IsolationPlan, blank: Blank) -> tuple[Finding, ...]:
    """Whether the groove passes through the copper wherever the blank is uneven."""
    through = plan.depth - plan.flatness
    if through > blank.copper:
        return ()
    return (
        Finding(
            code="copper-not-cut-through",
            severity="stop",
            message=(
                f"Isolation goes {plan.depth:g} mm deep on a surface that may be "
                f"{plan.flatness:g} mm off: {through:.3f} mm is not through {blank.copper:g} mm of "
                f"copper. A [isolation] depth above {blank.copper + plan.flatness:.3f} would do."
            ),
            blank=blank.number,
        ),
    )


def board(placement: Placement) -> tuple[Finding, ...]:
    """Copper beyond the outline, and lettering that would read backwards."""
    found: list[Finding] = []
    drawn = placement.board
    shapely.prepare(drawn.outline)
    for piece in drawn.pieces:
        beyond = piece.shape.difference(drawn.outline)
        if beyond.area > 1e-6:
            at = beyond.representative_point()
            found.append(
                on_drawing(
                    placement,
                    "copper-outside-outline",
                    "warn",
                    (
                        f"Piece {piece.id} reaches {beyond.area:.2f} mm² beyond the outline; the "
                        "profile will cut it there. Move the copper or the outline, or check "
                        "which layers the job names."
                    ),
                    (at.x, at.y),
                )
            )
    found += [
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
    return tuple(found)


def tight_gaps(
    tight: Sequence[TightGap],
    plan: IsolationPlan,
    copper: float,
    placements: Sequence[Placement],
) -> tuple[Finding, ...]:
    """A stop for every place where no cutter fits, with what would fit."""
    by_index = {p.index: p for p in placements}
    found = []
    for gap in tight[:SHOWN]:
        a, b = gap.pieces
        placement = by_index[a.placement]
        found.append(
            on_blank(
                placement,
                "gap-too-narrow",
                "stop",
                (
                    f"Pieces {a.piece} and {b.piece} stand {gap.gap:.3f} mm apart, the finest "
                    f"cutter cuts {gap.width:.3f} mm at the surface. "
                    + _would_fit(gap.gap, plan, copper)
                ),
                gap.at,
            )
        )
    if len(tight) > SHOWN:
        found.append(
            Finding(
                code="gap-too-narrow",
                severity="stop",
                message=f"{len(tight) - SHOWN} more gaps are too narrow for every cutter.",
            )
        )
    return tuple(found)


def _would_fit(gap: float, plan: IsolationPlan, copper: float) -> str:
    """The remedy: a shallower groove where a vee of the job allows it, else a finer cutter."""
    least = copper + plan.flatness

    def reach(cutter: Cutter) -> float:
        return cutter.depth_for(gap) if isinstance(cutter, Vee) else 0.0

    cutter = max(plan.cutters, key=reach)
    if reach(cutter) > least:
        return f"{cutter.name} would fit at a depth of {reach(cutter):.3f} mm or less."
    return f"A cutter no wider than {gap:.3f} mm at {least:.3f} mm depth would fit."


def not_cleared(
    left: BaseGeometry, placement: Placement, plan: ClearingPlan
) -> tuple[Finding, ...]:
    """A warning for copper that was to be cleared and that no cutter reached."""
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
                f"{len(parts)} places, {sum(part.area for part in parts):.2f} mm² together, are "
                f"too narrow for every cutter that clears; the finest, {finest.name}, cuts "
                f"{finest.width(plan.depth):.3f} mm. Add a finer one to [clearing] cutters."
            ),
            (at.x, at.y),
        ),
    )


def voltages(
    widened: Widened, nets: Sequence[NetFacts], placement: Placement
) -> tuple[Finding, ...]:
    """What isolation by voltage did, and a stop for every pair that no cutting sets apart."""
    board, copy = placement.board.name, placement.copy
    if not any(net.volts is not None for net in nets):
        return (
            Finding(
                code="no-volts-told",
                severity="warn",
                message=(
                    "Isolation goes by voltage and no net has volts, so only base_gap is opened. "
                    "Name nets with volts in [[board.net]], or give gap in mm."
                ),
                board=board,
                copy=copy,
            ),
        )
    found = [
        Finding(
            code="drawn-too-near",
            severity="stop",
            message=(
                f"{pair.one} and {pair.other} are drawn so that {pair.gap:.3f} mm stay between "
                f"them at the foot of the copper; {pair.volts:g} V require {pair.required:g} mm "
                f"(IPC-2221 table 6-1, {pair.column}). No cut can widen that: move them apart in "
                "the drawing."
            ),
            frame="blank",
            at=pair.at,
            board=board,
            copy=copy,
        )
        for pair in widened.too_near[:SHOWN]
    ]
    if len(widened.too_near) > SHOWN:
        found.append(
            Finding(
                code="drawn-too-near",
                severity="stop",
                message=f"{len(widened.too_near) - SHOWN} more pairs of nets are drawn too near.",
                board=board,
                copy=copy,
            )
        )
    if widened.gaps:
        each = ", ".join(f"{net} {gap:.2f}" for net, gap in sorted(widened.gaps.items()))
        found.append(
            Finding(
                code="gap-by-voltage",
                severity="note",
                message=f"Floating copper is taken away for the voltages; gaps in mm: {each}.",
                board=board,
                copy=copy,
            )
        )
    return tuple(found)
