"""Five real boards with netlists: the points that lie on copper, and no piece with two nets.

The figures come with the boards. They were counted by two other readers that share nothing with
this one: points on a layer's copper, pieces, and pieces with a net. Points that miss are unplated
holes without a net, and twelve pads of one connector that the top of the last board does not have.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest
import shapely

from millprep.drawing import copper
from millprep.drawing.gerber.drill import read_drill
from millprep.drawing.gerber.layer import read_layer
from millprep.drawing.netlist_placing import with_netlist
from millprep.model.board import Board, CopperPiece, Hole
from millprep.verify.netlist import PointsOnCopper

SHARED = os.environ.get("MILLPREP_SHARED")
BOARDS = [  # board, its copper, pieces, points on copper, points compared
    ("melodik-x2", "*B_Cu*", 78, 144, 146),
    ("melodik-x2", "*F_Cu*", None, 145, 147),
    ("lfo-main-x2", "*B_Cu*", 104, 141, 142),
    ("lfo-main-x2", "*F_Cu*", None, 141, 142),
    ("binding-posts-x2", "*B_Cu*", 15, 143, 143),
    ("binding-posts-x2", "*F_Cu*", None, 155, 155),
    ("tzx-x2-comments", "*B_Cu*", 39, 67, 67),
    ("tzx-x2-comments", "*F_Cu*", None, 67, 67),
    ("esr-si-netlist", "*Bottom Copper*", 92, 582, 582),
    ("esr-si-netlist", "*Top Copper*", None, 564, 576),
]


def areas(file: Path) -> list[shapely.Polygon]:
    """All that a layer draws, shape by shape."""
    return [area for shape in read_layer(file.read_bytes(), "").shapes for area in shape.areas]


def holes(folder: Path) -> list[Hole]:
    """The round holes of all drill files; one writer draws them as a layer."""
    found: list[Hole] = []
    for file in sorted(folder.glob("*.drl")):
        for stroke in read_drill(file.read_bytes(), "").strokes:
            first, last = (tuple(map(float, stroke.vertices[k])) for k in (0, -1))
            at, end = (first[0], first[1]), (last[0], last[1])
            found.append(Hole("h", at, float(stroke.widths[0]), end=None if end == at else end))
    for file in sorted(folder.glob("*Drill*Plated.GBR")):
        for disc in areas(file):
            middle, box = disc.centroid, disc.bounds
            found.append(Hole("h", (middle.x, middle.y), box[2] - box[0]))
    return found


@pytest.mark.parametrize(("name", "layer", "pieces", "on", "compared"), BOARDS)
def test_points_lie_on_copper(
    name: str, layer: str, pieces: int | None, on: int, compared: int
) -> None:
    if SHARED is None:
        pytest.skip("MILLPREP_SHARED names no folder of real boards")
    folder = Path(SHARED) / "boards" / "gerber" / name
    (file,) = folder.glob(layer)
    shapes = copper.sorted_reading(copper.pieces(areas(file)))
    assert pieces is None or len(shapes) == pieces
    board = Board(
        name,
        shapely.box(*shapely.MultiPolygon(shapes).bounds),
        tuple(CopperPiece(f"c{n}", shape) for n, shape in enumerate(shapes, 1)),
        tuple(holes(folder)),
    )
    (netlist,) = (each for each in folder.iterdir() if each.suffix.lower() == ".ipc")
    board = with_netlist(board, netlist, netlist.name)
    (note,) = board.doubts
    assert note.message.startswith("Netlist as it is written:")
    points = PointsOnCopper(shapes, board, ())
    assert (sum(group is not None for group in points.on), len(points.on)) == (on, compared)
    ids = [piece.id for piece in board.pieces]
    assert points.shorts(ids, frozenset()) == []
    if pieces is not None:
        assert points.without_net(ids) == []
