"""Gaps by voltage: any two nets that border on one floating area keep what their volts ask."""

from __future__ import annotations

import pytest
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.model.net import NetFacts
from millprep.standards.spacing import required
from millprep.toolpaths.by_voltage import SPARE, widen
from millprep.toolpaths.floating_gaps import SpacingRules

EDGE = shapely.box(0, 0, 60, 40)
SKIRT, GAP = 0.01, 0.3
ASKED = SpacingRules()


def net(name: str, *volts: float) -> NetFacts:
    return NetFacts(name, (name,), (min(volts), max(volts)) if volts else None)


def floating(pieces: dict[str, shapely.Polygon]) -> BaseGeometry:
    return EDGE.difference(shapely.union_all(list(pieces.values())).buffer(SKIRT + GAP))


def shapes() -> dict[str, shapely.Polygon]:
    return {
        "supply": shapely.box(5, 5, 25, 7),
        "signal": shapely.box(5, 12, 25, 14),
        "far": shapely.box(40, 30, 50, 32),
    }


NETS = [net("supply", 300), net("signal", 5), net("far", 0)]


def test_floating_copper_goes_around_the_net_that_asks_for_it_and_nowhere_else() -> None:
    pieces = shapes()
    done = widen(floating(pieces), pieces, NETS, ASKED, gap=GAP, skirt=SKIRT)
    assert done.gaps == pytest.approx({"supply": required(300) - GAP})
    reach = SKIRT + required(300) - GAP + SPARE
    band = (
        pieces["supply"]
        .buffer(reach, quad_segs=64)
        .difference(pieces["supply"].buffer(SKIRT + GAP, quad_segs=64))
    )
    assert done.area.symmetric_difference(band).area < 0.02
    assert done.too_near == ()
    # what is left keeps, over the floating copper, what the volts ask
    left = floating(pieces).difference(done.area)
    over = left.distance(pieces["supply"]) + left.distance(pieces["signal"]) - 2 * SKIRT
    assert over >= required(300)


def test_without_volts_nothing_is_widened() -> None:
    pieces = shapes()
    told = [net("supply"), net("signal"), net("far")]
    done = widen(floating(pieces), pieces, told, SpacingRules(), gap=GAP, skirt=SKIRT)
    assert done.area.is_empty
    assert done.gaps == {}


def test_an_area_apart_from_the_supply_is_left_alone() -> None:
    """A wall of copper with volts parts the board: what floats beyond it bridges nothing."""
    pieces = shapes() | {"wall": shapely.box(30, 0, 31, 40)}
    nets = [*NETS, net("wall", 0)]
    done = widen(floating(pieces), pieces, nets, ASKED, gap=GAP, skirt=SKIRT)
    assert done.area.intersection(shapely.box(31, 0, 60, 40)).is_empty
    assert not done.area.is_empty


def test_a_piece_whose_volts_nobody_tells_is_a_bridge_too() -> None:
    """The wall of the test before without volts: it may carry the supply's voltage beyond."""
    pieces = shapes() | {"wall": shapely.box(30, 0, 31, 40), "low": shapely.box(34, 5, 38, 6)}
    nets = [net("supply", 300), net("signal", 300), net("far", 300), net("low", 0)]
    done = widen(floating(pieces), pieces, nets, ASKED, gap=GAP, skirt=SKIRT)
    assert set(done.gaps) == {"low"}


def test_the_edge_counts_as_metal_at_no_volts() -> None:
    pieces = {"supply": shapes()["supply"]}
    nets = [net("supply", 300)]
    floats = floating(pieces)
    told = [
        widen(floats, pieces, nets, ASKED, gap=GAP, skirt=SKIRT, metal=metal).gaps
        for metal in ([EDGE.boundary], [])
    ]
    assert told == [pytest.approx({"supply": required(300)}), {}]


@pytest.mark.parametrize("width", [5.5, 8.0])
def test_a_screw_on_floating_copper_brings_it_to_no_volts(width: float) -> None:
    pieces = {"supply": shapes()["supply"]}
    screw = shapely.Point(40.0, 30.0).buffer(width / 2)
    done = widen(
        floating(pieces), pieces, [net("supply", 300)], ASKED, gap=GAP, skirt=SKIRT, metal=[screw]
    )
    assert done.gaps == pytest.approx({"supply": required(300)})
    left = floating(pieces).difference(done.area)
    assert left.distance(pieces["supply"]) - SKIRT >= required(300)


def test_what_stands_between_floating_copper_and_metal_counts_too() -> None:
    """A wall at 0 V parts the copper around the supply from a screw's washer by 0.5 mm."""
    pieces = {"supply": shapely.box(5, 5, 25, 7)}
    floats = shapely.box(0, 0, 40, 40).difference(pieces["supply"].buffer(SKIRT + GAP))
    screw = shapely.box(40.5, 0, 50, 40)
    done = widen(floats, pieces, [net("supply", 300)], ASKED, gap=GAP, skirt=SKIRT, metal=[screw])
    assert done.gaps == pytest.approx({"supply": required(300) - 0.5})


def test_lands_by_a_column_of_their_own_may_stand_nearer() -> None:
    """Two lands 0.9 mm apart at 300 V: 0.8 by column A6, 1.25 by B2."""
    pads = [shapely.Point(x, 10).buffer(1.0, quad_segs=64) for x in (10.0, 12.92)]
    pieces = dict(zip(("supply", "signal"), pads, strict=True))
    nets = [net("supply", 300), net("signal", 0)]
    floats = floating(pieces)

    def too_near(rules: SpacingRules) -> list[tuple[str, float]]:
        done = widen(
            floats, pieces, nets, rules, gap=GAP, skirt=SKIRT, pads=shapely.union_all(pads)
        )
        return [(pair.column, pair.required) for pair in done.too_near]

    assert too_near(ASKED) == [("B2", 1.25)]
    assert too_near(SpacingRules(pad_column="A6")) == []
    assert too_near(SpacingRules(pad_column="B3")) == [("B3", 12.5)]


def test_around_lands_less_goes_than_around_tracks() -> None:
    """Floating copper beside two lands alone gives way as column A6 asks, 0.8 mm for 300 V."""
    pads = [shapely.Point(x, 10).buffer(1.0, quad_segs=64) for x in (10.0, 20.0)]
    pieces = dict(zip(("supply", "signal"), pads, strict=True))
    nets = [net("supply", 300), net("signal", 0)]
    soldered = shapely.union_all(pads).buffer(0.05)
    for rules, wide in ((SpacingRules(pad_column="A6"), 0.8 - GAP), (ASKED, 1.25 - GAP)):
        done = widen(floating(pieces), pieces, nets, rules, gap=GAP, skirt=SKIRT, pads=soldered)
        assert sorted(done.gaps.values()) == pytest.approx([wide])


@pytest.mark.parametrize(("apart", "told"), [(1.2, True), (1.265, True), (1.275, False)])
def test_pairs_that_are_drawn_too_near_are_told_with_their_place(apart: float, told: bool) -> None:
    """1.25 mm at 300 V, and the copper's foot reaches 0.01 mm beyond on either side."""
    pieces = {"supply": shapely.box(5, 5, 25, 7), "signal": shapely.box(8, 7 + apart, 20, 12)}
    nets = [net("supply", 300), net("signal", 0)]
    done = widen(floating(pieces), pieces, nets, ASKED, gap=GAP, skirt=SKIRT)
    assert bool(done.too_near) == told
    for pair in done.too_near:
        assert pair.gap == pytest.approx(apart - 2 * SKIRT)
        assert (pair.volts, pair.required) == (300, 1.25)
        assert pair.at[1] == pytest.approx(7 + apart / 2)
