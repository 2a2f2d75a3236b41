"""Isolation by voltage: gaps to floating copper, divided among nets."""

from __future__ import annotations

import itertools

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry.base import BaseGeometry

from millprep.model.job.nets import NetFacts
from millprep.standards.spacing import Column, required
from millprep.toolpaths.by_voltage import (
    METAL,
    SPARE,
    Key,
    NetCopper,
    SpacingRules,
    gaps,
    needed,
    widen,
)
from tests.helpers.rules_scene import joined

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
    facts = [net("supply"), net("signal"), net("far")]
    done = widen(floating(pieces), pieces, facts, SpacingRules(), gap=GAP, skirt=SKIRT)
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
    result = [
        widen(floats, pieces, nets, ASKED, gap=GAP, skirt=SKIRT, metal=metal).gaps
        for metal in ([EDGE.boundary], [])
    ]
    assert result == [pytest.approx({"supply": required(300)}), {}]


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
def test_pairs_that_are_drawn_too_near_are_reported_with_their_place(
    apart: float, told: bool
) -> None:
    """1.25 mm at 300 V, and the copper's foot reaches 0.01 mm beyond on either side."""
    pieces = {"supply": shapely.box(5, 5, 25, 7), "signal": shapely.box(8, 7 + apart, 20, 12)}
    nets = [net("supply", 300), net("signal", 0)]
    done = widen(floating(pieces), pieces, nets, ASKED, gap=GAP, skirt=SKIRT)
    assert bool(done.too_near) == told
    for pair in done.too_near:
        assert pair.gap == pytest.approx(apart - 2 * SKIRT)
        assert (pair.volts, pair.required) == (300, 1.25)
        assert pair.at[1] == pytest.approx(7 + apart / 2)


DIVIDED_GAP = 0.3
DIVIDED_ASKED = SpacingRules()


def side(name: str, *volts: float, pads: bool = False) -> NetCopper:
    return NetCopper(NetFacts(name, (name,), (min(volts), max(volts))), pads)


def long(**lengths: float) -> dict[Key, float]:
    return {(name, False): length for name, length in lengths.items()}


def test_of_one_supply_among_signals_the_supply_keeps_the_distance() -> None:
    sides = [side("supply", 300), side("a", 0), side("b", 5), side("c", -5)]
    wide = gaps(sides, long(a=100.0, b=100.0, c=100.0, supply=100.0), DIVIDED_ASKED, DIVIDED_GAP)
    assert {name: wide[name, False] for name in "abc"} == dict.fromkeys("abc", DIVIDED_GAP)
    # 305 V against c: the row up to 500 V
    assert wide["supply", False] == pytest.approx(required(305) - DIVIDED_GAP)


def test_a_short_net_is_widened_rather_than_a_long_one() -> None:
    wide = gaps(
        [side("one", 0), side("other", 200)],
        long(one=10.0, other=500.0),
        DIVIDED_ASKED,
        DIVIDED_GAP,
    )
    assert wide == pytest.approx(long(one=required(200) - DIVIDED_GAP, other=DIVIDED_GAP))


def test_between_lands_their_own_column_counts_and_else_the_other() -> None:
    rules = SpacingRules(pad_column="A6")
    pad_sides = [side("one", 0, pads=True), side("other", 300, pads=True)]
    lengths = {one.key: 10.0 for one in pad_sides} | long(other=10.0)
    assert max(gaps(pad_sides, lengths, rules, DIVIDED_GAP).values()) == pytest.approx(
        0.8 - DIVIDED_GAP
    )
    wide = gaps([*pad_sides, side("other", 300)], lengths, rules, DIVIDED_GAP)
    assert wide["one", True] + wide["other", False] >= 1.25 - 1e-9
    assert wide["one", True] + wide["other", True] >= 0.8 - 1e-9


@pytest.mark.parametrize(
    ("metal", "gap"),
    [(None, DIVIDED_GAP), (0.0, 1.25), (0.15, 1.25), (0.5, 0.75), (1.0, DIVIDED_GAP)],
)
def test_what_stands_before_metal_is_taken_off(metal: float | None, gap: float) -> None:
    """Gaps below 0.2 mm count as nothing."""
    rules = SpacingRules(least_counted=0.2)
    wide = gaps([side("one", 300)], long(one=10.0), rules, DIVIDED_GAP, metal)
    assert wide == pytest.approx(long(one=gap))


@given(
    st.lists(
        st.tuples(st.floats(-500, 500), st.floats(-500, 500), st.floats(1, 1000), st.booleans()),
        min_size=1,
        max_size=7,
    ),
    st.sampled_from([0.1, 0.3, 0.8]),
    st.sampled_from([0.0, 0.2, 0.5]),
    st.sampled_from([None, 0.0, 0.4]),
    st.sampled_from([None, "A6"]),
)
def test_all_sums_are_what_is_asked_and_no_gap_can_be_less(
    drawn: list[tuple[float, float, float, bool]],
    least: float,
    counted: float,
    metal: float | None,
    pad_sides: Column | None,
) -> None:
    sides = [side(f"n{k}", a, b, pads=pads) for k, (a, b, _, pads) in enumerate(drawn)]
    lengths = {one.key: length for one, (_, _, length, _) in zip(sides, drawn, strict=True)}
    rules = SpacingRules(pad_column=pad_sides, least_counted=counted)
    wide = gaps(sides, lengths, rules, least, metal)
    for one, other in itertools.combinations(sides, 2):
        together = rules.counted(wide[one.key]) + rules.counted(wide[other.key])
        assert together >= needed(one, other, rules) - 1e-9
    ground = [0.0 if metal is None else needed(one, NetCopper(METAL), rules) for one in sides]
    if metal is not None:
        for one, need in zip(sides, ground, strict=True):
            assert rules.counted(wide[one.key]) + rules.counted(metal) >= need - 1e-9
    assert all(gap >= least for gap in wide.values())
    # no gap is wider than the most that any voltage asks
    needs = [needed(one, other, rules) for one, other in itertools.combinations(sides, 2)]
    most = max([least, counted, *needs, *ground])
    assert all(gap <= most + 1e-9 for gap in wide.values())


def test_of_two_nets_the_place_that_lacks_most_is_said() -> None:
    """Tracks 0.3 mm apart lack 0.95 mm by column B2, lands 0.5 mm apart 0.3 by column A6."""
    lands = [shapely.box(4.0, 5.0, 6.0, 7.0), shapely.box(4.0, 7.52, 6.0, 9.5)]
    tracks = [shapely.box(6.0, 6.0, 20.0, 7.1), shapely.box(6.0, 7.42, 20.0, 9.0)]
    whole = [joined(*pair) for pair in zip(lands, tracks, strict=True)]
    pieces = dict(zip(("supply", "signal"), whole, strict=True))
    done = widen(
        floating(pieces), pieces, [net("supply", 300), net("signal", 0)],
        SpacingRules(pad_column="A6"), gap=GAP, skirt=SKIRT, pads=shapely.union_all(lands),
    )  # fmt: skip
    (near,) = done.too_near
    assert (near.column, near.required, near.volts) == ("B2", 1.25, 300.0)
    assert near.gap == pytest.approx(0.3)
    assert near.at[0] > 6.0
