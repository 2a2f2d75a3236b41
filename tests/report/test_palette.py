"""Simulated readers: Machado, Oliveira, Fernandes, IEEE TVCG 15(6), 2009, severity 1.0 (the
matrices are from memory; that their rows sum to 1, so white stays white, is tested). Contrast
3 : 1 for marks and 4.5 : 1 for words: WCAG 2.1, success criteria 1.4.11 and 1.4.3. CIELAB and
the D65 white: IEC 61966-2-1 and CIE 15 (constants from memory). The distances asked are our
own choice: common practice takes 2.3 as just noticeable, ten times that is told at a glance.
"""

from __future__ import annotations

from itertools import combinations

import pytest

from millprep.report import palette
from tests.helpers.colour import READERS, FloatArray, contrast, distance

TOGETHER = {
    "paths": (*palette.CUTTERS, palette.COPPER, palette.LAMINATE),
    "pass": (*palette.CUTTERS, palette.COPPER, palette.LAMINATE, palette.CUT_BEFORE),
    "as cut": (palette.PIECE, palette.COPPER, palette.LAMINATE, palette.SHORT),
    "reading": (*palette.PIECES, palette.LAMINATE),
    "changes": (palette.COPPER, palette.SHORT, palette.LOST, palette.LAMINATE, palette.INK),
    "design": (palette.PIECE, palette.LAMINATE, palette.FLAG, palette.INK),
}


@pytest.mark.parametrize("reader", READERS.values(), ids=READERS.keys())
def test_a_reader_keeps_white_white(reader: FloatArray) -> None:
    assert reader.sum(axis=1) == pytest.approx([1, 1, 1], abs=2e-6)


@pytest.mark.parametrize("reader", READERS.values(), ids=READERS.keys())
@pytest.mark.parametrize("colours", TOGETHER.values(), ids=TOGETHER.keys())
def test_colours_of_one_picture_are_told_apart(
    colours: tuple[str, ...], reader: FloatArray
) -> None:
    worst = min((distance(a, b, reader), a, b) for a, b in combinations(colours, 2))
    assert worst[0] >= 20, worst


@pytest.mark.parametrize("reader", READERS.values(), ids=READERS.keys())
def test_cutters_are_told_apart_at_a_glance(reader: FloatArray) -> None:
    assert min(distance(a, b, reader) for a, b in combinations(palette.CUTTERS, 2)) >= 35


@pytest.mark.parametrize(
    "mark", [*palette.CUTTERS, palette.PIECE, palette.SHORT, palette.INK, palette.QUIET]
)
def test_marks_stand_out_from_bare_laminate(mark: str) -> None:
    assert contrast(mark, palette.LAMINATE) >= 3.0


@pytest.mark.parametrize(
    ("words", "ground"),
    [(palette.INK, palette.PAPER), (palette.QUIET, palette.PAPER), (palette.INK, palette.FLAG)],
)
def test_words_are_legible(words: str, ground: str) -> None:
    assert contrast(words, ground) >= 4.5


def test_red_beside_green_fails_the_test_of_distance() -> None:
    reader = READERS["no middle-wave cones"]
    assert distance("#b22222", "#6b6b00", READERS["all cones"]) > 35
    assert distance("#b22222", "#6b6b00", reader) < 20


def test_contrast_of_black_on_white() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


def test_more_cutters_than_colours_take_a_hatch() -> None:
    styles = [palette.cutter_style(i) for i in range(24)]
    assert len(set(styles)) == 24
    assert all(style.hatch == "" for style in styles[:6])
    assert all(style.hatch for style in styles[6:])


def test_paler() -> None:
    assert palette.paler("#204060", 0.0) == "#204060"
    assert palette.paler("#204060", 1.0) == "#ffffff"
