"""Chips, edge speed and depth in one go of the cutters in use, and what is unwise of them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence

from millprep.model.blank import Grade
from millprep.model.cutter import Cutter, EndMill, Vee
from millprep.model.finding import Finding
from millprep.model.machine import Machine
from millprep.model.program import Cutting, Program
from millprep.standards.chips import (
    DRILLED_AT,
    STEP_LIMIT,
    bounds,
    chip_load,
    feed_for,
    spindle_for,
    surface_speed,
)

SLACK = 1e-9
"""Share by which rounding may pass a bound."""
LAPPED = ("register", "bore", "profile")
"""Works in which an end mill goes down lap by lap, a step at a time."""
DIGITS = 2
"""Digits of the feeds and speeds that are proposed."""


def cutters(
    programs: Sequence[Program],
    grades: Mapping[int, Grade | None],
    machine: Machine,
    *,
    whole: bool = False,
) -> tuple[tuple[Cutting, ...], tuple[Finding, ...]]:
    """How every program's cutter cuts, and what is unwise, the worst of each kind and cutter.

    Args:
        programs: of a set.
        grades: of the blanks, by number.
        machine: whose limits the remedies keep.
        whole: whether there is a note on drills that turn slower than in factories.
    """
    cuttings: list[Cutting] = []
    worst: dict[tuple[str, str], tuple[float, Finding]] = {}
    slow: list[Program] = []
    for program in programs:
        cut = cutting(program, grades.get(program.blank))
        if cut is None:
            continue
        cuttings.append(cut)
        for excess, fault in faults(cut, program.cutter, program.spindle, machine):
            key = (fault.code, cut.cutter)
            if key not in worst or excess > worst[key][0]:
                worst[key] = (excess, fault)
        if cut.steps is not None and program.spindle < DRILLED_AT[0]:
            slow.append(program)
    findings = [fault for _, fault in worst.values()]
    if whole and slow:
        findings.append(_slow(slow))
    return tuple(cuttings), tuple(findings)


def cutting(program: Program, grade: Grade | None = None) -> Cutting | None:
    """How the cutter of a program cuts a laminate; None where nothing turns or cuts."""
    cutter, spindle = program.cutter, program.spindle
    along, down = feeds(program)
    if not program.spins or not spindle > 0 or not (along or down):
        return None
    width = cutter.width(program.depth) if isinstance(cutter, Vee) else cutter.width(math.inf)
    steps = drill_steps(program) if cutter.kind == "drill" else ()
    return Cutting(
        file=program.file,
        cutter=cutter.name,
        width=width,
        surface_speed=surface_speed(width, spindle),
        chip_load=chip_load(along, spindle, cutter.teeth) if along and not steps else None,
        plunge_load=chip_load(down, spindle, cutter.teeth) if down else None,
        bounds=cutter.chip_load or bounds(cutter.kind, width, grade),
        step=max(max(step) for step in steps) if steps else lap_step(program),
        steps=max(map(len, steps), default=None),
    )


def feeds(program: Program) -> tuple[float | None, float | None]:
    """The fastest feeds below the surface, along a path and straight down, mm/min."""
    along: float | None = None
    down: float | None = None
    x, y, z = program.start
    for move in program.moves:
        if move.feed is not None and move.z < 0:
            if (move.x, move.y) != (x, y):
                along = max(along or 0.0, move.feed)
            elif move.z < z:
                down = max(down or 0.0, move.feed)
        x, y, z = move.x, move.y, move.z
    return along, down


def drill_steps(program: Program) -> tuple[tuple[float, ...], ...]:
    """Of every hole what each step takes, mm, the first from the surface."""
    plunges = (move for move in program.moves if move.feed is not None and move.z < 0)
    steps: list[tuple[float, ...]] = []
    for _, moves in itertools.groupby(plunges, lambda move: (move.x, move.y)):
        depths = [0.0, *(-move.z for move in moves)]
        steps.append(tuple(b - a for a, b in itertools.pairwise(depths)))
    return tuple(steps)


def lap_step(program: Program) -> float:
    """The deepest that a cutter other than a drill goes in one lap, mm."""
    cutter = program.cutter
    if isinstance(cutter, EndMill) and any(work in LAPPED for work in program.works):
        return min(cutter.step, program.depth)
    return program.depth


def faults(
    cut: Cutting, cutter: Cutter, spindle: float, machine: Machine
) -> Iterator[tuple[float, Finding]]:
    """What is unwise of one program, each with how many times it is beyond its bound."""
    least, most = cut.bounds
    loads = {"feed": cut.chip_load or 0.0, "plunge": cut.plunge_load or 0.0}
    noun = max(loads, key=lambda name: loads[name])
    if loads[noun] > most * (1 + SLACK):
        yield loads[noun] / most, _high(cut, cutter, spindle, machine, loads[noun], noun)
    if cut.load is not None and cut.load < least * (1 - SLACK):
        yield least / cut.load, _low(cut, cutter, spindle, machine, cut.load)
    deepest = STEP_LIMIT.get(cutter.kind, math.inf) * cut.width
    if cut.step > deepest * (1 + SLACK):
        yield cut.step / deepest, _deep(cut, cutter)


def _high(
    cut: Cutting, cutter: Cutter, spindle: float, machine: Machine, load: float, noun: str
) -> Finding:
    most = cut.bounds[1]
    feed = feed_for(load, spindle, cutter.teeth)
    remedy = f"Slow the {noun} to {_down(feed_for(most, spindle, cutter.teeth)):g} mm/min"
    faster = _up(spindle_for(feed, most, cutter.teeth))
    if faster <= machine.max_spindle:
        remedy += f", or raise the spindle to {faster:g} rev/min"
    message = (
        f"{_takes(cutter, load, feed, spindle)}, more than {_bound(cut, cutter, most)}: a thin "
        f"cutter breaks, and edges fray. {remedy}."
    )
    return Finding(code="chip-load-high", severity="warn", message=message)


def _low(cut: Cutting, cutter: Cutter, spindle: float, machine: Machine, load: float) -> Finding:
    least = cut.bounds[0]
    feed = feed_for(load, spindle, cutter.teeth)
    noun, limit = ("feed", machine.max_feed)
    if cut.chip_load is None:
        noun, limit = ("plunge", machine.max_plunge)
    faster = _up(feed_for(least, spindle, cutter.teeth))
    remedy = f"slow the spindle to {_down(spindle_for(feed, least, cutter.teeth)):g} rev/min"
    if faster <= limit:
        remedy = f"raise the {noun} to {faster:g} mm/min, or {remedy}"
    message = (
        f"{_takes(cutter, load, feed, spindle)}, less than {_bound(cut, cutter, least)}: it rubs "
        f"instead of cutting, heats the resin and grows blunt. {remedy[0].upper()}{remedy[1:]}."
    )
    return Finding(code="chip-load-low", severity="warn", message=message)


def _deep(cut: Cutting, cutter: Cutter) -> Finding:
    deepest = STEP_LIMIT[cutter.kind]
    remedy = f"Set its step to {deepest * cut.width:g} mm or less, or its depth"
    if cutter.kind == "drill":
        remedy = "Let it withdraw after two diameters, then after each"
    message = (
        f"{cutter.name} goes {cut.step:.2f} mm deep in one go, {cut.step / cut.width:.1f} times "
        f"its width of {cut.width:g} mm; more than {deepest:g} times clogs and breaks it. "
        f"{remedy}."
    )
    return Finding(code="step-deep", severity="warn", message=message)


def _slow(programs: Sequence[Program]) -> Finding:
    names = ", ".join(sorted({program.cutter.name for program in programs}))
    slowest = min(program.spindle for program in programs)
    message = (
        f"Factories drill boards at {DRILLED_AT[0]:g} to {DRILLED_AT[1]:g} rev/min; {names} turn "
        f"at {slowest:g}. That works with sharp carbide at this chip load, but wears drills "
        "sooner: change a drill that leaves a burr."
    )
    return Finding(code="spindle-slow", severity="note", message=message)


def _takes(cutter: Cutter, load: float, feed: float, spindle: float) -> str:
    per = "per rev" if cutter.kind == "drill" else "per tooth"
    teeth = "" if cutter.kind == "drill" else f", {cutter.teeth} teeth"
    at = f"{feed:g} mm/min at {spindle:g} rev/min"
    return f"{cutter.name} takes {_microns(load)} {per}{teeth} ({at})"


def _bound(cut: Cutting, cutter: Cutter, bound: float) -> str:
    if cutter.chip_load is not None:
        return f"the {_microns(bound)} that the job sets for it"
    return f"the {_microns(bound)} of common practice for {cut.width:.2f} mm"


def _microns(value: float) -> str:
    return f"{value * 1000:.3g} µm"


def _down(value: float) -> float:
    """Rounded down to `DIGITS` digits."""
    digit = 10.0 ** (math.floor(math.log10(value)) + 1 - DIGITS)
    return round(math.floor(value / digit + SLACK) * digit, 6)


def _up(value: float) -> float:
    """Rounded up to `DIGITS` digits."""
    digit = 10.0 ** (math.floor(math.log10(value)) + 1 - DIGITS)
    return round(math.ceil(value / digit - SLACK) * digit, 6)
