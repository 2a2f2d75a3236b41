"""A few small jobs drawn at random, and what the command calls a disagreement."""

from __future__ import annotations

from dataclasses import replace

import pytest
from numpy.random import default_rng
from pydantic import TypeAdapter, ValidationError

from millprep.job.reference import TABLES
from millprep.model.job.keys import keys
from tests.random_jobs import SLOW, Outcome, draw, run_all, table, text_of
from tests.random_keys import LEFT_OUT, OTHERS, RANGES, TABLES_LEFT_OUT, drawable, value

QUICKEST = (1, 2, 4, 6, 7, 11, 15, 16, 17, 18, 19, 21, 23, 24, 25, 26, 33, 36, 38, 39)
"""Of the first forty small jobs, those that take the least time; the command runs all. In job 1
one end mill isolates and bores, so laps around pads have the holes' centres and are no bores."""
GOOD = Outcome(0, 0, (), 1.0)


def test_what_prepare_writes_verify_finds_good() -> None:
    outcomes = run_all(QUICKEST, 1, small=True)
    assert not [one for one in outcomes if one.disagrees], table(outcomes)
    assert sum(one.verified == 0 for one in outcomes) >= 10, table(outcomes)


def test_a_set_is_proved_on_another_processor_than_it_was_made_on() -> None:
    outcomes = run_all((0, 1), 1, small=True, elsewhere=True)
    assert [(one.prepared, one.verified) for one in outcomes] == [(0, 0)] * 2, table(outcomes)


def test_a_job_depends_on_its_seed_and_number_alone() -> None:
    one, same, other, next_one = draw(1, 7), draw(1, 7), draw(2, 7), draw(1, 8)
    assert text_of(one.tables) == text_of(same.tables)
    assert one.board == same.board
    assert len({text_of(job.tables) for job in (one, other, next_one)}) == 3


@pytest.mark.parametrize(
    "changed",
    [
        {"verified": 1, "codes": ("cut-astray",)},
        {"verified": None},
        {"prepared": 70},
        {"prepared": None},
        {"seconds": SLOW + 1},
        {"changes": {"level": "WRONG: cuts differ"}},
    ],
)
def test_a_disagreement_is_seen(changed: dict[str, object]) -> None:
    assert not GOOD.disagrees
    one = replace(GOOD, **changed)  # type: ignore[arg-type]
    assert one.disagrees
    assert "DISAGREES" in table([one, GOOD])


def test_a_refusal_is_none() -> None:
    assert not Outcome(1, None, ("travel-too-short",), 1.0).disagrees


def test_every_key_with_a_default_is_drawn_or_left_out_for_a_reason() -> None:
    random = default_rng(1)
    known = dict(TABLES)
    assert set(TABLES_LEFT_OUT) <= set(known)
    named = [*LEFT_OUT, *RANGES, *OTHERS]
    assert [where for where in named if where[1] not in keys(known[where[0]])] == []
    for where, key in drawable().items():
        for _ in range(5):
            drawn = value(where, key, random)
            if where in OTHERS or key.field.annotation is None:
                continue
            try:
                TypeAdapter(key.field.annotation).validate_python(drawn)
            except ValidationError as fault:
                pytest.fail(f"{where}: {fault}")


def test_a_lap_along_the_far_side_of_a_pad_s_gap_runs_as_it_must() -> None:
    # it goes around the pad like a first lap, with the copper that stays on the outside
    (outcome,) = run_all([285], 1)
    assert outcome.verified == 0, table([outcome])
