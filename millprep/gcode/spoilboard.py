"""The program for the spoilboard: holes for the pins, cut with the blank off."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from millprep.gcode.build import build
from millprep.geometry.pose import Pose
from millprep.model.blank import Blank
from millprep.model.cut import HoleCut
from millprep.model.cutter import Cutter
from millprep.model.job.job import JobPlan
from millprep.model.job.setup import RegistrationPlan
from millprep.model.machine import Machine
from millprep.model.milling_pass import MillingPass, RegistrationHole
from millprep.model.program import Program

SPOILBOARD_PASS = 0
"""Number of the pass that cuts the spoilboard; it comes before every pass of a blank."""
BELOW = 0.1
"""A pin ends this far below the copper's foot at least, mm: cutters pass over it."""


def spoilboard_pass(machine: Machine, blank: int) -> MillingPass:
    """The spoilboard as a pass: machine and blank frame are the same, Z zero in a corner."""
    reach = machine.reachable
    touch = (max(reach.x0, 0.0), max(reach.y0, 0.0))
    return MillingPass(blank, SPOILBOARD_PASS, reach.shape, Pose(), (), touch)


def spoilboard_program(
    job: JobPlan, holes: Sequence[RegistrationHole], cutter: Cutter, laminate: Blank
) -> Program:
    """The program that bores the spoilboard for the pins of these registration holes."""
    plan, blank = job.registration, laminate.number
    places = {hole.pin: hole.machine for hole in holes}
    cuts = [
        HoleCut(place, plan.pin, cutter.name, plan.pin_depth, "bore", None, pin)
        for pin, place in places.items()
    ]
    mill_pass = spoilboard_pass(job.machine, blank)
    flatness = job.isolation.flatness
    (program,) = build(
        cuts, mill_pass, job.cutters, job.machine, job.profile, dry=False, flatness=flatness
    )
    name = program.file.rsplit("/", 1)[-1]
    return replace(
        program,
        file=f"spoilboard/blank-{blank}-{name}",
        zero_on="the spoilboard",
        notes=(
            "the blank and its clamps are off: these holes are for the pins in the spoilboard",
            f"holes are {plan.pin:g} mm; press the pins in until they sit below the copper",
            *_pin_notes(plan, holes, laminate),
        ),
    )


def _pin_notes(
    plan: RegistrationPlan, holes: Sequence[RegistrationHole], laminate: Blank
) -> Iterator[str]:
    """The pins: how many, how thick and long, and what is special about some."""
    last = max(hole.used_in for hole in holes)
    count = sum(hole.used_in == last for hole in holes)
    # half in the blank at least, and below the copper
    least = math.ceil(10 * (plan.pin_depth + laminate.thickness / 2) - 1e-6) / 10
    top = plan.pin_depth + laminate.thickness - laminate.copper - BELOW
    most = math.floor(10 * top + 1e-6) / 10
    size = f"{plan.pin_diameter:g} mm in diameter, {min(least, most):g} to {most:g} mm long"
    firsts = {h.used_in: h.pin for h in holes if h.role == "locate" and h.free is None}
    relieved = {h.pin: firsts[h.used_in] for h in holes if h.free is not None and not h.slot}
    kind = "pins, one of them relieved" if relieved else "round pins"
    yield f"you need {count} {kind}, {size}"
    for pin, other in relieved.items():
        yield (
            f"relieve the pin of {pin}: file two flats on it until {plan.pin_flats:g} mm are left "
            f"between them, and turn the flats square to the line from {other} to {pin}"
        )
