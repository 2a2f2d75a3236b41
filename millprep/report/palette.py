"""Colours of the pictures: our own, told apart by lightness as well as by hue.

The tests simulate readers who lack the long-wave or the middle-wave cones and hold the
smallest distance between any two colours that mean different things in one picture.
"""

from __future__ import annotations

from typing import NamedTuple

PAPER = "#ffffff"
INK = "#1a1a1a"
QUIET = "#5c5c5c"
"""Lesser words and lines."""

LAMINATE = "#f4f0e4"
"""Bare laminate: where no copper is, or none is left."""

COPPER = "#e3b98f"
"""Copper pieces of the design beneath other marks; left-over copper in as-cut pictures."""

PIECE = "#7d4312"
"""A piece of the design that stands alone in the as-cut copper."""

SHORT = "#3a5be0"
"""As-cut copper that carries two or more pieces."""

EARLIER = "#a8a8a8"
"""What another pass has cut already."""

CLAMP = "#c9ccd1"
FLAG = "#ffd21f"
"""Ground of the numbered flags that point at findings."""

PIECES = (PIECE, COPPER, "#4d778c", "#240a5c")
"""Copper pieces of one reading of a drawing: neighbours differ."""

WIDTHS = ("#9db4d6", "#4a7be0", "#1226d9", "#240a5c")
"""Narrow grooves to wide ones, light to dark."""
LOST = "#d9480f"
"""What is not cut through."""

CUTTERS = ("#240a5c", "#d9480f", "#4d778c", "#1226d9", "#6b0f0f", "#4a7be0")
HATCHES = ("", "////", "....", "xxxx")


class Style(NamedTuple):
    """How one cutter is drawn: a colour, and a hatch once the colours are used up."""

    colour: str
    hatch: str


def cutter_style(index: int) -> Style:
    """The style of a job's cutter by its place in the list."""
    round_, place = divmod(index, len(CUTTERS))
    return Style(CUTTERS[place], HATCHES[round_ % len(HATCHES)])


def paler(colour: str, share: float) -> str:
    """The colour mixed with white; `share` 0 leaves it, 1 is white."""
    parts = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return "#" + "".join(f"{round(part + (255 - part) * share):02x}" for part in parts)
