"""Holes that stand too near to each other for the joins they have to hold.

Two holes on one edge with a short overlap turn the blank about themselves: what is far from
them misses by their error times the lever. Where that leaks, no join can be trusted, and the
plan is refused; a long base with a weak join is told by `verdict.py`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from millprep.model.finding import Finding
from millprep.model.milling_pass import Join, RegistrationHole
from millprep.model.plan import RegistrationPlan
from millprep.passes.misalignment import QUANTILE


def judge(
    joins: Sequence[Join],
    holes: Sequence[RegistrationHole],
    plan: RegistrationPlan,
    blank: int,
) -> tuple[Finding, ...]:
    """A stop for every pass whose holes are too near to each other for one of its joins.

    Args:
        joins: with what they are expected to miss and what they stand.
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
        _stop(join, base, lever, plan, number, blank)
        for number, (_, join, base, lever) in sorted(worst.items())
    )


def least_base(lever: float, stands: float, sigma: float) -> float | None:
    """The least distance of two holes for which a join this far from their middle holds.

    From 2.97·σ·√(1/2 + 2·lever²/base²) = stands, the worst direction of the 2-D form after
    Fitzpatrick, West and Maurer, IEEE TMI 17(5), 1998; None where no distance is enough.
    """
    rest = (stands / (QUANTILE * sigma)) ** 2 - 0.5
    return lever * math.sqrt(2 / rest) if rest > 0 else None


def _stop(
    join: Join, base: float, lever: float, plan: RegistrationPlan, number: int, blank: int
) -> Finding:
    assert join.predicted is not None
    assert join.tolerance_electrical is not None
    enough = least_base(lever, join.tolerance_electrical, plan.sigma)
    remedy = (
        "A wider [isolation] gap or a smaller error of the holes is needed first"
        if enough is None
        else f"Holes about {math.ceil(enough)} mm apart would do: more travel, or clamps and "
        "boards that leave both long edges free"
    )
    return Finding(
        code="registration-too-short",
        severity="stop",
        message=(
            f"The holes that find pass {number} stand {base:.0f} mm apart and a join lies "
            f"{lever:.0f} mm from their middle: it is missed by up to {join.predicted:.2f} mm on "
            f"99.7 % of blanks and leaks from {join.tolerance_electrical:.2f} mm on. {remedy}; or "
            "measure the holes after the move."
        ),
        frame="blank",
        at=join.at,
        blank=blank,
        mill_pass=number,
    )
