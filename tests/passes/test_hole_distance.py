"""Two holes on one edge with a short overlap are refused where a join would leak."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest

from millprep.geometry.path import Point
from millprep.model.milling_pass import Join, RegistrationHole
from millprep.passes.error_budget import QUANTILE, HoleErrors
from millprep.passes.join_findings import check_hole_distance, least_base
from tests.helpers.registered import REGISTRATION

SIGMA = 0.03
STANDS = 0.2


def holes(apart: float, *, upright: bool = False) -> tuple[RegistrationHole, ...]:
    places = [(240.0, 6.0), (240.0, 6.0 + apart)] if upright else [
        (240.0 - apart / 2, 6.0), (240.0 + apart / 2, 6.0)
    ]  # fmt: skip
    return tuple(
        RegistrationHole(f"r{n}", at, at, 3.0, "locate", 1, 2) for n, at in enumerate(places)
    )


def join(some: tuple[RegistrationHole, ...], at: Point, across: Point) -> Join:
    predicted = QUANTILE * HoleErrors.of(some, 2, keys=False).sigma_across(0, 1, at, across, SIGMA)
    return Join(1, 0, "c1", at, (1, 2), 0.4, across, predicted, STANDS, STANDS)


def messages(apart: float, *, upright: bool = False) -> tuple[str, ...]:
    some = holes(apart, upright=upright)
    joins = [join(some, (280.0, y), (1.0, 0.0)) for y in (10.0, 50.0, 96.0)]
    return tuple(f.message for f in check_hole_distance(joins, some, REGISTRATION, 1))


def test_two_holes_on_one_edge_with_a_short_overlap_are_refused() -> None:
    """30 mm apart: in four passes 4.1 mm at the far end, as a prototype showed."""
    (message,) = messages(30.0)
    assert "are only 30 mm from each other, and a join is" in message
    named = re.search(r"Holes about (\d+) mm from each other are enough", message)
    assert named
    assert messages(float(named[1])) == ()


@pytest.mark.parametrize("apart", [90.0, 140.0])
def test_a_long_base_is_not_refused(apart: float) -> None:
    assert messages(apart) == ()
    assert messages(apart, upright=True) == ()


def test_the_least_base_holds_and_less_does_not() -> None:
    for lever in (40.0, 90.0, 200.0):
        base = least_base(lever, STANDS, SIGMA)
        assert base is not None

        def worst(base: float, lever: float = lever) -> float:
            some = holes(base)
            at = np.array([(240.0, 6.0 + lever)])
            found = HoleErrors.of(some, 2, keys=False).spread(0, 1, at)
            return QUANTILE * SIGMA * float(found[0])

        assert worst(base) == pytest.approx(STANDS)
        assert worst(base * 0.99) > STANDS
    # the error at the holes' very middle is too large already
    assert least_base(50.0, QUANTILE * SIGMA / math.sqrt(2), SIGMA) is None


def test_the_worst_join_of_a_pass_is_the_one_that_is_named() -> None:
    some = holes(30.0)
    joins = [join(some, (280.0, y), (1.0, 0.0)) for y in (96.0, 120.0, 110.0)]
    (stop,) = check_hole_distance(joins, some, REGISTRATION, 1)
    assert stop.at == (280.0, 120.0)


def test_a_join_nearer_than_the_holes_are_apart_needs_no_other_holes() -> None:
    some = holes(300.0)
    close = replace(join(some, (240.0, 40.0), (1.0, 0.0)), predicted=0.3)
    assert check_hole_distance([close], some, REGISTRATION, 1) == ()
