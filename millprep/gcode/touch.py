"""Touching a hole's copper rim on four sides: what a plain controller can do of measuring.

RS-274 has G38.2, the straight probe (NISTIR 6556): it feeds towards a target and stops
where the circuit closes. The place stands in parameters 5061 to 5066 then, which few displays
show; so the program stops after every touch, and the person writes down what the display says.
"""

from __future__ import annotations

from collections.abc import Sequence

from millprep.gcode.moves import HOVER, LOOK, Pen, look
from millprep.model.machine import Machine
from millprep.model.milling_pass import MillingPass, RegistrationHole
from millprep.model.plan import ProbePlan
from millprep.model.program import Move, Program

FARTHEST_OFF = 1.0
"""A hole is looked for this far from its place, at most, mm; the dry look before shows it."""
SPARE = 0.2
"""A touch is aimed this far past where the copper may be, mm: it must meet it on the way."""
SIDES = (("left", -1, 0), ("right", 1, 0), ("low", 0, -1), ("high", 0, 1))


def touched(mill_pass: MillingPass) -> list[RegistrationHole]:
    """The holes by which a pass is found, in their order."""
    return [h for h in mill_pass.registration if h.role != "witness"]


def program(file: str, mill_pass: MillingPass, plan: ProbePlan, machine: Machine) -> Program:
    """The tip goes into every hole by which a pass is found, and touches it on four sides."""
    start = (*mill_pass.touch, machine.clearance)
    pen = Pen(machine, plan.cutter, start)
    holes = touched(mill_pass)
    for hole in holes:
        hole_sides(pen, hole, plan)
    pen.over(*mill_pass.touch)
    return Program(
        file=file,
        blank=mill_pass.blank,
        mill_pass=mill_pass.number,
        cutter=plan.cutter,
        works=("probe",),
        depth=plan.depth,
        spindle=0.0,
        start=start,
        moves=tuple(pen.moves),
        notes=_notes(holes),
        spins=False,
    )


def hole_sides(pen: Pen, hole: RegistrationHole, plan: ProbePlan) -> None:
    """Look, go down in the middle, touch and retreat four times, rise."""
    x, y = hole.machine
    play = (hole.diameter - plan.cutter.diameter) / 2
    reach = play + min(play, FARTHEST_OFF) + SPARE
    feed = min(plan.feed, pen.machine.max_feed, pen.machine.max_plunge)
    look(pen, (x, y), rises=False)
    pen.moves.append(Move("feed", x, y, -plan.depth, feed=feed))
    for side, dx, dy in SIDES:
        axis = "X" if dx else "Y"
        said = f"{hole.id} {side}: write down {axis} as the display shows it, then go on"
        there = Move("probe", x + dx * reach, y + dy * reach, -plan.depth, feed=feed, stop=said)
        # back at the same feed, since only the machine knows where it stands
        pen.moves += [there, there._replace(motion="feed", x=x, y=y, stop="")]
    pen.at = (x, y, -plan.depth)
    pen.rise()


def _notes(holes: Sequence[RegistrationHole]) -> tuple[str, ...]:
    names = ", ".join(hole.id for hole in holes)
    return (
        f"the spindle stays off; the tip touches the copper rims of {names} from within",
        "clip one wire of the probe input to the tip, the other to the copper of the margin",
        f"before each hole it waits {LOOK:g} s {HOVER:g} mm above the copper: stop the machine "
        "unless the tip stands over the hole",
        "the holes need copper all around; take burrs off first",
    )
