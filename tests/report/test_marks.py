"""Flags of findings: none hides another, none is lost."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from millprep.model.blank import Box
from millprep.report.canvas import canvas
from millprep.report.marks import crowds

ON = canvas(Box(0, 0, 100, 80), "title", "words")
"""A hundred millimetres across."""


def test_findings_at_one_place_share_a_flag_that_names_them() -> None:
    places = [("F1", (20.0, 20.0)), ("F3", (20.0, 20.0)), ("F7", (80.0, 60.0))]
    assert crowds(ON, places) == [
        ("F1, F3", (20.0, 20.0)), ("", (20.0, 20.0)), ("F7", (80.0, 60.0)),
    ]  # fmt: skip


def test_of_a_crowd_one_is_named_and_the_others_are_counted() -> None:
    places = [(f"F{n}", (50.0 + n / 10, 40.0)) for n in range(1, 6)]
    assert [words for words, _ in crowds(ON, places)] == ["F1 +4", "", "", "", ""]


@given(st.lists(st.tuples(st.floats(0, 100), st.floats(0, 80)), max_size=30))
def test_every_place_keeps_its_ring_and_every_finding_is_named_or_counted(
    places: list[tuple[float, float]],
) -> None:
    told = crowds(ON, [(f"F{n}", at) for n, at in enumerate(places)])
    assert [at for _, at in told] == places
    count = 0
    for words, _ in told:
        first, more, others = words.partition(" +")
        count += 1 + int(others) if more else len([w for w in first.split(", ") if w])
    assert count == len(places)
