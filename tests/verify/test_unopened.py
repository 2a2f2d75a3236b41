"""Floating copper nearer to a piece than asked is told; small islands are told elsewhere."""

from __future__ import annotations

import pytest
import shapely

from millprep.model.finding import Finding
from millprep.verify.as_cut import as_cut
from millprep.verify.clearances import check_gaps_opened
from millprep.verify.compare import compare
from millprep.verify.reader import read
from millprep.verify.stray_cuts import lap_reach
from tests.helpers.programs import BLANK, DEPTH, HEAD, PASS, TAIL, around, board, layout, vee

VEE = vee()
SURFACE, FOOT = VEE.width(DEPTH), VEE.width(DEPTH, BLANK.copper)
GAP = 0.5
FAR = lap_reach(VEE.width(DEPTH), VEE.width(DEPTH, BLANK.copper), GAP)
PAD = shapely.box(20, 15, 24, 19)
LAPS = (SURFACE / 2, (SURFACE + GAP - FOOT) / 2, SURFACE / 2 + GAP - FOOT)
"""Axes of three laps that open the gap."""


def cut_by(*laps: float, z: float = -DEPTH) -> tuple[tuple[Finding, ...], tuple[Finding, ...]]:
    """What is told of the gap, and by comparing alone."""
    where = layout(board([PAD]))
    text = HEAD + "".join(around(PAD, lap, z) for lap in laps) + TAIL
    copper = as_cut(BLANK, [(read(text, file="a"), VEE, PASS)], where.placements)
    others = compare([copper], where, reach=SURFACE / 2)[1]
    return check_gaps_opened(copper, where.placements[0], FAR), others


def test_three_laps_open_the_gap() -> None:
    assert cut_by(*LAPS) == ((), ())


@pytest.mark.parametrize(("more", "told"), [(0.03, 0), (0.045, 1)])
def test_the_outermost_lap_may_lie_off_by_the_tolerances(more: float, told: int) -> None:
    """All edges may be off by 15 µm, and what is left is told when it is wider than 20 µm."""
    found, _ = cut_by(*LAPS[:2], LAPS[2] - more)
    assert len(found) == told


def test_an_outermost_lap_that_is_missing_is_reported() -> None:
    (found,), others = cut_by(*LAPS[:2])
    assert others == (), "no other rule sees it"
    assert (found.code, found.severity) == ("gap-not-opened", "warn")
    stands = LAPS[1] + FOOT / 2
    assert f"floating copper is {stands:.3f} mm from the drawn edge of piece c1" in found.message
    assert found.at is not None
    assert stands < PAD.distance(shapely.Point(found.at)) < FAR


def test_a_depth_that_leaves_the_foot_narrower_is_reported() -> None:
    assert cut_by(*LAPS, z=-DEPTH + 0.03)[0] == ()
    found, _ = cut_by(*LAPS[:2], z=-DEPTH + 0.03)
    assert [f.code for f in found] == ["gap-not-opened"]
