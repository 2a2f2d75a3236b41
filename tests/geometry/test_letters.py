"""Letters that are engraved: each in its box, no two alike, and any text in those there are."""

from __future__ import annotations

import itertools

import pytest
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.letters import ALPHABET, HIGH, WIDTH, drawable, strokes, width

LETTERS = sorted(set(ALPHABET) - {" "})


def drawn(text: str, height: float = HIGH) -> BaseGeometry:
    """The lines of a text as one shape."""
    return shapely.union_all([path.line() for path in strokes(text, height)])


def test_the_alphabet_holds_capitals_digits_and_signs() -> None:
    assert set("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789 -._/+#()") == set(ALPHABET)


@pytest.mark.parametrize("letter", LETTERS)
def test_a_letter_lies_in_its_box_and_cuts_no_line_twice(letter: str) -> None:
    x0, y0, x1, y1 = drawn(letter).bounds
    assert (x0 >= 0, y0 >= 0, x1 <= WIDTH, y1 <= HIGH) == (True,) * 4
    if letter.isalnum():
        assert (y0, y1) == (0.0, HIGH)
    lines = [path.line() for path in strokes(letter, HIGH)]
    assert drawn(letter).length == pytest.approx(sum(line.length for line in lines))


def test_no_two_letters_are_alike() -> None:
    """Of any two, one has a line that lies at least a tenth of the height off the other's."""
    shapes = {letter: drawn(letter) for letter in LETTERS}
    near = {
        (a, b): shapely.hausdorff_distance(shapes[a], shapes[b], densify=0.05)
        for a, b in itertools.combinations(LETTERS, 2)
    }
    assert min(near.values()) > HIGH / 10, min(near, key=lambda pair: near[pair])


def test_a_text_is_as_wide_and_as_high_as_it_says() -> None:
    for text, height in (("B2", 3.0), ("ZENER E-Z", 1.5), ("U", 6.0)):
        x0, y0, x1, y1 = drawn(text, height).bounds
        assert (x1 - x0, y1 - y0) == pytest.approx((width(text, height), height))
    assert width("", 3.0) == 0.0
    assert strokes(" ", 3.0) == ()


def test_a_text_begins_where_it_is_put() -> None:
    (path,) = strokes("L", 1.5, (10.0, 20.0))
    assert path.xy.tolist() == [[10.0, 21.5], [10.0, 20.0], [11.0, 20.0]]


@pytest.mark.parametrize(
    ("text", "as_drawn", "left"),
    [
        ("main-2.1_b", "MAIN-2.1_B", ""),
        ("Gr\u00fc\u00dfe \u00e0 \u0141\u00f3d\u017a", "GRUSSE A LODZ", ""),
        ("4\u00b57 47k\u03a9 1\u2126", "4U7 47KOHM 1OHM", ""),
        ("\u00c6 \u0152 \u00d8 \ufb01", "AE OE O FI", ""),
        ("a\u2013b\u00a0c", "A-B C", ""),
        ("R1, R2!", "R1 R2", ",!"),
        ("\u4e2d\u6587 e\u0301", " E", "\u4e2d\u6587"),
        ("1\u00bd x\u00b2", "11/2 X2", ""),
    ],
)
def test_other_characters_are_written_in_the_letters_there_are(
    text: str, as_drawn: str, left: str
) -> None:
    assert drawable(text) == (as_drawn, left)
    assert set(as_drawn) <= set(ALPHABET)


def test_what_cannot_be_drawn_is_refused() -> None:
    with pytest.raises(ValueError, match="no letters for ,"):
        strokes("A,", 3.0)
    with pytest.raises(ValueError, match="height above 0"):
        width("A", 0.0)
