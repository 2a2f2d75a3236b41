"""Programs with restart points."""

from __future__ import annotations

import shapely

from millprep.at_machine.restart_points import PassHoles
from millprep.gcode import rs274
from millprep.gcode.build import build
from millprep.gcode.post_processor import post_processed
from millprep.gcode.rs274 import TextSink
from millprep.geometry.path import Path
from millprep.geometry.pose import Pose
from millprep.model.cut import Cut, HoleCut, Lap, Profile
from millprep.model.dialect import Dialect
from millprep.model.machine import Machine
from millprep.model.milling_pass import MillingPass
from millprep.model.program import Program
from tests.helpers.workshop import drill, mill, profiling, vee

PASS = MillingPass(1, 1, shapely.box(0, 0, 100, 80), Pose(), (), (50.0, 5.0))


SQUARE = Path.lines([(20, 20), (60, 20), (60, 50), (20, 50), (20, 20)])


NO_HOLES = PassHoles(shapely.Polygon(), {}, 0.0)


CUTS: tuple[Cut, ...] = (
    Lap(Path.circle((30.0, 30.0), 4.0), 0, "c1", 0, "vee", 0.1),
    Lap(Path.circle((50.0, 30.0), 4.0), 0, "c2", 0, "vee", 0.1),
    # twice in pecks
    *(HoleCut((x, 30.0), 0.4, "drill0.4", 1.8, "drill", 0, f"h{x}") for x in (30.0, 50.0)),
    Profile(SQUARE, "mill2", 1.8, 1.3, (), 0, inner=False),
)


DIALECTS = [
    Dialect(),
    Dialect(cycles=True),
    Dialect(arcs=False, decimals=2),
    Dialect(comments="semicolon", line_numbers=True),
]


def made(machine: Machine, *, dry: bool = False) -> tuple[Program, ...]:
    cutters = (vee(), drill(0.4), mill(2.0, "mill2"))
    return build(CUTS, PASS, cutters, machine, profiling(), [(20.0, 20.0)], dry=dry)


def text_of(program: Program, machine: Machine) -> str:
    said: list[str] = []
    rs274.run(post_processed(program, machine), TextSink(said.append, "0123", "job", machine))
    return "".join(said)
