"""Copper counted by a general image library from a picture of the drawing.

The picture is painted straight from the DXF library's own entities, with none of this
project's geometry: lines with a width as all places within half of it, fills and closed lines
of no width even-odd along every row of pixels. Then `skimage.measure.label` (scikit-image,
"Label connected regions of an integer array", connectivity 1: pixels that share a side) counts
the components, and each must be one piece of ours, and each piece one of them.

Two pixels that share a side lie one pixel's width apart, so that pieces stay apart in the
picture where their gap is wider than a pixel; the pixels here are finer than half the gap.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import ezdxf.filemanagement
import ezdxf.path
import numpy as np
import pytest
import shapely
import skimage.draw
import skimage.measure
from ezdxf.math import Matrix44
from numpy.typing import NDArray

from millprep.drawing import read
from millprep.model.board import Board
from millprep.model.job.layers import LayerRoles, Unit
from tests.helpers.drawn_dialects import DIALECTS, readings, roles

Floats = NDArray[np.float64]

label: Any = skimage.measure.label
line: Any = skimage.draw.line

SHARED = os.environ.get("MILLPREP_SHARED")
MM = {"mm": 1.0, "inch": 25.4, "point": 25.4 / 72}
INSUNITS = {4: 1.0, 1: 25.4}
CHORD = 1e-3
"""Largest distance of a flattened curve's chords, in the drawing's unit."""

PIXEL = 0.1
"""For the dialects, whose gaps are all wider than two of it, mm."""


class Entity(NamedTuple):
    """One of the drawing's, with all blocks opened."""

    raw: Any
    layer: str
    block: str
    rows: Floats
    """(3, 2): x' = (x, y, 1) · rows, to mm."""


def opened(
    entities: Any, rows: Floats, layer: str | None = None, block: str = ""
) -> Iterator[Entity]:
    """The entities and those of their blocks, placed."""
    for raw in entities:
        own = str(raw.dxf.layer)
        own = layer if layer is not None and own == "0" else own
        if raw.dxftype() == "INSERT":
            assert raw.mcount == 1
            m: Matrix44 = raw.matrix44()
            x, y, o = (m.transform(p) for p in ((1, 0, 0), (0, 1, 0), (0, 0, 0)))
            inner = np.array([[x.x - o.x, x.y - o.y], [y.x - o.x, y.y - o.y], [o.x, o.y]])
            inner = np.column_stack((inner, [0, 0, 1])) @ rows
            yield from opened(raw.block(), inner, own, raw.dxf.name)
        elif not raw.dxf.get("invisible", 0):
            yield Entity(raw, own, block, rows)


@dataclass
class Picture:
    """A black picture in mm; `low` is the centre of its first pixel."""

    low: Floats
    pixel: float
    ink: NDArray[np.bool_]

    @classmethod
    def over(cls, box: Sequence[float], pixel: float) -> Picture:
        low = np.array(box[:2]) - 2.3 * pixel
        columns, rows = np.ceil((np.array(box[2:]) - low) / pixel).astype(int) + 3
        return cls(low, pixel, np.zeros((rows, columns), dtype=bool))

    def even_odd(self, edges: Floats) -> None:
        """Paint what closed lines enclose, (n, 4) edges in any order and direction."""
        x0, y0, x1, y1 = ((edges - np.tile(self.low, 2)) / self.pixel).T
        bottom, top = np.minimum(y0, y1), np.maximum(y0, y1)
        # the rows whose centre lies from the lower end on and below the upper one
        first, last = np.ceil(bottom).astype(int), np.ceil(top).astype(int)
        count = last - first
        edge = np.repeat(np.arange(len(edges)), count)
        row = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count) + first[edge]
        x = x0[edge] + (row - y0[edge]) * (x1 - x0)[edge] / (y1 - y0)[edge]
        crossings = np.zeros(self.ink.shape, dtype=np.int32)
        np.add.at(crossings, (row, np.ceil(x).astype(int)), 1)
        self.ink |= np.cumsum(crossings, axis=1) % 2 == 1

    def pen(self, points: Floats, width: float, rows: Floats) -> None:
        """Paint all places within half a width of a line, both in the entity's coordinates."""
        back = np.linalg.inv(np.column_stack((rows, [0, 0, 1])))
        reach = width / 2 * np.abs(rows[:2]).sum(axis=0)
        starts, ends = (points[:-1], points[1:]) if len(points) > 1 else (points, points)
        for a, b in zip(starts, ends, strict=True):
            corners = np.column_stack((np.array([a, b]), [1, 1])) @ rows
            low = np.floor((corners.min(axis=0) - reach - self.low) / self.pixel).astype(int)
            high = np.ceil((corners.max(axis=0) + reach - self.low) / self.pixel).astype(int) + 1
            i, j = np.mgrid[low[1] : high[1], low[0] : high[0]]
            x, y = self.low[0] + j * self.pixel, self.low[1] + i * self.pixel
            own = np.stack((x, y, np.ones_like(x)), axis=-1) @ back[:, :2]
            along = b - a
            t = np.clip(((own - a) @ along) / max(float(along @ along), 1e-30), 0, 1)
            near = np.hypot(*np.moveaxis(own - a - t[..., None] * along, -1, 0)) <= width / 2
            self.ink[low[1] : high[1], low[0] : high[0]] |= near


def mapped(points: Floats, rows: Floats) -> Floats:
    return np.asarray(np.column_stack((points, np.ones(len(points)))) @ rows)


def ring(points: Floats) -> Floats:
    return np.column_stack((points, np.roll(points, -1, axis=0)))


def flat(path: Any) -> Floats:
    return np.array([(p.x, p.y) for p in path.flattening(CHORD)])


def width_of(raw: Any) -> float:
    if raw.dxftype() == "LWPOLYLINE":
        own = {value for row in raw.get_points("se") for value in row if value}
        found = own or {raw.dxf.get("const_width", 0.0)}
    elif raw.dxftype() == "POLYLINE":
        default = raw.dxf.get("default_start_width", 0.0)
        found = {v.dxf.get("start_width", default) for v in raw.vertices}
    else:
        return 0.0
    (width,) = found
    return float(width)


def paint(
    picture: Picture, entities: Sequence[Entity], layers: LayerRoles, *, each: bool = False
) -> None:
    """Paint the copper layers; with `each`, every closed line of no width is filled by itself."""
    modes = {mode for _, mode in layers.copper_modes}
    each = each or "overlapping outlines" in modes
    given = dict(layers.line_widths)
    for layer in layers.copper:
        bare: list[Floats] = []
        for raw, own, _, rows in entities:
            kind = raw.dxftype()
            if own != layer or kind in ("TEXT", "MTEXT", "DIMENSION"):
                continue
            if kind == "HATCH":
                loops = [mapped(flat(p), rows) for p in ezdxf.path.from_hatch(raw)]
                picture.even_odd(np.vstack([ring(loop) for loop in loops]))
            elif kind in ("SOLID", "TRACE"):
                corners = np.array([(p.x, p.y) for p in raw.wcs_vertices()])
                picture.even_odd(ring(mapped(corners, rows)))
            elif width := width_of(raw) or given.get(layer, 0.0):
                # a width that the job gives is in mm, whatever the drawing's unit
                mm = width if width_of(raw) else width / float(np.hypot(*rows[0]))
                picture.pen(flat(ezdxf.path.make_path(raw)), mm, rows)
            elif modes <= {"nested outlines", "overlapping outlines"}:
                points = mapped(flat(ezdxf.path.make_path(raw)), rows)
                edges = np.column_stack((points[:-1], points[1:]))
                if each:
                    picture.even_odd(edges)
                else:
                    bare.append(edges)
        if bare:
            picture.even_odd(np.vstack(bare))


def drawn(
    file: Path,
    board: Board,
    layers: LayerRoles,
    pixel: float,
    unit: Unit | None,
    *,
    each: bool = False,
    only: Callable[[Entity], bool] | None = None,
) -> Picture:
    """Picture of a drawing's copper, in the place of the board's pieces and somewhat more.

    With `only`, the entities that it picks are the copper, whatever their layer.
    """
    doc = ezdxf.filemanagement.readfile(file)
    scale = MM[unit] if unit else INSUNITS[doc.units]
    rows = np.array([[scale, 0], [0, scale], [0, 0]], dtype=float)
    entities = list(opened(doc.modelspace(), rows))
    if only is not None:
        entities = [one._replace(layer=layers.copper[0]) for one in entities if only(one)]
    x0, y0, x1, y1 = shapely.MultiPolygon([p.shape for p in board.pieces]).bounds
    picture = Picture.over((x0 - 1, y0 - 1, x1 + 1, y1 + 1), pixel)
    paint(picture, entities, layers, each=each)
    return picture


def same(picture: Picture, board: Board) -> float:
    """Compare components and pieces; the share of the ink that lies on no piece."""
    components, count = label(picture.ink, connectivity=1, return_num=True)
    owners = np.zeros(picture.ink.shape, dtype=np.int64)
    for number, piece in enumerate(board.pieces, 1):
        alone = Picture(picture.low, picture.pixel, np.zeros_like(picture.ink))
        rings = [piece.shape.exterior, *piece.shape.interiors]
        alone.even_odd(np.vstack([ring(np.array(r.coords)[:-1]) for r in rings]))
        owners[alone.ink] = number
    assert count == len(board.pieces)
    both = (components > 0) & (owners > 0)
    met = np.unique(np.column_stack((components[both], owners[both])), axis=0)
    # every component on one piece, every piece under one component
    everyone = list(range(1, count + 1))
    assert sorted(met[:, 0].tolist()) == everyone
    assert sorted(met[:, 1].tolist()) == everyone
    return float(1 - both.sum() / picture.ink.sum())


# Drawing, unit, roles, pixel. The gaps: see test_real_drawings.py; of the clock, whose widths
# are the job's, no gap is published: see the test of finer pixels.
HOLES = ("BLACK",)
BOARDS: dict[str, tuple[Unit | None, LayerRoles, float]] = {
    # narrowest gap 0.196
    "lgh-main-B_Cu": ("mm", LayerRoles(HOLES, (), HOLES, outline_margin=0.0), 0.08),
    # 0.508
    "lgh-facade-B_Cu-inch": ("inch", LayerRoles(HOLES, (), HOLES, outline_margin=0.0), 0.08),
    # 0.208
    "meow-badge": (
        None,
        LayerRoles(("BottomLayer", "Multi-Layer"), (), ("Multi-Layer",), outline_margin=0.0),
        0.08,
    ),
    "simplealarmclock-splined": (
        "point",
        LayerRoles(("BottomLayer",), ("BoardOutLine",), ("Hole",),
                   line_widths=(("BottomLayer", 0.5),)),
        0.08,
    ),
}  # fmt: skip


@cache
def real(name: str) -> tuple[Path, Board]:
    if SHARED is None:
        pytest.skip("MILLPREP_SHARED does not name the folder with the real drawings")
    file = Path(SHARED) / "boards" / "copper" / f"{name}.dxf"
    unit, layers, _ = BOARDS[name]
    return file, read(file, name="b", shown_as=name, layers=layers, unit=unit)


@pytest.mark.parametrize("name", BOARDS)
def test_a_picture_of_a_real_board_has_the_same_pieces(name: str) -> None:
    file, board = real(name)
    unit, layers, pixel = BOARDS[name]
    assert same(drawn(file, board, layers, pixel, unit), board) < 0.001


def test_finer_pixels_tell_nothing_else() -> None:
    name = "simplealarmclock-splined"
    file, board = real(name)
    unit, layers, _ = BOARDS[name]
    assert same(drawn(file, board, layers, 0.04, unit), board) < 0.001


def kind_is(*kinds: str) -> Callable[[Entity], bool]:
    return lambda one: one.raw.dxftype() in kinds


def in_columns(low: float, high: float) -> Callable[[Entity], bool]:
    """Discs of 2 mm radius or more, and lines, whose middle lies between two x."""

    def picks(one: Entity) -> bool:
        if one.raw.dxftype() == "CIRCLE":
            return bool(one.raw.dxf.radius >= 2 and low < one.raw.dxf.center.x < high)
        return one.raw.dxftype() == "LWPOLYLINE" and bool(low < one.raw[0][0] < high)

    return picks


# What is copper in the drawings with everything on one layer, in words that use no selection.
ONLY: dict[tuple[str, int], Callable[[Entity], bool]] = {
    ("told-apart-by-colour", 0): kind_is("SOLID", "LWPOLYLINE"),
    ("told-apart-by-line-type", 0): lambda one: one.raw.dxf.linetype == "Continuous",
    ("told-apart-by-block", 0): lambda one: one.block == "LAND",
    ("told-apart-by-shape", 0): lambda one: (
        one.raw.dxftype() == "LWPOLYLINE"
        or (one.raw.dxftype() == "LINE" and one.raw.dxf.start.y == 12)
    ),
    ("told-apart-by-place", 0): in_columns(0, 40),
    ("told-apart-by-place", 1): in_columns(50, 90),
}
# Closed lines of no width that are copper each by itself, as the dialect's own words say.
EACH = {"overlapping-outlines"}
# Loose lines that the job has filled each by itself: which of them make one outline is not
# to be seen without chaining them, and nothing here does.
LOOSE = {("nested-outlines", 2)}
# Damaged files: not what the DXF library makes of them by itself.
DAMAGED = "damaged-"
READ = [
    (name, number, one)
    for name, number, one in readings()
    if "pieces" in one and (name, number) not in LOOSE and not name.startswith(DAMAGED)
]


def gap(board: Board) -> float:
    """Narrowest gap between pieces, mm; infinite for a single one."""
    shapes = [piece.shape for piece in board.pieces]
    tree = shapely.STRtree(shapes)
    near = [
        shapely.distance(shape, shapes[k])
        for i, shape in enumerate(shapes)
        for k in tree.query(shape, predicate="dwithin", distance=2.0)
        if k > i
    ]
    return float(min(near, default=np.inf))


@pytest.mark.parametrize(
    ("name", "number", "meant"), READ, ids=[f"{name}-{number}" for name, number, _ in READ]
)
def test_a_picture_of_a_dialect_has_the_same_pieces(
    name: str, number: int, meant: dict[str, Any]
) -> None:
    file, layers, unit = DIALECTS / f"{name}.dxf", roles(meant["layers"]), meant["unit"]
    board = read(file, name="b", shown_as=name, layers=layers, unit=unit)
    assert gap(board) > 2 * PIXEL
    picture = drawn(
        file, board, layers, PIXEL, unit, each=name in EACH, only=ONLY.get((name, number))
    )
    assert same(picture, board) < 0.002


@pytest.mark.parametrize("name", BOARDS)
def test_the_pixels_are_finer_than_half_the_gap(name: str) -> None:
    _, board = real(name)
    assert gap(board) > 2 * BOARDS[name][2]


def doctored() -> tuple[Picture, Board]:
    meant = next(one for name, _, one in READ if name == "nested-outlines")
    file, layers = DIALECTS / "nested-outlines.dxf", roles(meant["layers"])
    board = read(file, name="b", shown_as="x", layers=layers, unit="mm")
    picture = drawn(file, board, layers, PIXEL, "mm")
    same(picture, board)
    return picture, board


def test_a_painted_bridge_is_noticed() -> None:
    picture, board = doctored()
    # from the outer frame to the next one within it
    (y0, x0), (y1, x1) = (np.argwhere(label(picture.ink, connectivity=1) == k)[0] for k in (1, 2))
    picture.ink[line(y0, x0, y1, x0)] = True
    picture.ink[line(y1, x0, y1, x1)] = True
    with pytest.raises(AssertionError):
        same(picture, board)


def test_a_scratched_track_is_noticed() -> None:
    picture, board = doctored()
    middle = picture.ink.shape[0] // 2
    picture.ink[middle - 1 : middle + 1] = False
    with pytest.raises(AssertionError):
        same(picture, board)


def test_a_piece_in_the_wrong_place_is_noticed() -> None:
    picture, board = doctored()
    # the island goes, and another appears in the clearance: the number is right
    components = label(picture.ink, connectivity=1)
    picture.ink[components == components.max()] = False
    empty = np.argwhere(components == 0)
    picture.ink[tuple(empty[0])] = True
    assert label(picture.ink, connectivity=1).max() == len(board.pieces)
    with pytest.raises(AssertionError):
        same(picture, board)
