"""Copper against the circuit that was meant: every point of a netlist lies on copper of its net.

The same comparison judges the copper as drawn, before anything is cut, and as cut.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from millprep.cache import cached
from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.as_cut import AsCut, CopperPart
from millprep.model.blank import Placement, on_blank, on_drawing
from millprep.model.board import Board, NetPoint
from millprep.model.finding import Finding, Severity, limited
from millprep.model.job.board import BoardPlan

NEAR = 0.06
"""A point this close to copper, or to the rim of its hole this close to copper, mm, is on it."""
HOLE_NEAR = 0.1
"""A hole this close to a point, mm, is the point's."""
MOST_NAMED = 4
"""So many pins, pieces or nets are named one by one."""
USUAL = 0.9
"""Where this part of the points that may have holes has them, the others lack theirs."""
ON_PURPOSE = "To cut the board as it is, list the net in ignore_nets."


@dataclass(frozen=True, slots=True)
class NetFault:
    """Where copper and netlist disagree; `at` in the frame of the copper."""

    code: str
    severity: Severity
    message: str
    at: Point


class PointsOnCopper:
    """Pieces of copper, joined by jumper wires, with the netlist's points on them.

    Attributes:
        points: of the netlist, drawing frame.
        on: for each point the group of copper it lies on, None on no copper.
        groups: for each piece of copper its group, the index of the group's first piece.
        pieces: for each point the piece of copper it lies on, None on no copper.
    """

    def __init__(
        self,
        copper: Sequence[shapely.Polygon],
        board: Board,
        wires: Iterable[tuple[Point, Point]],
        pose: Pose | None = None,
        points: Sequence[NetPoint] | None = None,
    ) -> None:
        """Lay points on copper.

        Args:
            copper: its pieces.
            board: for its holes and its points.
            wires: start and end of every jumper wire, drawing frame.
            pose: from the drawing to the frame of the copper.
            points: of those of the board, the ones that count; None for all.
        """
        self.points = board.points if points is None else tuple(points)
        self._tree = shapely.STRtree(copper)
        self._copper = np.array(copper, dtype=object)
        self._holes = shapely.STRtree([hole.spine for hole in board.holes])
        self._radii = np.array([hole.diameter / 2 for hole in board.holes])
        self._pose = pose
        self.groups = list(range(len(copper)))
        ends = self._under([end for wire in wires for end in wire])
        for first, second in zip(ends[::2], ends[1::2], strict=True):
            if first is not None and second is not None:
                low, high = sorted((self.groups[first], self.groups[second]))
                self.groups = [low if group == high else group for group in self.groups]
        self.pieces = self._under([point.at for point in self.points])
        self.on = [None if piece is None else self.groups[piece] for piece in self.pieces]

    def _under(self, places: Sequence[Point]) -> list[int | None]:
        """The piece of copper at each place of the drawing: under it, or around its hole."""
        nearest: list[int | None] = [None] * len(places)
        if not places:
            return nearest
        spots = np.asarray(shapely.points(places))
        reach = np.full(len(places), NEAR)
        distance = self._radii.max(initial=HOLE_NEAR)
        spot, hole = self._holes.query(spots, predicate="dwithin", distance=distance)
        far = shapely.distance(self._holes.geometries[hole], spots[spot])
        own = far <= np.maximum(self._radii[hole], HOLE_NEAR)
        np.maximum.at(reach, spot[own], self._radii[hole[own]] + NEAR)
        if self._pose is not None:
            spots = np.asarray(shapely.points(self._pose.points(np.array(places))))
        spot, piece = self._tree.query(spots, predicate="dwithin", distance=reach)
        far = shapely.distance(spots[spot], self._copper[piece])
        # the farthest first, so that the nearest stays, and of equal ones the first piece
        order = np.lexsort((-piece, -far))
        for n, under in zip(spot[order].tolist(), piece[order].tolist(), strict=True):
            nearest[n] = under
        return nearest

    def has_hole(self) -> list[bool]:
        """For each point, whether a hole is there."""
        spots = shapely.points([point.at for point in self.points])
        hit = self._holes.query(spots, predicate="dwithin", distance=HOLE_NEAR)[0]
        here = set(hit.tolist())
        return [n in here for n in range(len(spots))]

    def place(self, point: NetPoint) -> Point:
        """A point in the frame of the copper."""
        return point.at if self._pose is None else self._pose.point(point.at)

    def by_net(self, ignored: frozenset[str]) -> dict[str, dict[int, list[NetPoint]]]:
        """The points of every net that counts, by the group of copper they lie on."""
        nets: dict[str, dict[int, list[NetPoint]]] = {}
        for point, group in zip(self.points, self.on, strict=True):
            if point.net is not None and point.net not in ignored and group is not None:
                nets.setdefault(point.net, {}).setdefault(group, []).append(point)
        return nets

    def opens(self, names: Sequence[str], ignored: frozenset[str]) -> list[NetFault]:
        """One fault for each net that lies on several groups; `names` are those of the pieces."""
        faults = []
        for net, groups in self.by_net(ignored).items():
            if len(groups) < 2:
                continue
            parts = sorted(groups.items(), key=lambda part: (-len(part[1]), part[0]))
            first, second = _nearest(parts[0][1], [p for _, some in parts[1:] for p in some])
            where = "; ".join(
                f"{self._named(group, names)} with {_listed([p.words for p in some])}"
                for group, some in parts[:MOST_NAMED]
            )
            more = len(parts) - MOST_NAMED
            where += f"; and {more} more" if more > 0 else ""
            (x0, y0), (x1, y1) = first.at, second.at
            message = (
                f"net {net} is open: it lies on {len(parts)} pieces of copper that nothing "
                f"connects: {where}. Draw the missing track, or add a jumper wire from "
                f"{first.words} to {second.words}: links = [[[{x0:g}, {y0:g}], [{x1:g}, {y1:g}]]]. "
                f"{ON_PURPOSE}"
            )
            faults.append(NetFault("net-open", "stop", message, self.place(second)))
        return faults

    def shorts(self, names: Sequence[str], ignored: frozenset[str]) -> list[NetFault]:
        """One fault for each group that carries several nets."""
        carried: dict[int, dict[str, list[NetPoint]]] = {}
        for net, groups in self.by_net(ignored).items():
            for group, some in groups.items():
                carried.setdefault(group, {})[net] = some
        faults = []
        for group, nets in sorted(carried.items()):
            if len(nets) < 2:
                continue
            ranked = sorted(nets.items(), key=lambda net: (-len(net[1]), net[0]))
            where = "; ".join(
                f"{net} at {_listed([p.words for p in some])}" for net, some in ranked[:MOST_NAMED]
            )
            more = len(ranked) - MOST_NAMED
            where += f"; and {more} more" if more > 0 else ""
            least = ranked[1][1] if len(ranked) == 2 else ranked[-1][1]
            message = (
                f"short between nets {_listed([net for net, _ in ranked])}: all are on "
                f"{self._named(group, names)}: {where}. Part the copper, take away the wire that "
                "joins them, or correct the netlist. To cut the board as it is, list all but one "
                "of the nets in ignore_nets."
            )
            faults.append(NetFault("net-short", "stop", message, self.place(least[0])))
        return faults

    def off_copper(self, ignored: frozenset[str]) -> list[NetFault]:
        """One fault for each point of a net that lies on no copper."""
        faults = []
        for point, group in zip(self.points, self.on, strict=True):
            if group is None and point.net is not None and point.net not in ignored:
                x, y = point.at
                message = (
                    f"net {point.net}: {point.words} lies on no copper, at {x:.3f}, {y:.3f} mm of "
                    f"the drawing. Draw its pad there, or correct the netlist. {ON_PURPOSE}"
                )
                faults.append(NetFault("net-point-off-copper", "stop", message, self.place(point)))
        return faults

    def without_hole(self, ignored: frozenset[str]) -> list[NetFault]:
        """One fault for each point on copper that lacks the hole it should have."""
        holes = self.has_hole()
        unsure = [hole for point, hole in zip(self.points, holes, strict=True)
                  if point.drilled is None]  # fmt: skip
        usual = bool(unsure) and sum(unsure) >= USUAL * len(unsure)
        faults = []
        for point, group, hole in zip(self.points, self.on, holes, strict=True):
            expected = usual if point.drilled is None else point.drilled
            counts = point.net is not None and point.net not in ignored and group is not None
            if expected and counts and not hole:
                x, y = point.at
                message = (
                    f"net {point.net}: {point.words} has no hole, at {x:.3f}, {y:.3f} mm of the "
                    "drawing. Draw the hole, or check layers.holes."
                )
                faults.append(
                    NetFault("net-point-without-hole", "warn", message, self.place(point))
                )
        return faults

    def without_net(self, names: Sequence[str]) -> list[NetFault]:
        """One fault for each group of copper that holds no point of the netlist."""
        used = set(self.on)
        faults = []
        for piece, group in enumerate(self.groups):
            if piece == group and group not in used:
                message = (
                    f"{self._named(group, names)} holds no point of the netlist. Check whether "
                    "its part is missing in the netlist, or whether the copper is left over."
                )
                at = self._copper[piece].representative_point()
                faults.append(NetFault("piece-without-net", "warn", message, (at.x, at.y)))
        return faults

    def _named(self, group: int, names: Sequence[str]) -> str:
        """The pieces of a group."""
        own = [names[n] for n, its in enumerate(self.groups) if its == group]
        return f"{'piece' if len(own) == 1 else 'pieces'} {_listed(own)}"


def _listed(words: Sequence[str]) -> str:
    """The first few of a list, and how many there are besides."""
    shown, more = list(words[:MOST_NAMED]), len(words) - MOST_NAMED
    if more > 0:
        return f"{', '.join(shown)} and {more} more"
    return " and ".join([", ".join(shown[:-1]), shown[-1]] if len(shown) > 1 else shown)


def _nearest(first: Sequence[NetPoint], second: Sequence[NetPoint]) -> tuple[NetPoint, NetPoint]:
    """The two points nearest to each other, one of each list."""
    a, b = (np.array([point.at for point in points]) for points in (first, second))
    far = np.hypot(*(a[:, None, :] - b[None, :, :]).transpose(2, 0, 1))
    i, j = np.unravel_index(int(np.argmin(far)), far.shape)
    return first[int(i)], second[int(j)]


@cached
def check_drawn_nets(plan: BoardPlan, placement: Placement) -> tuple[Finding, ...]:
    """A drawing against its netlist, before anything is cut; places are the drawing's."""
    board = placement.board
    if not board.points:
        return ()
    ignored = frozenset(plan.ignore_nets)
    copper = PointsOnCopper([piece.shape for piece in board.pieces], board, plan.jumper_ends)
    names = [piece.id for piece in board.pieces]
    faults = [
        *copper.opens(names, ignored),
        *copper.shorts(names, ignored),
        *copper.off_copper(ignored),
        *copper.without_hole(ignored),
        *copper.without_net(names),
    ]
    return limited(
        on_drawing(placement, f.code, f.severity, f.message[0].upper() + f.message[1:], f.at)
        for f in faults
    )


@cached
def check_cut_nets(plan: BoardPlan, cut: AsCut, placement: Placement) -> tuple[Finding, ...]:
    """The copper of one copy as cut against its netlist: shorts at its foot, opens at its surface.

    Points that lie on no copper as drawn do not count.
    """
    board = placement.board
    if not board.points:
        return ()
    ignored = frozenset(plan.ignore_nets)
    drawn = PointsOnCopper([piece.shape for piece in board.pieces], board, ())
    points = [p for p, on in zip(board.points, drawn.on, strict=True) if on is not None]
    faults: list[NetFault] = []
    for parts, foot in ((cut.surface or cut.parts, False), (cut.parts, True)):
        own = [part for part in parts if any(copy == placement.index for copy, _ in part.pieces)]
        shapes = [part.shape for part in own]
        names = [_pieces_on(part, placement.index) for part in own]
        copper = PointsOnCopper(shapes, board, plan.jumper_ends, placement.pose, points)
        if foot:
            faults += copper.shorts(names, ignored)
        else:
            faults += [*copper.opens(names, ignored), *copper.off_copper(ignored)]
    return limited(
        on_blank(placement, f.code, f.severity, f"As cut, {f.message}", f.at) for f in faults
    )


def _pieces_on(part: CopperPart, index: int) -> str:
    return " + ".join(piece for copy, piece in part.pieces if copy == index)
