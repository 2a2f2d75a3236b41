"""Offsets against exact areas and against another polygon kernel.

Areas: the Minkowski-Steiner formula, area(K + disc r) = A + P r + pi r² for convex K, in
its general form A + P r + (r²/2) sum(convex turns) - r² sum(tan(reflex turn / 2)); see
Santaló, Integral Geometry and Geometric Probability, on parallel sets. The figures of the
table were worked out from it apart from this package. Curves: Clipper2's offsets (Angus
Johnson, Boost licence) through pyclipr, an implementation that shares nothing with GEOS.
"""

from __future__ import annotations

import math
from pathlib import Path as File

import numpy as np
import pyclipr
import pytest
import shapely
from shapely.geometry.base import BaseGeometry

from millprep import drawing
from millprep.geometry.offset import offset, offsets, quad_segments
from millprep.geometry.path import SAGITTA
from millprep.model.job.layers import LayerRoles
from tests.helpers.workshop import disc, less, one

SQUARE = shapely.box(0, 0, 10, 10)
ELL = less(shapely.box(0, 0, 20, 20), shapely.box(10, 10, 20, 20))
TRIANGLE = shapely.Polygon([(0, 0), (4, 0), (0, 3)])
RING = less(disc(0, 0, 10), disc(0, 0, 5))
STROKE = one(shapely.LineString([(0, 0), (10, 0), (15, 5)]).buffer(0.4, quad_segs=16))
PAD = one(shapely.union_all([STROKE, disc(0, 0, 1.0), disc(15, 5, 1.0)]))
WINDOW = less(shapely.box(-30, -30, 30, 30), disc(0, 0, 20))
NOTCHED = less(shapely.box(0, -5, 20, 0), disc(10, 50, 50.5))


@pytest.mark.parametrize(
    ("shape", "distance", "area", "perimeter"),
    [
        (SQUARE, 2.0, 192.5663706, 52.5663706),
        (ELL, 2.0, 471.7079633, 91.7079633),
        (shapely.LineString([(0, 0), (50, 0)]), 0.4, 40.5026548, 102.5132741),
        (RING, 1.0, 329.8672286, 94.2477796),
        (TRIANGLE, 0.5, 12.7853982, 15.1415927),
        (TRIANGLE, -0.5, 1.5, 6.0),
    ],
)
def test_steiner(shape: BaseGeometry, distance: float, area: float, perimeter: float) -> None:
    """Chords lie inside the arc by the sagitta at most, so areas are short of P × 2 µm at most."""
    grown = offset(shape, distance)
    assert area - perimeter * 2 * SAGITTA <= grown.area <= area + perimeter * SAGITTA
    assert grown.length == pytest.approx(perimeter, rel=2e-3)


def test_opening_of_a_rectangle() -> None:
    """A disc of radius r leaves (4 - pi) r² in the corners of a rectangle."""
    opened = offset(offset(shapely.box(0, 0, 20, 10), -1.0), 1.0)
    assert opened.area == pytest.approx(199.1415927, abs=60 * SAGITTA)
    assert opened.length == pytest.approx(60 - 8 + 2 * math.pi, abs=0.01)


def test_two_tracks_that_grow_together_are_one() -> None:
    tracks = shapely.union_all([shapely.box(0, 0, 10, 1), shapely.box(0, 1.5, 10, 2.5)])
    assert len(shapely.get_parts(offset(tracks, 0.3))) == 1
    assert len(shapely.get_parts(offset(tracks, 0.2))) == 2


@pytest.mark.parametrize("radius", [0.05, 0.15, 0.5, 1.0, 3.0])
def test_arcs_are_met_within_the_sagitta(radius: float) -> None:
    """Sagitta of an inscribed polygon: r (1 - cos(pi / n))."""
    n = 4 * quad_segments(radius)
    assert radius * (1 - math.cos(math.pi / n)) <= SAGITTA
    grown = offset(shapely.Point(0, 0), radius)
    assert grown.area == pytest.approx(radius**2 * n / 2 * math.sin(2 * math.pi / n), rel=1e-9)


def clipper(shape: BaseGeometry, distance: float) -> BaseGeometry:
    """The same offset by Clipper2; arcs to half a micrometre, coordinates to a nanometre."""
    engine = pyclipr.ClipperOffset()
    engine.scaleFactor = 1_000_000
    engine.arcTolerance = 0.0005 * 1_000_000
    for part in shapely.get_parts(shape):
        oriented = shapely.orient_polygons(part)
        rings = [oriented.exterior, *oriented.interiors]
        engine.addPaths(
            [np.array(ring.coords)[:-1] for ring in rings],
            pyclipr.JoinType.Round,
            pyclipr.EndType.Polygon,
        )
    areas = [shapely.Polygon(path) for path in engine.execute(distance) if len(path) > 2]
    grown: BaseGeometry = shapely.Polygon()
    for area in sorted(areas, key=lambda area: -area.area):
        grown = grown.symmetric_difference(area)
    return grown


def differ(one_: BaseGeometry, other: BaseGeometry) -> float:
    """Hausdorff distance of two boundaries."""
    return float(shapely.hausdorff_distance(one_.boundary, other.boundary))


@pytest.mark.parametrize("distance", [0.07, 0.1, 0.2, 0.3, 0.5, 1.0, -0.3])
@pytest.mark.parametrize("shape", [SQUARE, ELL, TRIANGLE, RING, STROKE, PAD, WINDOW, NOTCHED])
def test_against_clipper(shape: shapely.Polygon, distance: float) -> None:
    assert differ(offset(shape, distance), clipper(shape, distance)) <= 0.005


def memory_board() -> tuple[list[shapely.Polygon], shapely.Polygon]:
    file = File(__file__).parents[2] / "examples" / "lighthouse" / "memory-board.dxf"
    board = drawing.read(
        file,
        name="memory",
        shown_as=file.name,
        layers=LayerRoles(("foil",), ("rim",), ("bores",)),
        unit=None,
    )
    return [piece.shape for piece in board.pieces], board.outline


def test_every_lap_of_the_memory_board_against_clipper() -> None:
    """The differences measured when this was written: 2.4 µm at most, at 0.5 mm."""
    pieces, outline = memory_board()
    assert len(pieces) > 200
    for distance in (0.07, 0.2, 0.5):
        grown = offsets(pieces, distance)
        worst = max(
            differ(ours, clipper(piece, distance))
            for ours, piece in zip(grown, pieces, strict=True)
        )
        assert worst <= 0.005
    edge = shapely.Polygon(outline.exterior)
    assert differ(offset(edge, 1.0), clipper(edge, 1.0)) <= 0.005


def rough(seed: int) -> shapely.Polygon:
    """An edge as scanned or traced: bumps of some micrometres, many of them hollow."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(3, 60))
    x = np.sort(rng.uniform(0, 20, n))
    y = np.cumsum(rng.normal(0, 0.004, n))
    return shapely.Polygon([(-5, 0), *zip(x, y, strict=True), (25, 0), (25, -8), (-5, -8)])


@pytest.mark.parametrize("distance", [0.5, 1.0, 1.5])
def test_shallow_hollows_are_not_smoothed_away(distance: float) -> None:
    """GEOS leaves out hollow vertices up to 1 % of the distance deep, if it is let."""
    for seed in range(60):
        shape = rough(seed)
        assert differ(offset(shape, distance), clipper(shape, distance)) <= 0.005


def test_the_comparison_can_fail() -> None:
    assert differ(offset(SQUARE, 0.5), clipper(SQUARE, 0.51)) > 0.009
    coarse = shapely.buffer(disc(0, 0, 1.0), 1.0, quad_segs=4)
    assert differ(coarse, clipper(disc(0, 0, 1.0), 1.0)) <= 0.005  # vertices of the disc remain
    assert differ(shapely.buffer(SQUARE, 1.0, quad_segs=4), clipper(SQUARE, 1.0)) > 0.005
