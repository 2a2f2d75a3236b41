from __future__ import annotations

import math

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from millprep.geometry.pose import Pose
from millprep.model.board import Hole
from millprep.model.job.nets import NetFacts
from millprep.model.judged import Spacing
from millprep.verify.rules.spacing import SpacingRule, spacing
from tests.helpers.rules_scene import cut, joined, less, placed

HIGH = NetFacts("B+", ("c1",), (300.0, 300.0))
LOW = NetFacts("common", ("c2",), (0.0, 0.0))
AWAY = SpacingRule(edge=False)


def two(gap: float) -> list[shapely.Polygon]:
    return [shapely.box(20, 20, 40, 22), shapely.box(20, 22 + gap, 40, 24 + gap)]


def only(found: tuple[Spacing, ...]) -> Spacing:
    (one,) = found
    return one


def test_300_volts_over_half_a_millimetre_is_refused_at_its_place() -> None:
    placement = placed(two(0.5))
    found, faults = spacing([HIGH, LOW], placement, cut(placement), AWAY)
    pair = only(found)
    assert (pair.net, pair.other, pair.volts, pair.required) == ("B+", "common", 300, 1.25)
    assert pair.measured == pair.direct == pytest.approx(0.5)
    assert pair.margin == pytest.approx(-0.75)
    (fault,) = faults
    assert fault.code == "spacing-too-narrow"
    assert fault.severity == "stop"
    assert fault.message == (
        "gap of 0.500 mm between B+ and common; 300 V require 1.25 mm (IPC-2221 table 6-1, B2). "
        "Draw them farther from each other, or isolate by voltage."
    )
    assert fault.frame == "blank"
    assert fault.at is not None
    assert fault.at[1] == pytest.approx(22.25)
    assert 20 <= fault.at[0] <= 40


@pytest.mark.parametrize(("gap", "faults"), [(1.25, 0), (1.2499, 1), (1.3, 0)])
def test_the_gap_the_table_asks_for_is_enough(gap: float, faults: int) -> None:
    placement = placed(two(gap))
    found, result = spacing([HIGH, LOW], placement, cut(placement), AWAY)
    assert len(result) == faults
    assert only(found).measured == pytest.approx(gap)


def test_gaps_are_measured_at_the_foot() -> None:
    placement = placed(two(1.2))
    found, _ = spacing([HIGH, LOW], placement, cut(placement, wear=0.1), AWAY)
    assert only(found).measured == pytest.approx(1.2)


def test_copper_between_two_nets_is_a_bridge() -> None:
    placement = placed(two(2.0))
    island = shapely.box(18, 22.3, 42, 23.2)
    found, faults = spacing([HIGH, LOW], placement, cut(placement, [island]), AWAY)
    pair = only(found)
    assert pair.measured == pytest.approx(0.3 + 0.8)
    assert pair.direct == pytest.approx(2.0)
    assert pair.stones == 1
    assert pair.at[1] == pytest.approx(22.15)
    (fault,) = faults
    assert (
        "gap of 1.100 mm between B+ and common, by way of an area of floating copper "
        "(straight across 2.000 mm)" in fault.message
    )


def test_both_figures_are_reported_however_far_apart_the_nets_are() -> None:
    shapes = [shapely.box(10, 20, 20, 22), shapely.box(60, 20, 70, 22)]
    placement = placed(shapes)
    island = shapely.box(20.2, 20, 59.7, 22)
    found, (fault,) = spacing([HIGH, LOW], placement, cut(placement, [island]), AWAY)
    assert only(found).measured == pytest.approx(0.5)
    assert only(found).direct == pytest.approx(40)
    assert "straight across 40.000 mm" in fault.message


@given(st.floats(0.05, 0.6), st.floats(0.05, 0.6), st.floats(0.0, 0.7))
def test_gaps_below_the_least_count_as_nothing(one: float, other: float, least: float) -> None:
    placement = placed(two(one + other + 0.1))
    island = shapely.box(18, 22 + one, 42, 22 + one + 0.1)
    rule = SpacingRule(edge=False, least_counted=least)
    found, _ = spacing([HIGH, LOW], placement, cut(placement, [island]), rule)
    # Rounding may bring a drawn gap to the other side of the least that counts.
    if min(abs(one - least), abs(other - least)) < 1e-9:
        return
    over = sum(gap for gap in (one, other) if gap >= least)
    assert only(found).measured == pytest.approx(over, abs=1e-9)


def test_a_piece_with_no_volts_given_is_a_bridge_too() -> None:
    shapes = [*two(2.0), shapely.box(18, 22.3, 42, 23.2)]
    placement = placed(shapes)
    signal = NetFacts("signal", ("c3",))
    found, _ = spacing([HIGH, LOW, signal], placement, cut(placement), AWAY)
    assert only(found).measured == pytest.approx(1.1)
    stated = NetFacts("signal", ("c3",), (120.0, 120.0))
    found, _ = spacing([HIGH, LOW, stated], placement, cut(placement), AWAY)
    # No way leads over a net with volts of its own: straight across is left, 2 mm.
    assert {(p.net, p.other): round(p.measured, 3) for p in found} == {
        ("B+", "signal"): 0.3,
        ("common", "signal"): 0.8,
    } | ({("B+", "common"): 2.0})


def test_a_swing_counts_with_both_its_ends() -> None:
    shapes = two(0.7)
    placement = placed(shapes)
    heater = NetFacts("heater", ("c1",), (-9.0, 9.0))
    anode = NetFacts("anode", ("c2",), (40.0, 250.0))
    found, _ = spacing([heater, anode], placement, cut(placement), AWAY)
    assert only(found).volts == 259
    assert heater.volts_to(anode) == anode.volts_to(heater) == 259


def test_nets_far_apart_are_no_neighbours() -> None:
    placement = placed(two(6.0))
    assert spacing([HIGH, LOW], placement, cut(placement), AWAY) == ((), ())
    assert spacing([], placement, cut(placement)) == ((), ())


def test_lands_by_their_own_column_only_when_asked() -> None:
    # Two lands 0.9 mm apart, their tracks farther: A6 asks 0.8 mm for 300 V, B2 1.25.
    lands = [
        joined(shapely.Point(30, 20).buffer(1), shapely.box(28, 17, 32, 19.5)),
        joined(shapely.Point(30, 22.9).buffer(1), shapely.box(28, 23.4, 32, 26)),
    ]
    holes = [Hole("h1", (30, 20), 1.0, "c1"), Hole("h2", (30, 22.9), 1.0, "c2")]
    placement = placed(lands, holes)
    found, faults = spacing([HIGH, LOW], placement, cut(placement), AWAY)
    assert only(found).measured == pytest.approx(0.9, abs=1e-3)
    assert [fault.code for fault in faults] == ["spacing-too-narrow"]
    required = SpacingRule(edge=False, pad_column="A6")
    found, faults = spacing([HIGH, LOW], placement, cut(placement), required)
    assert faults == ()
    assert (only(found).column, only(found).required) == ("A6", 0.8)
    # The tracks still answer to B2.
    lands[1] = joined(lands[1], shapely.box(31.5, 20.5, 32, 26))
    placement = placed(lands, holes)
    found, faults = spacing([HIGH, LOW], placement, cut(placement), required)
    assert only(found).column == "B2"
    assert [fault.code for fault in faults] == ["spacing-too-narrow"]


def test_the_edge_and_a_fixing_hole_may_be_metal() -> None:
    hole = Hole("h1", (50, 25), 3.2)
    # The washer of 7.04 mm ends 0.6 mm beside the copper, the edge is 1.0 mm away.
    neighbour = shapely.box(50 + 3.52 + 0.6, 20, 60, 30)
    edge = shapely.box(20, 1.0, 40, 3)
    placement = placed([neighbour, edge], [hole])
    nets = [HIGH, NetFacts("B+ 2", ("c2",), (300.0, 300.0))]
    found, faults = spacing(nets, placement, cut(placement))
    metal = {(p.net, p.other): p.measured for p in found}
    assert metal["B+", "the screw in hole h1 of 3.20 mm"] == pytest.approx(0.6, abs=2e-3)
    assert metal["B+ 2", "the board's edge"] == pytest.approx(1.0)
    assert {fault.code for fault in faults} == {"spacing-to-metal"}
    assert {fault.severity for fault in faults} == {"warn"}
    assert len(faults) == 2


def test_floating_copper_carries_the_edge_to_the_net() -> None:
    net = shapely.box(40, 20, 60, 22)
    background = less(shapely.box(0, 0, 100, 50), net.buffer(0.4, join_style="mitre"))
    placement = placed([net])
    found, faults = spacing([HIGH], placement, cut(placement, [background]))
    pair = only(found)
    assert pair.other == "the board's edge"
    assert pair.measured == pytest.approx(0.4, abs=1e-9)
    assert pair.stones == 1
    # The place is the gap that was cut, not where the background meets the edge.
    assert net.distance(shapely.Point(pair.at)) == pytest.approx(0.2)
    assert len(faults) == 1


def test_another_copy_and_what_falls_off_are_no_bridge() -> None:
    placement = placed(two(2.0))
    outside = shapely.box(-10, -10, 110, 0)
    found, _ = spacing([HIGH, LOW], placement, cut(placement, [outside]), AWAY)
    assert only(found).measured == pytest.approx(2.0)


def test_places_and_gaps_follow_a_mirrored_board() -> None:
    pose = Pose.mirror_y(50).then(Pose.turn(30)).then(Pose.shift(7, 9))
    placement = placed(two(0.5), pose=pose)
    found, _ = spacing([HIGH, LOW], placement, cut(placement), AWAY)
    x, y = pose.inverse().point(only(found).at)
    assert y == pytest.approx(22.25)
    assert 20 - 1e-9 <= x <= 40 + 1e-9
    assert only(found).measured == pytest.approx(0.5)


def test_joined_pieces_are_one_net() -> None:
    shapes = [*two(2.0), shapely.box(20, 22.5, 25, 23)]
    placement = placed(shapes)
    both = NetFacts("B+", ("c1", "c3"), (300.0, 300.0))
    found, _ = spacing([both, LOW], placement, cut(placement), AWAY)
    assert only(found).measured == pytest.approx(1.0)


def test_measured_against_every_pair_of_points() -> None:
    """A second way to the figure: all corners against all edges, in plain loops."""
    spokes = [(8 if k % 2 else 3, 0.3 * k) for k in range(20)]
    star = shapely.Polygon([(50 + r * math.cos(a), 25 + r * math.sin(a)) for r, a in spokes])
    around = less(shapely.box(35, 10, 65, 40), shapely.Point(50.3, 25).buffer(9))
    placement = placed([star, around])
    found, _ = spacing([HIGH, LOW], placement, cut(placement), AWAY)
    corners, ring = list(star.exterior.coords), list(around.interiors[0].coords)
    plain = min(
        min(
            shapely.LineString(ring[k : k + 2]).distance(shapely.Point(c))
            for k in range(len(ring) - 1)
        )
        for c in corners
    )
    assert only(found).measured == pytest.approx(plain)


def test_a_screw_without_a_washer_covers_what_the_job_says() -> None:
    hole = Hole("h1", (50, 25), 3.2)
    placement = placed([shapely.box(50 + 2.75 + 0.6, 20, 60, 30)], [hole])
    required = SpacingRule(fixing_metal=5.5)
    found, _ = spacing([HIGH], placement, cut(placement), required)
    metal = {p.other: p.measured for p in found}
    assert metal["the screw in hole h1 of 3.20 mm"] == pytest.approx(0.6, abs=2e-3)
