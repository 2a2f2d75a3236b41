"""A lost zero found again by pins or holes, in words with exact places."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from millprep.model.set_of_programs import CutSet
from millprep.model.surface_map import Levelling, SurfaceMap
from millprep.report.zero import farthest, lost_words, zero_words
from tests.helpers.changed_set import with_blank
from tests.helpers.invented_set import invented


@pytest.fixture(scope="module")
def two_passes() -> CutSet:
    return replace(invented(4), locating="pins")


def test_by_the_pins_with_their_places_on_the_machine(two_passes: CutSet) -> None:
    words = lost_words(two_passes, two_passes.passes[1])
    # r1 212, 5 and r2 275, 105 on the blank, which lies at 15 - 200, 30
    assert "Lift the blank off and touch the pin from outside" in words
    assert "Over the centre of pin r1 set X 27  Y 35. " in words
    assert "the centre of pin r2 must then show X 90  Y 135 within 0.05 mm" in words
    assert "r3" not in words


def test_by_the_holes_where_nothing_stands_in_them(two_passes: CutSet) -> None:
    words = lost_words(replace(two_passes, locating="measure"), two_passes.passes[1])
    assert "Touch the hole from inside" in words
    assert "pin" not in words
    assert "Over the centre of hole r1 set X 27  Y 35. " in words


def test_in_the_first_pass_by_what_it_drills(two_passes: CutSet) -> None:
    words = lost_words(two_passes, two_passes.passes[0])
    assert "Over the centre of hole r1 set X 227  Y 35. " in words
    assert "Until r1 is drilled, use the pin holes in the spoilboard" in words
    words = lost_words(replace(two_passes, locating="measure"), two_passes.passes[0])
    assert words.endswith("Until r1 is drilled, use the blank's corner.")


def test_a_blank_that_is_never_moved_has_nothing_to_go_by_but_its_corner() -> None:
    whole = invented(1)
    assert lost_words(whole, whole.passes[0]) == ""
    assert "lower-left corner" in zero_words(whole, whole.passes[0])[0]


def test_the_two_that_lie_farthest_apart() -> None:
    marks = [("a", (0.0, 0.0)), ("b", (3.0, 4.0)), ("c", (-1.0, 0.0))]
    assert [name for name, _ in farthest(marks)] == ["b", "c"]


def test_a_pass_over_a_surface_map_asks_that_nothing_moved_since(two_passes: CutSet) -> None:
    flat = SurfaceMap(np.linspace(0, 290, 3), np.linspace(0, 120, 3), np.zeros((3, 3)))
    first, second = two_passes.passes
    followed = replace(second, levelling=Levelling(1, 2, flat, "m.csv", 0.005, True, 0.02))
    levelled = with_blank(two_passes, passes=(first, followed))
    over, neighbour = (zero_words(levelled, one) for one in reversed(levelled.passes))
    assert [words for words in over if "follow the surface that was probed" in words]
    assert not [words for words in neighbour if "probed" in words]
