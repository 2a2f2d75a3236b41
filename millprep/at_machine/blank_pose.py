"""Where a blank lies in a pass, measured by its registration holes or by verniers.

Readings of holes that fit, and are near where the holes were expected, give the new pose. Others
are refused with the mistake that explains them (`reading_faults`). Readings of verniers, which the
pass has cut already, correct the pose by what they show.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from millprep.at_machine.reading_faults import farthest, hole_fault, near, slots_of, turn
from millprep.at_machine.reading_fit import Correction, Fit, correction, fit, suspicious
from millprep.at_machine.readings import Readings, expected_pose, refused
from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.finding import Finding, Refusal
from millprep.model.milling_pass import RegistrationHole, Vernier
from millprep.report.report_model import Report

STILL = 1e-7
"""A smaller change of any hole's place is rounding, mm."""


@dataclass(frozen=True, slots=True)
class MeasuredPose:
    """The outcome of good readings: blank to machine, and what to report of it."""

    pose: Pose
    findings: tuple[Finding, ...]


def by_holes(
    readings: Readings, source: Report, blank: int, number: int, sigma: float
) -> MeasuredPose:
    """The blank's pose in a pass, by its holes.

    Args:
        readings: places of its holes, machine frame of that pass.
        source: report of the set that is being cut.
        blank: number.
        number: of the pass.
        sigma: error of one reading per axis, drilling and reading together, mm.

    Raises:
        Refusal: with what is wrong with the readings.
    """
    expected = expected_pose(readings, source, blank, number)
    holes = _holes_read(readings, source, blank, number)
    places = [hole.blank for hole in holes]
    read = [readings.holes[hole.id] for hole in holes]
    fitted = fit(places, read, slots_of(holes))
    if suspicious(fitted, sigma) or not near(fitted, expected, places):
        at = {"blank": blank, "mill_pass": number}
        raise Refusal([hole_fault(holes, read, expected, fitted, sigma, at)])
    notes = _hole_notes(fitted, expected, holes, read, sigma, blank, number)
    return MeasuredPose(
        _with_report_digits(fitted.pose, expected, places),
        tuple(
            Finding(
                code=code,
                severity="note",
                message=message,
                frame="machine",
                at=at,
                blank=blank,
                mill_pass=number,
            )
            for code, message, at in notes
        ),
    )


def _holes_read(
    readings: Readings, source: Report, blank: int, number: int
) -> list[RegistrationHole]:
    """The holes that were read, in the blank's order."""
    drilled = [hole for hole in source.holes(blank) if hole.drilled_in < number]
    if not drilled:
        raise refused(
            "nothing-to-find",
            f"Before pass {number} of blank {blank} no registration hole is drilled, so readings "
            "cannot show where the blank lies.",
        )
    known = {hole.id for hole in drilled}
    faults = [
        f"{name} is not a hole of blank {blank} that is drilled before pass {number}. These are: "
        f"{', '.join(hole.id for hole in drilled)}."
        for name in readings.holes
        if name not in known
    ]
    holes = [hole for hole in drilled if hole.id in readings.holes]
    if not faults and len(holes) < 2:
        faults.append(
            f"The readings hold {len(holes)} hole; two or more show where a blank lies. Three "
            "show that one reading is bad, four show which."
        )
    elif not faults and all(hole.slot for hole in holes):
        faults.append(
            "The readings hold only slots, and a slot shows nothing along its length. Read a round "
            "hole as well."
        )
    if faults:
        raise Refusal(
            [Finding(code="readings-holes", severity="stop", message=words) for words in faults],
            exit_code=2,
        )
    return holes


def _hole_notes(
    fitted: Fit,
    expected: Pose,
    holes: Sequence[RegistrationHole],
    read: Sequence[Point],
    sigma: float,
    blank: int,
    number: int,
) -> Iterator[tuple[str, str, Point]]:
    """Code, words and place of what good readings show."""
    x, y = np.mean([hole.blank for hole in holes], axis=0).tolist()
    (u, v), (a, b) = fitted.pose.point((x, y)), expected.point((x, y))
    yield (
        "refit-pose",
        f"Pass {number} of blank {blank}: the blank lies {u - a:+.3f}, {v - b:+.3f} mm from where "
        f"it was expected, turned by {turn(fitted.pose, expected):+.4f}°, by {len(holes)} holes.",
        (u, v),
    )
    for hole, (dx, dy), place in zip(holes, fitted.residuals.tolist(), read, strict=True):
        message = f"{hole.id} was read {dx:+.3f}, {dy:+.3f} mm from its fitted place."
        if hole.slot:
            message += " It is a slot, so only what lies across it counts."
        yield "refit-residual", message, place
    if fitted.scale is not None:
        yield (
            "refit-scale",
            f"The scale of the readings is {fitted.scale:.6f}. It shows how well the holes were "
            "read, not the scale error of the machine, which drilled them too; it is not applied.",
            (u, v),
        )
    if len(holes) < 4:
        words = (
            "A hole and a slot alone show no bad reading: read the key as well"
            if fitted.spare < 1
            else "Two holes show a bad reading only along the line between them"
            if len(holes) == 2
            else "Three holes show that one is bad, not which"
        )
        yield (
            "refit-few-holes",
            f"{words}. Small residuals do not prove a small misalignment at the joins either. The "
            f"error of a reading is taken to be {sigma:g} mm per axis.",
            (u, v),
        )


def by_verniers(readings: Readings, source: Report, blank: int, number: int) -> MeasuredPose:
    """The blank's pose in a pass whose second combs the programs of `source` have cut.

    Args:
        readings: the lines that run through.
        source: report of the set that is being cut.
        blank: number.
        number: of the pass.

    Raises:
        Refusal: with what is wrong with the readings.
    """
    expected = expected_pose(readings, source, blank, number)
    cut = {v.id: v for v in source.verniers(blank) if v.passes[1] == number}
    read = _verniers_read(readings, cut, blank, number)
    shown = correction(read)
    if shown.doubtful:
        each = ", ".join(
            f"{v.id} {r:+.3f}" for (v, _), r in zip(read, shown.residuals, strict=True)
        )
        raise refused(
            "vernier-readings-disagree",
            f"The readings do not agree: they are off by {each} mm after the best fit, worse than "
            "99 % of careful readings. Read the verniers of both margins again with a lens, and "
            "check the signs.",
            blank,
            number,
        )
    # what the pass cuts is off by the error, so the blank is off the other way
    pose = shown.error.inverse().then(expected)
    places = [vernier.at for vernier, _ in read]
    return MeasuredPose(
        _with_report_digits(pose, expected, places),
        tuple(
            Finding(
                code=code,
                severity="note",
                message=message,
                frame="blank",
                at=shown.about,
                blank=blank,
                mill_pass=number,
            )
            for code, message in _vernier_notes(shown, len(read), blank, number)
        ),
    )


def _verniers_read(
    readings: Readings, cut: dict[str, Vernier], blank: int, number: int
) -> list[tuple[Vernier, float]]:
    """Verniers with their readings, in the file's order."""
    faults = []
    if not cut:
        faults.append(
            f"Pass {number} of blank {blank} has no verniers: its margins had no room for them."
        )
    for name, line in readings.verniers.items() if cut else ():
        vernier = cut.get(name)
        if vernier is None:
            faults.append(
                f"{name} is not a vernier of blank {blank} pass {number}. These are: "
                f"{', '.join(cut)}."
            )
        elif abs(line) > vernier.reach:
            faults.append(
                f"{name} has lines from -{vernier.reach} to {vernier.reach}, the reading is "
                f"{line:g}."
            )
        elif abs(line) == vernier.reach:
            faults.append(
                f"{name} reads its last line, so the misalignment may be larger than the "
                f"{vernier.largest:.2f} mm it shows. Read the registration holes first."
            )
    if not faults:
        kinds = {cut[name].measures for name in readings.verniers}
        for measures in sorted({"x", "y"} - kinds):
            could = ", ".join(v.id for v in cut.values() if v.measures == measures) or "none"
            faults.append(f"No vernier along {measures} was read. These are: {could}.")
    if faults:
        raise Refusal(
            [Finding(code="vernier-readings", severity="stop", message=words) for words in faults],
            exit_code=2,
        )
    return [(cut[name], line) for name, line in readings.verniers.items()]


def _vernier_notes(
    shown: Correction, count: int, blank: int, number: int
) -> Iterator[tuple[str, str]]:
    """Code and words of what good readings show."""
    (dx, dy), turned = shown.shift, math.degrees(shown.turn)
    yield (
        "refit-vernier",
        f"Pass {number} of blank {blank} cut {dx:+.3f}, {dy:+.3f} mm off, turned by "
        f"{turned:+.4f}°, by {count} verniers. Its programs now cut that much the other way. Do "
        "not cut its combs again: continue with the program after them.",
    )
    if not shown.turn_known:
        message = "The readings show a shift but no turn. Read the verniers of both margins."
        yield "refit-vernier-no-turn", message
    elif shown.spare < 1:
        message = "The readings give a shift and a turn, and no reading is left to check them."
        yield "refit-vernier-unchecked", message


def _with_report_digits(pose: Pose, expected: Pose, places: Sequence[Point]) -> Pose:
    """The pose with the digits that a report holds, so that a later refit reads the same.

    The turn is rounded first, and the shift worked out for the centre of the holes, so that
    neither moves the blank by 1e-6 mm.
    """
    if farthest(pose, expected, places) <= STILL:
        return expected
    cos, sin = round(pose.a, 9), round(pose.d, 9)
    x, y = np.mean(places, axis=0).tolist()
    u, v = pose.point((x, y))
    return Pose(
        cos, -sin, round(u - cos * x + sin * y, 9), sin, cos, round(v - sin * x - cos * y, 9)
    )
