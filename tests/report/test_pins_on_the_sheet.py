"""Pins, the hole and the slot, and the angle of the blank in pass 1, in words for the mill."""

from __future__ import annotations

from dataclasses import replace

import pytest

from millprep.model.milling_pass import EdgeCheck
from millprep.model.set_of_programs import CutSet
from millprep.report.setup import setup_words, spoilboard_words
from millprep.report.sheet import sheet
from millprep.report.zero import edge_words, hole_rows, lost_words
from tests.helpers.changed_set import with_blank
from tests.helpers.invented_set import invented


def on_pins(*, slot: float = 0.98, drop_on: float | None = 0.99995, within: float = 0.4) -> CutSet:
    whole = replace(invented(4), locating="pins")
    first, second = whole.passes
    hole, other, key = second.registration
    holes = (
        replace(hole, pin="p1"),
        replace(other, pin="p2", free=(0.533229, 0.845971), slot=slot),
        replace(key, pin="p3"),
    )
    edge = EdgeCheck((287.5, 30.0), 0, within, "registration hole r2")
    return with_blank(
        whole,
        passes=(
            replace(first, edge=edge),
            replace(second, registration=holes, drop_on=drop_on),
        ),
    )


@pytest.fixture(scope="module")
def slotted() -> CutSet:
    return on_pins()


def test_every_pin_has_its_place_and_its_hole(slotted: CutSet) -> None:
    (words,) = [words for words in spoilboard_words(slotted) if words.startswith("Pins")]
    assert words == (
        "Pins: p1 at X 27  Y 35 takes hole r1; p2 at X 90  Y 135 takes slot r2; "
        "p3 at X 90  Y 35 takes key r3."
    )


def test_the_holes_say_what_they_fix_and_over_which_pin(slotted: CutSet) -> None:
    rows = hole_rows(slotted, slotted.passes[1])
    assert [(row.diameter, row.words) for row in rows[:3]] == [
        ("3.02", "locates the blank; pin p1"),
        ("3.02 × 4", "slot: fixes the turn; pin p2"),
        ("4.02", "key: fits one way only; pin p3"),
    ]
    made = {row.id: row.words for row in hole_rows(slotted, slotted.passes[0])}
    assert made["r2"] == "slot milled now for pass 2"
    assert made["r1"] == "drilled now for pass 2"


def test_a_relieved_pin_is_named(slotted: CutSet) -> None:
    relieved = on_pins(slot=0.0)
    rows = hole_rows(relieved, relieved.passes[1])
    assert (rows[1].diameter, rows[1].words) == ("3.02", "fixes the turn; relieved pin p2")


def test_how_surely_the_blank_drops_on(slotted: CutSet) -> None:
    (words,) = [w for w in setup_words(slotted, slotted.passes[1]) if "drop on" in w]
    assert "more than 99.9 % of blanks do" in words
    tight = on_pins(drop_on=0.3626)
    (words,) = [w for w in setup_words(tight, tight.passes[1]) if "drop on" in w]
    assert "about 36.3 % of blanks do" in words
    unknown = on_pins(drop_on=None)
    assert not [w for w in setup_words(unknown, unknown.passes[1]) if "drop on" in w]


def test_a_lost_zero_is_found_by_round_pins_and_holes(slotted: CutSet) -> None:
    words = lost_words(slotted, slotted.passes[0])
    assert "hole r1" in words
    assert "hole r3" in words
    assert "r2" not in words
    words = lost_words(slotted, slotted.passes[1])
    assert "pin p1" in words
    assert "pin p2" in words
    # a relieved pin is not round, so the key's is taken
    relieved = on_pins(slot=0.0)
    words = lost_words(relieved, relieved.passes[1])
    assert "p2" not in words
    assert "pin p3" in words


def test_the_angle_of_the_blank_has_a_box_to_tick(slotted: CutSet) -> None:
    words = edge_words(slotted.passes[0])
    assert "over X 287.5  Y 30 the blank's edge must be within 0.4 mm" in words
    assert "registration hole r2 comes too near an edge" in words
    steps = setup_words(slotted, slotted.passes[0])
    # the blank is laid first and clamped last
    assert steps.index(words) == 1 + next(n for n, w in enumerate(steps) if w.startswith("Lay "))
    assert '<li><span class="tick"></span> Angle: ' in sheet(slotted)
    assert edge_words(slotted.passes[1]) == ""


def test_an_edge_without_room_goes_against_a_stop() -> None:
    tight = on_pins(within=0.05)
    words = edge_words(tight.passes[0])
    assert "against a straight stop along Y 30" in words
