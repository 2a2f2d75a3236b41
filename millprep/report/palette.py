"""Colours of pictures and of the review page, distinguished by lightness as well as by hue.

The tests simulate readers who lack the long-wave or the middle-wave cones and check the
smallest distance between any two colours that mean different things in one picture.
"""

from __future__ import annotations

from typing import NamedTuple

PAPER = "#ffffff"
INK = "#1a1a1a"
QUIET = "#5c5c5c"
"""Lesser words and lines."""

LAMINATE = "#f4f0e4"
"""Laminate without copper: none in the design, or none left."""

COPPER = "#e3b98f"
"""Copper of the design beneath other marks; floating copper in as-cut pictures."""

PIECE = "#7d4312"
"""A piece of the design that touches no other in the as-cut copper."""

SHORT = "#3a5be0"
"""As-cut copper that carries two or more pieces."""

CUT_BEFORE = "#a8a8a8"
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
HATCHES = ("", "/", "\\", "x")

FIELD = (
    "#440154", "#46327e", "#365c8d", "#277f8e", "#1fa187", "#4ac16d", "#a0da39", "#fde725",
)  # fmt: skip
"""Potential and current density, low to high: eight steps of the free map viridis."""

RELIEF = (
    "#00224e", "#003170", "#2a3f6d", "#434e6c", "#575d6d", "#6a6c71", "#7d7c78", "#918b78",
    "#a59c74", "#bcae6c", "#d2c060", "#e9d34e", "#fee838",
)  # fmt: skip
"""Heights, low to high: the free map cividis, which looks much alike to all eyes."""


class Style(NamedTuple):
    """How one cutter is drawn: its role, and a hatch once the colours are used up."""

    role: str
    hatch: str


def cutter_style(index: int) -> Style:
    """The style of a job's cutter by its place in the list."""
    round_, place = divmod(index, len(CUTTERS))
    return Style(f"cutter {place}", HATCHES[round_ % len(HATCHES)])


def paler(colour: str, part: float) -> str:
    """The colour mixed with white; `part` 0 leaves it, 1 is white."""
    mixed = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return "#" + "".join(f"{round(value + (255 - value) * part):02x}" for value in mixed)


def _numbered(name: str, colours: tuple[str, ...]) -> dict[str, str]:
    return {f"{name} {n}": colour for n, colour in enumerate(colours)}


COLOURS: dict[str, str] = {
    "paper": PAPER,
    "ink": INK,
    "quiet": QUIET,
    "laminate": LAMINATE,
    "copper": COPPER,
    "pale copper": paler(COPPER, 0.5),
    "piece": PIECE,
    "short": SHORT,
    "earlier pass": CUT_BEFORE,
    "clamp": CLAMP,
    "flag": FLAG,
    "lost": LOST,
    **_numbered("piece", PIECES),
    **_numbered("width", WIDTHS),
    **_numbered("cutter", CUTTERS),
    **_numbered("pale cutter", tuple(paler(colour, 0.55) for colour in CUTTERS)),
    **_numbered("field", FIELD),
    **_numbered("relief", RELIEF),
}
"""The colour of every role that a shape of a picture may have."""

SCREEN_LIGHT = {
    "page": PAPER,
    "raised": LAMINATE,
    "ink": INK,
    "quiet": QUIET,
    "line": "#767676",
    "accent": "#1226d9",
    "laminate": LAMINATE,
    "copper": COPPER,
    "piece": PIECE,
    "short": SHORT,
    "clamp": CLAMP,
    "flag": FLAG,
    "flag_ink": INK,
    "hole": PAPER,
}
SCREEN_DARK = {
    "page": "#14171b",
    "raised": "#20252b",
    "ink": "#f0ece2",
    "quiet": "#b6b3ab",
    "line": "#8d8a83",
    "accent": "#9fc3ff",
    "laminate": "#2b3035",
    "copper": "#7a5432",
    "piece": "#d99a5f",
    "short": "#8fa8ff",
    "clamp": "#565d66",
    "flag": FLAG,
    "flag_ink": INK,
    "hole": "#14171b",
}
SCREEN_CUTTERS_DARK = ("#4090ba", "#ff8a4c", "#f3e9ff", "#6f7dff", "#cc9988", "#eeffbb")
"""In the dark copper stays warm, what is cut stays cold or glaring."""


def screen_colours() -> dict[str, dict[str, object]]:
    """The review page's colours in light and in dark."""
    return {
        "light": {**SCREEN_LIGHT, "cutters": list(CUTTERS)},
        "dark": {**SCREEN_DARK, "cutters": list(SCREEN_CUTTERS_DARK)},
    }


def style_variables(scheme: dict[str, str]) -> str:
    """The colours as custom properties of CSS."""
    return "; ".join(f"--{name.replace('_', '-')}: {value}" for name, value in scheme.items())
