"""Values as the review page takes them, in few bytes: shapes, paths, nets and figures.

Numbers are short text: whole ones, each as the difference from the one before. A difference v
becomes 2·v, or −2·v − 1 below zero, and that goes out five bits a letter, lowest first; a letter of
the alphabet's upper half says that more follow. The alphabet is that of base64url (RFC 4648, table
2): no letter of it means anything in JSON or HTML.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from millprep.geometry.path import Point
from millprep.model.finding import Finding
from millprep.model.judged import BoardJudged
from millprep.model.set_of_programs import CutSet
from millprep.report.words import plain

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


SPACING = ("spacing-too-narrow", "spacing-to-metal")
"""Findings about two nets that are too near."""
DIGITS = 4
"""Decimals of figures that are not packed."""


def net_facts(judged: BoardJudged | None) -> list[dict[str, Any]]:
    """Volts and amperes of every net that the job names."""
    return [
        {
            "net": plain(net.name, 60),
            "volts": None if net.volts is None else [figure(v) for v in net.volts],
            "amperes": figure(max(net.amperes, sum(max(load.amperes, 0.0) for load in net.loads))),
        }
        for net in (row.net for row in (() if judged is None else judged.nets))
    ]


def spacings(judged: BoardJudged | None) -> dict[str, Any]:
    """Every pair of neighbours with volts.

    `names` are those of nets and of metal, `pairs` rows of two indices, V, required and measured
    mm, and `ways`, for each pair, both ends of every gap on its way, in whole units of a shape.
    """
    pairs = () if judged is None else judged.spacings
    names = list(dict.fromkeys(name for pair in pairs for name in (pair.net, pair.other)))
    index = {name: n for n, name in enumerate(names)}
    ways = [np.ravel(pair.way or ((pair.at, pair.at),)) for pair in pairs]
    return {
        "names": [plain(name, 60) for name in names],
        "pairs": [
            [index[pair.net], index[pair.other], *map(figure, (pair.volts, pair.required)),
             figure(pair.measured)]
            for pair in pairs
        ],
        "ways": texts(whole(np.concatenate([[], *ways]), SHAPE_UNIT), list(map(len, ways))),
    }  # fmt: skip


def pair_of(cut_set: CutSet, finding: Finding) -> list[Any] | None:
    """Copy, net and other net of the pair that a finding on spacing is about; None for others."""
    for copy in cut_set.copies if finding.code in SPACING else ():
        known = copy.placement.board.name, copy.placement.copy
        for pair in (
            copy.judged.spacings if copy.judged and known == (finding.board, finding.copy) else ()
        ):
            between = re.escape(f"between {pair.net} and {pair.other}")
            if pair.at == finding.at and re.search(f"{between}[,;]", finding.message):
                return [copy.placement.index, plain(pair.net, 60), plain(pair.other, 60)]
    return None


def figure(value: float | None) -> float | None:
    """A figure with `DIGITS` decimals; None for none and for what is not finite."""
    return None if value is None or not np.isfinite(value) else round(float(value), DIGITS) + 0.0


def point(at: Point | None) -> list[float | None] | None:
    """Both coordinates of a place."""
    return None if at is None else [figure(v) for v in at]
