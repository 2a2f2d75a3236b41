"""The list of checks with a meter that a finished board deserves, in the order of a walk along it.

One check of continuity for each net, across its two pads that lie farthest apart. Checks of
isolation where copper is likeliest to stay: the narrowest gaps, and the joins of passes.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
import shapely

from millprep.cache import cached
from millprep.geometry.path import Point
from millprep.model.as_cut import AsCut, BoardProof
from millprep.model.board import Board, Hole
from millprep.model.judged import Check, GapReason, JoinReason, NetReason, Reason, Touch, When
from millprep.model.milling_pass import Join
from millprep.model.set_of_programs import BoardCopy, MilledBlank

STRIP = 20.0
"""The walk goes along the board's long side in strips as wide as this, mm."""
NARROW = 2.0
"""Gaps wider than so many times the narrowest are not checked."""
PIN_NEAR = 0.1
"""A point of the netlist this close to a hole's axis, mm, is the pin in it."""
MOST_PADS = 200
"""Of a net with more pads, only those on its hull are looked at; the farthest two are there."""


def buzz_out(blank: MilledBlank) -> MilledBlank:
    """A blank, cut and proved, with the checks of every copy.

    Jumper wires that are still to be soldered count as made in its nets.
    """
    assert blank.as_cut is not None, "a blank that is not cut has nothing to measure"
    joins: dict[int, list[Join]] = {}
    for join in blank.joins:
        joins.setdefault(join.placement, []).append(join)
    copies: list[BoardCopy] = []
    for copy in blank.copies:
        assert copy.proof is not None, "a copy that is not proved has nothing to measure"
        checks = _checks(copy, copy.proof, blank.as_cut, joins.get(copy.placement.index, ()))
        copies.append(replace(copy, checks=checks))
    return replace(blank, copies=tuple(copies))


@cached
def _checks(
    copy: BoardCopy, proof: BoardProof, cut: AsCut, joins: Sequence[Join]
) -> tuple[Check, ...]:
    """The checks of a copy, in the order of the walk."""
    board = _Board(copy)
    checks = [*board.continuity(), *board.gaps(proof), *board.joins(cut, joins)]
    return tuple(_walk(checks, board.size))


class _Board:
    """One copy: its pads by piece, and its places as the maker measures them."""

    def __init__(self, copy: BoardCopy) -> None:
        self.placement = placement = copy.placement
        x0, y0, x1, y1 = placement.pose.shape(placement.board.outline).bounds
        self.low = (x0, y0)
        self.size = (x1 - x0, y1 - y0)
        self.pads: dict[str, list[Hole]] = {piece.id: [] for piece in placement.board.pieces}
        for hole in placement.board.holes:
            if hole.piece is not None:
                self.pads[hole.piece].append(hole)
        self.pieces = {piece.id: piece for piece in placement.board.pieces}
        self.pins = _pins(placement.board)
        self.net = {name: copy.nets.get(name, name) for name in self.pieces}

    def _on_board(self, at: Point) -> Point:
        return (at[0] - self.low[0], at[1] - self.low[1])

    def _pad(self, piece: str, hole: Hole) -> Touch:
        at = self.placement.pose.point(hole.at)
        return Touch(piece, self.net[piece], hole.id, self._on_board(at), self.pins.get(hole.id))

    def nearest(self, piece: str, to: Point) -> Touch:
        """The pad of a piece nearest to a place on the blank, or its own middle if it has none."""
        pads = self.pads[piece]
        pose = self.placement.pose
        if not pads:
            at = self._on_board(pose.point(self.pieces[piece].at))
            return Touch(piece, self.net[piece], None, at)
        best = min(pads, key=lambda hole: (math.dist(pose.point(hole.at), to), hole.id))
        return self._pad(piece, best)

    def continuity(self) -> Iterable[Check]:
        """One check for each net with two pads."""
        of_net: dict[str, list[Pad]] = {}
        for piece, holes in self.pads.items():
            of_net.setdefault(self.net[piece], []).extend((piece, hole) for hole in holes)
        for net, pads in of_net.items():
            if len(pads) < 2:
                continue
            (piece, hole), (other, far) = _farthest(pads)
            when: When = "any time" if piece == other else "after soldering"
            yield Check(
                self.placement.index,
                "continuity",
                self._pad(piece, hole),
                self._pad(other, far),
                when,
                NetReason(net),
            )

    def gaps(self, proof: BoardProof) -> Iterable[Check]:
        """The narrowest gaps, up to `NARROW` times the narrowest of all."""
        for gap in proof.gaps:
            if gap.gap > NARROW * proof.gaps[0].gap:
                return
            first, second = (self.nearest(piece, gap.at) for piece in gap.pieces)
            same = first.net == second.net
            yield Check(
                self.placement.index,
                "isolation",
                first,
                second,
                "before soldering" if same else "any time",
                GapReason(gap.gap),
            )

    def joins(self, cut: AsCut, joins: Sequence[Join]) -> Iterable[Check]:
        """The copper on both sides of the groove at each join."""
        index = self.placement.index
        shapes = np.array([part.shape for part in cut.parts], dtype=object)
        for join in joins:
            if join.piece is None:
                continue
            key = (index, join.piece)
            across = [i for i, part in enumerate(cut.parts) if key not in part.pieces]
            if not across:
                continue
            at = shapely.Point(join.at)
            near = across[int(np.argmin(shapely.distance(shapes[across], at)))]
            own = [name for copy, name in cut.parts[near].pieces if copy == index]
            if own:
                second = self.nearest(own[0], join.at)
            else:
                spot = shapely.get_coordinates(shapely.shortest_line(shapes[near], at))[0]
                second = Touch(None, None, None, self._on_board((spot[0], spot[1])))
            first = self.nearest(join.piece, join.at)
            # Copper that carries no piece is in no net, and so no jumper wire joins it.
            same = second.net is not None and first.net == second.net
            x, y = self._on_board(join.at)
            yield Check(
                index,
                "isolation",
                first,
                second,
                "before soldering" if same else "any time",
                JoinReason(join.passes, (x, y)),
            )


Pad = tuple[str, Hole]
"""A hole and the piece it is on."""


def _pins(board: Board) -> dict[str, str]:
    """Part and pin of every hole that netlist or texts put one in, by the hole's id."""
    named = board.pins
    if not named or not board.holes:
        return {}
    tree = shapely.STRtree(shapely.points([point.at for point in named]))
    spines = [hole.spine for hole in board.holes]
    holes, near = tree.query_nearest(spines, max_distance=PIN_NEAR, all_matches=False)
    return {
        board.holes[hole].id: named[point].words
        for hole, point in zip(holes.tolist(), near.tolist(), strict=True)
    }


def _farthest(pads: list[Pad]) -> tuple[Pad, Pad]:
    """The two pads that lie farthest apart."""
    if len(pads) > MOST_PADS:
        hull = shapely.convex_hull(shapely.multipoints([hole.at for _, hole in pads]))
        on_hull = shapely.dwithin(
            shapely.boundary(hull), shapely.points([hole.at for _, hole in pads]), 1e-9
        )
        corners = [pad for pad, on in zip(pads, on_hull.tolist(), strict=True) if on]
        pads = corners if len(corners) > 1 else pads
    return max(combinations(pads, 2), key=lambda two: math.dist(two[0][1].at, two[1][1].at))


def _walk(checks: Sequence[Check], size: tuple[float, float]) -> list[Check]:
    """The checks strip by strip along the long side, up one strip and down the next."""
    along, across = (0, 1) if size[0] >= size[1] else (1, 0)

    def place(check: Check) -> tuple[int, float, str]:
        first = min((check.first.at, check.second.at), key=lambda at: at[along])
        strip = math.floor(first[along] / STRIP)
        return strip, first[across] * (1 if strip % 2 == 0 else -1), _rank(check.reason)

    return sorted(checks, key=place)


def _rank(reason: Reason) -> str:
    """Settles the order of checks at one place: gaps, nets by name, joins."""
    match reason:
        case GapReason(gap):
            return f"{gap:.3f}"
        case NetReason(net):
            return f"net {net},"
        case _:
            (first, second), (x, y) = reason.passes, reason.at
            return f"passes {first} and {second} at {x:.1f}, {y:.1f}"
