"""What is wrong with readings that do not fit their holes: the mistake that explains them."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

import numpy as np

from millprep.at_machine.displacement import FARTHEST, LARGEST_TURN, farthest, near, turn
from millprep.at_machine.reading_fit import Fit, bad_hole, fit, suspicious
from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.finding import Finding
from millprep.model.milling_pass import RegistrationHole

INCH = 25.4


def fault(
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
        if not suspicious(tried, sigma) and near(tried, expected, places):
            explained.append((farthest(tried.pose, expected, places), code, words))
    if explained:
        _, code, words = min(explained)
        return _finding(code, words, at)
    if not suspicious(found, sigma):
        return _finding(
            "blank-far-off",
            f"The readings fit the holes, but by them the blank lies turned by "
            f"{turn(found.pose, expected):+.2f}° and "
            f"{farthest(found.pose, expected, places):.1f} mm from where it should. Put it within "
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


def _finding(code: str, message: str, at: dict[str, int]) -> Finding:
    return Finding(
        code=code,
        severity="stop",
        message=message,
        blank=at["blank"],
        mill_pass=at["mill_pass"],
    )
