"""Nets: copper pieces that jumper wires join, and what the job says of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import shapely

from millprep.cache import cached
from millprep.geometry.path import Point
from millprep.model.blank import Layout, Placement, on_drawing
from millprep.model.board import Board
from millprep.model.finding import Finding
from millprep.model.job.board import BoardPlan
from millprep.model.job.nets import Misfit, NetFacts, NetPlan
from millprep.verify.netlist import PointsOnCopper

Key = tuple[int, str]
"""A piece of a copy: (placement, piece)."""


def name(
    plans: Sequence[BoardPlan],
    layout: Layout,
    facts: dict[str, tuple[NetFacts, ...]] | None = None,
) -> tuple[dict[Key, str], tuple[Finding, ...]]:
    """The net of every piece, by the name that job or netlist gives it, or after its first piece.

    Args:
        plans: the boards of the job.
        layout: their copies.
        facts: the nets that the job names, by the board's name.

    Returns:
        the names, and findings for jumper wires on no copper.
    """
    ends = {plan.name: plan.jumper_ends for plan in plans}
    by_netlist: dict[str, dict[str, str]] = {}
    named: dict[Key, str] = {}
    findings: list[Finding] = []
    for placement in layout.placements:
        board = placement.board
        copper = _Copper(board, ends[board.name])
        # every copy has the same jumper wires, the first one reports
        if placement.copy == 1:
            findings += [_off_copper(placement, place) for place in copper.off]
        if board.name not in by_netlist:
            (plan,) = (plan for plan in plans if plan.name == board.name)
            by_netlist[board.name] = _netlist_names(plan, board)
        given = by_netlist[board.name] | {
            piece: net.name for net in (facts or {}).get(board.name, ()) for piece in net.pieces
        }
        for piece, first in zip(board.pieces, copper.first, strict=True):
            named[placement.index, piece.id] = given.get(piece.id, first)
    return named, tuple(findings)


@cached
def pins(board: Board) -> dict[str, tuple[str, ...]]:
    """The parts and pins that netlist or texts put on each piece, by the piece's id."""
    shapes = [piece.shape for piece in board.pieces]
    copper = PointsOnCopper(shapes, board, (), points=board.pins)
    named: dict[str, list[str]] = {}
    for point, piece in zip(copper.points, copper.pieces, strict=True):
        if piece is not None:
            named.setdefault(board.pieces[piece].id, []).append(point.words)
    return {piece: tuple(dict.fromkeys(words)) for piece, words in named.items()}


def _netlist_names(plan: BoardPlan, board: Board) -> dict[str, str]:
    """The netlist's net of every piece that has one, by the piece's id.

    A net that may be open names no piece: one name for two pieces would make them one net. A net
    that is called like a piece gets a longer name.
    """
    ids = [piece.id for piece in board.pieces]
    return {
        piece: f"net {nets[0]}" if nets[0] in ids else nets[0]
        for piece, nets in _on_pieces(plan, board).items()
        if len(nets) == 1 and nets[0] not in plan.ignore_nets
    }


@cached
def _on_pieces(plan: BoardPlan, board: Board) -> dict[str, list[str]]:
    """The netlist's nets on the copper of every piece and what wires join to it."""
    copper = PointsOnCopper([piece.shape for piece in board.pieces], board, plan.jumper_ends)
    nets: dict[int, set[str]] = {}
    for point, group in zip(copper.points, copper.on, strict=True):
        if point.net is not None and group is not None:
            nets.setdefault(group, set()).add(point.net)
    return {
        piece.id: sorted(nets.get(group, ()))
        for piece, group in zip(board.pieces, copper.groups, strict=True)
    }


@cached
def facts(
    plans: Sequence[BoardPlan], boards: Sequence[Board], celsius: float
) -> tuple[dict[str, tuple[NetFacts, ...]], tuple[Misfit, ...]]:
    """The nets that the job names, by the board's name, and what its drawing does not bear out."""
    by_board: dict[str, tuple[NetFacts, ...]] = {}
    misfits: list[Misfit] = []
    for i, (plan, board) in enumerate(zip(plans, boards, strict=True)):
        finder = _Finder(i, plan, board, celsius)
        by_board[plan.name] = tuple(finder.nets())
        misfits += finder.misfits
    return by_board, tuple(misfits)


class _Copper:
    """Which pieces of a board are one net.

    Attributes:
        first: for each piece, the id of the first piece of its net.
        off: ends of jumper wires on no copper, drawing frame.
    """

    def __init__(self, board: Board, wires: Iterable[tuple[Point, Point]]) -> None:
        self.board = board
        self.tree = shapely.STRtree([piece.shape for piece in board.pieces])
        net = list(range(len(board.pieces)))
        self.off: list[Point] = []
        for places in wires:
            ends = [self.on(place) for place in places]
            self.off += [place for end, place in zip(ends, places, strict=True) if end is None]
            if ends[0] is not None and ends[1] is not None:
                _unite(net, ends[0], ends[1])
        self.first = [board.pieces[_root(net, n)].id for n in range(len(net))]

    def on(self, place: Point) -> int | None:
        """The piece under a place."""
        hits = self.tree.query(shapely.Point(place), predicate="intersects")
        return int(hits[0]) if len(hits) else None

    def under(self, place: Point) -> str | None:
        """The net under a place, or around the hole there, by the id of its first piece."""
        piece = self.on(place)
        if piece is not None:
            return self.first[piece]
        here = shapely.Point(place)
        ids = [copper_piece.id for copper_piece in self.board.pieces]
        for hole in self.board.holes:
            if hole.piece is not None and hole.spine.distance(here) <= hole.diameter / 2:
                return self.first[ids.index(hole.piece)]
        return None


class _Finder:
    """Finds the nets of one board of the job, the `index`-th, in its drawing."""

    def __init__(self, index: int, plan: BoardPlan, board: Board, celsius: float) -> None:
        self.index, self.plan, self.board = index, plan, board
        self.copper = _Copper(board, plan.jumper_ends)
        self.wires = [(self.copper.under(wire.start), wire) for wire in plan.jumper_wires(celsius)]
        self.misfits: list[Misfit] = []
        self.taken: dict[str, str] = {}
        self.netlist = _on_pieces(plan, board)
        self.firsts = dict(zip((p.id for p in board.pieces), self.copper.first, strict=True))

    def nets(self) -> Iterable[NetFacts]:
        """Every net whose place is on copper; the rest is a misfit."""
        in_netlist = {point.net for point in self.board.points}
        for k, ignored in enumerate(self.plan.ignore_nets):
            if self.plan.netlist is not None and ignored not in in_netlist:
                path = ("board", self.index, "ignore_nets", k)
                words = f"names {ignored!r}, which is no net of the netlist; correct the name"
                self.misfits.append(Misfit("net-unknown", path, words, self.plan.name))
        for j, net in enumerate(self.plan.nets):
            first = self._place(j, net)
            if any(piece.id == net.name for piece in self.board.pieces):
                words = f"is what the reports call a piece of copper: {net.name}; choose another"
                self._misfit("net-name-taken", j, ("name",), words, None)
                continue
            if first is None:
                continue
            if first in self.taken:
                where = _place_key(net)
                words = f"is on the copper of net {self.taken[first]!r}; one net has one name"
                self._misfit("net-named-twice", j, (where,), words, net.at)
                continue
            self.taken[first] = net.name
            known = {name.casefold() for names in self.netlist.values() for name in names}
            here = self.netlist[first]
            if net.name.casefold() in known - {name.casefold() for name in here}:
                where = _place_key(net)
                on = " and ".join(map(repr, here)) if here else "no net"
                words = (
                    f"is on the copper of {on} of the netlist, and net {net.name!r} of the "
                    "netlist is elsewhere; correct the place or choose another name"
                )
                self._misfit("net-unlike-netlist", j, (where,), words, net.at)
                continue
            if self._loads(j, net, first):
                yield self._facts(net, first)

    def _place(self, j: int, net: NetPlan) -> str | None:
        """The net that a point or text names, by its first piece."""
        if net.at is not None:
            result = self.copper.under(net.at)
            if result is None:
                words = (
                    f"is {_point(net.at)}, where there is no copper; give a point on the net's "
                    "copper in the drawing's coordinates, or check the drawing's unit"
                )
                self._misfit("net-on-no-copper", j, ("at",), words, net.at)
            return result
        if net.text is None:
            return self._in_netlist(j, net.name)
        texts = [t for t in (*self.board.lettering, *self.board.notes) if _same(t.words, net.text)]
        if not texts:
            words = f"is {net.text!r}, which no text of the drawing says; {_near(self.board)}"
            self._misfit("net-text-missing", j, ("text",), words, None)
            return None
        # where each net of that text has it first
        on: dict[str | None, Point] = {}
        for text in texts:
            on.setdefault(self.copper.under(text.at), text.at)
        off = on.pop(None, texts[0].at)
        if not on:
            words = (
                f"is {net.text!r}, which is at {_point(off)} on no copper; move it onto "
                "its net in the drawing, or give a point as at = [x, y]"
            )
            self._misfit("net-on-no-copper", j, ("text",), words, off)
            return None
        if len(on) > 1:
            first, other, *_ = on.values()
            places = f"{_point(first)} and {_point(other)}"
            words = (
                f"is {net.text!r}, which is on different nets, at {places}; give a point as "
                "at = [x, y]"
            )
            self._misfit("net-text-twice", j, ("text",), words, other)
            return None
        return next(iter(on))

    def _in_netlist(self, j: int, name: str) -> str | None:
        """The net that the netlist calls so, by its first piece."""
        for piece, names in self.netlist.items():
            if name in names:
                return self.firsts[piece]
        words = f"is {name!r}, which is no net of the netlist; correct it, or give at = [x, y]"
        self._misfit("net-unknown", j, ("name",), words, None)
        return None

    def _loads(self, j: int, net: NetPlan, first: str) -> bool:
        """Whether every load is on the net."""
        good = True
        for k, load in enumerate(net.loads):
            under = self.copper.under(load.at)
            if under == first:
                continue
            good = False
            on = "where there is no copper" if under is None else "on the copper of another net"
            words = (
                f"is {_point(load.at)}, {on}; correct the place of {load.name!r}, or add the "
                "jumper wire that is missing"
            )
            self._misfit("load-off-its-net", j, ("load", k, "at"), words, load.at)
        return good

    def _facts(self, net: NetPlan, first: str) -> NetFacts:
        pieces = [
            piece.id
            for piece, its in zip(self.board.pieces, self.copper.first, strict=True)
            if its == first
        ]
        wires = [wire for its, wire in self.wires if its == first]
        return NetFacts(net.name, tuple(pieces), net.volts, net.amperes, net.loads, tuple(wires))

    def _misfit(
        self, code: str, j: int, key: tuple[str | int, ...], words: str, at: Point | None
    ) -> None:
        path = ("board", self.index, "net", j, *key)
        self.misfits.append(Misfit(code, path, words, self.plan.name, at))


def _place_key(net: NetPlan) -> str:
    """The key that says where a net is."""
    return "at" if net.at is not None else "name" if net.text is None else "text"


def _same(words: str, text: str | None) -> bool:
    return text is not None and words.split() == text.split()


def _near(board: Board) -> str:
    said = sorted({" ".join(t.words.split()) for t in (*board.lettering, *board.notes)})
    if not said:
        return "it holds no text at all, so give a point as at = [x, y]"
    shown = ", ".join(repr(words) for words in said[:12])
    return f"it says {shown}" + (f" and {len(said) - 12} more" if len(said) > 12 else "")


def _point(at: Point) -> str:
    return f"{at[0]:g}, {at[1]:g} mm"


def _root(net: list[int], n: int) -> int:
    while net[n] != n:
        n = net[n]
    return n


def _unite(net: list[int], a: int, b: int) -> None:
    low, high = sorted((_root(net, a), _root(net, b)))
    net[high] = low


def _off_copper(placement: Placement, place: Point) -> Finding:
    return on_drawing(
        placement,
        "link-on-no-copper",
        "stop",
        (
            f"A jumper wire ends at {place[0]:g}, {place[1]:g} mm of the drawing, where there is "
            "no copper. Correct its place in [[board]], or check the drawing's unit."
        ),
        place,
    )
