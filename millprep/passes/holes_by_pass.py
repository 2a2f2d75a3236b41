"""Holes handed to the passes that make them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from millprep.model.cut import HoleCut
from millprep.model.finding import Finding, Refusal
from millprep.passes.joins import JoinPlan
from millprep.passes.regions import NO_SOLE_PASS
from millprep.passes.shift import ShiftPlan


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
            middle = hole.spine.centroid
            k = plan.pass_at((hole.placement, hole.piece), (middle.x, middle.y))
        if k is None and hole.placement is not None:
            k = sole_pass.get(hole.placement)
        if k is None or not _reaches(shift, k, hole):
            k = next((n for n in range(len(shift.windows)) if _reaches(shift, n, hole)), None)
        if k is None and hole.end is not None and len(shift.windows) > 1:
            too_long.append(_too_long(hole, blank))
        # a hole bored at the very end of the travel is told by the motion rules
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
            f"Slot {slot.hole}, {long:.1f} mm long, lies wholly in the window of no pass. Draw it "
            "as two slots that overlap, or lay the board so that one pass holds it."
        ),
        frame="blank",
        at=slot.at,
        blank=blank,
    )


def _reaches(shift: ShiftPlan, k: int, hole: HoleCut) -> bool:
    """Whether the window of pass k (from 0) holds the hole."""
    x0, y0, x1, y1 = hole.spine.bounds
    radius, w = hole.diameter / 2, shift.windows[k]
    return w.contains(x0 - radius, y0 - radius) and w.contains(x1 + radius, y1 + radius)
