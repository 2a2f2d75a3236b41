"""Gaps by voltage: any two nets that border on one floating area keep what their volts ask."""

from __future__ import annotations

import itertools

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry.base import BaseGeometry

from millprep.paths.by_voltage import SPARE, Asked, gaps, widen
from millprep.trade.spacing import required
from millprep.values.net import NetFacts

EDGE = shapely.box(0, 0, 60, 40)
SKIRT, GAP = 0.01, 0.3
NO_EDGE = Asked(edge=False)


def net(name: str, *volts: float) -> NetFacts:
    return NetFacts(name, (name,), (min(volts), max(volts)) if volts else None)


def floating(pieces: dict[str, shapely.Polygon]) -> BaseGeometry:
    return EDGE.difference(shapely.union_all(list(pieces.values())).buffer(SKIRT + GAP))


def test_of_one_supply_among_signals_the_supply_keeps_the_distance() -> None:
    nets = [net("supply", 300), net("a", 0), net("b", 5), net("c", -5)]
    wide = gaps(nets, dict.fromkeys("abc", 100.0) | {"supply": 100.0}, NO_EDGE, GAP, at_edge=False)
    assert {name: wide[name] for name in "abc"} == dict.fromkeys("abc", GAP)
    # 305 V against c: the row up to 500 V
    assert wide["supply"] == pytest.approx(required(305) - GAP)


def test_a_short_net_is_widened_rather_than_a_long_one() -> None:
    nets = [net("one", 0), net("other", 200)]
    wide = gaps(nets, {"one": 10.0, "other": 500.0}, NO_EDGE, GAP, at_edge=False)
    assert wide == pytest.approx({"one": required(200) - GAP, "other": GAP})


@given(
    st.lists(
        st.tuples(st.floats(-500, 500), st.floats(-500, 500), st.floats(1, 1000)),
        min_size=1,
        max_size=7,
    ),
    st.sampled_from([0.1, 0.3, 0.8]),
    st.sampled_from([0.0, 0.2, 0.5]),
    st.booleans(),
)
def test_all_sums_are_what_is_asked_and_no_gap_can_be_less(
    drawn: list[tuple[float, float, float]], least: float, counted: float, at_edge: bool
) -> None:
    nets = [net(f"n{k}", a, b) for k, (a, b, _) in enumerate(drawn)]
    lengths = {f"n{k}": long for k, (_, _, long) in enumerate(drawn)}
    asked = Asked(least_counted=counted)
    wide = gaps(nets, lengths, asked, least, at_edge=at_edge)
    counts = {name: gap if gap >= counted else 0.0 for name, gap in wide.items()}
    for one, other in itertools.combinations(nets, 2):
        volts = one.volts_to(other)
        assert volts is not None
        assert counts[one.name] + counts[other.name] >= required(volts) - 1e-9
    if at_edge:
        for one in nets:
            volts = one.volts_to(net("edge", 0))
            assert volts is not None
            assert counts[one.name] >= required(volts) - 1e-9
    assert all(gap >= least for gap in wide.values())
    # no gap is wider than the most that any voltage asks
    most = max(
        [least, counted]
        + [required(a.volts_to(b) or 0) for a, b in itertools.combinations(nets, 2)]
        + [required(a.volts_to(net("edge", 0)) or 0) for a in nets]
    )
    assert all(gap <= most + 1e-9 for gap in wide.values())


def shapes() -> dict[str, shapely.Polygon]:
    return {
        "supply": shapely.box(5, 5, 25, 7),
        "signal": shapely.box(5, 12, 25, 14),
        "far": shapely.box(40, 30, 50, 32),
    }


NETS = [net("supply", 300), net("signal", 5), net("far", 0)]


def test_floating_copper_goes_around_the_net_that_asks_for_it_and_nowhere_else() -> None:
    pieces = shapes()
    done = widen(
        floating(pieces), pieces, NETS, NO_EDGE, gap=GAP, skirt=SKIRT, edge=EDGE.boundary
    )
    assert done.gaps == pytest.approx({"supply": required(300) - GAP})
    reach = SKIRT + required(300) - GAP + SPARE
    band = pieces["supply"].buffer(reach, quad_segs=64).difference(
        pieces["supply"].buffer(SKIRT + GAP, quad_segs=64)
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
    done = widen(
        floating(pieces), pieces, told, Asked(), gap=GAP, skirt=SKIRT, edge=EDGE.boundary
    )
    assert done.area.is_empty
    assert done.gaps == {}


def test_an_area_apart_from_the_supply_is_left_alone() -> None:
    """A wall of copper with volts parts the board: what floats beyond it bridges nothing."""
    pieces = shapes() | {"wall": shapely.box(30, 0, 31, 40)}
    nets = [*NETS, net("wall", 0)]
    done = widen(
        floating(pieces), pieces, nets, NO_EDGE, gap=GAP, skirt=SKIRT, edge=EDGE.boundary
    )
    assert done.area.intersection(shapely.box(31, 0, 60, 40)).is_empty
    assert not done.area.is_empty


def test_a_piece_whose_volts_nobody_tells_is_a_bridge_too() -> None:
    """The wall of the test before without volts: it may carry the supply's voltage beyond."""
    pieces = shapes() | {"wall": shapely.box(30, 0, 31, 40), "low": shapely.box(34, 5, 38, 6)}
    nets = [net("supply", 300), net("signal", 300), net("far", 300), net("low", 0)]
    done = widen(
        floating(pieces), pieces, nets, NO_EDGE, gap=GAP, skirt=SKIRT, edge=EDGE.boundary
    )
    assert set(done.gaps) == {"low"}


def test_the_edge_counts_as_metal_at_no_volts() -> None:
    pieces = {"supply": shapes()["supply"]}
    nets = [net("supply", 300)]
    floats = floating(pieces)
    told = [
        widen(floats, pieces, nets, asked, gap=GAP, skirt=SKIRT, edge=EDGE.boundary).gaps
        for asked in (Asked(), NO_EDGE)
    ]
    assert told == [pytest.approx({"supply": required(300)}), {}]


@pytest.mark.parametrize(("apart", "told"), [(1.2, True), (1.265, True), (1.275, False)])
def test_pairs_that_are_drawn_too_near_are_told_with_their_place(apart: float, told: bool) -> None:
    """1.25 mm at 300 V, and the copper's foot reaches 0.01 mm beyond on either side."""
    pieces = {"supply": shapely.box(5, 5, 25, 7), "signal": shapely.box(8, 7 + apart, 20, 12)}
    nets = [net("supply", 300), net("signal", 0)]
    done = widen(
        floating(pieces), pieces, nets, NO_EDGE, gap=GAP, skirt=SKIRT, edge=EDGE.boundary
    )
    assert bool(done.too_near) == told
    for pair in done.too_near:
        assert pair.gap == pytest.approx(apart - 2 * SKIRT)
        assert (pair.volts, pair.required) == (300, 1.25)
        assert pair.at[1] == pytest.approx(7 + apart / 2)
