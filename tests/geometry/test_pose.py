"""Poses: rigid motions that can be done after each other and undone."""

from __future__ import annotations

import math
from dataclasses import astuple

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from millprep.geometry.pose import Affine, Pose

LENGTH = st.floats(-500.0, 500.0)
POINT = st.tuples(LENGTH, LENGTH)
POSE = st.builds(
    lambda turn, x, y, mirrored: (Pose.mirror_y(90.0) if mirrored else Pose()).then(
        Pose.turn(turn).then(Pose.shift(x, y))
    ),
    st.floats(-360.0, 360.0), LENGTH, LENGTH, st.booleans(),
)  # fmt: skip


@pytest.mark.law
@given(POSE, POSE, POINT)
def test_two_motions_after_each_other_are_one(first: Pose, second: Pose, at) -> None:  # type: ignore[no-untyped-def]
    assert first.then(second).point(at) == pytest.approx(second.point(first.point(at)), abs=1e-9)


@pytest.mark.law
@given(POSE, POINT)
def test_a_motion_is_undone_by_its_inverse(pose: Pose, at) -> None:  # type: ignore[no-untyped-def]
    assert pose.inverse().point(pose.point(at)) == pytest.approx(at, abs=1e-9)
    assert pose.point(pose.inverse().point(at)) == pytest.approx(at, abs=1e-9)


@pytest.mark.law
@given(POSE, POINT, POINT)
def test_a_motion_keeps_distances(pose: Pose, a, b) -> None:  # type: ignore[no-untyped-def]
    assert math.dist(pose.point(a), pose.point(b)) == pytest.approx(math.dist(a, b), abs=1e-9)


@pytest.mark.law
@given(POSE, POSE)
def test_two_mirrored_motions_are_not_mirrored(first: Pose, second: Pose) -> None:
    assert first.then(second).mirrored == (first.mirrored != second.mirrored)
    assert first.affine.determinant == pytest.approx(-1.0 if first.mirrored else 1.0)


@pytest.mark.law
@given(POSE, st.lists(POINT, min_size=3, max_size=9))
def test_points_and_shapes_move_as_one_point_does(pose: Pose, points) -> None:  # type: ignore[no-untyped-def]
    moved = [pose.point(at) for at in points]
    assert pose.points(points).tolist() == [list(at) for at in moved]
    line = pose.shape(shapely.LineString(points))
    assert shapely.get_coordinates(line).tolist() == [list(at) for at in moved]
    assert [pose.affine.point(*at) for at in points] == moved


def test_the_ways_to_make_one() -> None:
    assert Pose().point((3.0, 4.0)) == (3.0, 4.0)
    assert Pose.shift(1.0, 2.0).point((3.0, 4.0)) == (4.0, 6.0)
    assert Pose.mirror_y(90.0).point((3.0, 4.0)) == (3.0, 86.0)
    assert Pose.mirror_y(90.0).mirrored
    assert not Pose.turn(180.0).mirrored
    turned = Pose.turn(30.0)
    assert turned.point((2.0, 0.0)) == pytest.approx((math.sqrt(3), 1.0), abs=1e-12)
    assert turned.point((0.0, 2.0)) == pytest.approx((-1.0, math.sqrt(3)), abs=1e-12)


@pytest.mark.parametrize(
    ("degrees", "at"),
    [(0, (3, 4)), (90, (-4, 3)), (180, (-3, -4)), (270, (4, -3)), (-90, (4, -3)), (450, (-4, 3))],
)
def test_quarter_turns_are_exact(degrees: float, at: tuple[float, float]) -> None:
    assert Pose.turn(degrees).point((3.0, 4.0)) == at


def test_the_report_holds_the_six_numbers_in_their_order() -> None:
    pose = Pose(0.0, -1.0, 7.0, 1.0, 0.0, 9.0)
    assert pose.as_list() == [0.0, -1.0, 7.0, 1.0, 0.0, 9.0] == list(astuple(pose))
    assert pose.affine == Affine(0.0, -1.0, 7.0, 1.0, 0.0, 9.0)


@pytest.mark.parametrize(
    "wrong", [(1.1, 0, 0, 0, 1, 0), (1, 0, 0, 0, 1.1, 0), (1, 0.1, 0, 0, 0.995, 0)]
)
def test_what_stretches_or_shears_is_no_pose(wrong: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match=r"not a rigid motion: Pose\(a="):
        Pose(*wrong)


def test_rounding_is_no_stretch() -> None:
    assert Pose(1 + 9e-10, 0, 0, 0, 1 - 9e-10, 0).point((1.0, 1.0)) == pytest.approx((1, 1))
    with pytest.raises(ValueError, match="not a rigid motion"):
        Pose(1 + 2e-9, 0, 0, 0, 1, 0)
    with pytest.raises(ValueError, match="not a rigid motion"):
        Pose(a=math.nan)


@pytest.mark.parametrize(
    ("of", "stretch"),
    [
        (Affine(), (1, 1)),
        (Affine(a=3, e=2), (3, 2)),
        (Affine(a=-3, e=2), (3, 2)),
        (Affine(a=0, b=-2, d=5, e=0), (5, 2)),
        (Affine(b=1), ((1 + math.sqrt(5)) / 2, (math.sqrt(5) - 1) / 2)),
        (Affine(a=1, b=2, d=2, e=4), (5, 0)),
    ],
)
def test_stretch_is_the_largest_and_the_smallest(of: Affine, stretch: tuple[float, float]) -> None:
    assert of.stretch == pytest.approx(stretch)
    matrix = np.array([[of.a, of.b], [of.d, of.e]])
    assert of.stretch == pytest.approx(np.linalg.svd(matrix, compute_uv=False), abs=1e-12)
    assert of.even == (stretch[0] == pytest.approx(stretch[1]))
    assert of.determinant == pytest.approx(np.linalg.det(matrix), abs=1e-12)


def test_circles_stay_circles_to_a_billionth() -> None:
    assert Affine(a=1 + 9e-10).even
    assert not Affine(a=1 + 1.2e-9).even


@given(POSE, POSE, POINT)
def test_maps_after_each_other_are_one(first: Pose, second: Pose, at) -> None:  # type: ignore[no-untyped-def]
    stretched = Affine(a=2.0, b=0.5, c=1.0, d=-0.25, e=3.0, f=-7.0)
    one = second.affine.after(stretched.after(first.affine)).point(*at)
    other = second.affine.point(*stretched.point(*first.point(at)))
    assert one == pytest.approx(other, abs=1e-8)
