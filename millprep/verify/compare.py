"""As-cut copper against the design: shorts, opens, gouges and the narrowest gap."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely

from millprep.cache import cached
from millprep.geometry.path import Point
from millprep.model.as_cut import AsCut, BoardProof, CopperPart, Corner
from millprep.model.blank import Layout, Placement, on_blank
from millprep.model.finding import Finding, limited
from millprep.verify.as_cut import Nets, net_of
from millprep.verify.edges import (
    EDGE,
    check_gouges,
    check_isolated,
    corner_notes,
    differences,
    extra_copper,
    lost_copper,
    uncut_edges,
    unreached_corners,
)
from millprep.verify.floating import SLIVER, check_slivers
from millprep.verify.holes_as_cut import check_holes, holes_cut
from millprep.verify.narrowest import every_neck, pair_gaps
from millprep.verify.sweep import Shapes, dilated

SKIN = 0.03
"""Copper this close to a piece, mm, counts as the piece: cut edges lie a little outside."""
TOUCH = 1e-6
REACH = 0.25
"""Radius of the widest isolating cutter when the caller does not say, mm."""
GAPS = 20
"""So many of the narrowest gaps of a copy are kept."""


def bridges(
    part: shapely.Polygon, pieces: Mapping[str, shapely.Polygon]
) -> list[tuple[str, str, Point]]:
    """Pairs of pieces that `part` joins, one fewer than pieces, each with its place.

    The copper of the part beyond the pieces falls into connectors. Each connector joins the
    pieces it touches; its place is the smallest of its contacts, or its own middle when it
    is small.
    """
    names = list(pieces)
    grown = np.asarray(shapely.buffer([pieces[name] for name in names], SKIN, quad_segs=4))
    beyond = shapely.difference(part, shapely.union_all(grown))
    connectors = np.asarray(shapely.get_parts(beyond))
    group = list(range(len(names)))

    def root(i: int) -> int:
        while group[i] != i:
            i = group[i]
        return i

    result: list[tuple[str, str, Point]] = []

    def join(i: int, j: int, at: Point) -> None:
        a, b = root(i), root(j)
        if a != b:
            group[max(a, b)] = min(a, b)
            result.append((names[min(i, j)], names[max(i, j)], at))

    tree = shapely.STRtree(grown)
    for i, j in tree.query(grown, predicate="intersects").T.tolist():
        if i < j:
            join(i, j, _between(pieces[names[i]], pieces[names[j]]))
    # Small connectors first: they are the bridges, the floating copper joins what is left.
    for connector in sorted(connectors.tolist(), key=lambda shape: shape.area):
        touched = sorted(tree.query(connector, predicate="dwithin", distance=TOUCH).tolist())
        for i, j in pairwise(touched):
            join(i, j, _contact(connector, grown[i], grown[j]))
    first = root(0)
    for i in range(1, len(names)):
        if root(i) != first:
            join(0, i, _between(pieces[names[0]], pieces[names[i]]))
    return result


def _contact(
    connector: shapely.Polygon, first: shapely.Geometry, second: shapely.Geometry
) -> Point:
    if connector.area < 1.0:
        at = connector.representative_point()
        return (at.x, at.y)
    skin = connector.buffer(10 * TOUCH)
    contacts = [
        part
        for piece in (first, second)
        for part in shapely.get_parts(shapely.intersection(skin, piece)).tolist()
        if part.area > 0
    ]
    at = min(contacts, key=lambda part: part.area).representative_point()
    return (at.x, at.y)


def _between(first: shapely.Geometry, second: shapely.Geometry) -> Point:
    at = shapely.shortest_line(first, second).interpolate(0.5, normalized=True)
    return (at.x, at.y)


@dataclass(frozen=True, slots=True)
class _Shown:
    """A copy with its pieces where they lie on the blank."""

    placement: Placement
    pieces: Mapping[str, shapely.Polygon]


@cached
def compare(
    as_cuts: Sequence[AsCut],
    layout: Layout,
    *,
    reach: float = REACH,
    slope: float | None = None,
    nets: Nets | None = None,
    kept: bool = False,
    cut_short: float = 0.0,
) -> tuple[tuple[BoardProof, ...], tuple[Finding, ...]]:
    """What the as-cut copper proves of each copy, in the order of the layout, and its faults.

    `reach` is the radius at the surface, mm, of the widest cutter that isolates: what it
    cannot get out of an inner corner is no fault. `slope` is by how much its groove's edge at
    the foot lies farther in than at the surface, mm; None to check nothing at the foot. Shorts
    and gaps are judged at the foot of the copper, opens, gouges and necks at its surface.
    `nets` names the net of every piece that jumper wires join to others: copper between pieces
    of one net is a bridge, no short. With `kept` isolation runs in the middle of gaps: copper
    beyond a piece's edge is meant to stay with it and no fault. `cut_short` is how far from a
    corner the machine may pass, mm; it counts as gouged.
    """
    by_blank = {cut.blank: cut for cut in as_cuts}
    proofs: list[BoardProof] = []
    findings: list[Finding] = []
    for placement in layout.placements:
        cut = by_blank.get(placement.blank)
        if cut is None:
            raise ValueError(f"no as-cut copper for blank {placement.blank}")
        shown = _Shown(placement, placement.pieces)
        proof, faults = _board(cut, shown, None if kept else reach, slope, nets or {}, cut_short)
        proofs.append(proof)
        findings.extend(faults)
    corners = [(p, proof.corners) for p, proof in zip(layout.placements, proofs, strict=True)]
    findings += corner_notes(corners, reach)
    for cut in as_cuts:
        findings.extend(check_slivers(cut.parts, layout.on(cut.blank), cut.blank))
    return tuple(proofs), tuple(findings)


def _board(
    cut: AsCut,
    shown: _Shown,
    reach: float | None,
    slope: float | None,
    nets: Nets,
    cut_short: float,
) -> tuple[BoardProof, tuple[Finding, ...]]:
    index = shown.placement.index
    mine = [part for part in cut.parts if any(key[0] == index for key in part.pieces)]
    joined = _joined(mine, shown, nets)
    shorts = [finding for finding in joined if finding.code == "copper-short"]
    opens = _opens(cut, shown)
    gaps = pair_gaps(mine, index, GAPS)
    at_foot = Counter(key for part in mine for key in part.pieces)
    spoilt = {key for part in mine if len(part.pieces) > 1 for key in part.pieces}
    spoilt |= {(index, finding_piece) for finding_piece, _ in opens}
    whole = sum(
        1 for piece in shown.pieces if at_foot[(index, piece)] and (index, piece) not in spoilt
    )
    surface = cut.surface or cut.parts
    beyond: list[Finding] = []
    extra: tuple[Shapes, list[CopperPart]] | None = None
    corners: tuple[Corner, ...] = ()
    if reach is not None:
        beyond += check_isolated(mine, shown.placement, shown.pieces, nets)
        # what the cutter leaves: outward and back, but for what lets the tolerances pass
        drawn = np.array(list(shown.pieces.values()), dtype=object)
        filled = dilated(dilated(drawn, reach, 8), EDGE - reach, 8)
        most = dict(zip(shown.pieces, filled, strict=True))
        edges, more = uncut_edges(surface, shown.placement, shown.pieces, most)
        extra = extra_copper(surface, shown.placement, shown.pieces)
        corners = unreached_corners(extra, shown.pieces, {name: most[name] for name in more})
        beyond += edges
        if slope is not None and not edges:
            most = dict(zip(shown.pieces, dilated(filled, slope, 8), strict=True))
            beyond += uncut_edges(mine, shown.placement, shown.pieces, most)[0]
    holes = holes_cut(cut.grooves, shown.placement)
    drilled = tuple(holes.values())
    lost = gouged = lost_copper(surface, shown.placement, shown.pieces, drilled)
    if cut_short:
        gouged = lost_copper(surface, shown.placement, shown.pieces, drilled, cut_short)
    findings = limited(
        [
            *joined,
            *(finding for _, finding in opens),
            *beyond,
            *check_gouges(gouged, surface, shown.placement, shown.pieces),
            *check_holes(surface, shown.placement, holes, cut.grooves),
        ]
    )
    necks = every_neck(
        [(part.pieces[0][1], part.shape) for part in surface if _copies(part) == [index]]
    )
    neck = min(necks, key=lambda neck: neck.width, default=None)
    proof = BoardProof(
        placement=index,
        pieces=whole,
        shorts=len(shorts),
        opens=len(opens),
        narrowest_gap=gaps[0].gap if gaps else None,
        gap_at=gaps[0].at if gaps else None,
        narrowest_copper=None if neck is None else neck.width,
        copper_at=None if neck is None else neck.at,
        gaps=gaps,
        bridges=len(joined) - len(shorts),
        necks=necks,
        corners=corners,
        differences=None if extra is None else differences(extra[0], lost[0]),
    )
    return proof, findings


def _copies(part: CopperPart) -> list[int]:
    return [copy for copy, _ in part.pieces]


def _joined(mine: Sequence[CopperPart], shown: _Shown, nets: Nets) -> list[Finding]:
    """One finding for each piece too many on a part."""
    index = shown.placement.index
    findings: list[Finding] = []
    for part in mine:
        if len(part.pieces) < 2:
            continue
        own = [piece for copy, piece in part.pieces if copy == index]
        foreign = [key for key in part.pieces if key[0] != index]
        for bridge, other, at in bridges(part.shape, {piece: shown.pieces[piece] for piece in own}):
            if net_of(nets, (index, bridge)) == net_of(nets, (index, other)):
                findings.append(_bridge(shown.placement, bridge, other, at))
                continue
            findings.append(
                on_blank(
                    shown.placement,
                    "copper-short",
                    "stop",
                    f"short between pieces {bridge} and {other}. "
                    "The path between them is missing, too narrow or too shallow.",
                    at,
                )
            )
        # Reported once for two copies: by the one that comes first.
        if foreign and min(copy for copy, _ in part.pieces) == index:
            spot = part.shape.representative_point()
            findings.append(
                on_blank(
                    shown.placement,
                    "copper-short",
                    "stop",
                    f"short between piece {own[0]} and piece {foreign[0][1]} of another copy.",
                    (spot.x, spot.y),
                )
            )
    return findings


def _bridge(placement: Placement, first: str, second: str, at: tuple[float, float]) -> Finding:
    message = (
        f"copper connects pieces {first} and {second}. They are on one net, so it is no short, "
        "but the copper is not as drawn: check whether the path between them is missing."
    )
    return on_blank(placement, "net-bridged", "warn", message, at)


def _opens(cut: AsCut, shown: _Shown) -> list[tuple[str, Finding]]:
    """One finding for each part too many of a piece, and one for a piece that is gone."""
    index = shown.placement.index
    carriers: dict[str, list[shapely.Polygon]] = {piece: [] for piece in shown.pieces}
    for part in cut.surface or cut.parts:
        for copy, piece in part.pieces:
            if copy == index:
                carriers[piece].append(part.shape)
    findings: list[tuple[str, Finding]] = []
    for piece, shapes in carriers.items():
        if len(shapes) == 1:
            continue
        shape = shown.pieces[piece]
        if not shapes:
            at = shape.representative_point()
            on = [hole.words for hole in shown.placement.board.holes if hole.piece == piece]
            here = f"; on it is {on[0]}" if on else ""
            message = f"piece {piece} is cut away completely{here}."
            findings.append((piece, _open(shown.placement, message, at)))
            continue
        own = np.asarray(shapely.intersection(np.array(shapes, dtype=object), shape))
        solid = own[~shapely.is_empty(shapely.buffer(own, -SLIVER))]
        solid = solid[np.argsort(-shapely.area(solid), kind="stable")].tolist()
        for other in solid[1:]:
            line = shapely.shortest_line(solid[0], other)
            at = line.interpolate(0.5, normalized=True)
            message = f"piece {piece} is cut in two. A path crosses it."
            findings.append((piece, _open(shown.placement, message, at)))
    return findings


def _open(placement: Placement, message: str, at: shapely.Point) -> Finding:
    return on_blank(placement, "copper-open", "stop", message, (at.x, at.y))
