"""A dry run: with the spindle off around all that a pass cuts, and then to its marks."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.cache import cached
from millprep.gcode.head import HOVER, LOOK_FEED
from millprep.gcode.moves import LOOK, Pen, look
from millprep.gcode.run_time import Motions
from millprep.geometry.path import FloatArray, Point
from millprep.model.blank import Box, Clamp
from millprep.model.cutter import Cutter
from millprep.model.finding import Finding
from millprep.model.machine import Machine
from millprep.model.milling_pass import MillingPass
from millprep.model.program import Move, Program

SMOOTHED = 0.1
"""The outline runs up to this far outside of the hull of all moves, mm, and so has few corners."""


def tallest(mill_pass: MillingPass, clamps: Sequence[Clamp]) -> float:
    """Height of the tallest clamp that is on in a pass, mm above the copper; 0 for none."""
    on = [clamp.height for clamp in clamps if clamp.on_in(mill_pass.number)]
    return max([0.0, *on])


def check_clamp_height(
    mill_pass: MillingPass, clamps: Sequence[Clamp], machine: Machine
) -> tuple[Finding, ...]:
    """A warning when a clamp is higher than the machine can go over."""
    over = tallest(mill_pass, clamps)
    if height(machine, over) is not None:
        return ()
    message = (
        f"A clamp of pass {mill_pass.number} is {over:g} mm high, and {machine.clamp_clearance:g} "
        f"mm above it the machine goes no higher than {machine.top:g} mm: there is no dry run "
        "around the cuts. Look along the spoilboard yourself, or use a lower clamp."
    )
    return (
        Finding(
            code="dry-run-left-out",
            severity="warn",
            message=message,
            blank=mill_pass.blank,
            mill_pass=mill_pass.number,
        ),
    )


def height(machine: Machine, clamp: float) -> float | None:
    """Height of an outline over clamps of this height; None where the machine cannot go over."""
    high = max(machine.clearance, clamp + machine.clamp_clearance if clamp > 0 else 0.0)
    return high if high <= machine.top else None


def program(
    file: str,
    mill_pass: MillingPass,
    cutter: Cutter,
    machine: Machine,
    around: Sequence[Program] = (),
    clamps: Sequence[Clamp] = (),
    shown: Sequence[Point] = (),
) -> Program | None:
    """The cutter goes around, then stops over every place in turn, the spindle off.

    Args:
        file: its path in the set.
        mill_pass: where it is zeroed.
        cutter: the one that is fitted first.
        machine: heights and limits.
        around: the programs whose moves it goes around; none for no outline.
        clamps: of all passes.
        shown: places that it shows just above the copper, machine frame.

    None when it would go nowhere.
    """
    clamp = tallest(mill_pass, clamps)
    high = height(machine, clamp) if around else None
    if high is None and not shown:
        return None
    start = (*mill_pass.touch, machine.clearance if high is None else high)
    pen = Pen(machine, cutter, start)
    notes = ["dry run: the spindle stays off"]
    if high is not None:
        corners, past = outline(around, machine.reachable)
        feed = min(LOOK_FEED, machine.max_feed)
        first = _nearest(corners, mill_pass.touch)
        (x, y), *others = [*corners[first:], *corners[: first + 1]]
        on = [clamp for clamp in clamps if clamp.on_in(mill_pass.number)]
        low = high > machine.clearance and _free_of(on, corners, cutter, machine)
        pen.moves.append(Move("rapid", x, y, high))
        for level in (high, machine.clearance) if low else (high,):
            if level != high:
                pen.moves.append(Move("feed", x, y, level, feed=feed))
            pen.moves += [Move("feed", *at, level, feed=feed) for at in others]
        if low:
            pen.moves.append(Move("rapid", x, y, high))
        pen.moves.append(Move("rapid", *mill_pass.touch, high))
        pen.at = start
        notes += _outline_notes(high, clamp, past)
        if high > machine.clearance:
            notes.append(_low_note(machine.clearance, low=low))
    for at in shown:
        look(pen, at)
    if shown:
        pen.over(*mill_pass.touch)
        notes.append(
            f"at each mark the tip goes down to {HOVER:g} mm above the copper and waits {LOOK:g} "
            "s: check that it is over the mark"
        )
    return Program(
        file=file,
        blank=mill_pass.blank,
        mill_pass=mill_pass.number,
        cutter=cutter,
        works=("dry-run",),
        depth=0.0,
        spindle=0.0,
        start=start,
        moves=tuple(pen.moves),
        notes=tuple(notes),
        spins=False,
    )


def _free_of(
    clamps: Sequence[Clamp], corners: Sequence[Point], cutter: Cutter, machine: Machine
) -> bool:
    """Whether the outline at the height of rapids keeps off all clamps."""
    line, free = shapely.LinearRing(corners), machine.clamp_clearance
    return all(
        rise <= 0
        or shapely.distance(line, b.shape) >= cutter.radius_up(rise, machine.collet) + free
        for clamp in clamps
        for b, rise in [(clamp.box, clamp.height + free - machine.clearance)]
    )


def _low_note(clearance: float, *, low: bool) -> str:
    if low:
        return f"then it goes around once more at the height of the rapids, {clearance:g} mm"
    return (
        f"it does not go around at the height of the rapids, {clearance:g} mm: a clamp is in the "
        "way of the outline, though of no rapid"
    )


def outline(around: Sequence[Program], reach: Box) -> tuple[list[Point], float]:
    """Corners of a convex outline around all that programs reach, and how much of it is cut off.

    The outline holds every move grown by half the width that its cutter has at the surface, as far
    as the axis can go there; the second value is how far cutters reach past that, mm.
    """
    reached = []
    for program in around:
        half = program.cutter.width(max(program.depth, 0.0)) / 2
        hull = _hull(program.start, program.ends, program.clockwise)
        reached.append(shapely.buffer(hull, half))
    hull = shapely.union_all(reached).convex_hull
    x0, y0, x1, y1 = hull.bounds
    past = max(reach.x0 - x0, reach.y0 - y0, x1 - reach.x1, y1 - reach.y1, 0.0)
    hull = hull.buffer(SMOOTHED, join_style="mitre").simplify(SMOOTHED)
    hull = hull.intersection(reach.shape)
    # a normal polygon begins at its lowest corner; the way round does not matter
    corners = shapely.get_coordinates(shapely.normalize(hull))[:-1]
    return [(x, y) for x, y in corners.tolist()], past


@cached
def _hull(
    start: tuple[float, float, float], ends: FloatArray, clockwise: NDArray[np.bool_]
) -> shapely.Geometry:
    """The hull of all places that the axis comes by; `ends` and `clockwise` as of a program."""
    _, xy = Motions(start, ends, clockwise).places()
    return shapely.MultiPoint(np.vstack((start[:2], xy))).convex_hull


def _nearest(corners: Sequence[Point], place: Point) -> int:
    return min(range(len(corners)), key=lambda n: math.dist(corners[n], place))


def _outline_notes(high: float, clamp: float, past: float) -> Iterator[str]:
    over = f", {high - clamp:g} mm above the tallest clamp" if clamp > 0 else ""
    yield f"it goes around all that this pass cuts, {high:g} mm above Z zero{over}"
    yield (
        "look: no clamp, cable or hose is in the way of cutter, collet and spindle, and the blank "
        "lies under all of the outline"
    )
    if past > 0:
        yield (
            f"the outline ends where the machine's travel does; cutters reach {past:.2f} mm past it"
        )
