"""Letters of straight strokes, 2 wide and 3 high, for a cutter that engraves.

No line is cut twice. Letters of round shape have cut corners, so that O, S and B differ from 0, 5
and 8. Every letter takes the same width.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from typing import Final

from millprep.geometry.path import Path, Point

WIDTH, HIGH, STEP = 2.0, 3.0, 3.0
"""Width and height of a letter and from one letter to the next, as `ALPHABET` draws them."""

_ROUND: Final = ((0.6, 0.0), (0.0, 0.6), (0.0, 2.4), (0.6, 3.0), (1.4, 3.0), (2.0, 2.4),
                 (2.0, 0.6), (1.4, 0.0), (0.6, 0.0))  # fmt: skip
_BOWL: Final = ((0.0, 0.0), (0.0, 3.0), (1.5, 3.0), (2.0, 2.5), (2.0, 1.9), (1.5, 1.4), (0.0, 1.4))
_OPEN: Final = ((2.0, 2.4), (1.4, 3.0), (0.6, 3.0), (0.0, 2.4), (0.0, 0.6), (0.6, 0.0),
                (1.4, 0.0), (2.0, 0.6))  # fmt: skip

ALPHABET: Final[dict[str, tuple[tuple[Point, ...], ...]]] = {
    " ": (),
    "0": (((0, 0), (2, 0), (2, 3), (0, 3), (0, 0)),),
    "1": (((0.4, 2.4), (1, 3), (1, 0)), ((0.4, 0), (1.6, 0))),
    "2": (((0, 3), (2, 3), (2, 1.5), (0, 1.5), (0, 0), (2, 0)),),
    "3": (((0, 3), (2, 3), (2, 0), (0, 0)), ((0.6, 1.5), (2, 1.5))),
    "4": (((1.5, 0), (1.5, 3), (0, 1), (2, 1)),),
    "5": (((2, 3), (0, 3), (0, 1.6), (2, 1.6), (2, 0), (0, 0)),),
    "6": (((2, 3), (0, 1.6), (0, 0), (2, 0), (2, 1.6), (0, 1.6)),),
    "7": (((0, 3), (2, 3), (0.6, 0)), ((0.6, 1.5), (1.8, 1.5))),
    "8": (((0, 1.5), (0, 3), (2, 3), (2, 1.5), (0, 1.5), (0, 0), (2, 0), (2, 1.5)),),
    "9": (((0, 0), (2, 1.4), (2, 3), (0, 3), (0, 1.4), (2, 1.4)),),
    "A": (((0, 0), (1, 3), (2, 0)), ((0.4, 1.2), (1.6, 1.2))),
    "B": (((0, 1.5), (1.5, 1.5), (2, 2), (2, 2.5), (1.5, 3), (0, 3), (0, 0), (1.5, 0), (2, 0.5),
           (2, 1), (1.5, 1.5)),),
    "C": (_OPEN,),
    "D": (((0, 0), (0, 3), (1.2, 3), (2, 2.2), (2, 0.8), (1.2, 0), (0, 0)),),
    "E": (((2, 3), (0, 3), (0, 0), (2, 0)), ((0, 1.5), (1.6, 1.5))),
    "F": (((2, 3), (0, 3), (0, 0)), ((0, 1.5), (1.6, 1.5))),
    "G": ((*_OPEN, (2, 1.4), (1.1, 1.4)),),
    "H": (((0, 3), (0, 0)), ((0, 1.5), (2, 1.5)), ((2, 3), (2, 0))),
    "I": (((0.4, 3), (1.6, 3)), ((1, 3), (1, 0)), ((0.4, 0), (1.6, 0))),
    "J": (((0.8, 3), (2, 3), (2, 0.6), (1.4, 0), (0.6, 0), (0, 0.6)),),
    "K": (((0, 3), (0, 0)), ((2, 3), (0, 1.5), (2, 0))),
    "L": (((0, 3), (0, 0), (2, 0)),),
    "M": (((0, 0), (0, 3), (1, 1.4), (2, 3), (2, 0)),),
    "N": (((0, 0), (0, 3), (2, 0), (2, 3)),),
    "O": (_ROUND,),
    "P": (_BOWL,),
    "Q": (_ROUND, ((1.1, 0.9), (2, 0))),
    "R": (_BOWL, ((1, 1.4), (2, 0))),
    "S": (((2, 2.5), (1.5, 3), (0.5, 3), (0, 2.5), (0, 2), (0.5, 1.5), (1.5, 1.5), (2, 1),
           (2, 0.5), (1.5, 0), (0.5, 0), (0, 0.5)),),
    "T": (((0, 3), (2, 3)), ((1, 3), (1, 0))),
    "U": (((0, 3), (0, 0.6), (0.6, 0), (1.4, 0), (2, 0.6), (2, 3)),),
    "V": (((0, 3), (1, 0), (2, 3)),),
    "W": (((0, 3), (0.5, 0), (1, 1.8), (1.5, 0), (2, 3)),),
    "X": (((0, 0), (2, 3)), ((0, 3), (2, 0))),
    "Y": (((0, 3), (1, 1.5), (2, 3)), ((1, 1.5), (1, 0))),
    "Z": (((0, 3), (2, 3), (0, 0), (2, 0)),),
    "-": (((0.3, 1.5), (1.7, 1.5)),),
    ".": (((1, 0), (1, 0.5)),),
    "_": (((0, 0), (2, 0)),),
    "/": (((0, 0), (2, 3)),),
    "+": (((0.2, 1.5), (1.8, 1.5)), ((1, 2.3), (1, 0.7))),
    "#": (((0, 2), (2, 2)), ((0, 1), (2, 1)), ((0.6, 2.8), (0.6, 0.2)), ((1.4, 2.8), (1.4, 0.2))),
    "(": (((1.4, 3), (0.7, 2.2), (0.7, 0.8), (1.4, 0)),),
    ")": (((0.6, 3), (1.3, 2.2), (1.3, 0.8), (0.6, 0)),),
}  # fmt: skip
"""Strokes of every character that can be drawn, x from 0 to 2, y from 0 to 3."""

_SIGNS: Final = {
    "\N{GREEK CAPITAL LETTER MU}": "U",
    "\N{GREEK CAPITAL LETTER OMEGA}": "OHM",
    "\N{FRACTION SLASH}": "/",
}
"""Signs as they are written where there are only Latin letters: mu and omega are those of units."""
_LATIN = re.compile(r"LATIN CAPITAL (?:LETTER|LIGATURE) ([A-Z]{1,2})(?: WITH .*)?")


def drawable(text: str) -> tuple[str, str]:
    """A text in the letters there are, and the characters of it that have to be left out.

    Small letters become capitals. Accents are dropped, a micro sign is U and an ohm sign OHM, any
    dash is -, any space a space. The rest is left out.

    >>> drawable("C3: 4.7 nF")
    ('C3 4.7 NF', ':')
    """
    drawn, left = [], []
    for sign in text:
        known = "".join(_known(sign))
        drawn.append(known)
        if not known and not unicodedata.combining(sign) and sign not in left:
            left.append(sign)
    return "".join(drawn), "".join(left)


def _known(sign: str) -> Iterator[str]:
    """What a character is drawn as, nothing when it cannot be."""
    for part in unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", sign).upper()):
        category, name = unicodedata.category(part), unicodedata.name(part, "")
        latin = _LATIN.fullmatch(name)
        if part in ALPHABET:
            yield part
        elif part in _SIGNS:
            yield _SIGNS[part]
        elif category in ("Pd", "Zs"):
            yield "-" if category == "Pd" else " "
        elif latin:
            yield latin[1]


def strokes(text: str, height: float, at: Point = (0.0, 0.0)) -> tuple[Path, ...]:
    """The lines of a text, letter by letter.

    Args:
        text: characters of `ALPHABET` only, see `drawable`.
        height: of a capital, mm.
        at: low left corner of the first letter.

    Raises:
        ValueError: for a height that is not above 0, and for a character that is not drawn.
    """
    _check(text, height)
    scale = height / HIGH
    return tuple(
        Path.lines([(at[0] + n * STEP * scale + x * scale, at[1] + y * scale) for x, y in stroke])
        for n, letter in enumerate(text)
        for stroke in ALPHABET[letter]
    )


def width(text: str, height: float) -> float:
    """From the first letter's left edge to the last one's right edge, mm; 0 for no text.

    Raises:
        ValueError: as for `strokes`.
    """
    _check(text, height)
    return (STEP * (len(text) - 1) + WIDTH) * height / HIGH if text else 0.0


def _check(text: str, height: float) -> None:
    if not height > 0:
        raise ValueError(f"letters have a height above 0, not {height}")
    if unknown := set(text) - set(ALPHABET):
        raise ValueError(f"no letters for {''.join(sorted(unknown))}")
