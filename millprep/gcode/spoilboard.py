"""The program for the spoilboard: holes for the pins, cut with the blank off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from millprep.gcode.build import build
from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.cut import HoleCut
from millprep.model.cutter import Cutter
from millprep.model.job.job import JobPlan
from millprep.model.machine import Machine
from millprep.model.milling_pass import MillingPass
from millprep.model.program import Program

SPOILBOARD_PASS = 0
"""Number of the pass that cuts the spoilboard; it comes before every pass of a blank."""


def spoilboard_pass(machine: Machine, blank: int) -> MillingPass:
    """The spoilboard as a pass: machine and blank frame are the same, Z zero in a corner."""
    reach = machine.reachable
    touch = (max(reach.x0, 0.0), max(reach.y0, 0.0))
    return MillingPass(blank, SPOILBOARD_PASS, reach.shape, Pose(), (), touch)


def spoilboard_program(
    job: JobPlan, places: Sequence[Point], cutter: Cutter, blank: int
) -> Program:
    """The program that bores the pin holes at these places (machine frame)."""
    plan = job.registration
    cuts = [
        HoleCut(place, plan.pin, cutter.name, plan.pin_depth, "bore", None, f"p{n}")
        for n, place in enumerate(places, 1)
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
        ),
    )
