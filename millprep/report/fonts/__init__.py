"""The font of the pictures: how wide its words are, and its files.

DejaVu Sans is part of the package, so that pictures are the same on every machine.
"""

from __future__ import annotations

import struct
from functools import cache
from importlib.resources import as_file, files
from pathlib import Path

FAMILY = "DejaVu Sans, Verdana, sans-serif"
REGULAR, BOLD = "DejaVuSans.ttf", "DejaVuSans-Bold.ttf"


@cache
def font_file(name: str) -> str:
    """The path of a font's file."""
    with as_file(files("millprep.report.fonts").joinpath(name)) as path:
        return str(path)


@cache
def _advances(name: str) -> tuple[dict[int, int], int]:
    """The advance of every character in the font's units, and how many these are to an em.

    The tables are those of OpenType (ISO/IEC 14496-22): head, hhea, hmtx, and cmap in format 12.
    They are read here because a library reads the names of all glyphs as well, which takes 0.1 s.
    """
    data = Path(font_file(name)).read_bytes()

    def figure(at: int, size: int = 2) -> int:
        return int.from_bytes(data[at : at + size])

    table = {data[at : at + 4]: figure(at + 8, 4) for at in range(12, 12 + 16 * figure(4), 16)}
    cmap = table[b"cmap"]
    records = range(cmap + 4, cmap + 4 + 8 * figure(cmap + 2), 8)
    letters = next(
        at for at in (cmap + figure(record + 4, 4) for record in records) if figure(at) == 12
    )
    groups = struct.iter_unpack(">III", data[letters + 16 : letters + figure(letters + 4, 4)])
    # advances come in pairs with bearings; glyphs beyond the last pair have its advance
    last = figure(table[b"hhea"] + 34) - 1
    widths = struct.unpack_from(f">{2 * last + 2}H", data, table[b"hmtx"])[::2]
    advances = {
        first + k: widths[min(glyph + k, last)]
        for first, end, glyph in groups
        for k in range(end - first + 1)
    }
    return {**advances, -1: widths[0]}, figure(table[b"head"] + 18)


@cache
def width_of(words: str, size: float, *, bold: bool = False) -> float:
    """The width of words in units of `size`, which is that of the font; no kerning."""
    advances, em = _advances(BOLD if bold else REGULAR)
    return sum(advances.get(ord(letter), advances[-1]) for letter in words) * size / em
