"""What must hold between the keys of a socket's pins."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from millprep.job.mistakes import Mistake, wrong


def check_pins(rules: Mapping[str, Any]) -> Iterator[Mistake]:
    """Yield every contradiction in the pins of [rules]."""
    pins = rules.get("pins")
    if not isinstance(pins, dict):
        return
    for small, large, words in (
        ("thinnest", "thickest", "at least as thick as `thinnest`"),
        ("thickest", "hole", "wider than `thickest`, or no pin enters"),
        ("hole", "land", "wider than `hole`, or nothing can be soldered"),
    ):
        low, high = pins.get(small), pins.get(large)
        if low is None or high is None:
            continue
        if high < low or (high == low and large != "thickest"):
            yield wrong(("rules", "pins", large), f"must be {words}, {low:g}; got {high:g}")
