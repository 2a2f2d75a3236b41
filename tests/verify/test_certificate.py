"""The certificate of a join against closed forms.

For one groove of width w cut from both sides with overrun e and mismatch (dx, dy), with
l = 2 e - dx: closed if and only if hypot(max(0, -l), dy) < w (geometry of two round ends).
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence

import numpy as np
import pytest
import shapely

from millprep.geometry.path import FloatArray
from millprep.geometry.pose import Pose
from millprep.model.as_cut import Certificate
from millprep.model.milling_pass import Join, MillingPass, RegistrationHole
from millprep.model.set_of_programs import BoardCopy, MilledBlank
from millprep.verify.as_cut import as_cut
from millprep.verify.certificate import MOST, TOLERANCE, certificate_of, least_misalignment
from millprep.verify.contact import Axes, Cuts
from millprep.verify.reader import read
from millprep.verify.separation import (
    RIM,
    THICK,
    ContinuityTest,
    IntArray,
    IsolationTest,
    Mask,
    Surroundings,
    deep_points,
)
from millprep.verify.sweep import Shapes, steps_of
from tests.helpers.join_tolerance import JoinTolerance, certify, pass_grooves
from tests.helpers.programs import BLANK, HEAD, PASS, TAIL, around, board, cut, end_mill, layout

W = 0.2
SECOND = MillingPass(1, 2, PASS.window, Pose(), (), (1.0, 1.0))
# A rail of copper with grooves along both its edges, joined at x = 30.
RAIL = shapely.box(2, 14, 58, 20)
EDGES = (20 + W / 2,)
JOIN = Join(1, 0, "c1", (30.0, 20 + W / 2), (1, 2), 0.4, (0.0, 1.0))


def joined(
    overrun: float, laps: Sequence[float] = (0.0,), gap: float | None = None, width: float = W
) -> tuple[float, float | None]:
    left = "".join(cut([(5, y + k), (30 + overrun, y + k)]) for y in EDGES for k in laps)
    right = "".join(cut([(55, y + k), (30 - overrun, y + k)]) for y in EDGES for k in laps)
    cuts = [
        (read(HEAD + left + TAIL, file="a"), end_mill(width), PASS),
        (read(HEAD + right + TAIL, file="b"), end_mill(width), SECOND),
    ]
    join = dataclasses.replace(JOIN, overrun=overrun)
    (found,) = certify([join], pass_grooves(BLANK, cuts, [join]), {(0, "c1"): RAIL}, gap=gap)
    return found.electrical, found.gap


@pytest.mark.parametrize(("overrun", "exact"), [(0.4, W), (0.1, W), (0.0, W), (-0.05, W - 0.1)])
def test_one_groove(overrun: float, exact: float) -> None:
    electrical, _ = joined(overrun)
    assert exact - 0.005 <= electrical <= exact + 1e-4


def test_a_band_of_three_laps_stands_its_whole_width() -> None:
    electrical, _ = joined(0.4, (0.0, 0.15, 0.3))
    exact = W + 2 * 0.15
    assert exact - 0.005 <= electrical <= exact + 1e-4


@pytest.mark.parametrize("overrun", [0.0, 0.05, 0.4])
@pytest.mark.parametrize("asked", [0.05, 0.12, 0.19])
def test_the_asked_gap(overrun: float, asked: float) -> None:
    """While closed the gap is min(w, hypot(l + 2 q, w - |dy|)) with q = sqrt(w |dy| - dy²) if
    l >= -q, and sqrt(w² - l² - dy²) otherwise: two round ends and their cusp."""
    electrical, left = joined(overrun, gap=asked)
    assert left is not None
    dx, dy = np.meshgrid(np.arange(-0.3, 0.3, 0.0005), np.arange(0.0, 0.3, 0.0005))
    l = 2 * overrun - dx
    closed = np.hypot(np.maximum(0.0, -l), dy) < W
    q = np.sqrt(np.maximum(W * dy - dy * dy, 0.0))
    faced = np.minimum(W, np.hypot(l + 2 * q, W - dy))
    cusp = np.sqrt(np.maximum(W * W - l * l - dy * dy, 0.0))
    gap = np.where(closed, np.where(l >= -q, faced, cusp), 0.0)
    exact = float(np.hypot(dx, dy)[gap < asked].min())
    assert exact - 0.005 <= left <= exact + 0.001
    # both are lower bounds, each to the tolerance of the search
    assert left <= electrical + TOLERANCE


def test_a_wider_groove_stands_more() -> None:
    one, _ = joined(0.4, width=0.2)
    other, _ = joined(0.4, width=0.3)
    assert other - one == pytest.approx(0.1, abs=2 * TOLERANCE)


def test_what_the_certificate_says_can_fail() -> None:
    """Just inside the certificate the join is closed, just outside the true one it leaks."""
    for off, parts in ((0.194, 2), (0.206, 1)):
        left = cut([(5, 20.1), (30.4, 20.1)])
        right = cut([(55, 20.1 + off), (29.6, 20.1 + off)])
        text = HEAD + left + right + TAIL
        groove = pass_grooves(BLANK, [(read(text, file="a"), end_mill(W), PASS)], [JOIN])[1]
        window = shapely.box(28, 18, 32, 22) - groove
        assert len(shapely.get_parts(window)) == parts


def test_a_join_without_copper_around_it_is_not_vouched_for() -> None:
    """No marks, no proof: what cannot be seen to leak must not be called tight."""
    left, right = cut([(5, 20.1), (30.4, 20.1)]), cut([(55, 20.1), (29.6, 20.1)])
    cuts = [
        (read(HEAD + left + TAIL, file="a"), end_mill(W), PASS),
        (read(HEAD + right + TAIL, file="b"), end_mill(W), SECOND),
    ]
    elsewhere = shapely.box(2, 2, 8, 8)
    (found,) = certify([JOIN], pass_grooves(BLANK, cuts, [JOIN]), {(0, "c1"): elsewhere})
    assert found.electrical == 0.0


NARROW = 0.15
"""Width of a rail that is left between two grooves, mm."""


def rail(first: float, second: float) -> tuple[list[Join], Cuts, shapely.Polygon]:
    """A rail with a groove along each edge, of which one is joined at each of two places."""
    width = 0.2
    low, high = 14 - width / 2, 14 + NARROW + width / 2
    left = cut([(5, low), (first, low)]) + cut([(5, high), (second, high)])
    right = cut([(55, low), (first - 0.8, low)]) + cut([(55, high), (second - 0.8, high)])
    # ends, so that the rail is a piece of its own
    left += cut([(5, low), (5, high)])
    right += cut([(55, low), (55, high)])
    cuts = [
        (read(HEAD + left + TAIL, file="a"), end_mill(width), PASS),
        (read(HEAD + right + TAIL, file="b"), end_mill(width), SECOND),
    ]
    joins = [
        Join(1, 0, "c1", (first - 0.4, low), (1, 2), 0.4, (0.0, 1.0)),
        Join(1, 0, "c1", (second - 0.4, high), (1, 2), 0.4, (0.0, 1.0)),
    ]
    return joins, cuts, shapely.box(5 + width / 2, 14, 55 - width / 2, 14 + NARROW)


def each(joins: Sequence[Join], cuts: Cuts, piece: shapely.Polygon) -> tuple[JoinTolerance, ...]:
    return certify(
        joins,
        pass_grooves(BLANK, cuts, joins),
        {(0, "c1"): piece},
        gap=0.12,
        surface=pass_grooves(BLANK, cuts, joins, surface=True),
    )


def whole_set(
    joins: Sequence[Join],
    cuts: Cuts,
    pieces: Sequence[shapely.Polygon],
    gap: float = 0.2,
    edges: float = 0.03,
) -> Certificate | None:
    where = layout(board(pieces))
    copper = as_cut(BLANK, cuts, where.placements)
    passes = tuple(mill_pass for _, _, mill_pass in cuts)
    copies = tuple(map(BoardCopy, where.placements))
    blank = MilledBlank(BLANK, copies, passes=passes, joins=tuple(joins))
    return certificate_of([blank], [cuts], [copper], gap=gap, edges=edges)


def test_a_narrow_rail_is_parted_by_a_mismatch_of_its_width() -> None:
    """Between the two joins one edge is the first pass's, the other the second's: the rail is
    parted when the second groove has moved by the rail's width."""
    for found in each(*rail(29.0, 31.0)):
        assert found.whole is not None
        assert NARROW - 0.005 <= found.whole <= NARROW + 1e-4


def test_the_certificate_is_the_least_that_any_join_stands() -> None:
    joins, cuts, piece = rail(29.0, 31.0)
    alone = each(joins, cuts, piece)
    joins = [dataclasses.replace(join, predicted=0.3) for join in joins]
    found = whole_set(joins, cuts, [piece], gap=0.12, edges=0.0)
    assert found is not None
    for limit, exact in (
        (found.short, min(one.electrical for one in alone)),
        (found.open, min(one.whole or 0.0 for one in alone)),
        (found.gap, min(one.gap or 0.0 for one in alone)),
    ):
        assert limit.misalignment == pytest.approx(exact, abs=2 * TOLERANCE)
        assert limit.at in {join.at for join in joins}
    assert found.at_least == ()
    joins = [dataclasses.replace(join, predicted=0.02) for join in joins]
    near = whole_set(joins, cuts, [piece], gap=0.12, edges=0.0)
    assert near is not None
    assert near.gap.misalignment == pytest.approx(0.03)
    assert near.at_least == ("gap",)


def test_a_turn_moves_a_join_by_its_distance_from_the_holes() -> None:
    """Chord 2 r sin(t / 2) of a turn t at the distance r of the farthest point of a join."""
    joins, cuts, piece = rail(29.0, 31.0)
    holes = tuple(
        RegistrationHole(f"r{x}", (x, 17.0), (x, 17.0), 3.0, "locate", 1, 2) for x in (8.0, 12.0)
    )
    cuts = [
        (trace, cutter, dataclasses.replace(each, registration=holes if each is SECOND else ()))
        for trace, cutter, each in cuts
    ]
    joins = [dataclasses.replace(join, predicted=0.04) for join in joins]
    found = whole_set(joins, cuts, [piece])
    assert found is not None
    assert found.least.misalignment > 0.1
    lever = found.least.misalignment / (2 * math.sin(math.radians(found.turn) / 2))
    assert 21.0 < lever < 23.0, "from (10, 17) to the join at x = 31, and what is around it"
    assert found.required == pytest.approx(0.17)
    assert found.gap.misalignment == pytest.approx(1.5 * 0.04)
    assert found.at_least == ("gap",)


def test_marks_keep_off_the_edges_of_their_copper() -> None:
    """A mark half a micrometre from a groove asks for squares as small."""
    step = [(0, 0), (0.1, 0), (0.1, 0.5), (2, 0.5), (2, 0.501), (2.1, 0.501), (2.1, 1), (0, 1)]
    areas = np.array([shapely.Polygon(step), shapely.box(0, 0, 2, 0.01)])
    assert shapely.distance(shapely.point_on_surface(areas[0]), areas[0].boundary) < 0.001
    off = shapely.distance(shapely.points(deep_points(areas)), shapely.boundary(areas))
    assert off[0] >= THICK
    # as far as there is room
    assert off[1] == pytest.approx(0.005, abs=1e-3)


def test_no_certificate_without_joins() -> None:
    lap = [(read(HEAD + around(RAIL, W / 2) + TAIL, file="a"), end_mill(W), PASS)]
    assert whole_set([], lap, [RAIL]) is None
    far = [*lap, (read(HEAD + cut([(5, 30), (9, 30)]) + TAIL, file="b"), end_mill(W), SECOND)]
    assert whole_set([], far, [RAIL]) is None


class TestNeighbours:
    """ContinuityTest loops in different passes: nothing leaks, but the one may bite the other."""

    def loops(self, away: float, width: float = 0.3) -> tuple[Cuts, list[shapely.Polygon]]:
        """A thin track looped by the first pass, and a pad above it by the second."""
        track = shapely.box(10, 10, 40, 10 + width)
        pad = shapely.box(20, 10 + width + away, 24, 14 + width + away)
        cuts = [
            (read(HEAD + around(track, W / 2) + TAIL, file="a"), end_mill(W), PASS),
            (read(HEAD + around(pad, W / 2) + TAIL, file="b"), end_mill(W), SECOND),
        ]
        return cuts, [track, pad]

    @pytest.mark.parametrize(("away", "width"), [(0.2, 0.12), (0.25, 0.15), (0.3, 0.2)])
    def test_a_bite_parts_the_track(self, away: float, width: float) -> None:
        """The second groove's far edge lies w below the pad: it reaches the track after
        away - w and its other edge after that and the track's width."""
        cuts, pieces = self.loops(away, width)
        found = whole_set([], cuts, pieces)
        assert found is not None
        exact = away - W + width
        assert exact - 0.005 <= found.open.misalignment <= exact + 1e-3
        assert found.least is found.open
        assert "short" in found.at_least
        assert "open" not in found.at_least

    def test_loops_farther_apart_than_what_is_looked_at_have_no_certificate(self) -> None:
        cuts, pieces = self.loops(1.5)
        assert whole_set([], cuts, pieces) is None

    def test_passes_that_meet_in_floating_copper_alone_have_no_certificate(self) -> None:
        (first, second), pieces = self.loops(1.5)
        crossed = [
            (read(HEAD + cut(way) + TAIL, file=file), end_mill(W), milling_pass)
            for way, file, milling_pass in (
                ([(45, 30), (55, 30)], "c", PASS), ([(50, 25), (50, 35)], "d", SECOND)
            )
        ]  # fmt: skip
        assert whole_set([], [first, second, *crossed], pieces) is None

    def test_a_shared_lap_leaks(self) -> None:
        """The pad's lap lacks its lower side, which the track's lap cuts: off by more than the
        two overlap, the pad's own copper runs out between them."""
        (track_lap, _), (track, pad) = self.loops(W, 0.6)
        x0, y0, x1, y1 = pad.buffer(W / 2, join_style="mitre").bounds
        # both ends go down to the axis of the track's lap
        lap = cut([(x0, y0), (x0, y1), (x1, y1), (x1, y0)])
        cuts = [track_lap, (read(HEAD + lap + TAIL, file="b"), end_mill(W), SECOND)]
        found = whole_set([], cuts, [track, pad])
        assert found is not None
        assert W - 0.005 <= found.short.misalignment <= W + 1e-3


class _Counted(ContinuityTest):
    """A place that counts what is asked of it."""

    asks = 0

    def holds(self, middle: FloatArray, near: FloatArray, reach: FloatArray) -> Mask:
        self.asks += len(reach)
        assert self.asks < 2000
        return super().holds(middle, near, reach)


class TestCorner:
    """A piece below and right of which two passes cut, each one groove of width `WIDE`.

    Whatever the misalignment, either groove alone is as wide as it is: the gap is lost at the
    corner only.
    """

    WIDE = 0.3
    BEYOND = 0.2

    def grooves(self) -> tuple[shapely.Polygon, shapely.Polygon]:
        half, end = self.WIDE / 2, self.WIDE / 2 + self.BEYOND
        below, right = [(-5, -half), (end, -half)], [(half, 5), (half, -end)]
        first, second = shapely.buffer(shapely.linestrings([below, right]), half, quad_segs=32)
        return first, second

    def left(self, off: tuple[float, float]) -> float:
        """How far the piece is from all other copper, under a misalignment."""
        first, second = self.grooves()
        moved = shapely.transform(second, lambda xy: xy + np.array(off))
        copper = shapely.get_parts(shapely.box(-3, -3, 3, 3) - first - moved)
        own = shapely.contains_xy(copper, -1.0, 1.0)
        assert len(copper) > 1
        return float(shapely.distance(copper[own][0], shapely.union_all(copper[~own])))

    @pytest.mark.parametrize("slack", [0.03, 0.004, 0.001])
    def test_a_groove_hardly_wider_than_the_gap_takes_few_squares(self, slack: float) -> None:
        first, second = self.grooves()
        asks = 0

        class Counted(IsolationTest):
            def holds(self, middle: FloatArray, near: FloatArray, reach: FloatArray) -> Mask:
                nonlocal asks
                asks += len(reach)
                assert asks < 1000
                return super().holds(middle, near, reach)

        around_it = shapely.box(-3, -3, 3, 3)
        place = Counted(
            Surroundings(
                first,
                second,
                around_it,
                lambda parts: shapely.contains_xy(parts, -1.0, 1.0).astype(np.int64),
                MOST,
            ),
            self.WIDE - slack,
        )
        assert not place.narrow
        least = least_misalignment(place, MOST)
        turns = np.linspace(0, 2 * math.pi, 180, endpoint=False)
        way = np.stack((np.cos(turns), np.sin(turns)), axis=1)
        inside = [
            self.left(tuple(least * share * way[k])) for share in (0.5, 0.999) for k in range(180)
        ]
        assert min(inside) >= self.WIDE - slack
        beyond = [self.left(tuple((least + TOLERANCE + 1e-3) * at)) for at in way]
        assert min(beyond) < self.WIDE - slack


def test_copper_that_grazes_a_place_is_not_asked_square_by_tiny_square() -> None:
    """The moving groove ends 10 µm short of where marks stand: the copper beyond it is wide, so
    it is marked where it is wide."""
    first, second = shapely.box(-5, 0, 5, 0.2), shapely.box(-5, 0.2, 5, 0.2 + MOST + RIM - 0.01)
    around_it = shapely.box(-3, -3, 3, 3)
    place = _Counted(
        Surroundings(first, second, around_it, lambda parts: np.ones(len(parts), int), MOST)
    )
    assert place.seen
    assert least_misalignment(place, MOST) == MOST


@pytest.mark.parametrize(("apart", "count"), [(1.0, 1), (1.21, 0), (5.0, 0)])
def test_holes_of_two_passes_have_a_place_where_they_come_near(apart: float, count: int) -> None:
    # straight down alone; from 1.2 mm on boxes of coarse discs meet and the discs do not
    angle = math.pi / 16
    end = (30 + apart * math.cos(angle), 20 + apart * math.sin(angle))
    cuts = (
        (read(HEAD + cut([(30, 20)]) + TAIL, file="a"), end_mill(0.2), PASS),
        (read(HEAD + cut([end]) + TAIL, file="b"), end_mill(0.2), SECOND),
    )
    axes = Axes.of(steps_of(cuts))
    places = axes.contacts(2, 0.5)
    assert len(places) == count
    assert not shapely.is_empty(places).any()


def test_grooves_that_come_nowhere_near_each_other_put_no_copper_at_stake() -> None:
    first, second = shapely.box(-5, 0, -3, 0.2), shapely.box(3, 0, 5, 0.2)
    around_it = shapely.box(-6, -3, 6, 3)
    apart = Surroundings(first, second, around_it, lambda parts: np.ones(len(parts), int), 0.1)
    assert not ContinuityTest(apart).seen
    assert not IsolationTest(apart, W).seen


@pytest.mark.parametrize("empty", [PASS, SECOND])
def test_a_pass_that_cuts_nothing_meets_no_other(empty: MillingPass) -> None:
    laps = HEAD + cut([(10, 20), (30, 20)]) + TAIL
    cuts = [
        (read(HEAD + TAIL if milling_pass is empty else laps, file="a"), end_mill(W), milling_pass)
        for milling_pass in (PASS, SECOND)
    ]
    assert len(Axes.of(steps_of(cuts)).contacts(2, 0.5)) == 0
    assert whole_set([], cuts, [shapely.box(20, 18, 28, 19.8)]) is None


def test_where_a_narrow_groove_would_close_a_square_is_asked_again_in_parts() -> None:
    """A groove of 0.1 mm that stays leads into one of 0.5 mm that moves. Seen from the pass that
    moves, all that stays is 0.12 mm wider on every edge: the narrow groove is closed, so nothing
    is known of the whole square."""
    first, second = shapely.box(-0.05, -5, 0.05, 0.25), shapely.box(-5, 0, 5, 0.5)

    def label(parts: Shapes) -> IntArray:
        x, y = shapely.get_coordinates(shapely.centroid(parts)).T
        return np.where(y > 0.25, 1, np.where(x < 0, 2, 3))

    place = IsolationTest(Surroundings(first, second, shapely.box(-3, -3, 3, 3), label, 0.3), 0.3)
    assert place.seen
    # the narrow groove keeps no gap of 0.3 mm as it is, so it is asked for none
    assert place.narrow == {(2, 3)}
    middle = np.zeros((2, 2))
    assert place.holds(middle, middle, np.array([0.04, 0.12])).tolist() == [True, False]
