"""Sums of gaps: what any two that border on one floating area ask for, and no more."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from millprep.model.net import NetFacts
from millprep.standards.spacing import Column, required
from millprep.toolpaths.floating_gaps import METAL, Key, NetCopper, SpacingRules, gaps, needed

GAP = 0.3
ASKED = SpacingRules()


def side(name: str, *volts: float, pads: bool = False) -> NetCopper:
    return NetCopper(NetFacts(name, (name,), (min(volts), max(volts))), pads)


def long(**lengths: float) -> dict[Key, float]:
    return {(name, False): length for name, length in lengths.items()}


def test_of_one_supply_among_signals_the_supply_keeps_the_distance() -> None:
    sides = [side("supply", 300), side("a", 0), side("b", 5), side("c", -5)]
    wide = gaps(sides, long(a=100.0, b=100.0, c=100.0, supply=100.0), ASKED, GAP)
    assert {name: wide[name, False] for name in "abc"} == dict.fromkeys("abc", GAP)
    # 305 V against c: the row up to 500 V
    assert wide["supply", False] == pytest.approx(required(305) - GAP)


def test_a_short_net_is_widened_rather_than_a_long_one() -> None:
    wide = gaps([side("one", 0), side("other", 200)], long(one=10.0, other=500.0), ASKED, GAP)
    assert wide == pytest.approx(long(one=required(200) - GAP, other=GAP))


def test_between_lands_their_own_column_counts_and_else_the_other() -> None:
    rules = SpacingRules(pad_column="A6")
    pad_sides = [side("one", 0, pads=True), side("other", 300, pads=True)]
    lengths = {one.key: 10.0 for one in pad_sides} | long(other=10.0)
    assert max(gaps(pad_sides, lengths, rules, GAP).values()) == pytest.approx(0.8 - GAP)
    wide = gaps([*pad_sides, side("other", 300)], lengths, rules, GAP)
    assert wide["one", True] + wide["other", False] >= 1.25 - 1e-9
    assert wide["one", True] + wide["other", True] >= 0.8 - 1e-9


@pytest.mark.parametrize(
    ("metal", "gap"), [(None, GAP), (0.0, 1.25), (0.15, 1.25), (0.5, 0.75), (1.0, GAP)]
)
def test_what_stands_before_metal_is_taken_off(metal: float | None, gap: float) -> None:
    """Gaps below 0.2 mm count as nothing."""
    rules = SpacingRules(least_counted=0.2)
    wide = gaps([side("one", 300)], long(one=10.0), rules, GAP, metal)
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
