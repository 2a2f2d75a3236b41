"""Laws of joins, on boards made from seeds with rails, buses and sockets."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
import shapely
from numpy.random import default_rng

from fixtures.valve_boards import WIDTH, ValveBoard, valve_board
from millprep.passes import joins, registration, share, shift
from millprep.passes.clamping import Clamping
from millprep.passes.joins import Band, JoinPlan
from millprep.passes.network import Network
from millprep.passes.share import Shared
from millprep.passes.shift import ShiftPlan
from millprep.paths.isolation import Island, isolate
from millprep.values.blank import Blank, Box
from millprep.values.cut import HoleCut, Ring
from millprep.values.path import Path, Point
from millprep.values.plan import RegistrationPlan
from millprep.values.pose import Pose
from tests.paths.bench import MACHINE, isolation, mill, vee

SEEDS = (*range(20), 126)
"""The last has windows that share the least they may, so its key hole stands farther in."""
OVERRUN, GAP = 0.4, 0.2
ISOLATION = isolation(vee(), gap=GAP, depth=0.08)
PLACE = Pose.shift(20.0, 15.0)
REGISTRATION = RegistrationPlan(
    method="pins", hole=3.02, key=4.0, wall=2.0, cutters=(mill(1.0),), pin=2.98, pin_depth=4.5,
    overrun=OVERRUN,
)  # fmt: skip
AWAY = 1.0
"""From a pad or a bend to the nearest join, at least, mm."""


@dataclass(frozen=True)
class Cut:
    """A board on a blank, its rings shared among passes."""

    made: ValveBoard
    rings: tuple[Ring, ...]
    holes: tuple[HoleCut, ...]
    shift: ShiftPlan
    plan: JoinPlan
    shared: Shared

    def bands(self) -> dict[Band, list[Ring]]:
        found: dict[Band, list[Ring]] = defaultdict(list)
        for ring in self.rings:
            found[ring.placement, ring.piece].append(ring)
        return found


def cut(made: ValveBoard, travel: float) -> Cut:
    """The steps of the walk that matter here, without programs."""
    board = made.board
    islands = [Island(0, piece.id, PLACE.shape(piece.shape)) for piece in board.pieces]
    edge = PLACE.shape(board.outline)
    rings, tight = isolate(islands, edge, ISOLATION, 0.035)
    assert not tight
    holes = tuple(
        HoleCut(PLACE.point(h.at), h.diameter, "drill", 2.0, "drill", 0, h.id, h.piece)
        for h in board.holes
    )
    x1 = board.outline.bounds[2] + 40.0
    blank = Blank(1, (x1, WIDTH + 30.0), 1.6, 0.035)
    kerf = edge.buffer(2.0)
    machine = replace(MACHINE, travel=Box(0.0, 0.0, travel, 180.0), screw_lead=8.0)
    plan = shift.plan(
        Box(*edge.buffer(1.0).bounds), machine, (0.0, 0.0),
        registration.least_overlap(REGISTRATION), 1,
    )  # fmt: skip
    need = Box(*edge.buffer(1.0).bounds)
    found = registration.choose(plan, blank, REGISTRATION, kerf, Clamping(), need)
    network = Network.of(found, len(plan.poses), keys=False)
    join_plan = joins.plan(plan, rings, holes, network, OVERRUN, GAP)
    shared = share.share_rings(rings, join_plan, plan, OVERRUN, 1.5 * GAP, 1)
    return Cut(made, rings, holes, plan, join_plan, shared)


def of_seed(seed: int) -> Cut:
    travel = float(default_rng(1000 + seed).choice([160.0, 220.0, 300.0]))
    return cut(valve_board(seed), travel)


def span(path: Path) -> tuple[float, float]:
    """From where to where along x; a chord lies at most 1 µm inside its arc."""
    x = path.flattened(0.001)[:, 0]
    return float(x.min()), float(x.max())


def bands_that_fit_are_whole(one: Cut) -> None:
    """Every band that fits one window is cut whole, in one pass."""
    assert len(one.shift.windows) > 1
    joined = {(join.placement, join.piece) for join in one.shared.joins}
    passes: dict[Band, set[int]] = defaultdict(set)
    for k, cuts in enumerate(one.shared.by_pass):
        for ring in cuts:
            assert isinstance(ring, Ring)
            passes[ring.placement, ring.piece].add(k)
    fits = 0
    for band, rings in one.bands().items():
        spans = [span(ring.path) for ring in rings]
        low, high = min(a for a, _ in spans) - 0.02, max(b for _, b in spans) + 0.02
        windows = range(len(one.shift.windows))
        if any(one.shift.low(k) <= low and high <= one.shift.high(k) for k in windows):
            fits += 1
            assert band not in joined
            assert len(passes[band]) == 1
    assert fits > 20
    assert joined, "this board has bands that are joined"


def no_join_is_near_a_pad(one: Cut) -> None:
    """Every join keeps 1 mm from the copper of every pad."""
    pads = shapely.union_all([PLACE.shape(pad.disc) for pad in one.made.pads])
    shapely.prepare(pads)
    near = [
        (join.piece, join.at)
        for join in one.shared.joins
        if shapely.dwithin(pads, shapely.Point(join.at), AWAY)
    ]
    assert near == []


def bend(path: Path, at: Point) -> float:
    """How far a path strays within `AWAY` of a place from its chord there."""
    reach = shapely.intersection(path.line(0.0005), shapely.Point(at).buffer(AWAY))
    near = [part for part in shapely.get_parts(reach) if part.distance(shapely.Point(at)) < 1e-3]
    ends = shapely.get_coordinates(shapely.line_merge(shapely.union_all(near)))
    chord = shapely.LineString([ends[0], ends[-1]])
    return float(max(chord.distance(shapely.Point(p)) for p in ends))


def no_join_is_on_a_bend(one: Cut) -> None:
    """For 1 mm to either side of a join its path is straight."""
    by_band = one.bands()
    for join in one.shared.joins:
        assert join.piece is not None
        first = [r.path for r in by_band[join.placement, join.piece] if r.lap == 0]
        path = min(first, key=lambda p: p.line().distance(shapely.Point(join.at)))
        assert bend(path, join.at) < 0.005


def a_straight_line_joins_no_less(one: Cut) -> None:
    """The best straight line between two passes joins every first lap that it crosses; that many
    joins or fewer are made.
    """
    lines = np.array([r.path.line(0.005) for r in one.rings if r.lap == 0], dtype=object)
    bounds = shapely.bounds(lines)
    fewest = 0
    for k in range(len(one.shift.windows) - 1):
        margin = OVERRUN + GAP
        counts = []
        for x in np.arange(one.shift.low(k + 1) + margin, one.shift.high(k) - margin, 0.5):
            met = lines[(bounds[:, 0] < x) & (bounds[:, 2] > x)]
            upright = shapely.LineString([(x, -10.0), (x, WIDTH + 40.0)])
            crossed = shapely.intersection(met, upright)
            counts.append(int(shapely.get_num_geometries(crossed).sum()))
        fewest += min(counts)
    assert 0 < len(one.shared.joins) <= fewest


def stretches_lie_in_their_windows(one: Cut) -> None:
    """No pass cuts what its window does not hold."""
    for k, cuts in enumerate(one.shared.by_pass):
        for ring in cuts:
            assert isinstance(ring, Ring)
            low, high = span(ring.path)
            assert one.shift.low(k) - 1e-6 <= low
            assert high <= one.shift.high(k) + 1e-6


def pieces_reunite(one: Cut) -> None:
    """What all passes cut is what was to be cut, once, but for the overruns."""
    parts: dict[tuple[Band, int], list[Path]] = defaultdict(list)
    whole: dict[tuple[Band, int], list[Path]] = defaultdict(list)
    for cuts in one.shared.by_pass:
        for ring in cuts:
            assert isinstance(ring, Ring)
            parts[(ring.placement, ring.piece), ring.lap].append(ring.path)
    for ring in one.rings:
        whole[(ring.placement, ring.piece), ring.lap].append(ring.path)
    assert parts.keys() == whole.keys()
    split = 0
    for key, paths in whole.items():
        if len(parts[key]) == len(paths):
            # as many as before: these are the very same paths, or the law is broken
            assert sorted(map(id, parts[key])) == sorted(map(id, paths))
            continue
        split += 1
        for a, b in ((paths, parts[key]), (parts[key], paths)):
            line = shapely.union_all([p.line(0.001) for p in a])
            near = shapely.union_all([p.line(0.001).buffer(0.004, quad_segs=4) for p in b])
            assert near.covers(line)
        # both sides are cut over a join by the overrun, and nothing is cut twice elsewhere
        surplus = sum(p.length for p in parts[key]) - sum(p.length for p in paths)
        assert surplus == pytest.approx(2 * OVERRUN * len(parts[key]), rel=0.35)
    assert split > 0


def laps_change_over_together(one: Cut) -> None:
    """Across every join all laps of the band end within a fifth of the overrun of one line."""
    ends: dict[Band, list[Point]] = defaultdict(list)
    for cuts in one.shared.by_pass:
        for ring in cuts:
            assert isinstance(ring, Ring)
            if not ring.path.closed:
                ends[ring.placement, ring.piece] += [ring.path.start, ring.path.end]
    laps = 1 + max(ring.lap for ring in one.rings)
    assert laps >= 2
    for join in one.shared.joins:
        assert join.piece is not None
        near = [
            (x - join.at[0], y - join.at[1])
            for x, y in ends[join.placement, join.piece]
            if math.dist((x, y), join.at) < OVERRUN + GAP
        ]
        ux, uy = join.across[1], -join.across[0]
        assert len(near) >= 2 * laps
        for x, y in near:
            assert abs(x * ux + y * uy) == pytest.approx(OVERRUN, abs=OVERRUN / 5)


def holes_go_where_their_pads_are_cut(one: Cut) -> None:
    """A hole is drilled in a pass that cuts around its pad, and reaches it."""
    drilled = share.share_holes(one.holes, one.plan, one.shift)
    assert sum(map(len, drilled)) == len(one.holes)
    for k, holes in enumerate(drilled):
        rings = [r for r in one.shared.by_pass[k] if isinstance(r, Ring) and r.lap == 0]
        by_piece: dict[str, list[Ring]] = defaultdict(list)
        for ring in rings:
            by_piece[ring.piece].append(ring)
        for hole in holes:
            x = hole.at[0]
            assert one.shift.low(k) <= x - hole.diameter / 2
            assert x + hole.diameter / 2 <= one.shift.high(k)
            assert hole.piece is not None
            pad = shapely.Point(hole.at)
            assert min(r.path.line(0.01).distance(pad) for r in by_piece[hole.piece]) < 2.0


LAWS: tuple[Callable[[Cut], None], ...] = (
    bands_that_fit_are_whole,
    no_join_is_near_a_pad,
    no_join_is_on_a_bend,
    a_straight_line_joins_no_less,
    stretches_lie_in_their_windows,
    pieces_reunite,
    laps_change_over_together,
    holes_go_where_their_pads_are_cut,
)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_laws_hold(seed: int) -> None:
    one = of_seed(seed)
    for law in LAWS:
        law(one)


@pytest.fixture(scope="module")
def honest() -> Cut:
    return of_seed(14)


def joined_at(one: Cut, at: Point) -> Cut:
    """The first join put elsewhere."""
    first, *others = one.shared.joins
    return replace(one, shared=replace(one.shared, joins=(replace(first, at=at), *others)))


def sharing(one: Cut, by_pass: Sequence[tuple[Any, ...]]) -> Cut:
    return replace(one, shared=replace(one.shared, by_pass=tuple(by_pass)))


def near_a_pad(one: Cut) -> Cut:
    x, y = PLACE.point(one.made.pads[5].at)
    return joined_at(one, (x + one.made.pads[5].diameter / 2 + 0.9 * AWAY, y))


def on_a_bend(one: Cut) -> Cut:
    """At the right-hand end of the first joined band, where it turns back."""
    join = one.shared.joins[0]
    (path, *_) = [r.path for r in one.rings if r.piece == join.piece and r.lap == 0]
    line = path.flattened()
    x, y = line[int(np.argmax(line[:, 0]))].tolist()
    return joined_at(one, (x, y))


def crowded(one: Cut) -> Cut:
    return replace(one, shared=replace(one.shared, joins=one.shared.joins * 3))


def swapped(one: Cut) -> Cut:
    first, second, *others = one.shared.by_pass
    return sharing(one, [second, first, *others])


def with_a_hole_in_it(one: Cut) -> Cut:
    """One stretch of a split lap ends a millimetre too early."""
    first, *others = one.shared.by_pass
    n = next(n for n, ring in enumerate(first) if not ring.path.closed)  # type: ignore[union-attr]
    ring = first[n]
    assert isinstance(ring, Ring)
    short = replace(ring, path=ring.path.part(0.0, ring.path.length - 1.0))
    return sharing(one, [(*first[:n], short, *first[n + 1 :]), *others])


def cut_without_need(one: Cut) -> Cut:
    """A band that fits is joined."""
    join = one.shared.joins[0]
    (_, piece), *_ = one.plan.whole
    more = (*one.shared.joins, replace(join, piece=piece))
    return replace(one, shared=replace(one.shared, joins=more))


def with_holes_elsewhere(one: Cut) -> Cut:
    """Every hole moved to the far end of the board."""
    return replace(one, plan=replace(one.plan, whole=dict.fromkeys(one.plan.whole, 1)))


@pytest.mark.parametrize(
    ("law", "spoil"),
    [
        (bands_that_fit_are_whole, cut_without_need),
        (no_join_is_near_a_pad, near_a_pad),
        (no_join_is_on_a_bend, on_a_bend),
        (a_straight_line_joins_no_less, crowded),
        (stretches_lie_in_their_windows, swapped),
        (pieces_reunite, with_a_hole_in_it),
        (laps_change_over_together, with_a_hole_in_it),
        (holes_go_where_their_pads_are_cut, with_holes_elsewhere),
    ],
)
def test_a_broken_law_is_seen(
    honest: Cut, law: Callable[[Cut], None], spoil: Callable[[Cut], Cut]
) -> None:
    law(honest)
    with pytest.raises(AssertionError):
        law(spoil(honest))


@pytest.mark.parametrize(
    ("length", "travel", "passes"), [(700.0, 220.0, 4), (1200.0, 300.0, 5)]
)
def test_the_longest_boards_are_planned(length: float, travel: float, passes: int) -> None:
    one = cut(valve_board(77, length), travel)
    assert len(one.shift.poses) == passes
    assert {n for join in one.shared.joins for n in join.passes} == set(range(1, passes + 1))
    stretches_lie_in_their_windows(one)
    no_join_is_near_a_pad(one)
