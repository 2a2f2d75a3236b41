"""Surface maps in the walk: which programs follow which, and what grooves would be without them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from millprep.gcode.level import Arc, levelled
from millprep.geometry.path import Point
from millprep.model.cutter import Cutter
from millprep.model.derivation import Derivation
from millprep.model.finding import Finding, Refusal
from millprep.model.job.job import JobPlan
from millprep.model.machine import Machine
from millprep.model.milling_pass import MillingPass
from millprep.model.program import Move, Program
from millprep.model.set_of_programs import CutSet, MilledBlank
from millprep.model.surface_map import SurfaceMap, Uncorrected

FREE = 0.3
"""A dry run stays above the highest copper by this, mm."""


def with_maps(cut_set: CutSet, plan: JobPlan, derivation: Derivation | None) -> CutSet:
    """The set whose programs follow the maps of a derivation once they are written.

    Its own programs stay as over flat copper: pictures and depths count from the copper.

    Raises:
        Refusal: with every program that its map does not reach.
    """
    if derivation is None or not derivation.levellings:
        return cut_set
    maps = derivation.levellings
    faults: list[Finding] = []
    blanks: list[MilledBlank] = []
    for blank in cut_set.blanks:
        passes: list[MillingPass] = []
        for mill_pass in blank.passes:
            mapped = replace(mill_pass, levelling=maps.get((blank.number, mill_pass.number)))
            for program in mapped.programs:
                faults += _check_dry_run(mapped, program)
                try:
                    levelled_program(mapped, program, cut_set.machine)
                except Refusal as refusal:
                    faults += refusal.findings
            passes.append(mapped)
        blanks.append(replace(blank, passes=tuple(passes)))
    if faults:
        raise Refusal(faults)
    deepest = max(use.depth for use in plan.isolation.uses)
    levelled_set = replace(cut_set, blanks=tuple(_with_grooves(blank, deepest) for blank in blanks))
    notes = (
        _grooves_finding(grooves)
        for mill_pass in levelled_set.passes
        for grooves in mill_pass.uncorrected
    )
    return replace(levelled_set, findings=(*cut_set.findings, *notes))


def levelled_program(mill_pass: MillingPass, program: Program, machine: Machine) -> Program:
    """A program as it is written: over the map of its pass, if there is one.

    A probing program or a dry run follows none.

    Raises:
        Refusal: when the map does not reach.
    """
    levelling = mill_pass.levelling
    if levelling is None or not program.spins:
        return program
    return levelled(program, levelling.surface, machine, levelling.left)


def _check_dry_run(mill_pass: MillingPass, program: Program) -> list[Finding]:
    """A stop where the copper rises to the height of a dry run, which follows no map."""
    levelling = mill_pass.levelling
    if levelling is None or program.work != "dry-run":
        return []
    highest, lowest = levelling.surface.highest, min(move.z for move in program.moves)
    if highest <= lowest - FREE:
        return []
    message = (
        f"The copper rises to {highest:.3f} mm, and the dry run goes down to {lowest:g} mm. "
        "Set Z zero on higher copper ([setup] touch) and probe again, or flatten the blank."
    )
    return [
        Finding(
            code="map-above-clearance",
            severity="stop",
            message=message,
            blank=program.blank,
            mill_pass=program.mill_pass,
            file=program.file,
        )
    ]


def _with_grooves(blank: MilledBlank, depth: float) -> MilledBlank:
    """A blank with the grooves that its isolating programs would have cut without the maps."""
    copper = blank.laminate.copper
    passes: list[MillingPass] = []
    for mill_pass in blank.passes:
        levelling = mill_pass.levelling
        grooves = [
            uncorrected(program, levelling.surface, depth=depth, copper=copper)
            for program in mill_pass.programs
            if levelling is not None and program.spins and "isolate" in program.works
        ]
        known = tuple(groove for groove in grooves if groove is not None)
        passes.append(replace(mill_pass, uncorrected=known))
    return replace(blank, passes=tuple(passes))


def _grooves_finding(grooves: Uncorrected) -> Finding:
    """A note on the grooves as they would be without the map."""
    foot, top = grooves.foot, grooves.surface
    message = (
        f"Without the surface map the grooves of {grooves.cutter} would be {foot.min():.3f} to "
        f"{foot.max():.3f} mm wide at the foot of the copper and {top.min():.3f} to "
        f"{top.max():.3f} at its surface"
    )
    if grooves.lost:
        message += f"; {grooves.lost_length:.0f} mm of them would not cut through the copper"
    return Finding(
        code="grooves-without-map",
        severity="note",
        message=f"{message}.",
        frame="machine" if grooves.lost else None,
        at=grooves.lost[0] if grooves.lost else None,
        blank=grooves.blank,
        mill_pass=grooves.mill_pass,
    )


STEP = 1.0
"""Widths are looked at every so often along a groove, mm."""
STRETCHES_JOIN = 5.0
"""Stretches nearer to each other than this count as one, mm."""


def uncorrected(
    program: Program, surface: SurfaceMap, *, depth: float, copper: float
) -> Uncorrected | None:
    """The grooves of a program's cuts down to `depth` in copper this thick; None without any.

    Args:
        program: as over flat copper.
        surface: the map of its pass.
        depth: of the deepest isolating cut, mm; deeper cuts are holes and edges.
        copper: thickness of the foil.
    """
    steps = np.array([step for step in _steps(program) if -step[4] <= depth + 1e-6])
    if not len(steps):
        return None
    middle = (steps[:, :2] + steps[:, 2:4]) / 2
    real = surface.heights(middle) - steps[:, 4]
    top = np.array([_width(program.cutter, d, 0.0) for d in real.tolist()])
    foot = np.array([_width(program.cutter, d, copper) for d in real.tolist()])
    not_through = foot == 0
    length = np.hypot(*(steps[:, 2:4] - steps[:, :2]).T)
    return Uncorrected(
        blank=program.blank,
        mill_pass=program.mill_pass,
        cutter=program.cutter.name,
        segments=steps[:, :4],
        surface=top,
        foot=foot,
        lost=tuple(_places(middle[not_through].tolist())),
        lost_length=float(length[not_through].sum()),
    )


def _width(cutter: Cutter, depth: float, level: float) -> float:
    """Width of a groove, 0 where the tip does not get below the level."""
    return cutter.width(depth, level) if depth > level else 0.0


def _steps(program: Program) -> Iterator[tuple[float, float, float, float, float]]:
    """Short steps of the cuts below the copper's surface: x0, y0, x1, y1, and the tip's z."""
    x, y, z = program.start
    for move in program.moves:
        if move.motion != "rapid" and move.z < 0 and z < 0 and (x, y) != (move.x, move.y):
            points = _points((x, y), move)
            yield from ((*a, *b, (z + move.z) / 2) for a, b in itertools.pairwise(points))
        x, y, z = move.x, move.y, move.z


def _points(start: Point, move: Move) -> Sequence[Point]:
    """Places along a move at steps of at most `STEP`."""
    if move.i is None or move.j is None:
        n = math.ceil(math.dist(start, (move.x, move.y)) / STEP)
        dx, dy = move.x - start[0], move.y - start[1]
        return [(start[0] + dx * k / n, start[1] + dy * k / n) for k in range(n + 1)]
    arc = Arc.of(start, move)
    n = max(math.ceil(arc.radius * abs(arc.sweep) / STEP), 2)
    return [arc.at(k / n) for k in range(n + 1)]


def _places(spots: Sequence[Point]) -> Iterator[Point]:
    """The first place of every stretch."""
    last: Point | None = None
    for spot in spots:
        if last is None or math.dist(last, spot) > STRETCHES_JOIN:
            yield (float(spot[0]), float(spot[1]))
        last = spot
