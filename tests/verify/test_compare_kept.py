"""Isolation in the middle of gaps: copper beyond a piece is meant, a short still is one."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
import shapely

from millprep.geometry.path import Path
from millprep.model.as_cut import BoardProof
from millprep.model.job.isolation import GivenCutter, IsolationPlan
from millprep.toolpaths.isolation import Island
from millprep.toolpaths.midline import isolate_along_medial_axis
from millprep.verify.as_cut import as_cut
from millprep.verify.compare import compare
from millprep.verify.reader import read
from tests.helpers.programs import BLANK, DEPTH, HEAD, PASS, TAIL, board, cut, layout, vee

VEE = vee()
FOOT = VEE.width(DEPTH, BLANK.copper)
PADS = [shapely.Point(x, y).buffer(2.0, quad_segs=32) for x, y in ((10, 20), (16, 20), (13, 26))]


def laps() -> list[Path]:
    plan = IsolationPlan(
        given_gap=0.1,
        given_depth=DEPTH,
        flatness=0.0,
        given_cutters=(GivenCutter(VEE),),
        overlap=0.2,
        direction="climb",
    )
    where = layout(board(PADS))
    (copy,) = where.placements
    islands = [Island(0, p.id, copy.pose.shape(p.shape)) for p in copy.board.pieces]
    rings, tight = isolate_along_medial_axis(
        islands, {0: copy.pose.shape(copy.board.outline)}, plan, BLANK.copper
    )
    assert not tight
    return [ring.path for ring in rings]


def prove(paths: Sequence[Path], *, kept: bool) -> tuple[BoardProof, set[str]]:
    where = layout(board(PADS))
    text = "".join(cut(path.flattened().tolist()) for path in paths)
    copper = as_cut(BLANK, [(read(HEAD + text + TAIL, file="a"), VEE, PASS)], where.placements)
    (proof,), findings = compare([copper], where, reach=VEE.width(DEPTH) / 2, kept=kept)
    return proof, {finding.code for finding in findings if finding.severity == "stop"}


def test_copper_in_the_gaps_may_stay_with_its_piece() -> None:
    proof, result = prove(laps(), kept=True)
    assert result == set()
    assert (proof.pieces, proof.shorts, proof.opens) == (3, 0, 0)
    assert proof.narrowest_gap == pytest.approx(FOOT, abs=0.003)
    assert prove(laps(), kept=False)[1] == {"copper-not-isolated"}


def test_a_lap_that_is_missing_between_pads_is_a_short_all_the_same() -> None:
    pads = shapely.union_all(PADS)
    between = [
        n for n, path in enumerate(laps()) if pads.convex_hull.buffer(-1).intersects(path.line())
    ]
    assert len(between) == 2
    for missing in between:
        paths = laps()
        del paths[missing]
        proof, result = prove(paths, kept=True)
        assert proof.shorts > 0
        assert result == {"copper-short"}
