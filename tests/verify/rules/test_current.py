from __future__ import annotations

from typing import Any

import pytest
import shapely

from millprep.model.board import Hole
from millprep.model.job.nets import Load, NetFacts
from millprep.model.judged import CurrentNeck
from millprep.standards.copper import capacity
from millprep.verify.rules.drop import NOTHING, Drop, current, drop
from millprep.verify.rules.necks import bottleneck, sections
from tests.helpers.rules_scene import cut, joined, less, placed

NECK = joined(
    shapely.box(5, 20, 45, 23), shapely.box(40, 21, 60, 21.5), shapely.box(55, 20, 95, 23)
)
HOLES = [Hole("h1", (10, 21.5), 1.1, "c1"), Hole("h2", (90, 21.5), 1.1, "c1")]


def loaded(amperes: float) -> NetFacts:
    ends = (Load("in", (10, 21.5), -amperes), Load("out", (90, 21.5), amperes))
    return NetFacts("heater", ("c1",), loads=ends)


def solved(*necks: CurrentNeck) -> Drop:
    """A net that is solved, with sections of its copper."""
    nothing: Any = None
    return Drop("heater", "in", (), necks, (), 0.0, nothing)


@pytest.mark.parametrize("wear", [0.0, 0.05])
def test_a_neck_is_found_with_its_current(wear: float) -> None:
    placement = placed([NECK], HOLES)
    as_cut = cut(placement, wear=wear)
    net = loaded(3.0)
    done, _ = drop(net, placement, as_cut, 0.035)
    worst, faults = current(net, placement, as_cut, 0.035, 10, done)
    assert worst is not None
    # Of sections nearly alike the solution's last percent of current picks one.
    assert worst.neck.width == pytest.approx(0.5 - 2 * wear, abs=1e-3)
    assert worst.neck.amperes == pytest.approx(3.0, rel=0.02)
    assert worst.carries == pytest.approx(capacity(0.5 - 2 * wear, 0.035, 10), rel=2e-3)
    (fault,) = faults
    assert (fault.code, fault.severity) == ("neck-too-thin", "warn")
    assert "net heater: a neck of 0." in fault.message
    assert fault.at is not None
    assert 44.9 < fault.at[0] < 55.1
    assert fault.at[1] == pytest.approx(21.25, abs=1e-3)


def test_less_current_passes() -> None:
    placement = placed([NECK], HOLES)
    as_cut = cut(placement)
    net = loaded(1.3)
    done, _ = drop(net, placement, as_cut, 0.035)
    worst, faults = current(net, placement, as_cut, 0.035, 10, done)
    assert faults == ()
    assert worst is not None
    assert worst.share == pytest.approx(1.3 / capacity(0.5, 0.035, 10), rel=0.02)


def test_a_neck_off_the_way_of_the_current_is_none() -> None:
    """The same copper, but all current stays on one side of the neck."""
    placement = placed([NECK], HOLES)
    as_cut = cut(placement)
    ends = (Load("in", (10, 21.5), -3.0), Load("out", (35, 21.5), 3.0))
    net = NetFacts("heater", ("c1",), loads=ends)
    done, _ = drop(net, placement, as_cut, 0.035)
    worst, faults = current(net, placement, as_cut, 0.035, 10, done)
    assert faults == ()
    assert worst is not None
    assert worst.neck.width > 0.8


def test_both_sides_of_a_hole_carry_their_share() -> None:
    """A hole of 1 mm, off the middle of a strip of 3: 1.5 mm beside 0.5 mm."""
    bar = less(shapely.box(5, 20, 95, 23), shapely.Point(50, 21).buffer(0.5, quad_segs=32))
    placement = placed([bar], HOLES)
    as_cut = cut(placement)
    net = loaded(4.0)
    done, _ = drop(net, placement, as_cut, 0.035)
    worst, _ = current(net, placement, as_cut, 0.035, 20, done)
    assert worst is not None
    assert worst.neck.at[0] == pytest.approx(50, abs=0.3)
    assert worst.neck.width == pytest.approx(1.5, abs=0.01)
    assert 2.7 < worst.neck.amperes < 3.4


def test_amperes_alone_cross_the_narrowest_neck_between_holes() -> None:
    placement = placed([NECK], HOLES)
    worst, faults = current(
        NetFacts("n", ("c1",), amperes=3.0), placement, cut(placement), 0.035, 10
    )
    assert worst is not None
    assert worst.neck.width == pytest.approx(0.5)
    assert worst.neck.amperes == 3.0
    assert [fault.code for fault in faults] == ["neck-too-thin"]
    assert current(NetFacts("n", ("c1",)), placement, cut(placement), 0.035, 10) == (None, ())


def test_of_two_ways_the_wider_counts() -> None:
    ring = less(shapely.box(0, 0, 30, 20), shapely.box(2, 1, 28, 16))
    joints: list[shapely.Geometry] = [
        shapely.Point(1, 8).buffer(0.3), shapely.Point(29, 8).buffer(0.3)
    ]  # fmt: skip
    copper = less(ring, *joints)
    # Sideways 2 mm less a joint's 0.6 in the middle; then 4 mm above against 1 mm below.
    neck = bottleneck(copper, joints)
    assert neck is not None
    assert neck.width == pytest.approx(2.0, abs=0.05)
    assert bottleneck(copper, joints[:1]) is None


def test_beyond_the_curves() -> None:
    placement = placed([NECK], HOLES)
    net = NetFacts("n", ("c1",), amperes=40.0)
    worst, faults = current(net, placement, cut(placement), 0.035, 10)
    assert worst is None
    (fault,) = faults
    assert (fault.code, fault.severity) == ("current-off-curve", "warn")
    assert "the curves end at 35 A" in fault.message


def test_a_current_beyond_the_curves_is_reported_where_it_flows() -> None:
    placement = placed([NECK], HOLES)
    necks = [CurrentNeck(3.0, (20.0, 21.5), 2.0), CurrentNeck(0.5, (50.0, 21.25), 40.0)]
    worst, (fault,) = current(loaded(40.0), placement, cut(placement), 0.035, 10, solved(*necks))
    assert worst is None
    assert (fault.code, fault.at) == ("current-off-curve", (50.0, 21.25))


def test_copper_that_carries_next_to_nothing_is_not_judged() -> None:
    placement = placed([NECK], HOLES)
    idle = solved(CurrentNeck(0.5, (50.0, 21.25), NOTHING / 2))
    assert current(loaded(1.0), placement, cut(placement), 0.035, 10, idle) == (None, ())


def test_sections_find_the_narrowest_place_of_a_shape() -> None:
    bitten = less(shapely.box(0, 0, 20, 3), shapely.Point(10, 3.2).buffer(1.5, quad_segs=64))
    widths = sections(bitten).widths
    assert widths.min() == pytest.approx(1.7, abs=1e-6)
    # At a blind end it looks no nearer than half a width.
    slanted = shapely.Polygon([(0, 0), (20, 0), (20, 2), (0, 1)])
    assert 1.0 < sections(slanted).widths.min() < 1.03


def test_copper_as_wide_as_it_is_long_has_no_neck() -> None:
    square = shapely.box(0, 0, 4, 4)
    joints: list[shapely.Geometry] = [shapely.Point(x, 2).buffer(0.3) for x in (1, 3)]
    assert bottleneck(square, joints) is None
    assert bottleneck(shapely.box(0, 0, 12, 4), [joints[0], shapely.Point(11, 2)]) is not None


def test_a_neck_that_no_width_within_the_curves_would_mend() -> None:
    """25 A: within the curves, but not on 35 µm at 10 K, however wide."""
    placement = placed([NECK], HOLES)
    neck = CurrentNeck(1.0, (50.0, 21.25), 25.0)
    worst, (fault,) = current(loaded(25.0), placement, cut(placement), 0.035, 10, solved(neck))
    assert worst is not None
    assert worst.carries == capacity(1.0, 0.035, 10)
    assert "It carries 2.39 A; 25 A would need" in fault.message
    assert "mm, the curves end at 10.16 mm. Widen it" in fault.message
    assert (fault.code, fault.at) == ("neck-too-thin", (50.0, 21.25))


def test_copper_so_wide_and_thick_that_the_curves_end_carries_what_they_end_at() -> None:
    placement = placed([NECK], HOLES)
    neck = CurrentNeck(40.0, (50.0, 21.25), 30.0)
    worst, faults = current(loaded(30.0), placement, cut(placement), 0.105, 40, solved(neck))
    assert worst is not None
    assert (worst.carries, faults) == (35.0, ())


def test_copper_with_one_hole_leads_its_current_nowhere() -> None:
    placement = placed([NECK], HOLES[:1])
    net = NetFacts("n", ("c1",), amperes=3.0)
    assert current(net, placement, cut(placement), 0.035, 10) == (None, ())
