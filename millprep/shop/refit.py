"""Where a blank truly lies in a pass, from readings of its holes; and what is wrong with them.

Readings that fit the holes, and lie near where the holes were expected, give the new pose.
Readings that do not are tried again as if two names had been swapped, an axis mirrored or
inches typed for millimetres; the one of these that makes them fit is what they are refused for.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from millprep.passes.fit import Fit, bad_hole, fit, suspicious
from millprep.shop.old_set import OldSet
from millprep.shop.readings import Readings
from millprep.values.finding import Finding, Refusal
from millprep.values.milling_pass import RegistrationHole
from millprep.values.path import Point
from millprep.values.pose import Pose

FARTHEST = 25.0
"""A blank put back by hand lies within this distance of its planned place, mm: common
practice, no source. What is farther off is a mistake in the readings or in the set-up."""
LARGEST_TURN = 5.0
"""And it is turned by less than this, degrees; also common practice."""
STILL = 1e-7
"""A smaller change of any hole's place is rounding, mm."""
INCH = 25.4


@dataclass(frozen=True, slots=True)
class Refit:
    """The outcome of good readings: blank to machine, and what to tell."""

    pose: Pose
    findings: tuple[Finding, ...]


def refit(readings: Readings, old: OldSet, blank: int, number: int, sigma: float) -> Refit:
    """The blank's pose in a pass.

    Args:
        readings: places of its holes, machine frame of that pass.
        old: the set that is being cut.
        blank: number.
        number: of the pass.
        sigma: error of one reading per axis, drilling and finding together, mm.

    Raises:
        Refusal: with what is wrong with the readings.
    """
    expected, holes = _holes(readings, old, blank, number)
    places = [hole.blank for hole in holes]
    read = [readings.holes[hole.id] for hole in holes]
    found = fit(places, read)
    if suspicious(found, sigma) or not _near(found, expected, places):
        at = {"blank": blank, "mill_pass": number}
        raise Refusal([_fault(holes, read, expected, found, sigma, at)])
    return Refit(
        reported(found.pose, expected, places),
        tuple(_told(found, expected, holes, read, sigma, blank, number)),
    )


def _holes(
    readings: Readings, old: OldSet, blank: int, number: int
) -> tuple[Pose, list[RegistrationHole]]:
    """The pose the old set expected, and the holes that were read, in the blank's order."""
    expected = of_this_set(readings, old, blank, number)
    drilled = [h for h in old.holes.get(blank, ()) if h.drilled_in < number]
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


def of_this_set(readings: Readings, old: OldSet, blank: int, number: int) -> Pose:
    """The pose that the old set expected in this pass.

    Raises:
        Refusal: when the readings are of another set, or it has no such pass.
    """
    if readings.set != old.id:
        raise _stop(
            "readings-of-another-set",
            f"The readings were taken for set {readings.set}, the folder holds set {old.id}: they "
            "are of another set. Take the set whose id stands on the sheet at the mill.",
        )
    expected = old.poses.get((blank, number))
    if expected is None:
        known = ", ".join(f"blank {b} pass {k}" for b, k in sorted(old.poses))
        raise _stop("no-such-pass", f"The set has no blank {blank} pass {number}; it has {known}.")
    return expected


def _near(found: Fit, expected: Pose, places: Sequence[Point]) -> bool:
    """Whether the blank lies about where it was expected."""
    return abs(_turn(found.pose, expected)) <= LARGEST_TURN and (
        _farthest(found.pose, expected, places) <= FARTHEST
    )


def _turn(pose: Pose, expected: Pose) -> float:
    """Degrees by which one pose is turned from another, counter-clockwise."""
    relative = expected.inverse().then(pose)
    return math.degrees(math.atan2(relative.d, relative.a))


def _farthest(pose: Pose, expected: Pose, places: Sequence[Point]) -> float:
    """The largest distance between the images of the holes."""
    off = pose.points(places) - expected.points(places)
    return float(np.hypot(*off.T).max())


def _fault(
    holes: Sequence[RegistrationHole],
    read: list[Point],
    expected: Pose,
    found: Fit,
    sigma: float,
    at: dict[str, int],
) -> Finding:
    """The mistake that explains readings which fit badly or lie far off."""
    places = [hole.blank for hole in holes]
    explained: list[tuple[float, str, str]] = []
    for code, words, other in _mistakes(holes, read):
        tried = fit(places, other)
        if not suspicious(tried, sigma) and _near(tried, expected, places):
            explained.append((_farthest(tried.pose, expected, places), code, words))
    if explained:
        _, code, words = min(explained)
        return _finding(code, words, at)
    if not suspicious(found, sigma):
        return _finding(
            "blank-far-off",
            f"The readings fit the holes, but by them the blank lies turned by "
            f"{_turn(found.pose, expected):+.2f}° and "
            f"{_farthest(found.pose, expected, places):.1f} mm from where it should. Put it within "
            f"{LARGEST_TURN:g}° and {FARTHEST:g} mm, or look whether it lies turned round or the "
            "work zero has moved.",
            at,
        )
    size = np.hypot(*found.residuals.T)
    bad = bad_hole(places, read, sigma)
    if bad is not None:
        return _finding(
            "hole-bad",
            f"{holes[bad].id} is bad: without it the readings of the others agree. Clean the hole "
            "and read it again, or leave its line out.",
            at,
        )
    each = ", ".join(f"{h.id} {r:.3f}" for h, r in zip(holes, size, strict=True))
    return _finding(
        "residual-too-large",
        f"The readings do not fit the holes: off by {each} mm after the best fit, more than 99 % "
        f"of honest readings with an error of {sigma:g} mm per axis. Read all holes again"
        + ("; four or more would show which is bad." if len(holes) < 4 else "."),
        at,
    )


def _mistakes(
    holes: Sequence[RegistrationHole], read: list[Point]
) -> Iterator[tuple[str, str, list[Point]]]:
    """What people mistype, in words, and the readings as they were meant then."""
    yield (
        "readings-in-inches",
        "The readings are in inches: multiplied by 25.4 they fit. Set the readout to mm.",
        [(INCH * x, INCH * y) for x, y in read],
    )
    for words, other in (
        ("x and y exchanged", [(y, x) for x, y in read]),
        ("the sign of x turned", [(-x, y) for x, y in read]),
        ("the sign of y turned", [(x, -y) for x, y in read]),
    ):
        yield (
            "readings-mirrored",
            f"The readings are mirrored: with {words} they fit. Look at the axes' directions; if "
            "they are right, the blank lies upside down.",
            other,
        )
    for i, j in itertools.combinations(range(len(read)), 2):
        other = list(read)
        other[i], other[j] = read[j], read[i]
        yield (
            "readings-swapped",
            f"The readings of {holes[i].id} and {holes[j].id} are swapped: exchanged they fit.",
            other,
        )
    if len(read) <= 6:
        for order in itertools.permutations(range(len(read))):
            if sum(a != b for a, b in enumerate(order)) > 2:
                meant = ", ".join(f"{holes[n].id} under {holes[k].id}" for n, k in enumerate(order))
                yield (
                    "readings-swapped",
                    f"The readings are swapped: they fit if they stand so: {meant}.",
                    [read[k] for k in order],
                )


def reported(pose: Pose, expected: Pose, places: Sequence[Point]) -> Pose:
    """The pose with the digits that a report holds, so that a later refit reads the same one.

    The turn is rounded first and the shift worked out for the holes' middle, so that neither
    moves the blank by 1e-6 mm.
    """
    if _farthest(pose, expected, places) <= STILL:
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
            f"was expected, turned by {_turn(found.pose, expected):+.4f}°, by {len(holes)} holes.",
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


def _finding(code: str, message: str, at: dict[str, int]) -> Finding:
    return Finding(
        code=code,
        severity="stop",
        message=message,
        blank=at["blank"],
        mill_pass=at["mill_pass"],
    )


def _stop(code: str, message: str) -> Refusal:
    return Refusal([Finding(code=code, severity="stop", message=message)])
