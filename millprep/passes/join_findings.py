"""Findings about joins: the misalignment to expect, the tolerance, and holes too near each other.

A join is weak when its tolerance is less than `ENOUGH` times the misalignment that 99.7 % of blanks
stay below: common practice for an error that is itself a guess, no source. Between that and what
ticks (`spurs`) would make of it, a note says that they found no room.

Two holes on one edge with a short overlap turn the blank about themselves: what is far from
them misses by their error times the lever. Where that shorts, no join can be trusted, and the
plan is refused.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from millprep.model.blank import Placement, on_blank
from millprep.model.finding import Finding, many
from millprep.model.job.setup import RegistrationPlan
from millprep.model.machine import Machine
from millprep.model.milling_pass import Join, RegistrationHole
from millprep.passes import spurs
from millprep.passes.error_budget import QUANTILE
from millprep.passes.neighbours import Gouge

ENOUGH = 1.5
"""Least ratio of a join's tolerance to the misalignment to expect."""
TELLING = 0.01
"""Smaller changes of a whole board are not worth a word, mm."""


def check_joins(
    joins: Sequence[Join],
    plan: RegistrationPlan,
    placements: Mapping[int, Placement],
    blank: int,
) -> tuple[Finding, ...]:
    """One note on all joins in copper, and one on every join with too small a tolerance.

    Args:
        joins: of one blank, with their figures.
        plan: error of a hole, and whether anybody stated it.
        placements: by index.
        blank: number.
    """
    figures = [
        (join, join.predicted, join.tolerance_electrical)
        for join in joins
        if join.piece is not None
        and join.predicted is not None
        and join.tolerance_electrical is not None
    ]
    if not figures:
        return ()
    rms = [join.predicted_rms for join, *_ in figures if join.predicted_rms is not None]
    findings = [_note([(a, b) for _, a, b in figures], rms, plan, blank)]
    for join, predicted, tolerance in figures:
        if tolerance < ENOUGH * predicted:
            findings.append(_weak(join, predicted, tolerance, placements[join.placement]))
        elif tolerance < spurs.ENOUGH * predicted - 1e-9:
            findings.append(_no_room(join, predicted, tolerance, placements[join.placement]))
    return tuple(findings)


def scale_findings(
    machine: Machine, placements: Sequence[Placement], blank: int
) -> tuple[Finding, ...]:
    """A note on how far the machine's scale and squareness, as stated, move a board's far corner.

    They cancel where passes meet, so no join shows them.
    """
    sizes = []
    for placement in placements:
        x0, y0, x1, y1 = placement.pose.shape(placement.board.outline).bounds
        sizes.append((x1 - x0, y1 - y0))
    if not sizes:
        return ()
    length, width = max(sizes)
    findings = []
    longer = (machine.scale_error or 0.0) / 1000 * length
    if abs(longer) >= TELLING:
        findings.append(
            Finding(
                code="board-stretched",
                severity="note",
                message=(
                    f"The machine's scale, stated as {machine.scale_error:g} mm per metre, makes a "
                    f"board of {length:.1f} mm {abs(longer):.2f} mm "
                    f"{'longer' if longer > 0 else 'shorter'}. Joins do not show it. Correct the "
                    "machine's steps per millimetre where parts are to fit a case."
                ),
                blank=blank,
            )
        )
    lean = math.tan(math.radians(machine.squareness or 0.0)) * width
    if abs(lean) >= TELLING:
        findings.append(
            Finding(
                code="board-leans",
                severity="note",
                message=(
                    f"The machine's axes, stated as {machine.squareness:g} degrees off square, "
                    f"move one long edge of a board {width:.1f} mm wide along the other by "
                    f"{abs(lean):.2f} mm. Joins do not show it. Set the axes square where parts "
                    "are to fit a case."
                ),
                blank=blank,
            )
        )
    return tuple(findings)


def gouge_findings(
    gouges: Sequence[Gouge], placements: Mapping[int, Placement]
) -> tuple[Finding, ...]:
    """One note on all grooves that may gouge a neighbour cut in another pass."""
    if not gouges:
        return ()
    worst = gouges[0]
    (index, piece), (_, other) = worst.pair.piece, worst.pair.other
    cutting, gouged = (k + 1 for k in worst.passes)
    placement = placements[index]
    return (
        on_blank(
            placement,
            "groove-gouges-neighbour",
            "note",
            (
                f"At {many(len(gouges), 'place')} a groove runs close to copper that another pass "
                f"cuts, and may gouge it. The deepest: the path around piece {piece}, cut in pass "
                f"{cutting}, may go {worst.depth:.3f} mm into piece {other}, cut in pass {gouged}. "
                "Nothing shorts. Where such a track is thin, use a smaller [isolation] gap or "
                "leave more room in the drawing."
            ),
            worst.pair.at,
            mill_pass=cutting,
        ),
    )


def _no_room(join: Join, predicted: float, tolerance: float, placement: Placement) -> Finding:
    room = f"room for {join.tick:.2f} mm of them" if join.tick else "no room for any"
    return on_blank(
        placement,
        "join-without-room",
        "note",
        (
            f"Join of passes {join.passes[0]} and {join.passes[1]} on piece {join.piece}: "
            f"tolerance {tolerance:.3f} mm, {tolerance / predicted:.1f} times the expected "
            f"misalignment of {predicted:.3f} mm (99.7 % of blanks). Ticks into floating "
            f"copper would make it {spurs.ENOUGH:g} times, but other copper or the board's edge "
            f"leaves {room}. "
            "Inspect the join with a lens after cutting, or leave more room there in the drawing."
        ),
        join.at,
        mill_pass=join.passes[1],
    )


def _note(
    figures: Sequence[tuple[float, float]],
    rms: Sequence[float],
    plan: RegistrationPlan,
    blank: int,
) -> Finding:
    predicted = _span([a for a, _ in figures])
    tolerance = _span([b for _, b in figures])
    typical = f"{_span(rms)} mm rms, " if rms else ""
    source = (
        f"an error of {plan.sigma:.3g} mm per axis for each registration hole, which is assumed: "
        "it was never measured on this machine. Drill a few holes, measure them, and set "
        "[registration] drill_error and locate_error"
        if plan.assumed
        else f"the job's error of {plan.sigma:.3g} mm per axis for each registration hole"
    )
    return Finding(
        code="misalignment-assumed" if plan.assumed else "misalignment-predicted",
        severity="note",
        message=(
            f"{many(len(figures), 'join')} on copper: expected misalignment {typical}{predicted} "
            f"mm (99.7 % of blanks); the isolation tolerates {tolerance} mm. Based on {source}."
        ),
        blank=blank,
    )


def _span(values: Sequence[float]) -> str:
    """The values in words: one figure if they are all the same."""
    low, high = f"{min(values):.3f}", f"{max(values):.3f}"
    return low if low == high else f"{low} to {high}"


def _weak(join: Join, predicted: float, tolerance: float, placement: Placement) -> Finding:
    return on_blank(
        placement,
        "join-weak",
        "warn",
        (
            f"Join of passes {join.passes[0]} and {join.passes[1]} on piece {join.piece}: "
            f"tolerance {tolerance:.3f} mm, only {tolerance / predicted:.1f} times the expected "
            f"misalignment of {predicted:.3f} mm (99.7 % of blanks). Use a wider [isolation] gap, "
            "put the registration holes farther from each other (wider margins), or measure them "
            "after the move (millprep refit). Inspect the join with a lens after cutting."
        ),
        join.at,
        mill_pass=join.passes[1],
    )


def check_hole_distance(
    joins: Sequence[Join],
    holes: Sequence[RegistrationHole],
    plan: RegistrationPlan,
    blank: int,
) -> tuple[Finding, ...]:
    """A stop for every pass whose holes are too near to each other for one of its joins.

    Args:
        joins: with expected misalignment and tolerance.
        holes: registration holes of all passes.
        plan: error of a hole.
        blank: number.
    """
    worst: dict[int, tuple[float, Join, float, float]] = {}
    for join in joins:
        if join.predicted is None or join.tolerance_electrical is None:
            continue
        if join.predicted <= join.tolerance_electrical:
            continue
        number = join.passes[1]
        mine = np.array([h.blank for h in holes if h.used_in == number and h.role == "locate"])
        base = float(max(np.hypot(*(mine - at).T).max() for at in mine))
        lever = float(np.hypot(*(np.array(join.at) - mine.mean(axis=0))))
        excess = join.predicted / join.tolerance_electrical
        if base < lever and excess > worst.get(number, (0.0,))[0]:
            worst[number] = (excess, join, base, lever)
    return tuple(
        _too_short(join, base, lever, plan, number, blank)
        for number, (_, join, base, lever) in sorted(worst.items())
    )


def least_base(
    lever: float, tolerance: float, sigma: float, *, slotted: bool = False
) -> float | None:
    """The least distance of two holes for which a join this far from their centre holds.

    From 2.97·σ·√(1/2 + 2·lever²/base²) = tolerance, the worst direction of the 2-D form after
    Fitzpatrick, West and Maurer, IEEE TMI 17(5), 1998; with a slot for the second hole 1 in place
    of 1/2 (`error_budget`). None where no distance is enough.
    """
    rest = (tolerance / (QUANTILE * sigma)) ** 2 - (1.0 if slotted else 0.5)
    return lever * math.sqrt(2 / rest) if rest > 0 else None


def _too_short(
    join: Join, base: float, lever: float, plan: RegistrationPlan, number: int, blank: int
) -> Finding:
    assert join.predicted is not None
    assert join.tolerance_electrical is not None
    enough = least_base(lever, join.tolerance_electrical, plan.sigma, slotted=plan.slotted)
    remedy = (
        "Use a wider [isolation] gap or reduce the error of the holes"
        if enough is None
        else f"Holes about {math.ceil(enough)} mm from each other are enough: use more travel, or "
        "leave both long edges free of clamps and boards"
    )
    return Finding(
        code="registration-too-short",
        severity="stop",
        message=(
            f"The holes that find pass {number} are only {base:.0f} mm from each other, and a join "
            f"is {lever:.0f} mm from their centre: expected misalignment {join.predicted:.2f} mm "
            f"(99.7 % of blanks), tolerance {join.tolerance_electrical:.2f} mm. {remedy}, or "
            "measure the holes after the move."
        ),
        frame="blank",
        at=join.at,
        blank=blank,
        mill_pass=number,
    )
