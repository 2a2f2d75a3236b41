from __future__ import annotations

import math
from dataclasses import replace

import pytest
import shapely

from millprep.geometry.pose import Pose
from millprep.model.board import Hole
from millprep.model.job.nets import Load, NetFacts, Wire
from millprep.model.judged import AtLoad, NetJudged
from millprep.standards.copper import sheet_resistance, wire_resistance
from millprep.verify.rules.drop import SURE, _judged, drop
from millprep.verify.rules.judge import across as acrosses
from tests.helpers.rules_scene import cut, joined, placed

SQUARE = sheet_resistance(0.035)
RAIL = shapely.box(5, 20, 95, 23)


def holes(*x: float) -> list[Hole]:
    return [Hole(f"h{n}", (at, 21.5), 1.1, "c1") for n, at in enumerate(x, 1)]


def rail(*amperes: float, **more: object) -> NetFacts:
    """Loads 10 mm apart from x = 10."""
    loads = tuple(
        Load(f"V{n}", (10.0 + 10 * n, 21.5), a, contact=3.0) for n, a in enumerate(amperes)
    )
    return NetFacts("heater", ("c1",), loads=loads, **more)  # type: ignore[arg-type]


def test_volts_and_ohms_at_every_load() -> None:
    """Joints as wide as the rail: between their rims the strip is nearly a strip."""
    net = rail(-3.0, 1.0, 1.0, 1.0)
    placement = placed([RAIL], holes(10, 20, 30, 40))
    done, faults = drop(net, placement, cut(placement), 0.035)
    assert done is not None
    assert faults == ()
    assert done.feed == "V0"
    assert [at.load.name for at in done.loads] == ["V0", "V1", "V2", "V3"]
    one = done.loads[3].ohms - done.loads[2].ohms
    # All stretches are alike, and carry 3, 2 and 1 A.
    assert [at.ohms for at in done.loads] == pytest.approx([0, one, 2 * one, 3 * one], rel=4e-3)
    assert [at.lost for at in done.loads] == pytest.approx([0, 3 * one, 5 * one, 6 * one], rel=4e-3)
    assert 7 / 3 * SQUARE < one < 10 / 3 * SQUARE
    assert done.error < 0.004
    assert done.hottest is not None
    assert done.hottest.amperes == pytest.approx(3.0, rel=0.03)
    assert 10 < done.hottest.at[0] < 20


def test_the_drop_is_linear_in_copper_and_current() -> None:
    placement = placed([RAIL], holes(10, 20))
    as_cut = cut(placement)
    once, _ = drop(rail(-1.0, 1.0), placement, as_cut, 0.035)
    twice, _ = drop(rail(-2.0, 2.0), placement, as_cut, 0.070)
    warm, _ = drop(rail(-1.0, 1.0), placement, as_cut, 0.035, celsius=60)
    assert once is not None
    assert twice is not None
    assert warm is not None
    assert twice.loads[1].lost == pytest.approx(once.loads[1].lost)
    assert warm.loads[1].lost == pytest.approx(once.loads[1].lost * (1 + 0.00393 * 40))


def test_the_copper_at_the_surface_counts() -> None:
    placement = placed([RAIL])
    net = rail(-1.0, 1.0)
    drawn, _ = drop(net, placement, cut(placement), 0.035)
    worn, _ = drop(net, placement, cut(placement, wear=0.25), 0.035)
    assert drawn is not None
    assert worn is not None
    assert worn.loads[1].lost > 1.1 * drawn.loads[1].lost


def test_a_mirrored_board_loses_the_same() -> None:
    net = rail(-1.0, 0.4, 0.6)
    pose = Pose.mirror_y(50).then(Pose.turn(90)).then(Pose.shift(60, 3))
    plain, mirrored = (
        placed([RAIL], holes(10, 20, 30)),
        placed([RAIL], holes(10, 20, 30), pose=pose),
    )
    one, _ = drop(net, plain, cut(plain), 0.035)
    other, _ = drop(net, mirrored, cut(mirrored), 0.035)
    assert one is not None
    assert other is not None
    assert [at.lost for at in other.loads] == pytest.approx([at.lost for at in one.loads], rel=3e-3)
    assert other.loads[2].at == pytest.approx(pose.point((30, 21.5)))


def test_too_much_is_lost() -> None:
    placement = placed([RAIL], holes(10, 20))
    net = rail(-5.0, 5.0)
    done, faults = drop(net, placement, cut(placement), 0.035, most_lost=0.005)
    assert done is not None
    (fault,) = faults
    assert (fault.code, fault.severity) == ("drop-too-large", "warn")
    assert fault.message.startswith(
        f"net heater: V1 gets {done.loads[1].lost:.3f} V less than V0, 0.005 V are allowed."
    )
    assert fault.at == (20.0, 21.5)
    assert drop(net, placement, cut(placement), 0.035, most_lost=0.5)[1] == ()


def test_volts_that_are_not_known_well_are_reported() -> None:
    placement = placed([RAIL], holes(10, 20))
    done, _ = drop(rail(-1.0, 1.0), placement, cut(placement), 0.035)
    assert done is not None
    assert _judged(replace(done, error=SURE), placement, None) == []
    (fault,) = _judged(replace(done, error=0.034), placement, None)
    assert (fault.code, fault.severity, fault.at) == ("drop-uncertain", "note", (20.0, 21.5))
    assert "the voltage drop is known to 3.4% only" in fault.message


PARTED = [shapely.box(5, 20, 48, 23), shapely.box(52, 20, 95, 23)]


def across(ohms: float | None) -> NetFacts:
    ends = (Load("in", (10, 21.5), -2.0, 2.0), Load("out", (90, 21.5), 2.0, 2.0))
    wires = () if ohms is None else (Wire((45, 21.5), (55, 21.5), ohms),)
    return NetFacts("heater", ("c1", "c2"), loads=ends, wires=wires)


def test_a_wire_joins_two_pieces() -> None:
    placement = placed(PARTED)
    as_cut = cut(placement)
    perfect, faults = drop(across(0.0), placement, as_cut, 0.035)
    thin, _ = drop(across(0.005), placement, as_cut, 0.035)
    assert faults == ()
    assert perfect is not None
    assert thin is not None
    assert perfect.loads[1].ohms > 64 / 3 * SQUARE
    assert thin.loads[1].ohms - perfect.loads[1].ohms == pytest.approx(0.005, rel=1e-3)
    assert thin.loads[1].lost - perfect.loads[1].lost == pytest.approx(0.010, rel=1e-3)


def test_without_the_wire_nothing_gets_across() -> None:
    placement = placed(PARTED)
    done, faults = drop(across(None), placement, cut(placement), 0.035)
    assert done is not None
    assert done.loads == ()
    assert done.hottest is None
    assert [fault.code for fault in faults] == ["load-cut-off", "load-cut-off"]
    assert {fault.severity for fault in faults} == {"stop"}
    assert [fault.at for fault in faults] == [(10, 21.5), (90, 21.5)]
    assert "no copper as cut carries the current of out" in faults[1].message


def test_loads_on_no_copper() -> None:
    placement = placed([RAIL])
    net = NetFacts("n", ("c1",), loads=(Load("in", (10, 40), -1.0), Load("out", (20, 40), 1.0)))
    done, faults = drop(net, placement, cut(placement), 0.035)
    assert done is None
    assert [fault.code for fault in faults] == ["load-cut-off"] * 2
    assert drop(NetFacts("n", ("c1",)), placement, cut(placement), 0.035) == (None, ())


def test_loads_in_one_joint_are_one_piece_of_metal() -> None:
    placement = placed([RAIL], holes(10, 20))
    loads = (
        Load("in", (10, 21.5), -2.0),
        Load("pin", (20, 21.5), 1.0),
        Load("wire", (20, 21.5), 1.0),
    )
    done, faults = drop(NetFacts("n", ("c1",), loads=loads), placement, cut(placement), 0.035)
    assert faults == ()
    assert done is not None
    assert done.loads[1].lost == pytest.approx(done.loads[2].lost)
    assert done.loads[1].lost == pytest.approx(2 * done.loads[1].ohms)


def test_a_return_line_is_measured_against_the_end_it_leaves_by() -> None:
    """Every current turned round: the same ohms, the same volts the other way."""
    placement = placed([RAIL], holes(10, 20, 30, 40))
    there, _ = drop(rail(-3.0, 1.0, 1.0, 1.0), placement, cut(placement), 0.035)
    back, faults = drop(rail(3.0, -1.0, -1.0, -1.0), placement, cut(placement), 0.035)
    assert faults == ()
    assert there is not None
    assert back is not None
    assert back.feed == there.feed == "V0"
    assert [at.lost for at in back.loads] == [0.0 - at.lost for at in there.loads]
    assert [at.ohms for at in back.loads] == [at.ohms for at in there.loads]
    assert (back.solution.flow == -there.solution.flow).all()


def test_a_return_line_that_rises_too_far_is_reported() -> None:
    placement = placed([RAIL], holes(10, 20, 30))
    _, faults = drop(rail(2.0, -1.0, -1.0), placement, cut(placement), 0.035, most_lost=0.0005)
    (fault,) = faults
    assert fault.code == "drop-too-large"
    assert "V2 is 0.00" in fault.message
    assert "V above V0, 0.0005 V are allowed" in fault.message


def wired(ohms: float, amperes: float = 2.0) -> NetFacts:
    """Two pads that a wire joins, the loads where the wire is soldered."""
    loads = (Load("feed", (20.0, 20.0), -amperes), Load("valve", (60.0, 20.0), amperes))
    return NetFacts(
        "heater", ("c1", "c2"), loads=loads, wires=(Wire((20.0, 20.0), (60.0, 20.0), ohms),)
    )


@pytest.mark.parametrize(("diameter", "length", "celsius"), [(0.8, 40.0, 20.0), (0.5, 300.0, 60.0)])
def test_a_wire_alone_loses_what_its_copper_resists(
    diameter: float, length: float, celsius: float
) -> None:
    """R = ρ·l / A, with ρ at its temperature, and U = R·I."""
    pads = [shapely.Point(x, 20).buffer(1.5, quad_segs=32) for x in (20, 60)]
    drilled = [Hole("h1", (20.0, 20.0), 1.0, "c1"), Hole("h2", (60.0, 20.0), 1.0, "c2")]
    placement = placed(pads, drilled, pose=Pose.mirror_y(50))
    ohms = wire_resistance(length, math.pi * diameter**2 / 4, celsius)
    rho = (1 + 0.00393 * (celsius - 20)) / 58000
    assert ohms == pytest.approx(rho * length / (math.pi * diameter**2 / 4))
    done, faults = drop(wired(ohms), placement, cut(placement), 0.035, celsius=celsius)
    assert done is not None
    assert faults == ()
    assert done.loads[1].lost == pytest.approx(2.0 * ohms, rel=1e-6)
    (wire,) = done.wires
    assert (wire.ohms, wire.amperes) == pytest.approx((ohms, 2.0))
    assert (wire.start, wire.end) == ((20.0, 30.0), (60.0, 30.0))


def test_a_wire_beside_copper_takes_its_share() -> None:
    """Two resistances side by side: each carries what the other's share of their sum is."""
    pads = [shapely.Point(x, 20).buffer(1.5, quad_segs=32) for x in (20, 60)]
    drilled = [Hole("h1", (20.0, 20.0), 1.0, "c1"), Hole("h2", (60.0, 20.0), 1.0, "c1")]
    strip = joined(*pads, shapely.box(20, 19.5, 60, 20.5))
    placement = placed([strip], drilled)
    alone = NetFacts("heater", ("c1",), loads=wired(1.0).loads)
    bare, _ = drop(alone, placement, cut(placement), 0.035)
    assert bare is not None
    copper, ohms = bare.loads[1].ohms, 0.02
    net = NetFacts("heater", ("c1",), loads=alone.loads, wires=wired(ohms).wires)
    done, _ = drop(net, placement, cut(placement), 0.035)
    assert done is not None
    assert done.loads[1].lost == pytest.approx(2.0 / (1 / copper + 1 / ohms), rel=2e-3)
    assert done.wires[0].amperes == pytest.approx(2.0 * copper / (copper + ohms), rel=2e-3)


def test_a_perfect_wire_is_not_listed() -> None:
    pads = [shapely.Point(x, 20).buffer(1.5, quad_segs=32) for x in (20, 60)]
    placement = placed(pads)
    done, _ = drop(wired(0.0), placement, cut(placement), 0.035)
    assert done is not None
    assert done.wires == ()
    assert done.loads[1].lost == pytest.approx(0.0, abs=1e-9)


def judged(name: str, volts: tuple[float, float] | None, *amperes: float) -> NetJudged:
    """A net whose feed is called after it, with the load "heater" on it for each current."""
    loads = [Load("heater", (1.0, 1.0), a) for a in amperes]
    at = tuple(AtLoad(load, (1.0, 1.0), 0.1 if load.amperes > 0 else -0.2, 0.1) for load in loads)
    return NetJudged(NetFacts(name, ("c1",), volts), None, f"{name} feed", at)


@pytest.mark.parametrize(("low", "volts"), [((0.0, 0.0), 12.0), ((0.0, 1.0), None), (None, None)])
def test_a_load_between_two_nets_gets_the_volts_of_both(
    low: tuple[float, float] | None, volts: float | None
) -> None:
    (found,) = acrosses([judged("low", low, -2.0), judged("high", (12.0, 12.0), 2.0)])
    assert (found.load, found.net, found.other, found.amperes) == ("heater", "high", "low", 2.0)
    assert found.given == volts
    assert found.lost == pytest.approx(0.3)


def test_a_load_of_one_net_or_of_unequal_currents_lies_between_none() -> None:
    assert acrosses([judged("high", (12.0, 12.0), 2.0)]) == ()
    assert acrosses([judged("low", None, -1.0), judged("high", None, 2.0)]) == ()
