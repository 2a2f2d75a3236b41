"""A small bench: cutters, a blank, a board; all figures invented."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import Path
from millprep.geometry.pose import Pose
from millprep.model.blank import Blank, Placement
from millprep.model.board import Board, CopperPiece, Hole
from millprep.model.cutter import Drill, EndMill, Vee
from millprep.model.job.isolation import GivenCutter, IsolationPlan
from millprep.model.job.work import DrillingPlan, ProfilePlan
from millprep.model.machine import Machine

BLANK = Blank(1, (100.0, 80.0), 1.6, 0.035)
COPPER = BLANK.copper
MACHINE = Machine(
    name="bench", travel_size=(300.0, 200.0), travel_margin=0.0, above=40.0, below=10.0,
    clearance=2.5, rapid=1500.0, max_feed=900.0, max_plunge=300.0, max_spindle=20000.0,
    spindle="program", dwell=2.0, collet=16.0,
)  # fmt: skip


def vee(name: str = "vee", tip: float = 0.1, angle: float = 30.0) -> Vee:
    return Vee(
        name=name, shank=3.175, flute=5.0, stickout=20.0, spindle=18000.0, feed=400.0,
        plunge=100.0, tip=tip, angle=angle,
    )  # fmt: skip


def mill(diameter: float, name: str = "mill", step: float = 0.5) -> EndMill:
    return EndMill(
        name=name, shank=3.175, flute=8.0, stickout=20.0, spindle=18000.0, feed=400.0,
        plunge=100.0, diameter=diameter, step=step,
    )  # fmt: skip


def drill(diameter: float, name: str | None = None) -> Drill:
    return Drill(
        name=name or f"drill{diameter:g}", shank=3.175, flute=10.0, stickout=20.0,
        spindle=18000.0, feed=400.0, plunge=100.0, diameter=diameter,
    )  # fmt: skip


def isolation(
    *cutters: Vee | EndMill, gap: float = 0.4, depth: float = 0.1, **changes: object
) -> IsolationPlan:
    plan = IsolationPlan(
        given_gap=gap,
        given_depth=depth,
        flatness=0.02,
        given_cutters=tuple(map(GivenCutter, cutters or (vee(),))),
        overlap=0.2,
        direction="climb",
    )
    return replace(plan, **changes)  # type: ignore[arg-type]


def drilling(*cutters: Drill, borer: EndMill | None = None, **changes: object) -> DrillingPlan:
    plan = DrillingPlan(
        cutters=cutters, tolerance=0.05, borer=borer, breakthrough=0.2, spoilboard=6.0
    )
    return replace(plan, **changes)  # type: ignore[arg-type]


def profiling(cutter: EndMill | None = None, **changes: object) -> ProfilePlan:
    plan = ProfilePlan(
        cutter=cutter or mill(2.0), breakthrough=0.2, tab_width=2.0, tab_height=0.5,
        tab_every=60.0, ramp=10.0, direction="climb",
    )  # fmt: skip
    return replace(plan, **changes)  # type: ignore[arg-type]


def disc(x: float, y: float, radius: float) -> shapely.Polygon:
    """A disc flattened as the drawings are: every vertex on the circle, 2 µm chords."""
    return shapely.Polygon(Path.circle((x, y), radius).flattened()[:-1])


def placed(
    outline: shapely.Polygon,
    holes: Sequence[Hole] = (),
    copper: shapely.Polygon | None = None,
    pose: Pose | None = None,
) -> Placement:
    piece = copper or outline.representative_point().buffer(0.5)
    board = Board("panel", outline, (CopperPiece("c1", piece),), tuple(holes))
    return Placement(0, board, 1, 1, pose or Pose())


def less(area: shapely.Polygon, hole: shapely.Polygon) -> shapely.Polygon:
    """An area without another, still in one part."""
    return one(area.difference(hole))


def one(shape: BaseGeometry) -> shapely.Polygon:
    """A shape that is a single polygon."""
    assert isinstance(shape, shapely.Polygon)
    return shape
