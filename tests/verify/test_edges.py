"""Edges of copper as cut against the drawing: parts by hand."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
import shapely

from millprep.geometry.pose import Pose
from millprep.model.as_cut import CopperPart
from millprep.model.blank import Placement
from millprep.model.finding import Finding
from millprep.verify.edges import check_gouges, check_isolated, lost_copper
from millprep.verify.floating import check_slivers
from tests.helpers.programs import board
from tests.helpers.rules_scene import less

TRACK = shapely.box(10.0, 10.0, 30.0, 12.0)
PAD = shapely.box(40.0, 10.0, 44.0, 14.0)
PLACEMENT = Placement(0, board([TRACK, PAD]), 1, 1, Pose())


def gouges(
    parts: Sequence[CopperPart], holes: Sequence[shapely.Polygon] = (), cut_short: float = 0.0
) -> list[Finding]:
    pieces = {"c1": TRACK, "c2": PAD}
    lost = lost_copper(parts, PLACEMENT, pieces, holes, cut_short)
    return check_gouges(lost, parts, PLACEMENT, pieces)


def bitten(width: float, depth: float) -> CopperPart:
    """The track less a bite from its upper edge."""
    return CopperPart(
        less(TRACK, shapely.box(20.0, 12.0 - depth, 20.0 + width, 12.0)), ((0, "c1"),)
    )


def test_a_gouge_says_how_deep_it_is_and_where() -> None:
    (fault,) = gouges([bitten(0.5, 0.2)])
    assert (fault.code, fault.severity) == ("copper-gouged", "warn")
    assert fault.message.startswith("a path gouges piece c1 by 0.200 mm. ")
    assert fault.at == pytest.approx((20.25, 11.9), abs=0.05)


@pytest.mark.parametrize(
    ("width", "depth", "cut_short", "faults"),
    [
        (0.5, 0.014, 0.0, 0),
        (0.5, 0.016, 0.0, 1),
        (0.5, 0.014, 0.002, 1),
        (0.5, 0.0115, 0.01, 0),
        (1e-5, 0.1, 0.0, 0),
        (1e-4, 0.1, 0.0, 1),
    ],
)
def test_tolerances_and_what_rounding_leaves_are_no_gouge(
    width: float, depth: float, cut_short: float, faults: int
) -> None:
    assert len(gouges([bitten(width, depth)], cut_short=cut_short)) == faults


def test_holes_as_cut_are_no_gouge() -> None:
    hole = shapely.Point(20.0, 11.0).buffer(0.5)
    drilled = CopperPart(less(TRACK, hole), ((0, "c1"),))
    assert gouges([drilled], [hole]) == []
    assert len(gouges([drilled])) == 1
    bite = shapely.box(20.4, 10.9, 21.0, 11.1)
    milled = CopperPart(less(TRACK, hole, bite), ((0, "c1"),))
    (fault,) = gouges([milled], [hole])
    assert fault.at == pytest.approx((20.75, 11.0), abs=0.05), "what the hole took is left out"


def test_pieces_that_are_gone_or_in_parts_have_no_gouge() -> None:
    """They are opens, and reported as such."""
    halves = [CopperPart(shapely.box(x, 10.0, x + 9.0, 12.0), ((0, "c1"),)) for x in (10.0, 21.0)]
    assert gouges(halves) == []
    assert gouges([]) == []


def test_a_small_bridge_within_a_net_is_no_floating_copper() -> None:
    near = {"c1": TRACK, "c2": shapely.box(30.5, 10.0, 34.0, 12.0)}
    nets = {(0, "c1"): "gnd", (0, "c2"): "gnd"}
    joined = ((0, "c1"), (0, "c2"))
    bridge = CopperPart(shapely.box(10.0, 10.0, 34.0, 12.0), joined)
    assert check_isolated([bridge], PLACEMENT, near, nets) == []
    more = CopperPart(shapely.box(10.0, 10.0, 34.0, 14.0), joined)
    (fault,) = check_isolated([more], PLACEMENT, near, nets)
    assert (fault.code, fault.severity) == ("copper-not-isolated", "stop")
    small = CopperPart(shapely.box(10.0, 10.0, 30.5, 12.0), ((0, "c1"),))
    (fault,) = check_isolated([small], PLACEMENT, near, {})
    assert fault.severity == "warn"
    assert fault.message.startswith("0.90 mm² of floating copper is still connected to piece c1. ")


def test_slivers_and_islands_are_counted_apart_on_boards_alone() -> None:
    sliver, island = shapely.box(20.0, 20.0, 25.0, 20.02), shapely.box(30.0, 20.0, 30.4, 20.4)
    other = shapely.box(32.0, 20.0, 32.3, 20.3)
    waste, large = shapely.box(0.5, 0.5, 1.0, 1.0), shapely.box(40.0, 20.0, 45.0, 25.0)
    parts = [CopperPart(shape, ()) for shape in (sliver, other, island, waste, large)]
    thin, thick = check_slivers(parts, [PLACEMENT], 1)
    assert thin.code == "copper-sliver"
    assert thin.message.startswith("1 sliver of copper remains between paths. ")
    assert "the largest has 0.1000 mm²" in thin.message
    assert thick.code == "copper-island"
    assert thick.message.startswith("2 islands of copper remain between paths. ")
    assert thick.at == pytest.approx((30.2, 20.2), abs=0.2)
    (second,) = thick.places
    assert second == pytest.approx((32.15, 20.15), abs=0.15)
    assert check_slivers(parts[3:], [PLACEMENT], 1) == []
    assert [f.code for f in check_slivers(parts[:1], [PLACEMENT], 1)] == ["copper-sliver"]
