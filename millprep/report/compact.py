"""Numbers as short text: whole numbers, each as the difference from the one before.

A difference v becomes 2·v, or −2·v − 1 below zero, and that goes out five bits a letter, lowest
first; a letter of the alphabet's upper half says that more follow. The alphabet is that of
base64url (RFC 4648, table 2): no letter of it means anything in JSON or HTML.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
SHAPE_UNIT = 1e-3
"""Shapes are in whole micrometres."""
PATH_UNIT = 1e-4
"""Paths are in the last digit that a program has."""
THINNED = 0.002
"""Vertices that lie this near to the line between others are left out, mm."""
_LETTERS = np.frombuffer(ALPHABET.encode("ascii"), dtype=np.uint8)
_MOST = 8
"""Letters for one number: eight carry 40 bits, 54 km in micrometres."""

IntArray = NDArray[np.int64]


def text(values: ArrayLike) -> str:
    """Whole numbers as text, as they are.

    Raises:
        ValueError: for a number of more than 39 bits.
    """
    return texts(values, [np.size(values)])[0]


def texts(values: ArrayLike, counts: Sequence[int]) -> list[str]:
    """Several texts at once: so many of the numbers for each.

    Raises:
        ValueError: for a number of more than 39 bits.
    """
    v = np.asarray(values, dtype=np.int64).ravel()
    if len(v) == 0:
        return [""] * len(counts)
    rest = np.where(v >= 0, 2 * v, -2 * v - 1)
    if int(rest.max()) >= 1 << (5 * _MOST):
        raise ValueError("a number needs more than 39 bits")
    # no column for letters that no number needs
    place = np.arange(max(1, -(-int(rest.max()).bit_length() // 5)))
    digits = (rest[:, None] >> (5 * place)) & 31
    used = np.maximum(1, len(place) - np.argmax(digits[:, ::-1] != 0, axis=1))
    used[rest == 0] = 1
    digits = digits + 32 * (place < used[:, None] - 1)
    letters = bytes(_LETTERS[digits[place < used[:, None]]]).decode("ascii")
    ends = np.concatenate(([0], np.cumsum(used)))[np.cumsum([0, *counts])].tolist()
    return [letters[start:end] for start, end in itertools.pairwise(ends)]


def runs(values: ArrayLike) -> str:
    """Whole numbers that seldom change: each value once and how often it comes, in turn."""
    v = np.asarray(values, dtype=np.int64).ravel()
    if len(v) == 0:
        return ""
    first = np.flatnonzero(np.diff(v, prepend=v[0] - 1))
    count = np.diff(first, append=len(v))
    return text(np.column_stack((v[first], count)))


def whole(values: ArrayLike, unit: float) -> IntArray:
    """Lengths in mm as whole numbers of a unit."""
    units: IntArray = np.rint(np.asarray(values, dtype=float) / unit).astype(np.int64)
    return units


def areas(shapes: Sequence[shapely.Polygon]) -> dict[str, str]:
    """Polygons: `rings` has for each how many rings it has and how many points each has.

    `xy` has the points of all of them, one stream of differences for x and one for y in
    turn; the point that closes a ring is left out.
    """
    if not shapes:
        return {"rings": "", "xy": ""}
    rings, shape_of = shapely.get_rings(list(thinned(tuple(shapes))), return_index=True)
    places, ring_of = shapely.get_coordinates(rings, return_index=True)
    xy = whole(places, SHAPE_UNIT)
    counts = np.bincount(ring_of)
    ends = np.cumsum(counts)
    # a point like the one before it is left out; before the first is the last but the closing one
    before = np.roll(xy, 1, axis=0)
    before[ends - counts] = xy[ends - 2]
    kept = np.any(xy != before, axis=1)
    kept[ends - 1] = False
    counts = np.bincount(ring_of[kept], minlength=len(rings))
    seen = counts >= 3
    in_shape = np.bincount(shape_of[seen], minlength=len(shapes))
    firsts = np.cumsum(in_shape) - in_shape
    return {
        "rings": text(np.insert(counts[seen], firsts, in_shape)),
        "xy": line([xy[kept & seen[ring_of]]]),
    }


@lru_cache(maxsize=64)
def thinned(shapes: tuple[shapely.Polygon, ...]) -> tuple[shapely.Polygon, ...]:
    """The polygons without vertices that nobody sees; one that would fall apart stays.

    Remembered, because page and files show the same copper.
    """
    fewer = shapely.simplify(list(shapes), THINNED)
    return tuple(
        less if isinstance(less, shapely.Polygon) and not less.is_empty else shape
        for less, shape in zip(fewer, shapes, strict=True)
    )


def line(places: Iterable[IntArray]) -> str:
    """Places of several lines in one stream of differences, x and y in turn."""
    all_places = list(places)
    if not all_places:
        return ""
    xy = np.concatenate(all_places)
    return text(np.diff(xy, axis=0, prepend=np.zeros((1, 2), dtype=np.int64)))
