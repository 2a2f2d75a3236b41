"""Simulated readers: Machado, Oliveira, Fernandes, IEEE TVCG 15(6), 2009, severity 1.0 (the
matrices are from memory; that their rows sum to 1, so white stays white, is tested). Contrast
3 : 1 for marks and 4.5 : 1 for words: WCAG 2.1, success criteria 1.4.11 and 1.4.3. CIELAB and
the D65 white: IEC 61966-2-1 and CIE 15 (constants from memory). The distances asked are our
own choice: common practice takes 2.3 as just noticeable, ten times that is told at a glance.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray

from millprep.report import palette

FloatArray = NDArray[np.float64]
READERS: dict[str, FloatArray] = {
    "all cones": np.eye(3),
    "no long-wave cones": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "no middle-wave cones": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
}
TOGETHER = {
    "paths": (*palette.CUTTERS, palette.COPPER, palette.LAMINATE),
    "pass": (*palette.CUTTERS, palette.COPPER, palette.LAMINATE, palette.EARLIER),
    "as cut": (palette.PIECE, palette.COPPER, palette.LAMINATE, palette.SHORT),
    "reading": (*palette.PIECES, palette.LAMINATE),
    "design": (palette.PIECE, palette.LAMINATE, palette.FLAG, palette.INK),
}


def linear(colour: str) -> FloatArray:
    c = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    out: FloatArray = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    return out


def lab(rgb: FloatArray) -> FloatArray:
    to_xyz = np.array(
        [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750],
         [0.0193339, 0.1191920, 0.9503041]]
    )  # fmt: skip
    xyz = to_xyz @ np.clip(rgb, 0, 1) / np.array([0.95047, 1.0, 1.08883])
    f = np.where(xyz > 216 / 24389, np.cbrt(xyz), (24389 / 27 * xyz + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def distance(a: str, b: str, reader: FloatArray) -> float:
    return float(np.linalg.norm(lab(reader @ linear(a)) - lab(reader @ linear(b))))


def contrast(a: str, b: str) -> float:
    low, high = sorted(float(np.array([0.2126, 0.7152, 0.0722]) @ linear(c)) for c in (a, b))
    return (high + 0.05) / (low + 0.05)


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
