"""Colours of the review page on screen, in light and in dark.

Light ones are those of the pictures. Dark ones keep their order of meaning: what is copper is
warm, what is cut is cold or glaring, and all are told apart by lightness as well as by hue.
"""

from __future__ import annotations

from millprep.report import palette

LIGHT = {
    "page": palette.PAPER,
    "raised": palette.LAMINATE,
    "ink": palette.INK,
    "quiet": palette.QUIET,
    "line": "#767676",
    "accent": "#1226d9",
    "laminate": palette.LAMINATE,
    "copper": palette.COPPER,
    "piece": palette.PIECE,
    "short": palette.SHORT,
    "clamp": palette.CLAMP,
    "flag": palette.FLAG,
    "flag_ink": palette.INK,
    "hole": palette.PAPER,
}
DARK = {
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
    "flag": palette.FLAG,
    "flag_ink": palette.INK,
    "hole": "#14171b",
}
CUTTERS_LIGHT = palette.CUTTERS
CUTTERS_DARK = ("#4090ba", "#ff8a4c", "#f3e9ff", "#6f7dff", "#cc9988", "#eeffbb")


def colours() -> dict[str, dict[str, object]]:
    """Both sets, as the page takes them."""
    return {
        "light": {**LIGHT, "cutters": list(CUTTERS_LIGHT)},
        "dark": {**DARK, "cutters": list(CUTTERS_DARK)},
    }


def style_variables(scheme: dict[str, str]) -> str:
    """The colours as custom properties of CSS."""
    return "; ".join(f"--{name.replace('_', '-')}: {value}" for name, value in scheme.items())
