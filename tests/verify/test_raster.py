"""The as-cut copper counted again on pixels, by another road to the same answer.

A pixel is copper when it lies farther from every cutting move than half the groove's width:
the distance to the nearest segment, not to the nearest marked pixel, which would be half a
pixel off. Parts are then the connected groups of copper pixels.
"""

from __future__ import annotations

import itertools
import random

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from millprep.verify.as_cut import as_cut
from millprep.verify.compare import compare
from millprep.verify.reader import read
from tests.helpers.programs import BLANK, DEPTH, HEAD, PASS, TAIL, around, board, layout, vee

PIXEL = 0.04
VEE = vee()
FOOT = VEE.width(DEPTH, BLANK.copper)


def groups(copper: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Numbers of the connected groups of pixels, from 1; 0 where there is no copper."""
    label = np.where(copper, np.arange(1, copper.size + 1).reshape(copper.shape), 0)
    while True:
        best = label.copy()
        best[1:] = np.maximum(best[1:], label[:-1])
        best[:-1] = np.maximum(best[:-1], best[1:])
        best[:, 1:] = np.maximum(best[:, 1:], best[:, :-1])
        best[:, :-1] = np.maximum(best[:, :-1], best[:, 1:])
        best[~copper] = 0
        # Take over the number of the pixel whose number one bears: paths halve each round.
        flat = np.concatenate(([0], best.ravel()))
        best = flat[best]
        if (best == label).all():
            return label
        label = best


@pytest.mark.parametrize("seed", range(3))
def test_pixels_find_the_same_parts_and_the_same_gap(seed: int) -> None:
    rnd = random.Random(seed)
    pieces = []
    for i, j in itertools.product(range(3), range(2)):
        x, y = 6 + 3.2 * i, 6 + 3.0 * j
        ways = [(x, y), (x + rnd.uniform(0.3, 1.2), y + rnd.uniform(0.2, 1.2)), (x + 1.6, y + 1.4)]
        pieces.append(shapely.LineString(ways).buffer(rnd.uniform(0.2, 0.5), quad_segs=16))
    # One lap is left out now and then: a part of the background then carries a piece.
    chosen = [piece for k, piece in enumerate(pieces) if seed == 0 or k != seed]
    text = HEAD + "".join(around(piece, VEE.width(DEPTH) / 2) for piece in chosen) + TAIL
    trace = read(text, file="a")
    where = layout(board(pieces))
    copper = as_cut(BLANK, [(trace, VEE, PASS)], where.placements)
    (proof,), _ = compare([copper], where)

    lines = [
        shapely.LineString([move.start[:2], move.end[:2]])
        for move in trace.moves
        if move.kind == "feed" and move.start[2] < 0
    ]
    xs, ys = np.arange(4, 17, PIXEL), np.arange(4, 13, PIXEL)
    x, y = np.meshgrid(xs, ys)
    spots = shapely.points(x.ravel(), y.ravel())
    tree = shapely.STRtree(lines)
    _, distance = tree.query_nearest(spots, all_matches=False, return_distance=True)
    label = groups((distance > FOOT / 2).reshape(x.shape))

    by_number = {}
    for number in np.unique(label[label > 0]):
        by_number[number] = shapely.points(
            np.column_stack((x[label == number], y[label == number]))
        )
    carriers = [part for part in copper.parts if part.pieces]
    for part in carriers:
        inside = shapely.contains_xy(part.shape.buffer(-PIXEL), x, y)
        assert len(np.unique(label[inside])) == 1
    numbers = [
        int(np.unique(label[shapely.contains_xy(part.shape.buffer(-PIXEL), x, y)])[0])
        for part in carriers
    ]
    assert len(set(numbers)) == len(carriers)
    gaps = []
    for one, other in itertools.combinations(numbers, 2):
        near = shapely.STRtree(np.asarray(by_number[one]))
        gaps.append(near.query_nearest(by_number[other], return_distance=True)[1].min())
    assert proof.narrowest_gap is not None
    # A pixel's middle stands up to half a diagonal inside each edge.
    assert -1e-6 <= min(gaps) - proof.narrowest_gap <= 1.5 * PIXEL
