"""Where a netlist lies on its drawing: its points are laid on the holes, mirrored or not.

Two files need not share an origin, a side they are seen from, or a unit. Every shift that lays
points on holes is counted, and the one that lays most wins, if no other lays as many.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.drawing.netlist import INCH, NetlistFile, read_netlist
from millprep.geometry.path import Point
from millprep.model.board import Board, NetPoint
from millprep.model.finding import Finding, Refusal, Severity, stop

HIT = 0.1
"""A point this close to the axis of a hole, mm, hits it: digits of both files, and more."""
ON_COPPER = 0.06
"""A point this close to copper, mm, is on it."""
FEWEST, LEAST_PART = 3, 0.5
"""So many points, and this part of all drilled ones, must hit holes."""
EQUAL = 0.98
"""A placing that hits this part of what the best hits is as good, unless the best hits all."""
MOST_VOTERS = 120
MOST_PAIRS = 2_000_000
"""Of more drilled points, or pairs of a point and a hole, only so many vote for shifts; all count
when a shift is judged."""
BIN, MOST_BINS = 0.2, 8
"""Shifts are counted in squares of this side, mm; so many squares with most votes are judged."""
BUCKETS, SPREAD = 1 << 16, 40503
"""Votes are counted in so many buckets first; columns of squares are so many buckets apart."""


@dataclass(frozen=True, slots=True)
class Placing:
    """One way to lay a netlist on a drawing: scaled, mirrored about x = 0 or not, then shifted."""

    shift: Point
    mirrored: bool = False
    scale: float = 1.0
    hits: int = 0

    def points(self, at: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 2) places in the drawing's frame, mm."""
        sign = -self.scale if self.mirrored else self.scale
        return np.round(at * (sign, self.scale) + self.shift, 6)

    @property
    def as_written(self) -> bool:
        """Whether the netlist's coordinates are the drawing's."""
        return self.shift == (0.0, 0.0) and not self.mirrored and self.scale == 1.0

    @property
    def words(self) -> str:
        """How the netlist is laid on the drawing."""
        steps = []
        if self.scale != 1.0:
            steps.append("read in inches" if self.scale == INCH else f"scaled by {self.scale:g}")
        if self.mirrored:
            steps.append("mirrored left to right")
        if self.shift != (0.0, 0.0):
            steps.append(f"shifted by {self.shift[0]:.3f}, {self.shift[1]:.3f} mm")
        return ", ".join(steps) or "as it is written"


def with_netlist(
    board: Board, file: Path, shown_as: str, shift: Point | None = None, *, mirrored: bool = False
) -> Board:
    """The board with the points of its netlist, placed, and a note that says how.

    Args:
        board: as drawn.
        file: the netlist.
        shown_as: its name in the job.
        shift: what the job adds to the netlist's coordinates, mm; None finds it from the holes.
        mirrored: with `shift`, whether the netlist's x is turned about first.

    Raises:
        Refusal: exit code 3, for a netlist that cannot be read or placed.
    """
    netlist = read_netlist(file, shown_as)
    drilled = [point for point in netlist.points if point.drilled is not False]
    on_holes = _OnHoles(board, np.array([point.at for point in drilled]).reshape(-1, 2))
    doubts: list[Finding] = []
    if shift is not None:
        placing = on_holes.judged(Placing(shift, mirrored))
    else:
        placing, other = _chosen(on_holes, netlist, shown_as)
        if other is not None:
            words = (
                f"The netlist fits the holes as it is written, but {other.words} it fits as well. "
                "It is compared as written. Settle it by netlist_offset = [0, 0] or another offset."
            )
            doubts.append(_finding("netlist-placed-twice", "warn", words, board, shown_as))
    at = placing.points(np.array([point.at for point in netlist.points]))
    points = [
        replace(point, at=(x, y)) for point, (x, y) in zip(netlist.points, at.tolist(), strict=True)
    ]
    kept = _of_milled_side(board, points)
    words = (
        f"Netlist {placing.words}: {placing.hits} of {len(drilled)} drilled points hit holes. "
        f"{len(kept)} points are compared with the copper."
    )
    if len(kept) < len(points):
        words += f" {len(points) - len(kept)} can be reached from the other side only: left out."
    if netlist.skipped:
        words += f" {netlist.skipped} records of conductors and edges are not compared."
    doubts.append(_finding("netlist-placed", "note", words, board, shown_as))
    return replace(board, points=tuple(kept), doubts=(*board.doubts, *doubts))


def _finding(code: str, severity: Severity, words: str, board: Board, shown_as: str) -> Finding:
    return Finding(code=code, severity=severity, message=words, board=board.name, file=shown_as)


def _chosen(
    on_holes: _OnHoles, netlist: NetlistFile, shown_as: str
) -> tuple[Placing, Placing | None]:
    """The placing that hits most holes, and another that hits as many where that is as written.

    Raises:
        Refusal: exit code 3, when too few points hit holes or two placings are equally good.
    """
    every = on_holes.candidates(netlist.scales)
    best, total = every[0], len(on_holes.at)
    advice = (
        "Give netlist_offset = [x, y], what is to be added to the netlist's coordinates, in mm, "
        "and netlist_mirrored = true if it is seen from the other side."
    )
    if best.hits < max(FEWEST, math.ceil(LEAST_PART * total)):
        words = (
            f"The netlist fits the holes of the drawing nowhere: at best {best.hits} of {total} "
            f"drilled points hit holes, {best.words}. Check that it belongs to this drawing. "
        )
        raise Refusal([stop("netlist-not-placed", words + advice, shown_as)], exit_code=3)
    least = best.hits if best.hits == total else EQUAL * best.hits
    equal = [placing for placing in every if placing.hits >= least]
    written = next((p for p in equal if p.as_written and p.hits == best.hits), None)
    if written is not None:
        return written, next((p for p in equal if p is not written), None)
    if len(equal) > 1:
        words = (
            f"The netlist fits the holes in {len(equal)} ways: {equal[0].words}, or "
            f"{equal[1].words}; {equal[0].hits} and {equal[1].hits} of {total} drilled points hit "
            "holes. "
        )
        raise Refusal([stop("netlist-placed-twice", words + advice, shown_as)], exit_code=3)
    return best, None


def _of_milled_side(board: Board, points: Sequence[NetPoint]) -> list[NetPoint]:
    """The points that the milled copper can hold.

    Of those reached from one side only, the milled side is the one whose points lie on copper.
    """
    tree = shapely.STRtree([piece.shape for piece in board.pieces])
    spots = shapely.points([point.at for point in points])
    on = set(tree.query(spots, predicate="dwithin", distance=ON_COPPER)[0].tolist())

    def part(component_side: bool) -> float:
        own = [n for n, p in enumerate(points) if p.side and (p.side == 1) is component_side]
        return sum(n in on for n in own) / len(own) if own else 0.0

    top, bottom = part(True), part(False)
    keep_top = top > bottom
    return [
        point
        for point in points
        if not point.side or ((point.side == 1) is keep_top and max(top, bottom) >= LEAST_PART)
    ]


class _OnHoles:
    """Drilled points of a netlist over the holes of a board."""

    def __init__(self, board: Board, at: NDArray[np.float64]) -> None:
        self.at = at
        spines = np.array([hole.spine for hole in board.holes], dtype=object)
        self.tree = shapely.STRtree(spines)
        self.holes = shapely.get_coordinates(shapely.centroid(spines)).reshape(-1, 2)

    def judged(self, placing: Placing) -> Placing:
        """The placing with the number of points that it lays on holes."""
        spots = shapely.points(placing.points(self.at))
        hit = self.tree.query(spots, predicate="dwithin", distance=HIT)[0]
        return replace(placing, hits=len(np.unique(hit)))

    def candidates(self, scales: Iterable[float]) -> list[Placing]:
        """Placings that differ, those that hit most holes first; the one as written is there."""
        every = [self.judged(Placing((0.0, 0.0)))]
        if len(self.at) and len(self.holes):
            for scale in scales:
                for mirrored in (False, True):
                    unmoved = Placing((0.0, 0.0), mirrored, scale)
                    every += [
                        self.judged(replace(unmoved, shift=shift))
                        for shift in self._shifts(unmoved.points(self.at))
                    ]
        every.sort(key=lambda p: (-p.hits, not p.as_written, p.mirrored, p.scale, p.shift))
        different: list[Placing] = []
        for placing in every:
            if not any(_same(placing, other) for other in different):
                different.append(placing)
        return different

    def _shifts(self, at: NDArray[np.float64]) -> list[Point]:
        """The shifts that most pairs of a point and a hole agree on.

        Less than an eighth of all that could agree is chance: half of the points must hit holes.
        """
        most_voters = max(1, min(MOST_VOTERS, MOST_PAIRS // len(self.holes)))
        voters = at[:: -(-len(at) // most_voters)]
        least = max(1, len(voters) // 8)
        far = (self.holes.T[:, None, :] - voters.T[:, :, None]).reshape(2, -1)
        halves = np.floor(far / (BIN / 2)).astype(np.int64)
        chosen: list[Point] = []
        # squares in four places, so that one of them holds all votes for a shift
        for right, up in ((0, 0), (1, 0), (0, 1), (1, 1)):
            x, y = halves[0] + right >> 1, halves[1] + up >> 1
            # a square has no more votes than its bucket: most need no sorting
            bucket = x * SPREAD + y & BUCKETS - 1
            full = np.bincount(bucket)[bucket] >= least
            cells, places = (x[full] << 26) + y[full], far[:, full]
            known, votes = np.unique(cells, return_counts=True)
            known, votes = known[votes >= least], votes[votes >= least]
            for most in known[np.argsort(-votes, kind="stable")[:MOST_BINS]].tolist():
                x0, y0 = np.median(places[:, cells == most], axis=1).round(4).tolist()
                shift = (0.0, 0.0) if math.hypot(x0, y0) < HIT / 4 else (x0, y0)
                if all(math.dist(shift, other) > HIT / 10 for other in chosen):
                    chosen.append(shift)
        return chosen


def _same(first: Placing, second: Placing) -> bool:
    """Whether two placings differ by less than what two hits of one hole may."""
    turned = (first.mirrored, first.scale) == (second.mirrored, second.scale)
    return turned and math.dist(first.shift, second.shift) < 2 * HIT + BIN / 2
