"""Values as the review page takes them, in few bytes: shapes, nets, cuts, passes and figures.

Numbers are short text: whole ones, each as the difference from the one before. A difference v
becomes 2·v, or −2·v − 1 below zero, and that goes out five bits a letter, lowest first; a letter of
the alphabet's upper half says that more follow. The alphabet is that of base64url (RFC 4648, table
2): no letter of it means anything in JSON or HTML.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from millprep.geometry.path import Point
from millprep.model.blank import Placement
from millprep.model.cut import HoleCut
from millprep.model.cutter import Cutter, Drill, EndMill, Vee
from millprep.model.finding import Finding
from millprep.model.judged import BoardJudged
from millprep.model.milling_pass import Join, MillingPass, RegistrationHole
from millprep.model.program import ARC_CCW, ARC_CW, Trail
from millprep.model.set_of_programs import CutSet
from millprep.report.words import cutter_words, plain

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
    rest = np.where(v >= 0, 2 * v, -2 * v - 1)
    if int(rest.max(initial=0)) >= 1 << (5 * _MOST):
        raise ValueError("a number needs more than 39 bits")
    used = np.searchsorted(32 ** np.arange(1, _MOST), rest, side="right") + 1
    ends = np.cumsum(used)
    letters = np.empty(used.sum(), dtype=np.uint8)
    at = ends - used
    # the first letters of all numbers, then the second ones of those that have more, and so on
    while len(at):
        more = used > 1
        letters[at] = _LETTERS[(rest & 31) + 32 * more]
        at, rest, used = at[more] + 1, rest[more] >> 5, used[more] - 1
    stream = letters.tobytes().decode("ascii")
    stops = np.append(0, ends)[np.cumsum([0, *counts])].tolist()
    return [stream[start:stop] for start, stop in itertools.pairwise(stops)]


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
    # each ring by itself: to watch over all rings at once takes seven times as long
    every: Any = np.array(shapes, dtype=object)
    fewer = shapely.simplify(every, THINNED, preserve_topology=False)
    same = shapely.get_num_interior_rings(fewer) == shapely.get_num_interior_rings(every)
    same &= (shapely.get_type_id(fewer) == shapely.GeometryType.POLYGON) & ~shapely.is_empty(fewer)
    return tuple(np.where(same, fewer, every))


def line(places: Iterable[IntArray]) -> str:
    """Places of several lines in one stream of differences, x and y in turn."""
    all_places = list(places)
    if not all_places:
        return ""
    xy = np.concatenate(all_places)
    return text(np.diff(xy, axis=0, prepend=np.zeros((1, 2), dtype=np.int64)))


def legend_data(placement: Placement) -> dict[str, str] | None:
    """The legend of a copy in the drawing's frame, its lines as the rings of one area."""
    legend = placement.board.legend
    if legend is None:
        return None
    paths = legend.paths(mirrored=placement.pose.mirrored)
    lines = [whole(path.flattened(), SHAPE_UNIT) for path in paths]
    return {"rings": text([len(lines), *map(len, lines)]), "xy": line(lines)}


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
    return None if value is None or not math.isfinite(value) else round(float(value), DIGITS) + 0.0


def point(at: Point | None) -> list[float | None] | None:
    """Both coordinates of a place."""
    return None if at is None else [figure(v) for v in at]


def cutter_data(cutter: Cutter) -> dict[str, Any]:
    """The cutter and what its groove's width follows from."""
    row: dict[str, Any] = {
        "name": plain(cutter.name, 60),
        "kind": cutter.kind,
        "words": cutter_words(cutter),
    }
    if isinstance(cutter, Vee):
        row |= {"tip": cutter.tip, "angle": cutter.angle}
    elif isinstance(cutter, EndMill):
        row |= {"diameter": cutter.diameter}
    elif isinstance(cutter, Drill):
        row |= {"diameter": cutter.diameter, "angle": cutter.point_angle}
    return row


def hole_data(blank: int, cutters: list[str], hole: HoleCut) -> dict[str, Any]:
    """A hole that is made, with the index of its cutter."""
    return {
        "id": plain(hole.hole, 40),
        "blank": blank,
        "copy": hole.placement,
        "at": point(hole.at),
        "end": point(hole.end),
        "diameter": figure(hole.diameter),
        "depth": figure(hole.depth),
        "work": hole.work,
        "cutter": cutters.index(hole.cutter),
    }


def tabs_data(cut_set: CutSet) -> list[dict[str, Any]]:
    """Each tab as the line along which the cutter stays high."""
    width = {c.name: c.width(1.0) for c in cut_set.cutters}
    tabs = []
    for blank, profile in ((b, p) for b in cut_set.blanks for p in b.cuts.profiles):
        for tab in profile.tabs:
            run = profile.path.part(tab.start, tab.end)
            tabs.append(
                {
                    "blank": blank.number,
                    "width": figure(width[profile.cutter]),
                    "xy": line([whole(run.flattened(), SHAPE_UNIT)]),
                }
            )
    return tabs


def pass_data(milling_pass: MillingPass) -> dict[str, Any]:
    """A pass: where its blank lies, what its window is, and its verniers."""
    return {
        "blank": milling_pass.blank,
        "number": milling_pass.number,
        "pose": milling_pass.pose.as_list(),
        "window": areas([milling_pass.window]),
        "touch": point(milling_pass.touch),
        "verniers": [
            {
                "id": plain(vernier.id, 40),
                "at": point(vernier.at),
                "measures": vernier.measures,
                "pitch": vernier.pitch,
                "step": vernier.step,
                "reach": vernier.reach,
                "passes": list(vernier.passes),
            }
            for vernier in milling_pass.verniers
        ],
    }


def registration_data(hole: RegistrationHole) -> dict[str, Any]:
    """A registration hole on its blank, with both ends of a slot."""
    return {
        "id": plain(hole.id, 40),
        "at": point(hole.blank),
        "diameter": figure(hole.diameter),
        "ends": [point(end) for end in hole.ends] if hole.slot else None,
        "role": "turn" if hole.free is not None else hole.role,
        "drilledIn": hole.drilled_in,
        "usedIn": hole.used_in,
        "pin": plain(hole.pin, 40),
    }


def join_data(join: Join) -> dict[str, Any]:
    """A join with its expected and tolerated misalignment."""
    return {
        "blank": join.blank,
        "copy": join.placement,
        "piece": None if join.piece is None else plain(join.piece, 40),
        "at": point(join.at),
        "passes": list(join.passes),
        "across": [figure(v) for v in join.across],
        "overrun": figure(join.overrun),
        "predicted": figure(join.predicted),
        "tolerance": figure(join.tolerance_electrical),
        "toleranceGap": figure(join.tolerance_gap),
    }


FEED_UNIT = 1e-2
WAIT_UNIT = 1e-3


def trail_data(trail: Trail) -> dict[str, Any]:
    """The motion of a program.

    `start` is the first place; `x`, `y` and `z` lead from place to place, z in runs. `kind`,
    `feed` (0 for a rapid) and `line` (differences) are runs. `centre` leads from the start of
    every arc to its centre, x and y in turn. `wait` holds pairs: how many moves further, and
    how long the cutter waits before that move.
    """
    places = whole(trail.xyz, PATH_UNIT)
    dx, dy, dz = np.diff(places, axis=0).T
    arcs = (trail.kind == ARC_CW) | (trail.kind == ARC_CCW)
    centre = whole(trail.centre[arcs], PATH_UNIT) - places[:-1, :2][arcs]
    waits = np.flatnonzero(trail.wait > 0)
    wait = np.column_stack((np.diff(waits, prepend=0), whole(trail.wait[waits], WAIT_UNIT)))
    return {
        "moves": len(trail),
        "start": places[0].tolist(),
        "x": text(dx),
        "y": text(dy),
        "z": runs(dz),
        "kind": runs(trail.kind),
        "feed": runs(whole(np.nan_to_num(trail.feed), FEED_UNIT)),
        "line": runs(np.diff(trail.line, prepend=0)),
        "centre": text(centre),
        "wait": text(wait),
    }
