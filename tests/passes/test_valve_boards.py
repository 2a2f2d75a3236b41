"""Laws of joins, on boards made from seeds with rails, buses and sockets."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
import shapely
from numpy.random import default_rng

from fixtures.valve_boards import WIDTH, valve_board
from millprep.geometry.path import Path, Point
from millprep.model.cut import Lap
from millprep.model.milling_pass import Join
from millprep.passes import cuts_by_pass
from millprep.passes.neighbours import PieceKey
from millprep.passes.spurs import SHORTEST, STEP
from tests.helpers.cut_valve_boards import OVERRUN, PLACE, Cut, cut

SEEDS = (*range(20), 126)
"""The last has windows that share the least they may, so its key hole stands farther in."""
GAPS = (0.16, 0.2, 0.3)
AWAY = 1.0
"""From a pad or a bend to the nearest join, at least, mm."""


@cache
def of_seed(seed: int) -> Cut:
    """The board of a seed, cut in passes; kept, because every law is a test of its own."""
    random = default_rng(1000 + seed)
    travel = float(random.choice([160.0, 220.0, 300.0]))
    return cut(valve_board(seed), travel, float(random.choice(GAPS)))


def span(path: Path) -> tuple[float, float]:
    """From where to where along x; a chord lies at most 1 µm inside its arc."""
    x = path.flattened(0.001)[:, 0]
    return float(x.min()), float(x.max())


def bands_that_fit_are_whole(one: Cut) -> None:
    """Every band that fits one window is cut whole, in one pass."""
    assert len(one.shift.windows) > 1
    joined = {(join.placement, join.piece) for join in one.shared.joins}
    passes: dict[PieceKey, set[int]] = defaultdict(set)
    for k, cuts in enumerate(one.shared.by_pass):
        for lap in cuts:
            assert isinstance(lap, Lap)
            passes[lap.placement, lap.piece].add(k)
    fits = 0
    for key, laps in one.laps_by_piece().items():
        spans = [span(lap.path) for lap in laps]
        low, high = min(a for a, _ in spans) - 0.02, max(b for _, b in spans) + 0.02
        windows = range(len(one.shift.windows))
        if any(one.shift.windows[k].x0 <= low and high <= one.shift.windows[k].x1 for k in windows):
            fits += 1
            assert key not in joined
            assert len(passes[key]) == 1
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
    by_piece = one.laps_by_piece()
    for join in one.shared.joins:
        assert join.piece is not None
        first = [r.path for r in by_piece[join.placement, join.piece] if r.number == 0]
        path = min(first, key=lambda p: p.line().distance(shapely.Point(join.at)))
        assert bend(path, join.at) < 0.005


def a_straight_line_joins_no_less(one: Cut) -> None:
    """The best straight line between two passes joins every first lap that it crosses; that many
    joins or fewer are made.
    """
    lines = np.array([r.path.line(0.005) for r in one.laps if r.number == 0], dtype=object)
    bounds = shapely.bounds(lines)
    fewest = 0
    for k in range(len(one.shift.windows) - 1):
        margin, (low, high) = OVERRUN + one.gap, one.shift.windows[k : k + 2]
        counts = []
        for x in np.arange(high.x0 + margin, low.x1 - margin, 0.5):
            met = lines[(bounds[:, 0] < x) & (bounds[:, 2] > x)]
            upright = shapely.LineString([(x, -10.0), (x, WIDTH + 40.0)])
            crossed = shapely.intersection(met, upright)
            counts.append(int(shapely.get_num_geometries(crossed).sum()))
        fewest += min(counts)
    assert 0 < len(one.shared.joins) <= fewest


def stretches_lie_in_their_windows(one: Cut) -> None:
    """No pass cuts what its window does not hold."""
    for k, cuts in enumerate(one.shared.by_pass):
        for lap in cuts:
            assert isinstance(lap, Lap)
            low, high = span(lap.path)
            assert one.shift.windows[k].x0 - 1e-6 <= low
            assert high <= one.shift.windows[k].x1 + 1e-6


def pieces_reunite(one: Cut) -> None:
    """What all passes cut is what was to be cut, once, but for the overruns."""
    parts: dict[tuple[PieceKey, int], list[Path]] = defaultdict(list)
    whole: dict[tuple[PieceKey, int], list[Path]] = defaultdict(list)
    for cuts in one.shared.by_pass:
        for lap in cuts:
            assert isinstance(lap, Lap)
            parts[(lap.placement, lap.piece), lap.number].append(lap.path)
    for lap in one.laps:
        whole[(lap.placement, lap.piece), lap.number].append(lap.path)
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
    ends: dict[PieceKey, list[Point]] = defaultdict(list)
    for cuts in one.shared.by_pass:
        for lap in cuts:
            assert isinstance(lap, Lap)
            if not lap.path.closed:
                ends[lap.placement, lap.piece] += [lap.path.start, lap.path.end]
    laps = 1 + max(lap.number for lap in one.laps)
    assert laps == one.groove.laps >= 2
    for join in one.shared.joins:
        assert join.piece is not None
        near = [
            (x - join.at[0], y - join.at[1])
            for x, y in ends[join.placement, join.piece]
            if math.dist((x, y), join.at) < OVERRUN + one.gap
        ]
        ux, uy = join.across[1], -join.across[0]
        assert len(near) >= 2 * laps
        for x, y in near:
            assert abs(x * ux + y * uy) == pytest.approx(OVERRUN, abs=OVERRUN / 5)


def holes_go_where_their_pads_are_cut(one: Cut) -> None:
    """A hole is drilled in a pass that cuts around its pad, and reaches it."""
    drilled = cuts_by_pass.share_holes(one.holes, one.plan, one.shift)
    assert sum(map(len, drilled)) == len(one.holes)
    for k, holes in enumerate(drilled):
        laps = [r for r in one.shared.by_pass[k] if isinstance(r, Lap) and r.number == 0]
        by_piece: dict[str, list[Lap]] = defaultdict(list)
        for lap in laps:
            by_piece[lap.piece].append(lap)
        for hole in holes:
            x = hole.at[0]
            assert one.shift.windows[k].x0 <= x - hole.diameter / 2
            assert x + hole.diameter / 2 <= one.shift.windows[k].x1
            assert hole.piece is not None
            pad = shapely.Point(hole.at)
            # the heater rail's copper reaches up to 3 mm beyond its holes' middles
            away = [r.path.line(0.01).distance(pad) for r in by_piece[hole.piece]]
            assert min(away, default=math.inf) < 3.2


def every_join_stands_enough(one: Cut) -> None:
    """The mismatch at which a join leaks is at least 1.5 times the one to expect."""
    assert len(one.strong.joins) == len(one.shared.joins) > 0
    for join in one.strong.joins:
        assert join.predicted is not None
        assert join.tolerance_electrical is not None
        assert join.tolerance_electrical == pytest.approx(one.groove.width + join.tick)
        assert join.tolerance_electrical >= 1.5 * join.predicted


def blocked(one: Cut, join: Join, length: float) -> bool:
    """Whether ticks of this length find no room at a join, from the drawn copper alone."""
    own, half = one.room.copper[join.placement, join.piece or ""], one.groove.surface / 2
    foreign = [
        shape for key, shape in one.room.copper.items() if key != (join.placement, join.piece)
    ]
    (x, y), (nx, ny) = join.at, join.across
    away = [own.distance(shapely.Point(x + s * nx * 0.05, y + s * ny * 0.05)) for s in (1, -1)]
    nx, ny = (nx, ny) if away[0] > away[1] else (-nx, -ny)
    out = (one.groove.laps - 1) * one.groove.pitch
    for side in (-1, 1):
        ex, ey = x + side * join.overrun * ny, y - side * join.overrun * nx
        foot = (ex + nx * out, ey + ny * out)
        tip = (foot[0] + nx * length, foot[1] + ny * length)
        tick = shapely.LineString([foot, tip])
        if (
            min(shape.distance(tick) for shape in foreign) < half + one.gap + 0.01
            or own.distance(tick) < half + out - 0.01
            or not one.room.edge.buffer(0.01 - half).covers(tick)
            or any(not one.room.windows[k - 1].buffer(0.01).covers(tick) for k in join.passes)
        ):
            return True
    return False


def ticks_are_as_long_as_asked_or_as_there_is_room(one: Cut) -> None:
    """Three times the mismatch to expect, or no longer tick would keep off the copper."""
    for join in one.strong.joins:
        assert join.predicted is not None
        assert join.tolerance_electrical is not None
        if join.tolerance_electrical < 3 * join.predicted - 1e-9:
            assert blocked(one, join, max(join.tick + STEP, SHORTEST))
        elif join.tick:
            # and never longer than asked for
            shorter = join.tick - STEP if join.tick > SHORTEST else 0.0
            assert one.groove.width + shorter < 3 * join.predicted


def ticks_keep_off_all_copper(one: Cut) -> None:
    """What ticks add is short, lies in background, and keeps the gap to foreign copper."""
    names, shapes = list(one.room.copper), np.array(list(one.room.copper.values()), dtype=object)
    ticks = 0
    for k, (before, after) in enumerate(zip(one.shared.by_pass, one.strong.by_pass, strict=True)):
        for old, new in zip(before, after, strict=True):
            assert isinstance(old, Lap)
            assert isinstance(new, Lap)
            if new is old:
                continue
            assert replace(new, path=old.path) == old
            more = shapely.difference(new.path.line(0.001), old.path.line(0.001).buffer(1e-6))
            for tick in shapely.get_parts(more):
                ticks += 1
                assert one.shift.polygon(k).covers(tick)
                away = shapely.distance(shapes, tick) - one.groove.surface / 2
                for key, gap in zip(names, away.tolist(), strict=True):
                    own = key == (new.placement, new.piece)
                    assert gap >= (0.0 if own else one.gap) - 0.003
    assert ticks == 2 * sum(join.tick > 0 for join in one.strong.joins)


LAWS: tuple[Callable[[Cut], None], ...] = (
    bands_that_fit_are_whole,
    no_join_is_near_a_pad,
    no_join_is_on_a_bend,
    a_straight_line_joins_no_less,
    stretches_lie_in_their_windows,
    pieces_reunite,
    laps_change_over_together,
    holes_go_where_their_pads_are_cut,
    every_join_stands_enough,
    ticks_are_as_long_as_asked_or_as_there_is_room,
    ticks_keep_off_all_copper,
)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.__name__)  # changes fastest
@pytest.mark.parametrize("seed", SEEDS)
def test_a_law_holds(seed: int, law: Callable[[Cut], None]) -> None:
    law(of_seed(seed))


@pytest.mark.parametrize("seed", [3, 12])
def test_where_errors_are_large_ticks_are_as_long_as_there_is_room(seed: int) -> None:
    """Holes drilled by hand, say: 0.3 mm asks for ticks of nearly 2 mm."""
    one = cut(valve_board(seed), 220.0, 0.16, sigma=0.3)
    ticks_are_as_long_as_asked_or_as_there_is_room(one)
    ticks_keep_off_all_copper(one)
    ratios = [
        join.tolerance_electrical / join.predicted
        for join in one.strong.joins
        if join.tolerance_electrical and join.predicted
    ]
    assert min(ratios) < 3 <= max(ratios), "some have room and some do not"


@pytest.fixture(scope="module")
def honest() -> Cut:
    return cut(valve_board(14), 220.0, 0.16)


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
    (path, *_) = [r.path for r in one.laps if r.piece == join.piece and r.number == 0]
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
    n = next(n for n, lap in enumerate(first) if not lap.path.closed)  # type: ignore[union-attr]
    lap = first[n]
    assert isinstance(lap, Lap)
    short = replace(lap, path=lap.path.part(0.0, lap.path.length - 1.0))
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


def weak(one: Cut) -> Cut:
    """One join expects more than it did."""
    first, *others = one.strong.joins
    assert first.tolerance_electrical is not None
    first = replace(first, predicted=first.tolerance_electrical / 1.49)
    return replace(one, strong=replace(one.strong, joins=(first, *others)))


def without_its_tick(one: Cut) -> Cut:
    """A join that had room has no tick."""
    first, *others = one.strong.joins
    bare = replace(first, tick=0.0, tolerance_electrical=one.groove.width, predicted=0.1)
    return replace(one, strong=replace(one.strong, joins=(bare, *others)))


def with_a_tick_into_copper(one: Cut) -> Cut:
    """The first path that ends in a tick turns back there, into its own copper."""
    first, *others = one.strong.by_pass
    before = one.shared.by_pass[0]
    laps = [lap for lap in first if isinstance(lap, Lap)]
    olds = [lap for lap in before if isinstance(lap, Lap)]
    n = next(n for n, lap in enumerate(laps) if lap.path.end != olds[n].path.end)
    lap = laps[n]
    tip, foot = lap.path.xy[[-1, -2]]
    end = foot + (foot - tip) / np.hypot(*(foot - tip)) * 0.5
    longer = replace(lap, path=lap.path.joined(Path.lines([tip, end])))
    by_pass = ((*first[:n], longer, *first[n + 1 :]), *others)
    return replace(one, strong=replace(one.strong, by_pass=by_pass))


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
        (every_join_stands_enough, weak),
        (ticks_are_as_long_as_asked_or_as_there_is_room, without_its_tick),
        (ticks_keep_off_all_copper, with_a_tick_into_copper),
    ],
)
def test_a_broken_law_is_seen(
    honest: Cut, law: Callable[[Cut], None], spoil: Callable[[Cut], Cut]
) -> None:
    law(honest)
    with pytest.raises(AssertionError):
        law(spoil(honest))


@pytest.mark.parametrize(("length", "travel", "passes"), [(700.0, 220.0, 4), (1200.0, 300.0, 5)])
def test_the_longest_boards_are_planned(length: float, travel: float, passes: int) -> None:
    one = cut(valve_board(77, length), travel)
    assert len(one.shift.poses) == passes
    assert {n for join in one.shared.joins for n in join.passes} == set(range(1, passes + 1))
    stretches_lie_in_their_windows(one)
    no_join_is_near_a_pad(one)
