"""Laws of a path: what its parts, images and points have to do with the whole."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st

from millprep.geometry.path import SAGITTA, Path
from millprep.geometry.pose import Pose
from tests.helpers.chance import examples
from tests.helpers.paths import coordinate, paths

QUICK = examples(40)


fraction = st.floats(0.0, 1.0)
poses = st.builds(
    lambda degrees, x, y, flip: (
        Pose.turn(degrees).then(Pose.mirror_y(10.0) if flip else Pose()).then(Pose.shift(x, y))
    ),
    st.integers(0, 359),
    coordinate,
    coordinate,
    st.booleans(),
)


@QUICK
@given(paths(), fraction, fraction)
def test_a_part_is_as_long_as_its_ends_are_apart(path: Path, a: float, b: float) -> None:
    start, end = sorted((a * path.length, b * path.length))
    assume(end - start > 1e-3)
    part = path.part(start, end)
    assert part.length == pytest.approx(end - start, abs=1e-9)
    assert part.start == pytest.approx(path.point_at(start), abs=1e-9)
    assert part.end == pytest.approx(path.point_at(end), abs=1e-9)
    middle = part.point_at(part.length / 2)
    assert middle == pytest.approx(path.point_at((start + end) / 2), abs=1e-8)


@pytest.mark.law
@QUICK
@given(paths(), fraction)
def test_two_parts_make_the_whole(path: Path, at: float) -> None:
    cut = at * path.length
    assume(1e-3 < cut < path.length - 1e-3)
    whole = path.part(0.0, cut).joined(path.part(cut, path.length))
    assert whole.length == pytest.approx(path.length, abs=1e-9)
    assert shapely.hausdorff_distance(whole.line(), path.line()) <= 2 * SAGITTA


@QUICK
@given(paths(closed=True), fraction, fraction)
def test_a_part_of_a_closed_path_may_run_over_the_start(path: Path, a: float, b: float) -> None:
    total = path.length
    start, more = a * total, 1e-3 + b * (total - 2e-3)
    part = path.part(start, start + more)
    assert part.length == pytest.approx(more, abs=1e-8)
    assert part.end == pytest.approx(path.point_at((start + more) % total), abs=1e-6)


@pytest.mark.parametrize("short", [0.0, 1e-16, 1e-13, 1e-10])
def test_a_part_that_starts_within_rounding_of_the_end(short: float) -> None:
    circle = Path.circle((3.0, 4.0), 2.0)
    part = circle.part(circle.length - short, circle.length + 1.0)
    assert part.length == pytest.approx(1.0, abs=1e-9)
    assert circle.part(1.0, circle.length + short).length == pytest.approx(circle.length - 1.0)


@QUICK
@given(paths())
def test_reversed_twice_is_the_same_path(path: Path) -> None:
    back = path.reversed()
    assert back.reversed() == path
    assert back.length == pytest.approx(path.length, abs=1e-9)
    assert (back.start, back.end) == (path.end, path.start)
    s = path.length * 0.3
    assert back.point_at(path.length - s) == pytest.approx(path.point_at(s), abs=1e-8)


@QUICK
@given(paths(), poses)
def test_a_moved_path_goes_where_its_points_go(path: Path, pose: Pose) -> None:
    moved = path.transformed(pose)
    assert moved.length == pytest.approx(path.length, abs=1e-8)
    assert moved.closed == path.closed
    for s in (0.0, 0.2, 0.55, 1.0):
        there = pose.point(path.point_at(s * path.length))
        assert moved.point_at(s * path.length) == pytest.approx(there, abs=1e-7)
    back = moved.transformed(pose.inverse())
    assert np.allclose(back.xy, path.xy, rtol=0, atol=1e-9)
    assert np.allclose(back.bulge, path.bulge, rtol=0, atol=1e-12)


@pytest.mark.law
@QUICK
@given(paths())
def test_chords_stay_within_the_sagitta_and_vertices_on_the_arcs(path: Path) -> None:
    points = path.flattened()
    for segment in path.segments():
        if segment.centre is None:
            continue
        radius = math.dist(segment.start, segment.centre)
        assert math.dist(segment.end, segment.centre) == pytest.approx(radius, rel=1e-9)
        for t in np.linspace(0, 1, 9):
            angle = segment.sweep * float(t)
            x, y = (s - c for s, c in zip(segment.start, segment.centre, strict=True))
            on_arc = shapely.Point(
                segment.centre[0] + x * math.cos(angle) - y * math.sin(angle),
                segment.centre[1] + x * math.sin(angle) + y * math.cos(angle),
            )
            assert shapely.distance(shapely.LineString(points), on_arc) <= SAGITTA + 1e-9
    # inscribed chords are shorter, by little
    assert path.length * (1 + 1e-12) >= shapely.LineString(points).length >= path.length * 0.8


@QUICK
@given(paths(closed=True), st.integers(0, 30))
def test_a_closed_path_started_elsewhere_is_the_same_path(path: Path, vertex: int) -> None:
    turned = path.started_at(vertex)
    assert turned.closed
    assert turned.start == tuple(path.xy[vertex % len(path)].tolist())
    assert turned.length == pytest.approx(path.length, abs=1e-9)


def test_the_flattening_test_can_fail() -> None:
    coarse = Path.circle((0.0, 0.0), 10.0).line(0.01)
    true = shapely.Point(10 * math.cos(0.04), 10 * math.sin(0.04))
    assert (
        max(
            coarse.distance(shapely.Point(10 * math.cos(a), 10 * math.sin(a)))
            for a in np.linspace(0, 1, 200)
        )
        > SAGITTA
    )
    assert true.distance(Path.circle((0.0, 0.0), 10.0).line()) <= SAGITTA


@pytest.mark.parametrize(
    ("bulge_", "centre", "radius", "degrees"),
    [
        (1.0, (5.0, 0.0), 5.0, 180.0),
        (math.tan(math.radians(22.5)), (5.0, 5.0), 7.0710678, 90.0),
        (0.5, (5.0, 3.75), 6.25, 106.2602),
        (-1.0, (5.0, 0.0), 5.0, -180.0),
    ],
)
def test_bulge(bulge_: float, centre: tuple[float, float], radius: float, degrees: float) -> None:
    """Bulge = tan(angle / 4), positive counter-clockwise: the DXF reference on LWPOLYLINE.

    Centres and radii of the chord (0, 0)-(10, 0) were worked out with another library.
    """
    path = Path(np.array([(0.0, 0.0), (10.0, 0.0)]), np.array([bulge_]))
    (segment,) = path.segments()
    assert segment.centre == pytest.approx(centre, abs=1e-7)
    assert math.dist(segment.start, segment.centre or (0, 0)) == pytest.approx(radius, abs=1e-6)
    assert math.degrees(segment.sweep) == pytest.approx(degrees, abs=1e-4)
    assert path.length == pytest.approx(radius * abs(math.radians(degrees)), abs=1e-5)
    assert np.sign(path.point_at(path.length / 2)[1]) == -np.sign(bulge_)


@pytest.mark.parametrize(
    ("xy", "bulges", "words"),
    [
        ([(0, 0)], [], "two or more points"),
        ([(0, 0), (1, 0)], [0, 0], "need 1 bulges"),
        ([(0, 0), (0, 0)], [0], "zero length"),
        ([(0, 0), (math.nan, 0)], [0], "finite"),
        ([(0, 0), (1, 0)], [math.inf], "finite"),
    ],
)
def test_what_is_no_path(xy: list[tuple[float, float]], bulges: list[float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Path(np.array(xy, dtype=float), np.array(bulges, dtype=float))


def test_no_part_of_no_length_and_no_join_of_paths_apart() -> None:
    line = Path.lines([(0, 0), (10, 0)])
    with pytest.raises(ValueError, match="no length"):
        line.part(3.0, 3.0)
    with pytest.raises(ValueError, match="do not meet"):
        line.joined(Path.lines([(10.1, 0), (12, 0)]))


def test_an_open_path_starts_where_it_starts() -> None:
    with pytest.raises(ValueError, match="only a closed path can start elsewhere"):
        Path.lines([(0, 0), (1, 0)]).started_at(1)


def test_paths_that_are_the_same_count_once() -> None:
    first, again = Path.circle((1.0, 2.0), 3.0), Path.circle((1.0, 2.0), 3.0)
    assert len({first, again, Path.circle((1.0, 2.0), 4.0)}) == 2
    assert first != Path(first.xy, -first.bulge)
