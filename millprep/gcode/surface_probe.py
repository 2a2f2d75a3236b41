"""Touching the copper from above on a grid, by G38.2 (NISTIR 6556): a surface map is made so.

The tip goes over every place at clearance, feeds down to where copper cannot be yet, and then
slowly until it touches.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from millprep.gcode.moves import Pen
from millprep.geometry.path import Point
from millprep.model.cutter import Cutter
from millprep.model.machine import Machine
from millprep.model.milling_pass import MillingPass
from millprep.model.program import Move, Program

FREE = 0.5
"""The slow way down begins this far above where copper may be, mm."""
FEED = 30.0
"""Feed of every touch, mm/min: common practice, no source."""


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


def order(touch: Point, x: Sequence[float], y: Sequence[float]) -> Iterator[Point]:
    """Where Z is zeroed, the nodes of a grid row by row, to and fro, and the first place again."""
    yield touch
    for row, v in enumerate(y):
        yield from ((u, v) for u in (x if row % 2 == 0 else x[::-1]))
    yield touch


def program(
    mill_pass: MillingPass,
    x: Sequence[float],
    y: Sequence[float],
    probing: Probing,
    machine: Machine,
) -> Program:
    """The program that touches the copper at every node, and zero before and after them."""
    start = (*mill_pass.touch, machine.clearance)
    pen = Pen(machine, probing.cutter, start)
    feed = min(FEED, machine.max_feed, machine.max_plunge)
    high, low = probing.uneven + FREE, -probing.uneven
    places = list(order(mill_pass.touch, x, y))
    for n, at in enumerate(places, 1):
        pen.over(*at)
        pen.plunge(high)
        said = f"point {n}: write down Z as the display shows it, then go on"
        stop = said if probing.stops else ""
        pen.moves.append(Move("probe", *at, low, feed=feed, stop=stop))
        pen.at = (*at, low)
        pen.rise()
    pen.over(*mill_pass.touch)
    return Program(
        file=file_name(mill_pass),
        blank=mill_pass.blank,
        mill_pass=mill_pass.number,
        cutter=probing.cutter,
        works=("probe",),
        depth=probing.uneven,
        spindle=0.0,
        start=start,
        moves=tuple(pen.moves),
        notes=tuple(_notes(probing, len(places))),
        spins=False,
    )


def file_name(mill_pass: MillingPass) -> str:
    """What the program is called."""
    return f"surface-blank-{mill_pass.blank}-pass-{mill_pass.number}.ngc"


def _notes(probing: Probing, count: int) -> Iterator[str]:
    yield f"the spindle stays off; the tip touches the copper at {count} points from above"
    if probing.electrical:
        yield "clip one wire of the probe input to the tip, the other to the copper of the margin"
        yield "touch the tip to the copper by hand and look whether the machine sees it"
    else:
        yield "set Z zero by the probe's own switch, and look whether the machine sees it"
    yield (
        f"the copper is looked for from Z{probing.uneven:g} down to Z{-probing.uneven:g}; "
        "a touch that finds none is an error and stops the machine"
    )
