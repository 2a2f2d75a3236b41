"""The probability that a blank drops onto its pins, from the errors of holes and the play of pins.

Hole i of a pass lies off its pin by d_i = e_i + t + θ·J·r_i: its error, and what the blank is moved
and turned by. The blank drops on when some motion brings d_1 into the play of the round hole, a
disc of half the difference of the diameters, d_2 into that of the second hole, and d_3 into that of
the key. Seen along the line through the first two, distance B, the motion is (a, b) = d_1 and w,
what the second hole lies off its pin across the line. The turn follows, and

    d_2 = (a + e, w),    d_3 = k + (a, b) + ((w - b) / B)·J·r_3,

where e, the error of the distance, and k, the error of the key once the first two are centred, are
normal with a covariance that follows from those of the holes. So for every e the keys that go on
are a convex area, found by its support in every direction, and the probability is the mass of a
normal distribution within it: a line integral around its edge. Gauss-Legendre nodes add up over e.
Two round holes alone go on when |e| is less than the play of both together.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from millprep.geometry.path import FloatArray
from millprep.model.finding import Finding
from millprep.model.job.setup import RegistrationPlan
from millprep.model.milling_pass import RegistrationHole
from millprep.passes.error_budget import HoleErrors, arms

ENOUGH = 0.95
"""A blank that drops on less often is worth a word."""
DISTANCES, DIRECTIONS, ASIDE, ALONG_EDGE = 48, 120, 81, 4
"""Nodes: of the error of the distance, of directions, of `a`, and of one edge of the area."""
FAR = 7.0
"""Errors beyond so many standard deviations count for nothing."""


_leggauss = cache(np.polynomial.legendre.leggauss)


@dataclass(frozen=True, slots=True)
class _Play:
    """How far the second hole may lie off its pin.

    Attributes:
        most: along the line through both holes, mm.
        across: how far across, where it lies so far along.
    """

    most: float
    across: Callable[[FloatArray], FloatArray]


def drop_on(
    holes: Sequence[RegistrationHole], errors: HoleErrors, plan: RegistrationPlan
) -> float | None:
    """The probability that a blank drops onto the pins of one pass; None without pins.

    Args:
        holes: two locating holes and a key of the pass.
        errors: of all passes.
        plan: diameters, the kind of the second hole, the error of a hole.
    """
    located = [hole for hole in holes if hole.role == "locate"]
    keys = [hole for hole in holes if hole.role == "key"]
    if plan.method != "pins" or len(located) != 2 or len(keys) != 1:
        return None
    three = [*located, *keys]
    at = np.array([hole.blank for hole in three])
    base = float(np.hypot(*(at[1] - at[0])))
    (cos, sin) = ((at[1] - at[0]) / base).tolist()
    turned = np.array([[cos, sin], [-sin, cos]])
    x, y = (turned @ (at[2] - at[0])).tolist()
    lever = np.array([-y, x]) / base
    # e and k as rows times the errors of the three holes
    rows = np.zeros((3, 6))
    rows[0, 0:4] = [-cos, -sin, cos, sin]
    rows[1:, 0:2], rows[1:, 4:6] = -turned, turned
    rows[1:, 0:4] -= np.outer(lever, [sin, -cos, -sin, cos])
    covariance = plan.sigma**2 * rows @ _covariance(three, errors) @ rows.T
    return _probability(covariance, lever, plan)


def _covariance(holes: Sequence[RegistrationHole], errors: HoleErrors) -> FloatArray:
    """(6, 6) of where three holes lie off their places, per σ²: inherited, and their own."""
    inherited = np.vstack(
        [
            arms([hole.blank], errors.centre)[0] @ errors.errors[hole.drilled_in - 1]
            for hole in holes
        ]
    )
    covariance: FloatArray = inherited @ inherited.T + np.eye(6)
    return covariance


def _probability(covariance: FloatArray, lever: FloatArray, plan: RegistrationPlan) -> float:
    """Mass of the errors (e, k) for which the blank goes on; `lever` is J·r_3 / B."""
    first, key = ((wide - plan.pin_diameter) / 2 for wide in (plan.hole, plan.key))
    second = _second(plan)
    spread = math.sqrt(covariance[0, 0])
    reach = min(first + second.most, FAR * spread)
    nodes, weights = _leggauss(DISTANCES)
    slope = covariance[1:, 0] / covariance[0, 0]
    left = covariance[1:, 1:] - np.outer(slope, covariance[0, 1:])
    whiten = np.linalg.inv(np.linalg.cholesky(left))
    total = 0.0
    for e, weight in zip((nodes * reach).tolist(), (weights * reach).tolist(), strict=True):
        density = math.exp(-((e / spread) ** 2) / 2) / (spread * math.sqrt(2 * math.pi))
        area = _keys_that_fit(e, first, second, key, lever)
        total += weight * density * _mass((area - slope * e) @ whiten.T)
    return min(total, 1.0)


def _second(plan: RegistrationPlan) -> _Play:
    """The play of the second hole on its pin: of a slot, a relieved pin, or a round hole."""
    hole, pin = plan.hole / 2, plan.pin_diameter / 2
    if plan.second_hole != "relieved pin":
        play, half = hole - pin, plan.slot / 2
        return _Play(half + play, lambda x: _leg(play, np.maximum(np.abs(x) - half, 0.0)))
    # what is left between the flats meets the hole by its corners, near the middle by its round
    wide = plan.pin_flats / 2
    high = math.sqrt(pin**2 - wide**2)

    def across(x: FloatArray) -> FloatArray:
        x = np.abs(x)
        by_corner = _leg(hole, x + wide) - high
        return np.where(x <= (hole - pin) * wide / pin, _leg(hole - pin, x), by_corner)

    return _Play(math.sqrt(hole**2 - high**2) - wide, across)


def _leg(long: float, other: FloatArray) -> FloatArray:
    """The other leg of a right triangle; 0 where there is none."""
    leg: FloatArray = np.sqrt(np.maximum(long**2 - other**2, 0.0))
    return leg


def _keys_that_fit(
    e: float, first: float, second: _Play, key: float, lever: FloatArray
) -> FloatArray:
    """(n, 2) corners of the area of errors k of the key with which the blank goes on."""
    angles = np.arange(DIRECTIONS) * (2 * math.pi / DIRECTIONS)
    normals = np.column_stack((np.cos(angles), np.sin(angles)))
    a = np.linspace(max(-first, -second.most - e), min(first, second.most - e), ASIDE)
    b, w = _leg(first, a), np.maximum(second.across(a + e), 0.0)
    turn = normals @ lever
    up = normals[:, 1] - turn
    support = np.outer(normals[:, 0], a) + np.outer(np.abs(up), b) + np.outer(np.abs(turn), w)
    best = np.argmax(support, axis=1)
    b, w = np.sign(up) * b[best], np.sign(turn) * w[best]
    shifted = np.column_stack((a[best], b)) + np.outer(w - b, lever)
    corners: FloatArray = -(shifted + key * normals)
    return corners


def _mass(corners: FloatArray) -> float:
    """Mass of the standard normal distribution of the plane within a convex polygon.

    By Green's theorem ∮ (1 - exp(-r²/2)) / (2π·r²)·(x dy - y dx) around its edge.
    """
    nodes, weights = _leggauss(ALONG_EDGE)
    start, step = corners, np.roll(corners, -1, axis=0) - corners
    at = start[:, None] + (nodes[:, None] + 1) / 2 * step[:, None]
    square = np.maximum((at**2).sum(axis=2), 1e-12)
    swept = start[:, 0] * step[:, 1] - start[:, 1] * step[:, 0]
    return float((-np.expm1(-square / 2) / square @ weights / 2 * swept).sum() / (2 * math.pi))


def check_pins(
    holes: Sequence[RegistrationHole], errors: HoleErrors, plan: RegistrationPlan, blank: int
) -> tuple[Finding, ...]:
    """A warning for every pass whose pins a blank often does not drop onto."""
    findings = []
    for number in sorted({hole.used_in for hole in holes}):
        mine = [hole for hole in holes if hole.used_in == number]
        share = drop_on(mine, errors, plan)
        if share is None or share >= ENOUGH:
            continue
        source = "assumed" if plan.assumed else "stated"
        findings.append(
            Finding(
                code="pins-tight",
                severity="warn",
                message=(
                    f"Blank {blank} drops onto the pins of pass {number} only "
                    f"{100 * share:.0f} times of 100: holes of {plan.hole:g} mm on pins of "
                    f"{plan.pin_diameter:g} mm, each hole off by {plan.sigma:.3g} mm per axis "
                    f"({source}). {_remedy(mine, errors, plan)}"
                ),
                frame="blank",
                at=mine[0].blank,
                blank=blank,
                mill_pass=number,
            )
        )
    return tuple(findings)


def _remedy(holes: Sequence[RegistrationHole], errors: HoleErrors, plan: RegistrationPlan) -> str:
    """The least change of the job with which the blank drops on."""
    for words, other in _changes(plan):
        share = drop_on(holes, errors, other)
        if share is not None and share >= ENOUGH:
            return f"Set [registration] {words}: then it does {100 * share:.0f} times of 100."
    return (
        "No wider key makes it fit: measure the error of your holes and set [registration] "
        'drill_error and locate_error, or locate by method = "measure".'
    )


def _changes(plan: RegistrationPlan) -> Iterator[tuple[str, RegistrationPlan]]:
    """Changes that make a blank fit more often, the least first."""
    if plan.second_hole == "relieved pin":
        for tenths in range(math.ceil(10 * plan.pin_flats) - 1, 1, -1):
            yield f"pin_flats = {tenths / 10:g}", replace(plan, pin_flats=tenths / 10)
    slotted = replace(plan, second_hole="slot")
    if plan.second_hole != "slot":
        yield 'second_hole = "slot"', slotted
    for tenths in range(1, 31):
        key = round(plan.key + tenths / 10, 3)
        words = f"key = {key:g}"
        if plan.second_hole != "slot":
            words = f'second_hole = "slot" and {words}'
        yield words, replace(slotted, key=key)
