from __future__ import annotations

import numpy as np
import pytest
import shapely

from millprep.verify.rules.conduction import Resistor, solve

BAR = shapely.box(0, 0, 10, 1)
LEFT, RIGHT = shapely.box(-1, 0, 0, 1), shapely.box(10, 0, 11, 1)


def test_no_contact_touches_copper() -> None:
    with pytest.raises(ValueError, match="no contact touches copper"):
        solve([BAR], [shapely.box(20, 0, 21, 1)], [0.0], 1.0)


def test_current_turned_round_turns_the_volts() -> None:
    pins = [shapely.Point(2, 0.5).buffer(0.2), shapely.Point(8, 0.5).buffer(0.2)]
    there = solve([BAR], pins, [-1.0, 1.0], 1.0)
    back = solve([BAR], pins, [1.0, -1.0], 1.0)
    assert there.volts[1] == pytest.approx(back.volts[0])
    assert there.ohms[1] == pytest.approx(back.ohms[0])
    assert there.reference.tolist() == [0, 0]
    assert back.reference.tolist() == [1, 1]


def test_what_flows_out_of_one_contact_flows_into_the_other() -> None:
    found = solve([BAR], [LEFT, RIGHT], [-1.0, 1.0], 1.0)
    assert found.flow == pytest.approx(np.tile([1.0, 0.0], (len(found.flow), 1)), abs=1e-9)
    assert found.potential.min() == pytest.approx(-10)
    assert found.potential.max() == pytest.approx(0)


def test_a_closer_look_is_closer() -> None:
    bend = shapely.Polygon([(0, 0), (6, 0), (6, 6), (5, 6), (5, 1), (0, 1)])
    ends = [shapely.box(-1, 0, 0, 1), shapely.box(5, 6, 6, 7)]
    exact = 10.5588
    rough = solve([bend], ends, [-1.0, 1.0], 1.0, accuracy=0.02)
    fine = solve([bend], ends, [-1.0, 1.0], 1.0, accuracy=0.00005)
    assert len(fine.mesh.points) > len(rough.mesh.points)
    assert abs(fine.ohms[1] - exact) < abs(rough.ohms[1] - exact)
    assert fine.error <= 0.00005
    assert abs(fine.ohms[1] / exact - 1) < 3e-4
    held = solve([bend], ends, [-1.0, 1.0], 1.0, accuracy=0.0, most_unknowns=3000)
    assert len(held.mesh.points) <= 3000


def test_parallel_bars_share_the_current() -> None:
    """Two bars side by side between the same ends: half the resistance."""
    other = shapely.box(0, 2, 10, 3)
    ends = [shapely.box(-1, 0, 0, 3), shapely.box(10, 0, 11, 3)]
    found = solve([BAR, other], ends, [-1.0, 1.0], 1.0)
    assert found.ohms[1] == pytest.approx(5.0)


def test_resistors_in_series_add_and_in_parallel_divide() -> None:
    other = shapely.box(20, 0, 30, 1)
    ends = [LEFT, RIGHT, shapely.box(19, 0, 20, 1), shapely.box(30, 0, 31, 1)]
    amperes = [-1.0, 0.0, 0.0, 1.0]
    one = solve([BAR, other], ends, amperes, 1.0, resistors=[Resistor(1, 2, 3.0)])
    assert one.volts[3] == pytest.approx(-23)
    two = solve(
        [BAR, other], ends, amperes, 1.0, resistors=[Resistor(1, 2, 3.0), Resistor(2, 1, 6.0)]
    )
    assert two.volts[3] == pytest.approx(-22)
    none = solve([BAR, other], ends, amperes, 1.0, resistors=[Resistor(1, 2, 0.0)])
    assert none.volts[3] == pytest.approx(-20)
    assert none.unfed == ()


def test_a_part_without_balance_is_reported_and_carries_nothing() -> None:
    other = shapely.box(20, 0, 30, 1)
    ends = [LEFT, RIGHT, shapely.box(19, 0, 20, 1), shapely.Point(90, 90).buffer(1)]
    found = solve([BAR, other], ends, [-1.0, 1.0, 0.5, -0.5], 1.0)
    assert found.unfed == (2, 3)
    assert found.volts[1] == pytest.approx(-10)
    assert found.volts[2] == 0
    assert np.isnan(found.volts[3])
