"""Where a blank truly lies in a pass, from readings of its holes; and what is wrong with them.

Readings that fit the holes, and lie near where the holes were expected, give the new pose.
Readings that do not are tried again as if two names had been swapped, an axis mirrored or
inches typed for millimetres; the one of these that makes them fit is what they are refused for.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from millprep.at_machine.displacement import farthest, near, turn
from millprep.at_machine.reading_faults import fault
from millprep.at_machine.reading_fit import Fit, fit, suspicious
from millprep.at_machine.readings import Readings
from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.finding import Finding, Refusal
from millprep.model.milling_pass import RegistrationHole
from millprep.report.report_model import Report

STILL = 1e-7
"""A smaller change of any hole's place is rounding, mm."""


@dataclass(frozen=True, slots=True)
class Refit:
    """The outcome of good readings: blank to machine, and what to tell."""

    pose: Pose
    findings: tuple[Finding, ...]


def refit(readings: Readings, report: Report, blank: int, number: int, sigma: float) -> Refit:
    """The blank's pose in a pass.

    Args:
        readings: places of its holes, machine frame of that pass.
        report: of the set that is being cut.
        blank: number.
        number: of the pass.
        sigma: error of one reading per axis, drilling and finding together, mm.

    Raises:
        Refusal: with what is wrong with the readings.
    """
    expected, holes = _holes(readings, report, blank, number)
    places = [hole.blank for hole in holes]
    read = [readings.holes[hole.id] for hole in holes]
    found = fit(places, read)
    if suspicious(found, sigma) or not near(found, expected, places):
        at = {"blank": blank, "mill_pass": number}
        raise Refusal([fault(holes, read, expected, found, sigma, at)])
    return Refit(
        reported(found.pose, expected, places),
        tuple(_told(found, expected, holes, read, sigma, blank, number)),
    )


def _holes(
    readings: Readings, report: Report, blank: int, number: int
) -> tuple[Pose, list[RegistrationHole]]:
    """The pose the old set expected, and the holes that were read, in the blank's order."""
    expected = of_this_set(readings, report, blank, number)
    drilled = [h for h in report.holes(blank) if h.drilled_in < number]
    if not drilled:
        raise _stop(
            "nothing-to-find",
            f"Before pass {number} of blank {blank} no hole is drilled that could find it again.",
        )
    faults = []
    for name in readings.holes:
        if name not in {hole.id for hole in drilled}:
            could = ", ".join(hole.id for hole in drilled)
            faults.append(
                f"{name} is no hole of blank {blank} that is drilled before pass {number}; "
                f"these are: {could}."
            )
    mine = [hole for hole in drilled if hole.id in readings.holes]
    if not faults and len(mine) < 2:
        faults.append(
            f"A blank is found by two holes or more, the readings hold {len(mine)}. Three show "
            "that one is bad, four show which."
        )
    if faults:
        raise Refusal(
            [Finding(code="readings-holes", severity="stop", message=words) for words in faults],
            exit_code=2,
        )
    return expected, mine


def of_this_set(readings: Readings, report: Report, blank: int, number: int) -> Pose:
    """The pose that the old set expected in this pass.

    Raises:
        Refusal: when the readings are of another set, or it has no such pass.
    """
    if readings.set != report.set:
        raise _stop(
            "readings-of-another-set",
            f"The readings were taken for set {readings.set}, and the folder holds set "
            f"{report.set}. Use the set whose id is on the sheet at the mill.",
        )
    expected = report.poses.get((blank, number))
    if expected is None:
        known = ", ".join(f"blank {b} pass {k}" for b, k in sorted(report.poses))
        raise _stop("no-such-pass", f"The set has no blank {blank} pass {number}; it has {known}.")
    return expected


def reported(pose: Pose, expected: Pose, places: Sequence[Point]) -> Pose:
    """The pose with the digits that a report holds, so that a later refit reads the same one.

    The turn is rounded first and the shift worked out for the holes' middle, so that neither
    moves the blank by 1e-6 mm.
    """
    if farthest(pose, expected, places) <= STILL:
        return expected
    cos, sin = round(pose.a, 9), round(pose.d, 9)
    x, y = np.mean(places, axis=0).tolist()
    u, v = pose.point((x, y))
    return Pose(
        cos, -sin, round(u - cos * x + sin * y, 9), sin, cos, round(v - sin * x - cos * y, 9)
    )


def _told(
    found: Fit,
    expected: Pose,
    holes: Sequence[RegistrationHole],
    read: Sequence[Point],
    sigma: float,
    blank: int,
    number: int,
) -> Iterator[Finding]:
    """What good readings tell."""
    x, y = np.mean([hole.blank for hole in holes], axis=0).tolist()
    (u, v), (a, b) = found.pose.point((x, y)), expected.point((x, y))
    notes = [
        (
            "refit-pose",
            f"Pass {number} of blank {blank} was found {u - a:+.3f}, {v - b:+.3f} mm from where it "
            f"was expected, turned by {turn(found.pose, expected):+.4f}°, by {len(holes)} holes.",
            (u, v),
        )
    ]
    for hole, (dx, dy), place in zip(holes, found.residuals.tolist(), read, strict=True):
        notes.append(
            (
                "refit-residual",
                f"{hole.id} was read {dx:+.3f}, {dy:+.3f} mm from its fitted place.",
                place,
            )
        )
    notes.append(
        (
            "refit-scale",
            f"The readings' scale is {found.scale:.6f}. It shows how well the holes were read, not "
            "the machine's scale error, which drilled them too; it is not applied.",
            (u, v),
        )
    )
    if len(holes) < 4:
        words = (
            "Two holes show a bad reading only along the line between them"
            if len(holes) == 2
            else "Three holes show that one is bad, not which"
        )
        notes.append(
            (
                "refit-few-holes",
                f"{words}; and small residuals do not prove a small mismatch at the joins. The "
                f"error of a reading is taken to be {sigma:g} mm per axis.",
                (u, v),
            )
        )
    for code, message, at in notes:
        yield Finding(
            code=code,
            severity="note",
            message=message,
            frame="machine",
            at=at,
            blank=blank,
            mill_pass=number,
        )


def _stop(code: str, message: str) -> Refusal:
    return Refusal([Finding(code=code, severity="stop", message=message)])
