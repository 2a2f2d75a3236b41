"""Programs written by hand for the tests: the proof must not lean on the writer."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from millprep.geometry.pose import Pose
from millprep.model.blank import Blank, Layout, Placement
from millprep.model.board import Board, CopperPiece, Hole
from millprep.model.cut import Work
from millprep.model.cutter import Cutter, Drill, EndMill, Vee
from millprep.model.machine import Machine
from millprep.model.milling_pass import MillingPass
from millprep.model.program import Program
from millprep.verify.read_back import Run
from millprep.verify.reader import read

LOOK = "M5\nG0 Z30.\nG0 X1. Y1.\nG1 Z1. F100.\nM0 (look: 1 mm)\nG0 Z2.\n"
"""Up, and down for a look at Z zero over the touch point of the pass."""
HEAD = f"G17 G21 G40 G49 G54 G61 G80 G90 G94\n{LOOK}M3 S10000\nG4 P2.\n"
TAIL = "G0 Z2.\nG0 Z30.\nM5\nM2\n"
DEPTH = 0.08

BLANK = Blank(1, (60.0, 40.0), 1.6, 0.035)
MACHINE = Machine(
    name="bench",
    travel_size=(100.0, 80.0),
    travel_margin=0.0,
    clamp_clearance=0.0,
    above=30.0,
    below=6.0,
    clearance=2.0,
    hop_height=1.0,
    rapid=1500.0,
    max_feed=800.0,
    max_plunge=200.0,
    max_spindle=12000.0,
    spindle="program",
    dwell=2.0,
    collet=16.0,
)
PASS = MillingPass(1, 1, shapely.box(0, 0, 60, 40), Pose(), (), (1.0, 1.0))


def vee(tip: float = 0.2, angle: float = 30.0) -> Vee:
    return Vee(
        name=f"vee{angle:g}", shank=3.175, flute=6.0, stickout=18.0, spindle=10000.0,
        feed=300.0, plunge=60.0, tip=tip, angle=angle,
    )  # fmt: skip


def end_mill(diameter: float = 0.3, name: str = "mill") -> EndMill:
    return EndMill(
        name=name, shank=3.175, flute=4.0, stickout=18.0, spindle=10000.0,
        feed=300.0, plunge=60.0, diameter=diameter, step=0.5,
    )  # fmt: skip


def drill(diameter: float = 1.0, name: str = "drill") -> Drill:
    return Drill(
        name=name, shank=3.175, flute=8.0, stickout=18.0, spindle=10000.0,
        feed=300.0, plunge=60.0, diameter=diameter,
    )  # fmt: skip


def cut(points: Sequence[Sequence[float]], z: float = -DEPTH) -> str:
    """Words that go to the first point, down, along the others and up."""
    (x, y), *rest = ((float(p[0]), float(p[1])) for p in points)
    lines = [f"G0 X{x:.4f} Y{y:.4f}", f"G1 Z{z:.4f} F60."]
    lines += [f"G1 X{x:.4f} Y{y:.4f} F300." for x, y in rest]
    return "\n".join([*lines, "G0 Z2.", ""])


def plunge(x: float, y: float, z: float = -2.2) -> str:
    return f"G0 X{x:.4f} Y{y:.4f}\nG1 Z{z:.4f} F60.\nG0 Z2.\n"


def around(shape: shapely.Polygon, distance: float, z: float = -DEPTH, quad_segs: int = 64) -> str:
    """A lap around a shape, its axis this far from it."""
    grown = shape.buffer(distance, quad_segs=quad_segs)
    return cut(np.asarray(grown.exterior.coords).tolist(), z)


def board(pieces: Sequence[shapely.Polygon], holes: Sequence[Hole] = ()) -> Board:
    named = tuple(CopperPiece(f"c{i}", shape) for i, shape in enumerate(pieces, 1))
    return Board("lamp", shapely.box(2, 2, 58, 38), named, tuple(holes))


def layout(of: Board, pose: Pose | None = None) -> Layout:
    return Layout((BLANK,), (Placement(0, of, 1, 1, pose or Pose()),))


def run_of(words: str, cutter: Cutter, work: Work, mill_pass: MillingPass = PASS) -> Run:
    """A program between head and tail, as it is read back from its file "a"."""
    program = Program(
        file="a", blank=mill_pass.blank, mill_pass=mill_pass.number, cutter=cutter, works=(work,),
        depth=0.0, spindle=cutter.spindle, start=(1.0, 1.0, 30.0), moves=(),
    )  # fmt: skip
    return Run(program, read(HEAD + words + TAIL, file="a"), mill_pass)
