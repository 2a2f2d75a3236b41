"""What can be said of a board before any path is made."""

from __future__ import annotations

from collections.abc import Sequence

import shapely

from millprep.paths.isolation import TightGap
from millprep.values.blank import Blank
from millprep.values.cutter import Cutter, Vee
from millprep.values.finding import Finding
from millprep.values.layout import Placement
from millprep.values.plan import IsolationPlan

SHOWN = 12
"""Findings of one kind that are listed one by one; the rest is counted."""


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
                Finding(
                    code="copper-outside-outline",
                    severity="warn",
                    message=(
                        f"Piece {piece.id} reaches {beyond.area:.2f} mm² beyond the outline; the "
                        "profile will cut it there. Move the copper or the outline, or check "
                        "which layers the job names."
                    ),
                    frame="drawing",
                    at=(at.x, at.y),
                    board=drawn.name,
                    copy=placement.copy,
                    blank=placement.blank,
                )
            )
    found += [
        Finding(
            code="lettering-backwards",
            severity="warn",
            message=(
                f"The lettering “{text.words}” on copper would read backwards on the milled "
                "board. Is drawn_from right? The two pictures of the copper show both sides."
            ),
            frame="drawing",
            at=text.at,
            board=drawn.name,
            copy=placement.copy,
            blank=placement.blank,
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
            Finding(
                code="gap-too-narrow",
                severity="stop",
                message=(
                    f"Pieces {a.piece} and {b.piece} stand {gap.gap:.3f} mm apart, the finest "
                    f"cutter cuts {gap.width:.3f} mm at the surface. "
                    + _would_fit(gap.gap, plan, copper)
                ),
                frame="blank",
                at=gap.at,
                board=placement.board.name,
                copy=placement.copy,
                blank=placement.blank,
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
