"""The page's colours, held to the rules that `test_palette` states with their sources."""

from __future__ import annotations

from itertools import combinations

import pytest

from millprep.report import palette
from tests.helpers.colour import READERS, FloatArray, contrast, distance

SCHEMES = {"light": palette.SCREEN_LIGHT, "dark": palette.SCREEN_DARK}
CUTTERS = {"light": palette.CUTTERS, "dark": palette.SCREEN_CUTTERS_DARK}


@pytest.mark.parametrize("reader", READERS.values(), ids=READERS.keys())
@pytest.mark.parametrize("name", SCHEMES)
def test_what_lies_together_is_told_apart(name: str, reader: FloatArray) -> None:
    scheme = SCHEMES[name]
    for together in (
        (*CUTTERS[name], scheme["copper"], scheme["laminate"]),
        (scheme["piece"], scheme["copper"], scheme["laminate"], scheme["short"]),
    ):
        worst = min((distance(a, b, reader), a, b) for a, b in combinations(together, 2))
        assert worst[0] >= 20, worst


@pytest.mark.parametrize("name", SCHEMES)
def test_marks_stand_out(name: str) -> None:
    scheme = SCHEMES[name]
    marks = (*CUTTERS[name], scheme["ink"], scheme["accent"], scheme["short"], scheme["piece"])
    for mark in marks:
        assert contrast(mark, scheme["laminate"]) >= 3.0, mark


@pytest.mark.parametrize("name", SCHEMES)
def test_words_and_controls_are_legible(name: str) -> None:
    scheme = SCHEMES[name]
    for words in ("ink", "quiet", "accent"):
        for ground in ("page", "raised"):
            assert contrast(scheme[words], scheme[ground]) >= 4.5, (words, ground)
    assert contrast(scheme["flag_ink"], scheme["flag"]) >= 4.5
    assert contrast(scheme["line"], scheme["page"]) >= 3.0


def test_both_schemes_tell_the_same_things() -> None:
    told = palette.screen_colours()
    assert told["light"].keys() == told["dark"].keys()
    assert len(palette.SCREEN_CUTTERS_DARK) == len(palette.CUTTERS)
