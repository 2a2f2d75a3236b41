"""Nets: copper pieces that wire links join."""

from __future__ import annotations

from collections.abc import Sequence

import shapely

from millprep.values.finding import Finding
from millprep.values.layout import Layout, Placement
from millprep.values.path import Point
from millprep.values.plan import BoardPlan

Key = tuple[int, str]
"""A piece of a copy: (placement, piece)."""


def name(
    plans: Sequence[BoardPlan], layout: Layout
) -> tuple[dict[Key, str], tuple[Finding, ...]]:
    """The net of every piece, named after its first piece; findings for links on no copper."""
    links = {plan.name: plan.links for plan in plans}
    named: dict[Key, str] = {}
    findings: list[Finding] = []
    for placement in layout.placements:
        pieces = placement.board.pieces
        tree = shapely.STRtree([piece.shape for piece in pieces])
        net = list(range(len(pieces)))
        for link in links[placement.board.name]:
            ends = [_piece_at(tree, place) for place in (link.start, link.end)]
            for end, place in zip(ends, (link.start, link.end), strict=True):
                # every copy has the same links, the first one reports
                if end is None and placement.copy == 1:
                    findings.append(_off_copper(placement, place))
            if ends[0] is not None and ends[1] is not None:
                _unite(net, ends[0], ends[1])
        for n, piece in enumerate(pieces):
            named[placement.index, piece.id] = pieces[_root(net, n)].id
    return named, tuple(findings)


def _piece_at(tree: shapely.STRtree, place: Point) -> int | None:
    hits = tree.query(shapely.Point(place), predicate="intersects")
    return int(hits[0]) if len(hits) else None


def _root(net: list[int], n: int) -> int:
    while net[n] != n:
        n = net[n]
    return n


def _unite(net: list[int], a: int, b: int) -> None:
    low, high = sorted((_root(net, a), _root(net, b)))
    net[high] = low


def _off_copper(placement: Placement, place: Point) -> Finding:
    return Finding(
        code="link-on-no-copper",
        severity="stop",
        message=(
            f"A wire link ends at {place[0]:g}, {place[1]:g} mm of the drawing, where there is no "
            "copper. Correct [[board]] links, or check the drawing's unit."
        ),
        frame="drawing",
        at=place,
        board=placement.board.name,
        copy=placement.copy,
        blank=placement.blank,
    )
