"""Probing by G38.2, the straight probe (NISTIR 6556): rims of registration holes, and the surface.

The probe feeds towards a target and stops where the circuit closes. The place is in parameters
5061 to 5066 then, which few displays show; so a program stops after every touch of a rim, and the
person writes down what the display shows.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from millprep.gcode.head import HOVER
from millprep.gcode.moves import LOOK, Pen, look
from millprep.geometry.path import Point
from millprep.model.cutter import Cutter
from millprep.model.job.setup import RegistrationPlan
from millprep.model.machine import Machine
from millprep.model.milling_pass import MillingPass, RegistrationHole
from millprep.model.program import Move, Program, SecondTouch

FARTHEST_OFF = 1.0
"""A hole is looked for this far from its place, at most, mm; the dry look before shows it."""
PAST = 0.2
"""A touch is aimed this far past where the copper may be, mm: it must meet it on the way."""
SIDES = (("left", -1, 0), ("right", 1, 0), ("low", 0, -1), ("high", 0, 1))


def probed_holes(mill_pass: MillingPass) -> list[RegistrationHole]:
    """The holes by which a pass is found, in their order."""
    return [h for h in mill_pass.registration if h.role != "witness"]


def rim_program(
    file: str, mill_pass: MillingPass, plan: RegistrationPlan, machine: Machine
) -> Program:
    """The tip goes into every hole by which a pass is found, and touches it on four sides."""
    start = (*mill_pass.touch, machine.clearance)
    pen = Pen(machine, plan.tip, start)
    holes = probed_holes(mill_pass)
    for hole in holes:
        hole_sides(pen, hole, plan)
    pen.over(*mill_pass.touch)
    return Program(
        file=file,
        blank=mill_pass.blank,
        mill_pass=mill_pass.number,
        cutter=plan.tip,
        works=("probe",),
        depth=plan.probe_depth,
        spindle=0.0,
        start=start,
        moves=tuple(pen.moves),
        notes=_rim_notes(holes),
        spins=False,
    )


def hole_sides(pen: Pen, hole: RegistrationHole, plan: RegistrationPlan) -> None:
    """Look, go down in the middle, touch and retreat four times, rise."""
    x, y = hole.machine
    play = (hole.diameter - plan.tip.diameter) / 2
    reach = play + min(play, FARTHEST_OFF) + PAST
    feed = min(plan.probe_feed, pen.machine.max_feed, pen.machine.max_plunge)
    z = -plan.probe_depth
    look(pen, (x, y), rises=False)
    pen.moves.append(Move("feed", x, y, z, feed=feed))
    for side, dx, dy in SIDES:
        axis = "X" if dx else "Y"
        text = f"{hole.id} {side}: write down {axis} as the display shows it, then go on"
        there = Move("probe", x + dx * reach, y + dy * reach, z, feed=feed, stop=text)
        # back at the same feed, since only the machine knows where it is
        pen.moves += [there, there._replace(motion="feed", x=x, y=y, stop="")]
    pen.at = (x, y, z)
    pen.rise()


def _rim_notes(holes: Sequence[RegistrationHole]) -> tuple[str, ...]:
    names = ", ".join(hole.id for hole in holes)
    return (
        f"the spindle stays off; the tip touches the copper rims of {names} from within",
        "clip one wire of the probe input to the tip, the other to the copper of the margin",
        f"before each hole it waits {LOOK:g} s {HOVER:g} mm above the copper: stop the machine "
        "unless the tip is over the hole",
        "the holes need copper all around; take burrs off first",
    )


SURFACE_FEEDS = (100.0, 30.0)
"""Feeds of the first and of the second touch, mm/min: common practice, no source."""
SURFACE_BACK = 0.5
"""Between two touches the tip goes up this far, mm."""


@dataclass(frozen=True, slots=True)
class Probing:
    """How a surface is touched.

    Attributes:
        cutter: the tip.
        uneven: how far the copper may lie above or below Z0, mm.
        stops: whether the program stops after each touch, for a person to write z down.
        electrical: whether the tip itself closes a circuit with the copper.
    """

    cutter: Cutter
    uneven: float
    stops: bool
    electrical: bool

    def __post_init__(self) -> None:
        if not self.uneven > 0:
            raise ValueError("copper that is nowhere off zero needs no probing")


def surface_places(touch: Point, x: Sequence[float], y: Sequence[float]) -> Iterator[Point]:
    """Where Z is zeroed, the nodes of a grid row by row, to and fro, and the first place again."""
    yield touch
    for row, v in enumerate(y):
        yield from ((u, v) for u in (x if row % 2 == 0 else x[::-1]))
    yield touch


def surface_program(
    mill_pass: MillingPass,
    x: Sequence[float],
    y: Sequence[float],
    probing: Probing,
    machine: Machine,
) -> Program:
    """The program that touches the copper at every node, and zero before and after them.

    All the way down from clearance the tip feels for copper, so that none that is higher than
    expected breaks it: fast first, then slowly from close above.
    """
    start = (*mill_pass.touch, machine.clearance)
    pen = Pen(machine, probing.cutter, start)
    fast, slow = (min(feed, machine.max_feed, machine.max_plunge) for feed in SURFACE_FEEDS)
    low, again = -probing.uneven, SecondTouch(SURFACE_BACK, slow)
    places = list(surface_places(mill_pass.touch, x, y))
    for n, at in enumerate(places, 1):
        pen.over(*at)
        text = f"point {n}: write down Z as the display shows it, then go on"
        stop = text if probing.stops else ""
        pen.moves.append(Move("probe", *at, low, feed=fast, stop=stop, again=again))
        pen.at = (*at, low)
        pen.rise()
    pen.over(*mill_pass.touch)
    return Program(
        file=surface_file(mill_pass),
        blank=mill_pass.blank,
        mill_pass=mill_pass.number,
        cutter=probing.cutter,
        works=("probe",),
        depth=probing.uneven,
        spindle=0.0,
        start=start,
        moves=tuple(pen.moves),
        notes=tuple(_surface_notes(probing, len(places))),
        spins=False,
    )


def surface_file(mill_pass: MillingPass) -> str:
    """What the program is called."""
    return f"surface-blank-{mill_pass.blank}-pass-{mill_pass.number}.ngc"


def _surface_notes(probing: Probing, count: int) -> Iterator[str]:
    yield f"the spindle stays off; the tip touches the copper at {count} points from above"
    if probing.electrical:
        yield "clip one wire of the probe input to the tip, the other to the copper of the margin"
        yield "touch the tip to the copper by hand and look whether the machine sees it"
    else:
        yield "set Z zero by the probe's own switch, and look whether the machine sees it"
    yield (
        f"every point is touched twice, fast and slowly, from clearance down to "
        f"Z{-probing.uneven:g}; a touch that finds no copper is an error and stops the machine"
    )
