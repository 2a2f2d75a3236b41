"""Cutters and programs for the rules of cutters."""

from __future__ import annotations

from millprep.model.cut import Work
from millprep.model.cutter import Cutter, Drill, EndMill
from millprep.model.machine import Machine
from millprep.model.program import Move, Program

MACHINE = Machine(
    name="bench mill", travel_size=(300, 180), above=30, below=9, clearance=3, rapid=1500,
    max_feed=2000, max_plunge=600, max_spindle=24000, spindle="program", dwell=3, collet=16,
)  # fmt: skip


def mill(diameter: float = 0.8, feed: float = 150.0, **more: float) -> EndMill:
    keys = {"plunge": 80.0, "spindle": 12000.0, "step": 0.3} | more
    return EndMill(
        name="mill", shank=3.175, flute=4, stickout=20, diameter=diameter, feed=feed,
        plunge=keys["plunge"], spindle=keys["spindle"], step=keys["step"],
        teeth=int(more.get("teeth", 2)),
    )  # fmt: skip


def drill(diameter: float = 0.8, plunge: float = 300.0) -> Drill:
    return Drill(
        name="drill", shank=3.175, flute=10, stickout=20, spindle=12000, feed=plunge,
        plunge=plunge, diameter=diameter,
    )  # fmt: skip


def program(cutter: Cutter, *depths: float, work: Work = "profile") -> Program:
    """Down to every depth in turn, up between; what is no drill then runs along at each."""
    moves = [Move("rapid", 10, 10, 3)]
    for depth in depths:
        moves.append(Move("feed", 10, 10, -depth, feed=cutter.plunge))
        if not isinstance(cutter, Drill):
            moves.append(Move("feed", 20, 10, -depth, feed=cutter.feed))
            moves.append(Move("feed", 10, 10, -depth, feed=cutter.feed))
        moves.append(Move("rapid", 10, 10, 3))
    return Program(
        file="blank-1/pass-1/01.ngc", blank=1, mill_pass=1, cutter=cutter, works=(work,),
        depth=max(depths), spindle=cutter.spindle, start=(0, 0, 3), moves=tuple(moves),
    )  # fmt: skip
