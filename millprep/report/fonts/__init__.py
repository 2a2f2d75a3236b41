"""The font of the pictures: how wide its words are, and its files.

DejaVu Sans is part of the package, so that pictures are the same on every machine.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import as_file, files

FAMILY = "DejaVu Sans, Verdana, sans-serif"
REGULAR, BOLD = "DejaVuSans.ttf", "DejaVuSans-Bold.ttf"


@cache
def font_file(name: str) -> str:
    """The path of a font's file."""
    with as_file(files("millprep.report.fonts").joinpath(name)) as path:
        return str(path)


@cache
def _advances(name: str) -> tuple[dict[int, int], int]:
    """The advance of every character in the font's units, and how many these are to an em."""
    from fontTools.ttLib import TTFont

    with TTFont(font_file(name), lazy=True) as font:
        widths, names = font["hmtx"].metrics, font.getBestCmap()
        advances = {code: widths[glyph][0] for code, glyph in names.items()}
        return {**advances, -1: widths[".notdef"][0]}, int(font["head"].unitsPerEm)


@cache
def width_of(words: str, size: float, *, bold: bool = False) -> float:
    """The width of words in units of `size`, which is that of the font; no kerning."""
    advances, em = _advances(BOLD if bold else REGULAR)
    return sum(advances.get(ord(letter), advances[-1]) for letter in words) * size / em
