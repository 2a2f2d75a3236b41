"""No-fit polygons, against distances that the geometry library measures."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given
from hypothesis import strategies as st

from millprep.nesting.no_fit import convex_parts, covering, disc, no_fit
from tests.helpers.chance import examples

COMB = shapely.Polygon(
    [(0, 0), (30, 0), (30, 20), (24, 20), (24, 6), (18, 6), (18, 20), (6, 20), (6, 6), (0, 6)]
)
RING = shapely.Point(0, 0).buffer(20, 4).difference(shapely.Point(3, 0).buffer(12, 4))
assert isinstance(RING, shapely.Polygon)
PEG = shapely.box(0, 0, 4, 9)
SHAPES = {"comb": COMB, "ring": RING, "peg": PEG, "tri": shapely.Polygon([(0, 0), (9, 2), (3, 8)])}


@pytest.mark.parametrize("name", SHAPES)
def test_parts_are_convex_and_make_up_the_outline(name: str) -> None:
    parts = [shapely.Polygon(part) for part in convex_parts(SHAPES[name])]
    assert shapely.union_all(parts).symmetric_difference(SHAPES[name]).area < 1e-9
    assert sum(part.area for part in parts) == pytest.approx(SHAPES[name].area)
    assert all(part.convex_hull.area == pytest.approx(part.area) for part in parts)
    assert all(part.exterior.is_ccw for part in parts)


def test_parts_are_few() -> None:
    assert len(convex_parts(COMB)) <= 5
    assert len(convex_parts(shapely.Point(0, 0).buffer(9))) == 1


@pytest.mark.law
@examples(100)
@given(
    st.sampled_from(sorted(SHAPES)),
    st.sampled_from(sorted(SHAPES)),
    st.sampled_from([0.0, 0.5, 3.0]),
    st.floats(-40, 40),
    st.floats(-40, 40),
)
def test_outside_means_at_least_the_spacing(
    one: str, two: str, spacing: float, x: float, y: float
) -> None:
    standing, moving = SHAPES[one], SHAPES[two]
    shape = no_fit(convex_parts(standing), convex_parts(moving), spacing)
    apart = standing.distance(shapely.affinity.translate(moving, x, y))
    if not shape.contains(shapely.Point(x, y)):
        assert apart >= spacing - 1e-6
    else:
        # the 16-gon reaches at most to its corners
        assert apart <= spacing / np.cos(np.pi / 16) + 1e-6


def test_a_gap_that_just_fits_has_room_to_be_found() -> None:
    """A peg of 4 in a slot of 10 with a spacing of 3: one position across, within the play."""
    comb = shapely.Polygon(
        [(0, 0), (30, 0), (30, 20), (20, 20), (20, 6), (10, 6), (10, 20), (0, 20)]
    )
    shape = no_fit(convex_parts(comb), convex_parts(PEG), 3.0)
    assert not shape.contains(shapely.Point(13.0, 9.0))
    assert shape.contains(shapely.Point(13.001, 9.0))
    assert shape.contains(shapely.Point(12.999, 9.0))


def test_the_disc_is_flat_along_the_axes() -> None:
    ring = disc(3.0)
    assert shapely.Polygon(ring).bounds == pytest.approx((-3, -3, 3, 3))
    assert shapely.Polygon(ring).buffer(1e-9).covers(shapely.Point(0, 0).buffer(3, 64))


@pytest.mark.parametrize("tolerance", [0.0, 0.02, 0.1])
@pytest.mark.parametrize("name", SHAPES)
def test_a_covering_outline_covers_and_stays_near(name: str, tolerance: float) -> None:
    true = SHAPES[name]
    fine = shapely.Point(0, 0).buffer(20, 60).difference(shapely.Point(3, 0).buffer(12, 60))
    for outline in (true, fine):
        assert isinstance(outline, shapely.Polygon)
        cover = covering(outline, tolerance)
        assert outline.difference(cover).area < 1e-6
        assert cover.bounds == pytest.approx(outline.bounds, abs=1e-9)
        assert cover.difference(outline.buffer(tolerance + 1e-6)).is_empty
    if tolerance == 0.1:
        assert len(shapely.get_coordinates(cover)) < len(shapely.get_coordinates(fine)) / 2


def test_a_covering_outline_keeps_straight_edges() -> None:
    assert covering(COMB, 0.1).equals(COMB)


def waisted(near: float) -> shapely.Polygon:
    """A square with a slot that is narrowest in its midst, twice `near` wide there."""
    off = near + 0.02
    right = [(10 + off, 20.0), (10 + off, 10.3), (10 + near, 10.1), (10 + near, 9.9),
             (10 + off, 9.7), (10 + off, 2.0)]  # fmt: skip
    left = [(20 - x, y) for x, y in right[::-1]]
    return shapely.Polygon([(0, 0), (20, 0), (20, 20), *right, *left, (0, 20)])


def test_a_slot_whose_sides_nearly_meet_keeps_its_outline() -> None:
    """Corners beyond both sides of the waist would cross: then nothing is simplified."""
    tight, loose = waisted(0.001), waisted(0.025)
    assert tight.is_valid
    assert covering(tight, 0.05).equals(tight)
    cover = covering(loose, 0.05)
    assert len(shapely.get_coordinates(cover)) < len(shapely.get_coordinates(loose))
    assert loose.difference(cover).area < 1e-9
