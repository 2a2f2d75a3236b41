"""The proof finds pads on its own: they are those that the maker of the paths finds."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
import shapely
from hypothesis import example, given
from hypothesis import strategies as st

from millprep import job
from millprep.model.board import Board, CopperPiece, Hole
from millprep.toolpaths.clearing_of_blank import board_pads, drawn_pad_of, widths
from millprep.verify.pads import SOLDER, pad_areas, pad_of, pad_widths
from millprep.workflow.inputs import read_boards
from tests.helpers.chance import examples

EXAMPLES = Path(__file__).parents[2] / "examples"
CHORDS = 0.005
"""Both flatten their circles, mm."""
HOLE = Hole("h1", (20.0, 20.0), 1.0, "c1")


@pytest.mark.parametrize(
    "name", ["lighthouse/memory-board", "lighthouse/indicators", "rules/heaters", "rules/socket"]
)
def test_pads_of_the_examples_are_found_alike_by_both(name: str) -> None:
    for board in read_boards(job.load(EXAMPLES / f"{name}.toml")):
        pads, others = pad_areas(board), board_pads(board)
        assert [pad.hole for pad in pads] == [other.hole for other in others]
        assert pads
        for pad, other in zip(pads, others, strict=True):
            assert pad.piece == other.piece
            assert pad.width == pytest.approx(other.width, abs=1e-6)
            assert shapely.hausdorff_distance(pad.shape, other.shape) < CHORDS
        assert pad_widths(board) == pytest.approx(widths(board), abs=1e-6)


TURN = st.floats(0, math.tau)
TRACK = st.tuples(TURN, st.floats(0.2, 3.0))
PAD = st.sampled_from(["round", "square", "oblong", "ring"])


def copper(kind: str, radius: float, tracks: list[tuple[float, float]]) -> shapely.Polygon:
    """A pad around the hole, and tracks of a width that lead away from it in a direction."""
    disc = shapely.Point(20, 20).buffer(radius, quad_segs=32)
    pad: shapely.Geometry = disc
    if kind == "square":
        pad = shapely.box(20 - radius, 20 - radius, 20 + radius, 20 + radius)
    elif kind == "oblong":
        pad = shapely.LineString([(20 - radius, 20), (20 + radius, 20)]).buffer(radius)
    elif kind == "ring":
        pad = disc.difference(shapely.Point(20, 20).buffer(0.3))
    ways = [
        shapely.LineString(
            [(20 + 0.6 * math.cos(turn), 20 + 0.6 * math.sin(turn)),
             (20 + 9 * math.cos(turn), 20 + 9 * math.sin(turn))]
        ).buffer(width / 2, cap_style="flat")
        for turn, width in tracks
    ]  # fmt: skip
    whole = shapely.union_all([pad, *ways])
    assert isinstance(whole, shapely.Polygon)
    return whole


@examples(60)
@example("square", 2.00001, [(0.6076490702148548, 1.0625)], 0.5)
@given(PAD, st.floats(0.7, 3.0), st.lists(TRACK, max_size=3), st.floats(0.0, 1.5))
def test_random_pads_are_found_alike_by_both(
    kind: str, radius: float, tracks: list[tuple[float, float]], slot: float
) -> None:
    """The same answer for every hole, and the same copper except for slivers."""
    hole = HOLE if slot < 0.5 else Hole("h1", (20.0, 20.0), 1.0, "c1", (20.0 + slot / 2, 20.0))
    piece = copper(kind, radius, tracks)
    mine, other = pad_of(hole, piece), drawn_pad_of(hole, piece)
    assert (mine is None) == (other is None)
    if mine is not None and other is not None:
        assert mine.width == pytest.approx(other.width, abs=1e-6)
        apart = shapely.symmetric_difference(mine.shape, other.shape)
        assert apart.buffer(-CHORDS / 2).is_empty


def test_a_track_is_no_pad_and_a_plane_is_one_as_far_as_solder_flows() -> None:
    pad = pad_of(HOLE, copper("round", 1.0, [(0.0, 1.0)]))
    assert pad is not None
    assert pad.width == pytest.approx(2.0, abs=2e-3)
    assert shapely.Point(20, 20).buffer(1.2).contains(pad.shape)
    plane = pad_of(HOLE, shapely.box(0, 0, 40, 40))
    assert plane is not None
    assert plane.shape.area == pytest.approx(math.pi * (0.5 + SOLDER) ** 2, rel=1e-3)


def test_copper_that_does_not_go_all_around_is_no_pad() -> None:
    assert pad_of(HOLE, shapely.box(20, 0, 40, 40)) is None
    assert pad_of(HOLE, shapely.box(0, 0, 10, 10)) is None


def test_the_comparison_can_fail() -> None:
    """A pad a tenth of a millimetre larger is told apart."""
    mine = pad_of(HOLE, copper("round", 1.1, []))
    other = drawn_pad_of(HOLE, copper("round", 1.0, []))
    assert mine is not None
    assert other is not None
    assert shapely.hausdorff_distance(mine.shape, other.shape) > CHORDS


def test_a_hole_in_an_edge_of_its_copper_has_no_pad() -> None:
    pieces = (CopperPiece("c1", shapely.box(10, 10, 30, 30)),)
    edge = Hole("h2", (30.0, 20.0), 1.0, "c1")
    board = Board("lamp", shapely.box(0, 0, 40, 40), pieces, (HOLE, edge))
    assert pad_widths(board) == {"h1": pytest.approx(20.0)}
    assert [pad.hole.id for pad in pad_areas(board)] == ["h1"]
