"""The page's colours, held to the rules that `test_palette` states with their sources."""

from __future__ import annotations

from typing import Literal

import pytest

from millprep.report import palette
from tests.helpers.colour import contrast


@pytest.mark.parametrize("name", palette.SCHEMES)
def test_marks_stand_out(name: str) -> None:
    colours = palette.screen_colours()[name]
    cutters = colours["cutters"]
    assert isinstance(cutters, list)
    for mark in (*cutters, colours["ink"], colours["accent"]):
        assert contrast(mark, str(colours["laminate"])) >= 3.0, mark


@pytest.mark.parametrize("name", palette.SCHEMES)
def test_words_and_controls_are_legible(name: Literal["light", "dark"]) -> None:
    scheme = palette.scheme(name)
    for words in ("ink", "quiet", "accent"):
        for ground in ("page", "raised"):
            assert contrast(scheme[words], scheme[ground]) >= 4.5, (words, ground)
    assert contrast(scheme["flag_ink"], scheme["flag"]) >= 4.5
    assert contrast(scheme["line"], scheme["page"]) >= 3.0


def test_light_and_dark_name_the_same_colours() -> None:
    schemes = palette.screen_colours()
    assert schemes["light"].keys() == schemes["dark"].keys()
