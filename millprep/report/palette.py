"""Colours of pictures and of the review page: one table, light and dark.

Two meanings that meet in one picture differ by at least 20 in CIEDE2000 for readers with all
cones and for those who lack one kind; `python -m tests.helpers.palette` prints every pair. What
the table has no colour for is drawn as a pattern of these: floating copper is hatched in copper,
clamps are hatched in ink, findings' flags are ink.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, NamedTuple


class Tone(NamedTuple):
    """A colour on light paper, and on the dark screen."""

    light: str
    dark: str


TABLE: dict[str, Tone] = {
    "paper": Tone("#ffffff", "#0b0900"),  # the page, and what is seen through a hole
    "ink": Tone("#190600", "#f5fffb"),  # words, edges, signs
    "laminate": Tone("#fed19c", "#1c314c"),  # without copper: none drawn, or none left
    "copper": Tone("#c2840e", "#744906"),  # of the design
    "fault": Tone("#21d1fc", "#0004ef"),  # a short, a groove not cut through, too much lift
    "earlier pass": Tone("#a2a9b0", "#63676e"),  # what another pass has cut already
    "cutter 0": Tone("#08043d", "#488389"),
    "cutter 1": Tone("#7f7968", "#ebe82e"),
    "cutter 2": Tone("#644053", "#98d0fc"),
    "cutter 3": Tone("#0103cd", "#9573ff"),
    "cutter 4": Tone("#9b0302", "#928a00"),
    "cutter 5": Tone("#456ef6", "#ed9e97"),
}
"""The colour of every meaning."""

PIECES = (TABLE["copper"].light, "#834c1c", "#3e7396", "#182c4a")
"""Copper pieces of one reading of a drawing: neighbours differ."""

CHANGES = {"added": "#226945", "removed": "#9c2a80"}
"""Copper and holes that one of two drawings has and the other has not."""

SCALE = ("#99a39b", "#728c97", "#527f9e", "#2b6b9a", "#10568f", "#053d7a", "#002362", "#00084a")
"""Steps of a colour bar, low to high, light to dark in all eyes: heights, volts, amperes, lift."""

QUIET = "#5c5c5c"
"""Lesser words and lines around a drawing."""

CUTTERS = 6
SCHEMES: tuple[Literal["light", "dark"], ...] = ("light", "dark")
HATCHES = ("", "/", "\\", "x")


class Style(NamedTuple):
    """How one cutter is drawn: its role, and a hatch once the colours are used up."""

    role: str
    hatch: str


def cutter_style(index: int) -> Style:
    """The style of a job's cutter by its place in the list."""
    round_, place = divmod(index, CUTTERS)
    return Style(f"cutter {place}", HATCHES[round_ % len(HATCHES)])


COLOURS: dict[str, str] = {
    **{role: tone.light for role, tone in TABLE.items()},
    "quiet": QUIET,
    **CHANGES,
    **{f"piece {n}": colour for n, colour in enumerate(PIECES)},
    **{f"scale {n}": colour for n, colour in enumerate(SCALE)},
}
"""The colour of every role that a shape of a picture may have."""

CONTROLS = {
    "raised": Tone("#f5f1ec", "#22262c"),
    "quiet": Tone(QUIET, "#b6b3ab"),
    "line": Tone("#767676", "#8d8a83"),
    "accent": Tone("#1226d9", "#9fc3ff"),
}
"""The page around the drawing: grounds of panels, lesser words, edges of controls, links."""


PARTS = {
    "page": "paper",
    "hole": "paper",
    "piece": "copper",
    "short": "fault",
    "flag": "ink",
    "flag_ink": "paper",
}
"""Parts of the review page that have the colour of a meaning."""


def scheme(name: Literal["light", "dark"]) -> dict[str, str]:
    """Every colour of the page by what it is for, cutters left out."""
    tones = {role: tone for role, tone in TABLE.items() if "cutter" not in role} | CONTROLS
    colours = {role.replace(" ", "_"): getattr(tone, name) for role, tone in tones.items()}
    return colours | {part: colours[role] for part, role in PARTS.items()}


def screen_colours() -> dict[str, dict[str, object]]:
    """The review page's colours in light and in dark; on the drawing no line is a link's colour."""
    return {
        name: {
            **scheme(name),
            "accent": getattr(TABLE["ink"], name),
            "cutters": [getattr(TABLE[f"cutter {n}"], name) for n in range(CUTTERS)],
        }
        for name in SCHEMES
    }


def style_variables(colours: dict[str, str]) -> str:
    """The colours as custom properties of CSS."""
    return "; ".join(f"--{name.replace('_', '-')}: {value}" for name, value in colours.items())


ANY_STEPS = tuple(m * 10.0**k for k in range(-5, 9) for m in (1, 2, 5))
"""Round numbers of any size."""


@dataclass(frozen=True, slots=True)
class ColourBar:
    """Steps of colour between round values from low to high, and what they measure."""

    words: str
    values: tuple[float, ...]
    roles: tuple[str, ...]

    @classmethod
    def over(cls, words: str, low: float, high: float) -> ColourBar:
        """At most as many steps as the palette's scale has, from below `low` to above `high`."""
        most = len(SCALE)
        first = next(
            s for s in ANY_STEPS if math.ceil(high / s - 1e-9) - math.floor(low / s + 1e-9) <= most
        )
        values = multiples(
            first * math.floor(low / first + 1e-9), first * math.ceil(high / first - 1e-9), first
        )
        if len(values) < 2:
            values = [values[0], values[0] + first]
        steps = len(values) - 1
        roles = tuple(f"scale {round(n * (most - 1) / max(steps - 1, 1))}" for n in range(steps))
        return cls(words, tuple(values), roles)


def multiples(low: float, high: float, step: float) -> list[float]:
    """The multiples of a step between two values."""
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(k * step, 9) for k in range(first, last + 1)]
