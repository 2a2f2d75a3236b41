from __future__ import annotations

import pytest

from millprep.report.words import duration, many, number, plain


@pytest.mark.parametrize(
    ("value", "digits", "words"),
    [(12.5, 2, "12.5"), (3.0, 2, "3"), (-0.08, 2, "−0.08"), (-0.001, 2, "0"), (1200, 0, "1200"),
     (100.0, 0, "100"), (0.0355, 3, "0.035"), (10, 2, "10")],
)  # fmt: skip
def test_numbers(value: float, digits: int, words: str) -> None:
    assert number(value, digits) == words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0.2, "0 s"), (59.6, "1 min 00 s"), (61.5, "1 min 02 s"), (3599.7, "1 h 00 min"),
     (7384, "2 h 03 min")],
)  # fmt: skip
def test_durations(seconds: float, words: str) -> None:
    assert duration(seconds) == words


def test_plain_text_is_one_short_line() -> None:
    assert plain("a\n b\x00\tc") == "a b c"
    assert plain("x" * 100, 10) == "x" * 9 + "…"


def test_many() -> None:
    assert many(1, "tab") == "1 tab"
    assert many(3, "tab") == "3 tabs"
    assert many(2, "finding stops", "findings stop") == "2 findings stop"
