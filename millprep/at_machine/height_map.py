"""From readings to the height map that a pass follows, or what is wrong with them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from shapely.geometry.base import BaseGeometry

from millprep.at_machine.height_map_readings import (
    HeightFault,
    MapReadings,
    Reading,
    interpolation_error,
    worst_fault,
)
from millprep.geometry.path import FloatArray, Point
from millprep.model.finding import Finding, Frame, Refusal
from millprep.model.surface_map import LEAST_NODES, Levelling, SurfaceMap

SAME_LINE = 0.05
"""Readings whose x or y differ by less are in one column or row, mm."""
REPEATS = 4.0
"""Two readings of one place may differ by so many times the repeatability: each is off by its
own error, √2 times one of them together, and 2.8 times that is seen once in 200 pairs."""
ASSUMED = 0.005
"""Repeatability where none is given, mm: assumed, no source."""
SURE = 3.0
"""A reading is right within so many standard deviations."""
INCH = 25.4
HERE = 0.1
"""A reading this near to the touch point is of the touch point, mm."""
ZERO = 0.02
"""At the touch point the copper reads 0 within this, mm, or the repeatability if that is more."""


def levelling(
    readings: MapReadings,
    set_id: str,
    blank: int,
    number: int,
    cuts: BaseGeometry,
    touch: Point,
    repeatability: float | None,
) -> tuple[Levelling, tuple[Finding, ...]]:
    """The map of a pass and what to report of it.

    Args:
        readings: as read.
        set_id: id of the set that is being cut.
        blank: its number.
        number: of the pass.
        cuts: everything that the pass cuts, machine frame.
        touch: where Z is zeroed in this pass; what was read there checks zero and is not a node.
        repeatability: standard deviation of one reading, mm; None where none is given.

    Raises:
        Refusal: with what is wrong with the readings.
    """
    at = _At(blank, number, readings.file.file)
    findings = _of_this_pass(readings, set_id, at)
    sigma = ASSUMED if repeatability is None else round(repeatability, 6)
    at_zero = [p for p in readings.points if max(abs(p.x - touch[0]), abs(p.y - touch[1])) <= HERE]
    points = [p for p in readings.points if p not in at_zero]
    _zero_kept(at_zero, sigma, at)
    surface, order, confirmed = _gridded(points, cuts, sigma, at)
    worst = worst_fault(surface, order, confirmed, sigma)
    if worst is not None:
        raise Refusal([_faulty(worst, surface, points, at)])
    # as the report holds them
    left = round(interpolation_error(surface) + SURE * sigma, 6)
    made = Levelling(blank, number, surface, at.file, sigma, repeatability is None, left)
    return made, (*findings, *_notes(made, at))


class _At:
    """Where findings belong."""

    def __init__(self, blank: int, number: int, file: str) -> None:
        self.blank, self.number, self.file = blank, number, file

    def finding(
        self,
        code: str,
        message: str,
        place: Point | None = None,
        *,
        line: int | None = None,
        severity: str = "stop",
    ) -> Finding:
        frame: Frame | None = None if place is None else "machine"
        return Finding(
            code=code,
            severity=severity,  # type: ignore[arg-type]  # one of three words
            message=message,
            frame=frame,
            at=None if place is None else (float(place[0]), float(place[1])),
            blank=self.blank,
            mill_pass=self.number,
            file=self.file,
            line=line,
        )


def _of_this_pass(readings: MapReadings, set_id: str, at: _At) -> list[Finding]:
    """Refuse a map of another set or pass; warn of a table that does not name its set."""
    head = readings.head
    faults: list[Finding] = []
    if head.get("set", set_id) != set_id:
        message = (
            f"The map was probed for set {head['set']}, and this is set "
            f"{set_id}. Probe with the program that millprep probe writes for this set."
        )
        faults.append(at.finding("map-of-another-set", message))
    for noun, mine in (("blank", at.blank), ("pass", at.number)):
        if noun in head and head[noun] != str(mine):
            message = (
                f"The map is of {noun} {head[noun]}, not {mine}. Give the number with --{noun}, or "
                "another map."
            )
            faults.append(at.finding("map-of-another-pass", message))
    if head.get("unit", "mm").lower() != "mm":
        message = f"The unit of the map is {head['unit']}. Write it in mm."
        faults.append(at.finding("map-in-inches", message))
    if faults:
        raise Refusal(faults)
    if "set" in head:
        return []
    message = (
        "The map does not name the set it was probed for, so a map of another blank would not be "
        f"noticed. Add the line `# set {set_id}` at its head."
    )
    return [at.finding("map-without-set", message, severity="warn")]


def _zero_kept(points: Sequence[Reading], sigma: float, at: _At) -> None:
    """Refuse a map whose zero is not that of the cutters."""
    off = [p for p in points if abs(p.z) > max(ZERO, REPEATS * sigma)]
    if off:
        p = off[0]
        message = (
            f"At the touch point X{p.x:.3f} Y{p.y:.3f}, where Z is zeroed, the copper reads "
            f"{p.z:+.3f} (line {p.line}): zero was set elsewhere or was lost. Set Z zero there "
            "with the tip and probe again."
        )
        raise Refusal([at.finding("map-zero-off", message, (p.x, p.y), line=p.line)])


def _gridded(
    points: Sequence[Reading], cuts: BaseGeometry, sigma: float, at: _At
) -> tuple[SurfaceMap, FloatArray, FloatArray]:
    """The map, the order in which its nodes were read, and which were read twice and agreed."""
    x = _lines([p.x for p in points])
    y = _lines([p.y for p in points])
    if _in_inches(x, y, cuts):
        message = (
            "The map's places are in inches: multiplied by 25.4 they enclose what the pass cuts. "
            "Set the machine to mm and probe again."
        )
        raise Refusal([at.finding("map-in-inches", message)])
    if len(x) < LEAST_NODES or len(y) < LEAST_NODES:
        message = (
            f"The map has {len(points)} points in {len(x)} columns and {len(y)} rows. "
            f"{LEAST_NODES} of each are the least that can be held against each other."
        )
        raise Refusal([at.finding("map-too-few", message)])
    here: dict[tuple[int, int], list[tuple[int, Reading]]] = {}
    for turn, p in enumerate(points):
        i, j = int(np.argmin(np.abs(x - p.x))), int(np.argmin(np.abs(y - p.y)))
        here.setdefault((i, j), []).append((turn, p))
    faults = [*_holes(here, x, y, at), *_differing(here, sigma, at)]
    if faults:
        raise Refusal(faults)
    z, order, confirmed = (np.zeros((len(y), len(x))) for _ in range(3))
    for (i, j), read in here.items():
        z[j, i] = np.mean([p.z for _, p in read])
        order[j, i] = read[0][0]
        confirmed[j, i] = len(read) > 1
    return SurfaceMap(*(np.round(axis, 4) for axis in (x, y, z))), order, confirmed


def _lines(values: Sequence[float]) -> FloatArray:
    """Places of columns or rows: the mean of readings that are near each other."""
    rising = np.sort(np.array(values))
    ends = np.flatnonzero(np.diff(rising) > SAME_LINE) + 1
    return np.array([float(part.mean()) for part in np.split(rising, ends)])


def _in_inches(x: FloatArray, y: FloatArray, cuts: BaseGeometry) -> bool:
    """Whether the grid encloses the cuts only when it is taken to be in inches."""
    x0, y0, x1, y1 = cuts.bounds

    def encloses(by: float) -> bool:
        play = SAME_LINE * by
        return bool(
            by * x[0] <= x0 + play
            and by * x[-1] >= x1 - play
            and by * y[0] <= y0 + play
            and by * y[-1] >= y1 - play
        )

    return encloses(INCH) and not encloses(1.0)


def _holes(
    here: dict[tuple[int, int], list[tuple[int, Reading]]], x: FloatArray, y: FloatArray, at: _At
) -> Iterator[Finding]:
    """A finding for each node of the grid that has no reading."""
    for j in range(len(y)):
        for i in range(len(x)):
            if (i, j) not in here:
                message = (
                    f"There is no reading at X{x[i]:.3f} Y{y[j]:.3f}, where a column and a row of "
                    "the others cross. Probe it as well, or look for a typing error in x or y."
                )
                yield at.finding("map-hole", message, (float(x[i]), float(y[j])))


def _differing(
    here: dict[tuple[int, int], list[tuple[int, Reading]]], sigma: float, at: _At
) -> Iterator[Finding]:
    """A finding for each place that was read twice with different heights."""
    for read in here.values():
        heights = [p.z for _, p in read]
        off = max(heights) - min(heights)
        if off > REPEATS * sigma:
            lines = ", ".join(str(p.line) for _, p in read)
            p = read[-1][1]
            message = (
                f"The readings at X{p.x:.3f} Y{p.y:.3f} (lines {lines}) differ by {off:.3f} mm, "
                f"more than {REPEATS * sigma:.3f}. Read the place again and keep one line."
            )
            yield at.finding("map-duplicate", message, (p.x, p.y), line=p.line)


def _faulty(fault: HeightFault, surface: SurfaceMap, points: Sequence[Reading], at: _At) -> Finding:
    """A reading that does not fit its neighbours, or a jump between two of them."""
    i, j = fault.node
    place = (float(surface.x[i]), float(surface.y[j]))
    line = next(
        p.line
        for p in points
        if abs(p.x - place[0]) <= SAME_LINE and abs(p.y - place[1]) <= SAME_LINE
    )
    where = f"X{place[0]:.3f} Y{place[1]:.3f}"
    if fault.jump:
        message = (
            f"From {where} on (line {line}) all heights are {fault.by:+.3f} mm off those before, "
            f"more than {fault.allowed:.3f}: zero was lost, the blank moved or the tip slipped "
            "there. Set Z zero and probe all points again."
        )
        return at.finding("map-jump", message, place, line=line)
    message = (
        f"The reading at {where} (line {line}) is {surface.z[j, i]:.3f}, but its neighbours "
        f"suggest {fault.expected:.3f} within {fault.allowed:.3f} mm: a chip, a burr, or a "
        "typing error. Clean the place and read it again. A second line for the same place that "
        "agrees confirms the first."
    )
    return at.finding("map-outlier", message, place, line=line)


def _notes(made: Levelling, at: _At) -> Iterator[Finding]:
    """What the map shows, and what error it leaves."""
    surface = made.surface
    if made.assumed:
        message = (
            f"The repeatability of a reading is assumed: {made.repeatability:g} mm (standard "
            "deviation). Touch one place ten times and give it as [machine] probe_repeatability "
            "or with --repeatability."
        )
        yield at.finding("repeatability-assumed", message, severity="note")
    message = (
        f"The copper is between {surface.lowest:+.3f} and {surface.highest:+.3f} mm by "
        f"{surface.z.size} readings. Programs of this pass follow it. It may still be "
        f"{made.left:.3f} mm off, up or down ({made.left - SURE * made.repeatability:.3f} between "
        f"readings, {SURE:g} × {made.repeatability:g} for a reading); the proof uses that as its "
        "flatness."
    )
    yield at.finding("map-flatness", message, severity="note")
