from __future__ import annotations

from dataclasses import replace

import pytest

from millprep.model.by_hand import ByHand
from millprep.model.finding import many
from millprep.model.judged import BaseFit
from millprep.model.machine_time import RunningTime, TimeFit
from millprep.report.rules_words import _pin_words
from millprep.report.words import by_hand_words, duration, number, plain, running_words
from tests.helpers.workshop import MACHINE


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
     (6178.6, "1 h 43 min"), (7384, "2 h 03 min")],
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


def test_running_time_with_what_it_is_compared_with() -> None:
    running = RunningTime(116 * 60.0, 106 * 60.0, 53 * 60.0)
    words = "by lengths and feeds alone 1 h 46 min, 2.00 times the least for the same cuts in any "
    words += "order, 53 min"
    known = replace(MACHINE, acceleration=150.0)
    assert running_words(running, known) == f"about 1 h 56 min running; {words}"
    assumed = "(acceleration of 150 mm/s² assumed)"
    assert running_words(running, MACHINE) == f"about 1 h 56 min running {assumed}; {words}"
    fitted = running_words(running, MACHINE, TimeFit(1.1, 3, 0.041))
    runs = "by 3 earlier runs of this machine (each within 4 %)"
    assert fitted == f"about 1 h 56 min running {runs}; {words}"
    once = running_words(RunningTime(60.0, 60.0, 0.0), known, TimeFit(1.1, 1, 0.0))
    assert once == (
        "about 1 min running by 1 earlier run of this machine; by lengths and feeds alone 1 min"
    )


def test_what_a_person_does_is_counted_and_assumed_minutes_say_so() -> None:
    words = by_hand_words(ByHand(7, 2, 1, 32.0, assumed=True))
    assert words == (
        "32 min by hand: 7 cutter changes, 2 placings, 1 reading (minutes for each assumed)"
    )
    assert by_hand_words(ByHand(1, 0, 0, 3.0, assumed=False)) == "3 min by hand: 1 cutter change"


def test_a_base_without_pads_has_none() -> None:
    base = BaseFit("B7G", 9.5, 9.53, 0.01, (0, 0), ("h1",), True, False, 1.0, None, 1.25, 2.4)
    words = "holes of 1.00 mm and no pads; its pins need 1.25 and 2.40 mm"
    assert _pin_words(base) == words
    assert _pin_words(replace(base, pad=1.8)) == words.replace("no pads", "pads of 1.80 mm")
