"""Near neighbours share a pass: the cut is the cheapest of all sharings."""

from __future__ import annotations

import itertools

import pytest
import shapely
from numpy.random import default_rng

from millprep.geometry.path import Path, Point
from millprep.model.blank import Box
from millprep.model.cut import Lap
from millprep.passes import neighbours
from millprep.passes.neighbours import Pair, PassGraph, PieceKey, gouges, near, settle

AT: Point = (0.0, 0.0)
UP: Point = (0.0, 1.0)


def misalignment(a: int, b: int, at: Point, across: Point) -> float:
    return 0.06 * abs(a - b)


def nowhere(key: PieceKey, at: Point) -> int | None:
    return None


def pair(one: str, other: str, spacing: float = 0.0) -> Pair:
    return Pair((0, one), (0, other), spacing, AT, UP)


def test_a_chain_of_near_neighbours_follows_the_one_that_cannot_choose() -> None:
    meant = {(0, name): k for name, k in zip("abcd", (0, 1, 0, 1), strict=True)}
    fits = {(0, "a"): (0,), (0, "b"): (0, 1), (0, "c"): (0, 1), (0, "d"): (0, 1)}
    pairs = [pair("a", "b"), pair("b", "c"), pair("c", "d")]
    assert settle(meant, fits, pairs, nowhere, misalignment) == dict.fromkeys(meant, 0)


def test_far_neighbours_stay_where_they_were_meant_to_be() -> None:
    meant = {(0, "a"): 0, (0, "b"): 1}
    fits = {(0, "a"): (0, 1), (0, "b"): (0, 1)}
    assert settle(meant, fits, [pair("a", "b", 0.07)], nowhere, misalignment) == meant
    close = settle(meant, fits, [pair("a", "b", 0.05)], nowhere, misalignment)
    assert close[0, "a"] == close[0, "b"]


def test_a_joined_neighbour_draws_what_lies_beside_its_stretch() -> None:
    meant, fits = {(0, "a"): 0}, {(0, "a"): (0, 1)}

    def joined(key: PieceKey, at: Point) -> int | None:
        return 1 if key == (0, "rail") else None

    assert settle(meant, fits, [pair("a", "rail")], joined, misalignment) == {(0, "a"): 1}


@pytest.mark.parametrize("seed", range(25))
def test_no_sharing_between_two_passes_is_cheaper(seed: int) -> None:
    random = default_rng(seed)
    names = "abcdefgh"
    laps_by_piece = [(0, name) for name in names]
    fits: dict[PieceKey, tuple[int, ...]] = {
        key: [(0,), (1,), (0, 1), (0, 1)][int(random.integers(4))] for key in laps_by_piece
    }
    meant = {key: int(random.choice(fits[key])) for key in laps_by_piece}
    pairs = [
        pair(a, b, float(random.uniform(-0.1, 0.06)))
        for a, b in itertools.combinations(names, 2)
        if random.random() < 0.4
    ]

    def price(sharing: dict[PieceKey, int]) -> float:
        left = gouges(pairs, lambda key, at: sharing[key], misalignment)
        return sum(gouge.depth for gouge in left)

    best = min(
        price(dict(zip(laps_by_piece, ks, strict=True)))
        for ks in itertools.product(*(fits[key] for key in laps_by_piece))
    )
    found = settle(meant, fits, pairs, nowhere, misalignment)
    assert all(found[key] in fits[key] for key in laps_by_piece)
    assert price(found) == pytest.approx(best, abs=1e-5)
    assert price(found) <= price(meant) + 1e-9


def test_three_passes_get_no_worse() -> None:
    meant = {(0, "a"): 0, (0, "b"): 1, (0, "c"): 2}
    fits = {(0, "a"): (0, 1), (0, "b"): (0, 1, 2), (0, "c"): (1, 2)}
    found = settle(meant, fits, [pair("a", "b"), pair("b", "c")], nowhere, misalignment)
    assert set(found.values()) == {1}


def test_bites_are_what_the_mismatch_reaches_over_the_spacing() -> None:
    passes = {(0, "a"): 0, (0, "b"): 1, (0, "c"): 0}
    pairs = [pair("a", "b", 0.02), pair("a", "c", 0.0), pair("c", "b", 0.06), pair("b", "a", 0.0)]
    found = gouges(pairs, lambda key, at: passes[key], misalignment)
    assert [(gouge.pair.piece[1], gouge.pair.other[1]) for gouge in found] == [
        ("b", "a"),
        ("a", "b"),
    ]
    assert [gouge.depth for gouge in found] == pytest.approx([0.06, 0.04])
    assert found[0].passes == (1, 0)


def lap(piece: str, y: float, lap: int) -> Lap:
    path = Path.lines([(0.0, y), (20.0, y), (20.0, y + 2), (0.0, y + 2), (0.0, y)])
    return Lap(path, 0, piece, lap, "vee", 0.08)


def test_spacing_runs_from_the_groove_to_the_neighbours_copper() -> None:
    low, high, far = lap("low", 0.0, 0), lap("high", 2.1, 0), lap("far", 40.0, 0)
    laps_by_piece = {(0, r.piece): [r] for r in (low, high, far)}
    shared = [Box(5.0, -5.0, 10.0, 50.0)]
    found = near(laps_by_piece, [low, high, far], shared)
    assert {(p.piece[1], p.other[1]) for p in found} == {("low", "high"), ("high", "low")}
    for one in found:
        assert one.spacing == pytest.approx(0.1)
        assert shapely.Point(one.at).y == pytest.approx(2.05)
        assert abs(one.across[1]) == pytest.approx(1.0)
    assert near(laps_by_piece, [low, high, far], []) == ()
    assert near(laps_by_piece, [low, high, far], [Box(30.0, 0.0, 40.0, 9.0)]) == ()


def test_the_smallest_cut_of_a_known_graph() -> None:
    """Worked by hand: of 0 - 2 - 3 - 1 the tie between 2 and 3 is the weakest."""
    graph = PassGraph()
    graph.tie(0, 2, 3.0)
    graph.tie(2, 3, 1.0)
    graph.tie(3, 1, 2.0)
    assert graph.side(0, 1) == {0, 2}


def among_three() -> tuple[dict[PieceKey, int], dict[PieceKey, tuple[int, ...]], list[Pair]]:
    """Two pieces that fit all of three passes, next to ones that fit one and two."""
    meant = {(0, "a"): 0, (0, "b"): 1, (0, "c"): 2, (0, "d"): 2}
    fits: dict[PieceKey, tuple[int, ...]] = {
        (0, "a"): (0, 1, 2), (0, "b"): (0, 1, 2), (0, "c"): (2,), (0, "d"): (1, 2),
    }  # fmt: skip
    return meant, fits, [pair("a", "b"), pair("b", "c"), pair("d", "c")]


def test_of_three_passes_the_one_that_a_piece_must_have_draws_its_neighbours() -> None:
    meant, fits, pairs = among_three()
    assert settle(meant, fits, pairs, nowhere, misalignment) == dict.fromkeys(meant, 2)


def test_a_neighbour_that_is_not_cut_draws_nothing() -> None:
    meant, fits = {(0, "a"): 0, (0, "d"): 1}, {(0, "a"): (0, 1), (0, "d"): (1,)}
    assert settle(meant, fits, [pair("a", "not cut")], nowhere, misalignment) == meant


def test_after_so_many_rounds_the_sharing_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(neighbours, "ROUNDS", 1)
    meant, fits, pairs = among_three()
    found = settle(meant, fits, pairs, nowhere, misalignment)
    assert all(found[key] in fits[key] for key in meant)


def test_of_two_grooves_of_a_piece_the_nearer_one_counts() -> None:
    ways = [("a", 10.1), ("a", 10.0), ("b", 10.2)]
    laps = {
        (0, name): [
            Lap(Path.lines([(0.0, y), (20.0, y)]), 0, piece, n, "vee", 0.08)
            for n, (piece, y) in enumerate(ways)
            if piece == name
        ]
        for name in "ab"
    }
    first = [laps[0, "a"][0], laps[0, "b"][0]]
    found = near(laps, first, [Box(0.0, 0.0, 20.0, 20.0)])
    assert {(p.piece[1], p.other[1]): round(p.spacing, 6) for p in found} == {
        ("a", "b"): 0.1, ("b", "a"): 0.1,
    }  # fmt: skip


def test_where_nothing_costs_anything_all_stays_with_the_source() -> None:
    assert PassGraph().side(0, 1) == {0}
