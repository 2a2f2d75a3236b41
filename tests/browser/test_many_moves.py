"""Two hundred thousand moves. `tests.bench.review` measures what is wanted with a million, on a
machine that does nothing else; here the bounds are wide enough for one that does.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from tests.bench.review import measured

if TYPE_CHECKING:
    from playwright.sync_api import Browser


def test_very_many_moves_are_shown_and_moved(started: Browser) -> None:
    found = measured(200_000, started)
    assert found["moves"] >= 200_000
    assert found["megabytes"] < 10
    assert found["first picture, s"] < 10
    assert max(value for name, value in found.items() if "longest" in name) < 500
