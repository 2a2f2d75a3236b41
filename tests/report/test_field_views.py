"""Pictures of a surface map: what they show, and that all eyes can read them."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from millprep.report.field_views import _finer, _levels
from millprep.report.palette import RELIEF, WIDTHS


def lightness(colour: str) -> float:
    """Relative luminance of sRGB, WCAG 2.x."""
    shares = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    parts = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in shares]
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


def test_heights_rise_in_lightness() -> None:
    light = [lightness(shade) for shade in RELIEF]
    assert all(a < b for a, b in itertools.pairwise(light))


def test_wider_grooves_are_darker() -> None:
    light = [lightness(colour) for colour in WIDTHS]
    assert all(a > b * 1.3 for a, b in itertools.pairwise(light))


@pytest.mark.parametrize("span", [0.4, 3.0, 37.0, 378.0, 2100.0])
def test_contours_are_round_and_few(span: float) -> None:
    levels = _levels(-16.3, -16.3 + span)
    step = levels[1] - levels[0]
    assert levels[0] <= -16.3
    assert levels[-1] >= -16.3 + span
    assert 2 <= len(levels) <= 16
    assert f"{step:g}".rstrip("0") in {"1", "2", "5"}


def test_all_nodes_stay_when_cells_are_drawn_finer() -> None:
    lines = np.array([0.0, 10.0, 35.0])
    assert set(lines.tolist()) <= set(_finer(lines).tolist())
