"""Centres of holes from touches on four sides, and whether the touches can be what they say.

The middle of two touches on opposite sides lies on the hole's middle line whatever the tip's
diameter, and wherever off the middle the two were taken. Their distance is the hole's diameter
less the tip's if they were taken through the middle, a shorter chord if beside it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from millprep.at_machine.blank_fit import of_this_set
from millprep.at_machine.readings import Readings, Touches
from millprep.geometry.path import Point
from millprep.model.finding import Finding, Refusal
from millprep.model.milling_pass import RegistrationHole
from millprep.report.report_model import Report

TOUCH_ERROR = 0.01
"""Standard deviation of one touch, mm, where the job states none: assumed."""
HOLE_SIZE = 0.06
"""A hole's diameter is off by no more, mm: common practice, no source."""
SURE = 4.0
"""A half distance of two touches is off by less than this many of its standard deviations."""


def middle(touches: Touches) -> Point:
    """The hole's centre."""
    return ((touches.left + touches.right) / 2, (touches.low + touches.high) / 2)


def found(
    readings: Readings, report: Report, blank: int, number: int, error: float = TOUCH_ERROR
) -> tuple[Readings, tuple[Finding, ...]]:
    """The readings with the holes' centres, and what to tell of their sizes.

    Args:
        readings: touches.
        report: of the set that is being cut.
        blank: number.
        number: of the pass.
        error: standard deviation of one touch, mm.

    Raises:
        Refusal: when touches cannot be those of their holes, or are of another set.
    """
    expected = of_this_set(readings, report, blank, number)
    holes = {hole.id: hole for hole in report.holes(blank)}
    faults: list[Finding] = []
    sizes: list[str] = []
    for name, touches in readings.touches.items():
        hole = holes.get(name)
        if hole is None:
            continue  # the fit names unknown holes
        told = list(_faults(hole, touches, expected.point(hole.blank), error))
        faults += [
            Finding(
                code="touches-wrong", severity="stop", message=words, blank=blank, mill_pass=number
            )
            for words in told
        ]
        if not told:
            wide, high = _size(touches, expected.point(hole.blank))
            sizes.append(f"{name} {wide:.3f} by {high:.3f} mm, drilled as {hole.diameter:g}")
    if faults:
        raise Refusal(faults)
    note = Finding(
        code="refit-touched-sizes",
        severity="note",
        message=f"By its touches each hole is this wide: {'; '.join(sizes)}.",
        blank=blank,
        mill_pass=number,
    )
    centres = {name: middle(touches) for name, touches in readings.touches.items()}
    return replace(readings, holes=centres), (note,) if sizes else ()


def _size(touches: Touches, planned: Point) -> tuple[float, float]:
    """The hole's diameter by each pair, if the other axis stood where the program puts it."""
    (x, y), half = middle(touches), _halves(touches)
    off = (y - planned[1], x - planned[0])
    wide, high = (
        2 * (math.hypot(h, o) if abs(o) < h else h) + touches.probe
        for h, o in zip(half, off, strict=True)
    )
    return wide, high


def _halves(touches: Touches) -> tuple[float, float]:
    return (touches.right - touches.left) / 2, (touches.high - touches.low) / 2


def _faults(
    hole: RegistrationHole, touches: Touches, planned: Point, error: float
) -> Iterator[str]:
    """What is wrong with the touches of one hole."""
    free = (hole.diameter - touches.probe) / 2
    if free <= 0:
        yield (
            f"{hole.id} is {hole.diameter:g} mm wide, a tip of {touches.probe:g} mm does not go "
            "into it. Look at the tip's diameter, or whether it is another hole."
        )
        return
    within = HOLE_SIZE / 2 + SURE * error / math.sqrt(2)
    x, y = middle(touches)
    # the program touches along the lines through the planned place, a person through the middle
    off = (y - planned[1], x - planned[0])
    for pair, half, beside in zip(
        (("left", "right"), ("low", "high")), _halves(touches), off, strict=True
    ):
        chord = math.sqrt(free**2 - beside**2) if abs(beside) < free else free
        names = f"{hole.id}: {pair[0]} and {pair[1]}"
        if half <= 0:
            yield f"{names} are exchanged: {pair[1]} must be the larger coordinate."
        elif half > free + within:
            yield (
                f"{names} lie {2 * half:.3f} mm apart, at most {2 * free:.3f} fit a hole of "
                f"{hole.diameter:g} mm and a tip of {touches.probe:g} mm: another hole, a smaller "
                "tip than stated, or a touch without copper. Look and touch again."
            )
        elif half < chord - within:
            yield (
                f"{names} lie {2 * half:.3f} mm apart, a hole of {hole.diameter:g} mm and a tip of "
                f"{touches.probe:g} mm give {2 * chord:.3f}: a burr, another hole, or a tip that "
                "is larger or not round. Look, clean the rim and touch again."
            )
