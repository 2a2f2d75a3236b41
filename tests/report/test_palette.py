"""Colours of pictures: CIEDE2000 for four readers (`tests/helpers/colour.py` names the sources).

Contrast 3 : 1 for marks and 4.5 : 1 for words: WCAG 2.1, success criteria 1.4.11 and 1.4.3.
"""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

import numpy as np
import pytest

from millprep.report import palette
from millprep.report.blank_contents import contents_of
from millprep.report.pictures import _pictures
from millprep.report.scene import Area, Circle, Line, WideLine
from tests.helpers.colour import READERS, FloatArray, ciede2000, contrast, distance, lab, linear
from tests.helpers.invented_set import invented
from tests.helpers.palette import LEAST, MEETINGS, WITH_A_SCALE, pairs

CUTTERS = [palette.COLOURS[f"cutter {n}"] for n in range(palette.CUTTERS)]


@pytest.mark.parametrize("reader", READERS.values(), ids=READERS.keys())
def test_a_reader_keeps_white_white(reader: FloatArray) -> None:
    assert reader.sum(axis=1) == pytest.approx([1, 1, 1], abs=2e-6)


@pytest.mark.parametrize(
    ("one", "other", "far"),
    [
        ((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
        ((50.0, 2.5, 0.0), (73.0, 25.0, -18.0), 27.1492),
        ((2.0776, 0.0795, -1.135), (0.9033, -0.0636, -0.5514), 0.9082),
    ],
)
def test_ciede2000_gives_what_its_table_says(
    one: tuple[float, ...], other: tuple[float, ...], far: float
) -> None:
    assert ciede2000(np.array(one), np.array(other)) == pytest.approx(far, abs=1e-4)
    assert ciede2000(np.array(other), np.array(one)) == pytest.approx(far, abs=1e-4)


def test_meanings_that_meet_are_far_apart_for_every_reader() -> None:
    near = [pair for pair in pairs() if min(pair.far) < LEAST]
    assert near == []


def test_red_next_to_green_is_too_near() -> None:
    reader = READERS["no middle-wave cones"]
    assert distance("#b22222", "#6b6b00", READERS["all cones"]) > LEAST
    assert distance("#b22222", "#6b6b00", reader) < LEAST


def test_no_colour_has_two_meanings() -> None:
    first = Counter(tone.light for tone in palette.TABLE.values())
    first.update(palette.SCALE)
    first.update(palette.CHANGES.values())
    first.update(palette.PIECES[1:])  # the first of the pieces is copper
    assert [colour for colour, count in first.items() if count > 1] == []
    dark = Counter(tone.dark for tone in palette.TABLE.values())
    assert [colour for colour, count in dark.items() if count > 1] == []


def test_pictures_use_no_colours_together_but_those_that_are_compared() -> None:
    whole = invented(4)
    allowed = [{*roles, "quiet"} for roles in MEETINGS.values()]
    steps = {f"scale {n}" for n in range(len(palette.SCALE))}
    allowed.append({*WITH_A_SCALE, *steps, "paper", "quiet"})
    names = []
    for picture, view in _pictures(whole):
        shapes = [
            s for s in view().scene().shapes if isinstance(s, Area | Circle | Line | WideLine)
        ]
        roles = {role for s in shapes for role in (s.role, getattr(s, "edge", None)) if role}
        assert any(roles <= some for some in allowed), (picture.stem, roles)
        names.append(picture.stem)
    assert {"blank-1-paths", "blank-1-pass-2", "close-up-1"} <= set(names)
    assert contents_of(whole, whole.blanks[0]).cutters


@pytest.mark.parametrize("mark", [*CUTTERS, palette.COLOURS["ink"], palette.QUIET])
def test_marks_stand_out_from_bare_laminate(mark: str) -> None:
    assert contrast(mark, palette.COLOURS["laminate"]) >= 3.0


@pytest.mark.parametrize("words", ["ink", "quiet"])
def test_words_are_legible(words: str) -> None:
    assert contrast(palette.COLOURS[words], palette.COLOURS["paper"]) >= 4.5


@pytest.mark.parametrize("reader", READERS.values(), ids=READERS.keys())
def test_higher_steps_are_darker_for_every_reader(reader: FloatArray) -> None:
    light = [lab(reader @ linear(colour))[0] for colour in palette.SCALE]
    assert all(a - b > 4 for a, b in pairwise(light))


def test_contrast_of_black_on_white() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


def test_more_cutters_than_colours_take_a_hatch() -> None:
    styles = [palette.cutter_style(i) for i in range(24)]
    assert len(set(styles)) == 24
    assert all(style.hatch == "" for style in styles[:6])
    assert all(style.hatch for style in styles[6:])
