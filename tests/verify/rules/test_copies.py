"""A net is solved once for copies that are cut alike, and by itself where they are not."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from millprep.geometry.pose import Pose
from millprep.model.as_cut import AsCut, CopperPart
from millprep.model.blank import Placement
from millprep.model.board import Hole
from millprep.model.job.nets import Load, NetFacts, Wire
from millprep.model.job.rules import RulesPlan
from millprep.model.judged import NetJudged
from millprep.verify.rules.copies import ALIKE, Copies, alike
from millprep.verify.rules.drop import drop
from millprep.verify.rules.judge import judge
from millprep.workflow.prepare import check
from tests.helpers.checked_jobs import RAIL as RAIL_NET
from tests.helpers.checked_jobs import job, wide_and_narrow
from tests.helpers.rules_scene import cut, joined, placed
from tests.helpers.small_job import put

RAIL = joined(
    shapely.box(5, 20, 60, 23), shapely.Point(60, 21.5).buffer(3), shapely.box(30, 20, 33, 40)
)
HOLES = [Hole("h1", (10.0, 21.5), 1.1, "c1"), Hole("h2", (60.0, 21.5), 1.1, "c1")]
NET = NetFacts(
    "heater",
    ("c1",),
    loads=(Load("feed", (10.0, 21.5), -2.0), Load("valve", (60.0, 21.5), 2.0)),
    wires=(Wire((10.0, 21.5), (31.5, 39.0), 0.5),),
)
ASKED = RulesPlan(most_lost=0.001)


def again(first: Placement, pose: Pose, index: int = 1) -> Placement:
    return replace(first, index=index, copy=index + 1, pose=pose)


def as_cut(placement: Placement, *, start: int = 0, worn: float = 0.0) -> AsCut:
    """The copper of a copy, its outline begun at another corner."""
    (part,) = cut(placement, wear=0.0).parts
    xy = np.roll(shapely.get_coordinates(part.shape.exterior)[:-1], start, axis=0)
    shape = shapely.Polygon(xy, list(part.shape.interiors)).buffer(-worn)
    assert isinstance(shape, shapely.Polygon)
    return AsCut(1, (), (CopperPart(shape, ((placement.index, "c1"),)),))


def solved(copies: Copies | None, placement: Placement, copper: AsCut) -> NetJudged:
    board, _ = judge([NET], placement, copper, 0.035, ASKED, solve=True, copies=copies)
    return board.nets[0]


POSES = [
    Pose.shift(0.0, 60.0),
    Pose.turn(90).then(Pose.shift(80.0, 3.0)),
    Pose.turn(180).then(Pose.shift(200.0, 90.0)),
]


@pytest.mark.parametrize("pose", POSES)
def test_a_copy_cut_alike_gets_what_the_first_one_got_at_its_own_places(pose: Pose) -> None:
    copies = Copies()
    first = placed([RAIL], HOLES)
    other = again(first, pose)
    solved(copies, first, as_cut(first))
    assert copies.reused == 0
    taken = solved(copies, other, as_cut(other, start=7))
    assert copies.reused == 1
    alone = solved(None, other, as_cut(other, start=7))
    for mine, own in zip(taken.loads, alone.loads, strict=True):
        assert mine.at == pytest.approx(own.at)
        assert (mine.lost, mine.ohms) == pytest.approx((own.lost, own.ohms), rel=4e-3, abs=1e-9)
    assert taken.neck is not None
    assert alone.neck is not None
    assert taken.neck.neck.at == pytest.approx(alone.neck.neck.at, abs=0.5)
    assert taken.neck.share == pytest.approx(alone.neck.share, rel=0.01)
    (wire,) = taken.wires
    assert (wire.start, wire.end) == (pose.point((10.0, 21.5)), pose.point((31.5, 39.0)))
    assert taken.field is not None
    copper = as_cut(other).parts[0].shape.buffer(0.01)
    assert shapely.contains_xy(copper, taken.field.points).all()


def test_findings_move_along() -> None:
    copies = Copies()
    first = placed([RAIL], HOLES)
    other = replace(again(first, POSES[1]), blank=2)
    judge([NET], first, as_cut(first), 0.035, ASKED, solve=True, copies=copies)
    _, result = judge([NET], other, as_cut(other), 0.035, ASKED, solve=True, copies=copies)
    (lost,) = [finding for finding in result if finding.code == "drop-too-large"]
    assert (lost.copy, lost.blank) == (2, 2)
    assert lost.at == pytest.approx(POSES[1].point((60.0, 21.5)))


def test_a_copy_cut_otherwise_is_solved_by_itself() -> None:
    copies = Copies()
    first = placed([RAIL], HOLES)
    other = again(first, POSES[0])
    full = solved(copies, first, as_cut(first))
    worn = solved(copies, other, as_cut(other, worn=0.2))
    assert copies.reused == 0
    assert worn.loads[1].lost > 1.05 * full.loads[1].lost
    # a third one is like the second
    third = again(first, POSES[2], index=2)
    assert solved(copies, third, as_cut(third, worn=0.2)).loads[1].lost == pytest.approx(
        worn.loads[1].lost
    )
    assert copies.reused == 1


def test_thicker_copper_and_other_loads_are_solved_anew() -> None:
    copies = Copies()
    first = placed([RAIL], HOLES)
    other = again(first, POSES[0])
    solved(copies, first, as_cut(first))
    judge([NET], other, as_cut(other), 0.070, ASKED, solve=True, copies=copies)
    more = replace(NET, loads=(Load("feed", (10.0, 21.5), -3.0), Load("V1", (60.0, 21.5), 3.0)))
    judge([more], other, as_cut(other), 0.035, ASKED, solve=True, copies=copies)
    assert copies.reused == 0


SQUARE = shapely.box(0, 0, 10, 10)


@pytest.mark.parametrize(
    ("other", "same"),
    [
        (shapely.box(0, 0, 10, 10 + ALIKE / 2), True),
        (shapely.box(0, 0, 10, 10 + 2 * ALIKE), False),
        (shapely.Polygon([(0, 0), (5, 0), (10, 0), (10, 10), (0, 10)]), True),
        (shapely.Polygon([(0, 0), (5, 0.1), (10, 0), (10, 10), (0, 10)]), False),
        (SQUARE.difference(shapely.box(4, 4, 5, 5)), False),
        # a slit that takes hardly any area
        (SQUARE.difference(shapely.box(5, -1, 5.0001, 8)), False),
    ],
)
def test_what_is_alike(other: shapely.Polygon, same: bool) -> None:
    assert alike([SQUARE], [other]) is same
    assert alike([other], [SQUARE]) is same
    assert not alike([SQUARE], [SQUARE, other])


def test_of_five_copies_on_a_blank_one_is_solved(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Laid out in two turns, cut, read back: the copper as cut is what is compared."""
    text = job(RAIL_NET).replace("drawn_from", "count = 5\nturns = [0, 90]\ndrawn_from")
    file = put(tmp_path, text.replace("[60.0, 50.0]", "[160.0, 120.0]"), wide_and_narrow)
    solved_here: list[int] = []

    def counted(*told: Any, **more: Any) -> Any:
        solved_here.append(told[1].index)
        return drop(*told, **more)

    monkeypatch.setattr("millprep.verify.rules.judge.drop", counted)
    # on one core the rules are worked out here, where calls are counted
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: {0}, raising=False)
    cut_set = check(file)
    assert len({p.pose.a for p in cut_set.layout.placements}) == 2
    assert len(solved_here) == 1
    assert len([c.judged for c in cut_set.copies if c.judged]) == 5
    lost = {board.nets[0].loads[1].lost for board in [c.judged for c in cut_set.copies if c.judged]}
    assert len(lost) == 1
    for board in [c.judged for c in cut_set.copies if c.judged]:
        placement = cut_set.layout.placements[board.placement]
        assert board.nets[0].loads[1].at == pytest.approx(placement.pose.point((25.0, 10.0)))
