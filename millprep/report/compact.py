"""Numbers as short text: whole numbers, each as the difference from the one before.

A difference v becomes 2·v, or −2·v − 1 below zero, and that goes out five bits a letter, lowest
first; a letter of the alphabet's upper half says that more follow. The alphabet is that of
base64url (RFC 4648, table 2): no letter of it means anything in JSON or HTML.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

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
    v = np.asarray(values, dtype=np.int64).ravel()
    if len(v) == 0:
        return ""
    rest = np.where(v >= 0, 2 * v, -2 * v - 1)
    if int(rest.max()) >= 1 << (5 * _MOST):
        raise ValueError("a number needs more than 39 bits")
    digits = (rest[:, None] >> (5 * np.arange(_MOST))) & 31
    used = np.maximum(1, _MOST - np.argmax(digits[:, ::-1] != 0, axis=1))
    used[rest == 0] = 1
    place = np.arange(_MOST)
    digits = digits + 32 * (place < used[:, None] - 1)
    return bytes(_LETTERS[digits[place < used[:, None]]]).decode("ascii")


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
    counts: list[int] = []
    places: list[IntArray] = []
    for shape in thinned(shapes):
        outlines = [shape.exterior, *shape.interiors]
        points = [_opened(whole(ring.coords, SHAPE_UNIT)[:, :2]) for ring in outlines]
        points = [ring for ring in points if len(ring) >= 3]
        counts += [len(points), *map(len, points)]
        places += points
    return {"rings": text(counts), "xy": line(places)}


def thinned(shapes: Sequence[shapely.Polygon]) -> list[shapely.Polygon]:
    """The polygons without vertices that nobody sees; one that would fall apart stays."""
    if not shapes:
        return []
    array = np.array(list(shapes), dtype=object)
    fewer = shapely.simplify(array, THINNED)
    kept: list[shapely.Polygon] = [
        less if isinstance(less, shapely.Polygon) and not less.is_empty else shape
        for less, shape in zip(fewer, shapes, strict=True)
    ]
    return kept


def line(places: Iterable[IntArray]) -> str:
    """Places of several lines in one stream of differences, x and y in turn."""
    all_places = list(places)
    if not all_places:
        return ""
    xy = np.concatenate(all_places)
    return text(np.diff(xy, axis=0, prepend=np.zeros((1, 2), dtype=np.int64)))


def _opened(xy: IntArray) -> IntArray:
    """A closed ring without repeated points, its last one included."""
    keep = np.abs(np.diff(xy, axis=0, prepend=xy[-2:-1])).max(axis=1) > 0
    keep[-1] = False
    opened: IntArray = xy[keep]
    return opened
