"""What is told about the joins of a blank: the mismatch to expect, and joins that stand too little.

A join is weak when the mismatch at which it first leaks is less than `ENOUGH` times the one
that 99.7 % of blanks stay below: common practice for an error that is itself a guess, no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from millprep.values.finding import Finding
from millprep.values.layout import Placement
from millprep.values.milling_pass import Join
from millprep.values.plan import RegistrationPlan

ENOUGH = 1.5
"""A join stands at least this many times the mismatch to expect."""


def judge(
    joins: Sequence[Join],
    plan: RegistrationPlan,
    placements: Mapping[int, Placement],
    blank: int,
) -> tuple[Finding, ...]:
    """One note on all joins in copper, and a warning for every one that is weak.

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
    found = [_note([(a, b) for _, a, b in figures], plan, blank)]
    for join, predicted, stands in figures:
        if stands < ENOUGH * predicted:
            found.append(_weak(join, predicted, stands, placements[join.placement]))
    return tuple(found)


def _note(
    figures: Sequence[tuple[float, float]], plan: RegistrationPlan, blank: int
) -> Finding:
    predicted = _span([a for a, _ in figures])
    stands = _span([b for _, b in figures])
    source = (
        f"an error of {plan.sigma:g} mm per axis for each registration hole, which is assumed: "
        "nobody has measured it on this machine. Drill a few holes, measure them, and say "
        "[registration] drill_error and locate_error"
        if plan.assumed
        else f"the job's error of {plan.sigma:g} mm per axis for each registration hole"
    )
    return Finding(
        code="mismatch-assumed" if plan.assumed else "mismatch-predicted",
        severity="note",
        message=(
            f"At the {len(figures)} places where passes meet on copper they miss each other across "
            f"the path by less than {predicted} mm on 99.7 % of blanks; the isolation stands "
            f"{stands} mm before it leaks. This rests on {source}."
        ),
        blank=blank,
    )


def _span(values: Sequence[float]) -> str:
    """The values in words: one figure if they are all the same."""
    low, high = f"{min(values):.3f}", f"{max(values):.3f}"
    return low if low == high else f"{low} to {high}"


def _weak(join: Join, predicted: float, stands: float, placement: Placement) -> Finding:
    return Finding(
        code="join-weak",
        severity="warn",
        message=(
            f"Where passes {join.passes[0]} and {join.passes[1]} meet on piece {join.piece}, the "
            f"isolation stands a mismatch of {stands:.3f} mm, only {stands / predicted:.1f} times "
            f"the {predicted:.3f} mm that 99.7 % of blanks stay below. A wider [isolation] gap, "
            "registration holes farther apart (wider margins), or holes that are measured after "
            "the move (millprep refit) would do; look at the place with a lens after cutting."
        ),
        frame="blank",
        at=join.at,
        board=placement.board.name,
        copy=placement.copy,
        blank=join.blank,
        mill_pass=join.passes[1],
    )
