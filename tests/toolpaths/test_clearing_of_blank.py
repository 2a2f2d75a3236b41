"""Which floating copper of a board is cleared: what the job says of it, by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.pose import Pose
from millprep.job import load
from millprep.model.blank import Blank, Placement
from millprep.model.board import Board, CopperPiece, Hole
from millprep.model.finding import Finding
from millprep.model.job.isolation import BY_VOLTAGE
from millprep.model.job.job import JobPlan
from millprep.model.job.nets import ClearArea, NetFacts
from millprep.model.job.work import ClearingPlan
from millprep.standards.spacing import Column, required
from millprep.toolpaths.clearing_of_blank import cleared
from tests.helpers import small_job
from tests.helpers.workshop import mill

BLANK = Blank(1, (60.0, 50.0), 1.6, 0.035)
PIECES = {"c1": shapely.box(4.0, 8.0, 8.0, 12.0), "c2": shapely.box(20.0, 8.0, 24.0, 12.0)}
BOARD = Board(
    "lamp",
    shapely.box(0.0, 0.0, 30.0, 20.0),
    tuple(CopperPiece(name, shape) for name, shape in PIECES.items()),
    (Hole("h1", (6.0, 10.0), 1.0, "c1"),),
)
HERE = Placement(0, BOARD, 1, 1, Pose.shift(10.0, 10.0))
NETS = {"lamp": (NetFacts("high", ("c1",), (300.0, 300.0)), NetFacts("low", ("c2",), (0.0, 0.0)))}


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> JobPlan:
    """It clears nothing; its gap is 0.3 mm."""
    return load(small_job.put(tmp_path_factory.mktemp("clears")))


def clears(job: JobPlan, *, nets: bool = False) -> tuple[BaseGeometry, tuple[Finding, ...]]:
    """What the paths take away at the foot, drawing frame, and the findings."""
    clearings, findings = cleared(job, BLANK, [HERE], NETS if nets else {})
    assert {clearing.placement for clearing in clearings} <= {0}
    cutters = {cutter.name: cutter for cutter in job.cutters} | {"wide": mill(1.0, "wide")}
    areas = [
        clearing.path.line().buffer(
            cutters[clearing.cutter].width(clearing.depth, BLANK.copper) / 2, quad_segs=16
        )
        for clearing in clearings
    ]
    back = HERE.pose.inverse()
    return back.shape(shapely.union_all(areas)), findings


def test_a_job_that_clears_nothing_has_no_paths(job: JobPlan) -> None:
    taken, findings = clears(job)
    assert taken.is_empty
    assert findings == ()


def test_all_floating_copper_goes_and_no_other(job: JobPlan) -> None:
    everything = ClearingPlan(cutters=(mill(1.0, "wide"),), copper="all", depth=0.1)
    taken, _ = clears(replace(job, clearing=everything))
    pieces = shapely.union_all(list(PIECES.values()))
    assert BOARD.outline.difference(pieces.buffer(0.35)).difference(taken.buffer(0.01)).area < 0.05
    assert taken.distance(pieces) > 0


def test_an_area_goes_with_the_isolating_cutter_where_no_other_clears(job: JobPlan) -> None:
    corner = ((12.0, 2.0), (15.0, 2.0), (15.0, 4.0), (12.0, 4.0))
    (board,) = job.boards
    taken, _ = clears(replace(job, boards=(replace(board, clear=(ClearArea(corners=corner),)),)))
    area = shapely.Polygon(corner)
    assert area.difference(taken.buffer(0.005)).area < 0.01
    assert area.buffer(job.isolation.gap / 2 + 0.15).covers(taken)


def test_around_pads_more_goes_than_around_other_copper(job: JobPlan) -> None:
    taken, _ = clears(replace(job, isolation=replace(job.isolation, pad_gap=1.0)))
    around = PIECES["c1"].buffer(1.0).difference(PIECES["c1"].buffer(0.35))
    assert around.difference(taken.buffer(0.01)).area < 0.05
    assert taken.distance(PIECES["c2"]) > 5.0


@pytest.mark.parametrize("lands", [None, "A6"])
def test_voltages_clear_what_they_require(job: JobPlan, lands: Column | None) -> None:
    """Its gaps to both nets add up to what 300 V require; only one of the two has a pad."""
    by_voltage = replace(job, isolation=replace(job.isolation, given_gap=BY_VOLTAGE))
    plan = replace(by_voltage, rules=replace(job.rules, edge=False, lands=lands))
    taken, findings = clears(plan, nets=True)
    assert [(f.code, f.blank, f.board) for f in findings] == [("gap-by-voltage", 1, "lamp")]
    copper = list(PIECES.values())
    opened = shapely.union_all(copper).buffer(plan.isolation.gap, quad_segs=32)
    left = BOARD.outline.difference(opened).difference(taken.buffer(0.01))
    over = sum(left.distance(piece) for piece in copper)
    assert over >= required(300.0, "B2") - 0.02
    assert over < required(300.0, "B2") + 0.1
    (warning,) = clears(plan)[1]
    assert warning.code == "no-net-voltages"
    at_edge = replace(plan, rules=replace(plan.rules, edge=True))
    assert clears(at_edge, nets=True)[0].area > taken.area
