"""What is wrong with readings of holes: the mistake that explains them.

The centre between two touches on opposite sides is on the hole's centre line whatever the
diameter of the tip, and wherever off the centre both were made. Their distance is the hole's
diameter less the tip's if they were made through the centre, otherwise a shorter chord.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from millprep.at_machine.reading_fit import Fit, bad_hole, fit, suspicious
from millprep.at_machine.readings import Readings, Touches, expected_pose
from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.finding import Finding, Refusal
from millprep.model.milling_pass import RegistrationHole
from millprep.report.report_model import Report

FARTHEST = 25.0
"""A blank put back by hand lies within this distance of its planned place, mm: common
practice, no source. If it is farther off, the readings or the place of the blank are wrong."""
LARGEST_TURN = 5.0
"""And it is turned by less than this, degrees; also common practice."""

TOUCH_ERROR = 0.01
"""Standard deviation of one touch, mm, where the job gives none: assumed."""
HOLE_SIZE = 0.06
"""A hole's diameter is off by no more, mm: common practice, no source."""
SURE = 4.0
"""A half distance of two touches is off by less than this many of its standard deviations."""

INCH = 25.4


def slots_of(holes: Sequence[RegistrationHole]) -> list[Point | None]:
    """The direction of every slot, in which nothing is read of it; None for round holes."""
    return [hole.free if hole.slot else None for hole in holes]


def near(fitted: Fit, expected: Pose, places: Sequence[Point]) -> bool:
    """Whether the blank lies about where it was expected."""
    return abs(turn(fitted.pose, expected)) <= LARGEST_TURN and (
        farthest(fitted.pose, expected, places) <= FARTHEST
    )


def turn(pose: Pose, expected: Pose) -> float:
    """Degrees by which a pose is turned from another, counter-clockwise."""
    relative = expected.inverse().then(pose)
    return math.degrees(math.atan2(relative.d, relative.a))


def farthest(pose: Pose, expected: Pose, places: Sequence[Point]) -> float:
    """The largest distance between the images of the holes."""
    off = pose.points(places) - expected.points(places)
    return float(np.hypot(*off.T).max())


def hole_fault(
    holes: Sequence[RegistrationHole],
    read: list[Point],
    expected: Pose,
    fitted: Fit,
    sigma: float,
    at: dict[str, int],
) -> Finding:
    """The mistake that explains readings which fit badly or are far off.

    The readings are tried again as if two names had been swapped, an axis mirrored, or inches
    typed for millimetres. `at` is the blank and the pass.
    """
    places, slots = [hole.blank for hole in holes], slots_of(holes)
    explained: list[tuple[float, str, str]] = []
    for code, words, other in _slips(holes, read):
        tried = fit(places, other, slots)
        if not suspicious(tried, sigma) and near(tried, expected, places):
            explained.append((farthest(tried.pose, expected, places), code, words))
    if explained:
        _, code, words = min(explained)
        return _stop(code, words, at)
    if not suspicious(fitted, sigma):
        return _stop(
            "blank-far-off",
            f"The readings fit the holes, but the blank is turned by "
            f"{turn(fitted.pose, expected):+.2f}° and is "
            f"{farthest(fitted.pose, expected, places):.1f} mm from its planned place. Put it "
            f"within {LARGEST_TURN:g}° and {FARTHEST:g} mm. Check whether it is the wrong way "
            "round, or whether the work zero was lost.",
            at,
        )
    bad = bad_hole(places, read, sigma, slots)
    if bad is not None:
        return _stop(
            "hole-bad",
            f"The reading of {holes[bad].id} is bad: without it the others agree. Clean the hole "
            "and read it again, or leave its line out.",
            at,
        )
    size = np.hypot(*fitted.residuals.T)
    each = ", ".join(f"{h.id} {r:.3f}" for h, r in zip(holes, size, strict=True))
    return _stop(
        "residual-too-large",
        f"The readings do not fit the holes: they are off by {each} mm after the best fit, worse "
        f"than 99 % of careful readings with an error of {sigma:g} mm per axis. Read all holes "
        "again" + ("; four or more would show which is bad." if len(holes) < 4 else "."),
        at,
    )


def _slips(
    holes: Sequence[RegistrationHole], read: list[Point]
) -> Iterator[tuple[str, str, list[Point]]]:
    """Code and words of what people mistype, and the readings as they were meant then."""
    yield (
        "readings-in-inches",
        "The readings are in inches: multiplied by 25.4 they fit. Set the readout to mm.",
        [(INCH * x, INCH * y) for x, y in read],
    )
    for words, other in (
        ("x and y exchanged", [(y, x) for x, y in read]),
        ("the sign of x changed", [(-x, y) for x, y in read]),
        ("the sign of y changed", [(x, -y) for x, y in read]),
    ):
        yield (
            "readings-mirrored",
            f"The readings are mirrored: with {words} they fit. Check the directions of the axes. "
            "If they are right, the blank lies upside down.",
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
                    f"The readings are swapped. They fit in this order: {meant}.",
                    [read[k] for k in order],
                )


def with_centres(
    readings: Readings, source: Report, blank: int, number: int, error: float = TOUCH_ERROR
) -> tuple[Readings, tuple[Finding, ...]]:
    """The readings with the centres of the holes that were touched, and a note of their sizes.

    Args:
        readings: touches.
        source: report of the set that is being cut.
        blank: number.
        number: of the pass.
        error: standard deviation of one touch, mm.

    Raises:
        Refusal: when touches cannot be those of their holes, or are of another set.
    """
    expected = expected_pose(readings, source, blank, number)
    at = {"blank": blank, "mill_pass": number}
    holes = {hole.id: hole for hole in source.holes(blank)}
    faults: list[Finding] = []
    sizes: list[str] = []
    for name, touches in readings.touches.items():
        hole = holes.get(name)
        if hole is None:
            continue  # the fit names unknown holes
        planned = expected.point(hole.blank)
        wrong = list(_touch_faults(hole, touches, planned, error))
        faults += [_stop("touches-wrong", words, at) for words in wrong]
        # the chords of a slot along X and Y are no sizes
        if not wrong and not hole.slot:
            wide, high = _size(touches, planned)
            sizes.append(f"{name} {wide:.3f} by {high:.3f} mm, drilled as {hole.diameter:g}")
    if faults:
        raise Refusal(faults)
    note = Finding(
        code="refit-touched-sizes",
        severity="note",
        message=f"Size of each hole by its touches: {'; '.join(sizes)}.",
        blank=blank,
        mill_pass=number,
    )
    centres = {name: centre(touches) for name, touches in readings.touches.items()}
    return replace(readings, holes=centres), (note,) if sizes else ()


def centre(touches: Touches) -> Point:
    """The hole's centre."""
    return ((touches.left + touches.right) / 2, (touches.low + touches.high) / 2)


def _size(touches: Touches, planned: Point) -> tuple[float, float]:
    """The hole's diameter by each pair, if the other axis was where the program puts it."""
    (x, y), half = centre(touches), _halves(touches)
    off = (y - planned[1], x - planned[0])
    wide, high = (
        2 * (math.hypot(h, o) if abs(o) < h else h) + touches.probe
        for h, o in zip(half, off, strict=True)
    )
    return wide, high


def _halves(touches: Touches) -> tuple[float, float]:
    return (touches.right - touches.left) / 2, (touches.high - touches.low) / 2


def _touch_faults(
    hole: RegistrationHole, touches: Touches, planned: Point, error: float
) -> Iterator[str]:
    """What is wrong with the touches of one hole."""
    free = (hole.diameter - touches.probe) / 2
    if free <= 0:
        yield (
            f"{hole.id} is {hole.diameter:g} mm wide, a tip of {touches.probe:g} mm does not fit. "
            "Check the diameter of the tip, and whether it is another hole."
        )
        return
    within = HOLE_SIZE / 2 + SURE * error / math.sqrt(2)
    longest = free + hole.slot / 2
    x, y = centre(touches)
    # the program touches along the lines through the planned place, a person through the centre
    off_centre = (y - planned[1], x - planned[0])
    for pair, half, off in zip(
        (("left", "right"), ("low", "high")), _halves(touches), off_centre, strict=True
    ):
        chord = math.sqrt(free**2 - off**2) if abs(off) < free else free
        names = f"{hole.id}: {pair[0]} and {pair[1]}"
        if half <= 0:
            yield f"{names} are exchanged: {pair[1]} must be the larger coordinate."
        elif half > longest + within:
            yield (
                f"{names} are {2 * half:.3f} mm apart; a hole of {hole.diameter:g} mm and a tip of "
                f"{touches.probe:g} mm allow {2 * longest:.3f} at most. It is another hole, a "
                "smaller tip than given, or a touch without copper. Check and touch again."
            )
        elif half < chord - within and not hole.slot:
            yield (
                f"{names} are {2 * half:.3f} mm apart; a hole of {hole.diameter:g} mm and a tip of "
                f"{touches.probe:g} mm give {2 * chord:.3f}. It is a burr, another hole, or a "
                "tip that is larger or not round. Check, clean the rim and touch again."
            )


def _stop(code: str, message: str, at: dict[str, int]) -> Finding:
    return Finding(
        code=code,
        severity="stop",
        message=message,
        blank=at["blank"],
        mill_pass=at["mill_pass"],
    )
