"""Pictures of a surface map and of lift: what they show, and that all eyes can read them."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from millprep.model.blank import Box
from millprep.model.milling_pass import ExtraSupport, Holding
from millprep.report.blank_contents import contents_of
from millprep.report.field_views import _finer, _levels, lift_view
from millprep.report.palette import RELIEF, WIDTHS
from millprep.report.pictures import gallery
from tests.helpers.changed_set import with_blank
from tests.helpers.invented_set import invented


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


def test_the_lift_is_drawn_with_what_is_too_much_and_what_would_help() -> None:
    places = np.array([(40.0, 50.0, 0.004, 0.025), (60.0, 50.0, 0.02, 0.025)])
    whole = invented(4)
    held = Holding(2.0, 0.02, 0.025, (60.0, 50.0), 0.0, (Box(110, -15, 180, 4),), places=places)
    more = ExtraSupport("clamp", Box(110, -15, 125, 4), 0.02, 0.0)
    loose = replace(
        held, lift=0.1, at=(80.0, 50.0), share=0.3, better=(more,),
        places=np.vstack((places, (80.0, 50.0, 0.1, 0.025))),
    )  # fmt: skip
    first, second = whole.passes
    made = with_blank(
        replace(whole, tape=(Box(10, 20, 200, 40),)),
        passes=(replace(first, holding=held), replace(second, holding=loose)),
    )
    names = [picture.stem for picture in gallery(made)]
    assert {"blank-1-pass-1-lift", "blank-1-pass-2-lift"} <= set(names)
    assert not any("lift" in picture.stem for picture in gallery(whole))
    here = contents_of(made, made.blanks[0])
    words = [lift_view(here, made, p, h).scene().words()
             for p, h in zip(made.passes, (held, loose), strict=True)]  # fmt: skip
    for shown in words:
        assert "tape under the blank" in shown
        assert "room for more clamps" in shown
        assert "up to all of it" in shown
    assert "too much" not in words[0]
    assert {"too much", "one more clamp helps most here"} <= set(words[1])
    assert any("lifts 0.1 mm and may lift 0.025 mm" in text for text in words[1])
