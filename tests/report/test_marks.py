"""Flags of findings: none hides another, none is lost; words on clamps can be read."""

from __future__ import annotations

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from millprep.model.blank import Box, Clamp
from millprep.report.canvas import canvas
from millprep.report.marks import clamps, crowds
from millprep.report.scene import Line, Text, width_of

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
    result = crowds(ON, [(f"F{n}", at) for n, at in enumerate(places)])
    assert [at for _, at in result] == places
    count = 0
    for words, _ in result:
        first, more, others = words.partition(" +")
        count += 1 + int(others) if more else len([w for w in first.split(", ") if w])
    assert count == len(places)


@pytest.mark.parametrize(("wide", "tall", "turn"), [(60.0, 20.0, 0.0), (5.0, 60.0, -90.0)])
def test_no_line_of_a_clamp_crosses_its_height(wide: float, tall: float, turn: float) -> None:
    on = canvas(Box(0.0, 0.0, 300.0, 200.0), "a picture", "")
    clamps(on, [Clamp(box=Box(50.0, 50.0, 50.0 + wide, 50.0 + tall), height=4.0)])
    shapes = [shape for _, shape in on.inside]
    (words,) = (shape for shape in shapes if isinstance(shape, Text))
    (hatch,) = (shape for shape in shapes if isinstance(shape, Line))
    assert (words.words, words.turn) == ("4 mm", turn)
    half = width_of(words.words, words.size) / 2
    x, y = on.at((50.0 + wide / 2, 50.0 + tall / 2))
    across, down = (words.size / 2, half) if turn else (half, words.size / 2)
    ground = shapely.box(x - across, y - down, x + across, y + down)
    assert not any(ground.intersects(shapely.LineString(line)) for line in hatch.lines)
