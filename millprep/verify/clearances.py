"""Gaps between pieces, and around pieces and pads, that are not as wide as required.

The first lap isolates a piece from floating copper; the laps beyond it open the gap. Without them
no net is shorted and no piece has another shape, but floating copper comes closer than required.
A pad may get a wider gap for soldering by hand: floating copper gives way to it, copper of another
net that is drawn closer stays. Copper of the pad's own net does not matter.

Two pieces that are drawn nearer than the required gap stay so: no cut removes drawn copper.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from millprep.cache import cached
from millprep.model.as_cut import AsCut, PadGap
from millprep.model.blank import Blank, Placement, on_blank
from millprep.model.finding import MOST_PER_CODE, Finding, Severity, limited
from millprep.model.job.isolation import IsolationPlan
from millprep.standards.spacing import Column, required
from millprep.verify.as_cut import Key, Nets, net_of, nets_on
from millprep.verify.edges import EDGE
from millprep.verify.floating import ISLAND, SLIVER
from millprep.verify.narrowest import outlines, pairs_within
from millprep.verify.pads import pad_areas
from millprep.verify.sweep import dilated, quarter

ENOUGH = 1e-6
"""A gap short of what volts require by less is wide enough, mm."""
CHUNK = 24
"""Edges of an outline that are measured together."""
_QUARTER = 8
WIDE = 0.02
"""Floating copper within the gap is reported when it is wider than this, mm."""
_PAD_EDGE = 0.1
"""Copper this near to a drawn pad is the pad's in the worst case, mm."""
_CLIP = 1.0
"""Floating copper is looked at so far around a piece's gap, mm."""


@cached
def pad_gaps(
    cut: AsCut, placement: Placement, required_gap: float, skirt: float, nets: Nets | None = None
) -> tuple[tuple[PadGap, ...], tuple[Finding, ...]]:
    """What lies around every pad of a copy, the narrowest first, and a note of it.

    Measured at the copper's foot, which reaches `skirt` mm beyond the drawn edge; as far as
    `required_gap` mm: what lies farther off is not looked for. Slivers between paths have a finding
    of their own. `nets` names the net of every piece.
    """
    known = nets or {}
    parts = [part for part in cut.parts if part.pieces or not _is_sliver(part.shape)]
    named = [nets_on(part, known) for part in parts]
    owner, edges = outlines([part.shape for part in parts], CHUNK)
    pads = pad_areas(placement.board)
    drawn = np.array([placement.pose.shape(pad.shape) for pad in pads], dtype=object)
    foot = dilated(drawn, skirt, _QUARTER)
    near, edge = shapely.STRtree(edges).query(foot, predicate="dwithin", distance=required_gap)
    far = shapely.distance(foot[near], edges[edge])
    order = np.lexsort((far, near))
    gaps: dict[int, PadGap] = {}
    for k in order.tolist():
        n = int(near[k])
        pad, part = pads[n], int(owner[edge[k]])
        if n in gaps or net_of(known, (placement.index, pad.piece)) in named[part]:
            continue
        line = shapely.shortest_line(foot[n], edges[edge[k]])
        at = shapely.get_coordinates(line).mean(axis=0)
        other = parts[part].pieces
        gaps[n] = PadGap(
            pad.hole.id,
            float(far[k]),
            (float(at[0]), float(at[1])),
            other[0][1] if other else None,
        )
    reached = [
        gaps.get(n) or PadGap(pad.hole.id, None, placement.pose.point(pad.hole.at), None)
        for n, pad in enumerate(pads)
    ]
    reached.sort(
        key=lambda pad_gap: (required_gap if pad_gap.gap is None else pad_gap.gap, pad_gap.hole)
    )
    return tuple(reached), tuple(_gap_note(reached, placement, required_gap))


def _is_sliver(shape: shapely.Polygon) -> bool:
    return shape.area < ISLAND and bool(shape.buffer(-SLIVER, quad_segs=2).is_empty)


def _gap_note(
    reached: Sequence[PadGap], placement: Placement, required_gap: float
) -> Iterator[Finding]:
    """A note of how many pads have the gap, and of the one that has least."""
    on_copper = [hole for hole in placement.board.holes if hole.piece is not None]
    if not on_copper:
        return
    words = {hole.id: hole.words for hole in on_copper}
    wide = sum(not _short(pad_gap, required_gap) for pad_gap in reached)
    message = f"{wide} of {len(reached)} pads have a gap of {required_gap:g} mm around them"
    at = reached[0].at if reached else placement.pose.point(on_copper[0].at)
    if wide < len(reached):
        least = reached[0]
        message += f"; the narrowest is {least.gap:.3f} mm, at the pad of {words[least.hole]}"
    bare = len(on_copper) - len(reached)
    if bare == 1:
        message += "; 1 hole on copper is not surrounded by it and has no pad"
    elif bare:
        message += f"; {bare} holes on copper are not surrounded by it and have no pad"
    yield on_blank(placement, "gap-around-pads", "note", f"{message}.", at)


def _short(pad_gap: PadGap, required_gap: float) -> bool:
    return pad_gap.gap is not None and pad_gap.gap < required_gap - EDGE


def pads_too_near(
    reached: Sequence[PadGap],
    placement: Placement,
    required_gap: float,
    narrowest: Mapping[Key, shapely.Polygon],
) -> tuple[Finding, ...]:
    """A warning for each pad that copper of another net is drawn too near to.

    `narrowest` is the copper that carries each piece in the worst case; without any, nothing is
    said of that. Only what is listed is measured there.
    """
    near = [gap for gap in reached if gap.other is not None and _short(gap, required_gap)]
    pads = {pad.hole.id: pad for pad in pad_areas(placement.board)} if near else {}
    shapes = {piece.id: piece.shape for piece in placement.board.pieces}
    findings: list[Finding] = []
    for pad_gap in near[:MOST_PER_CODE]:
        pad, other = pads[pad_gap.hole], pad_gap.other or ""
        worst = ""
        keys = [(placement.index, piece) for piece in (pad.piece, other)]
        if all(key in narrowest for key in keys):
            own, far = (narrowest[key] for key in keys)
            around = placement.pose.shape(pad.shape).buffer(_PAD_EDGE, quad_segs=_QUARTER)
            worst = f", worst case {shapely.distance(own.intersection(around), far):.3f}"
        message = (
            f"gap of {pad_gap.gap:.3f} mm between the pad of {pad.hole.words} and piece {other} at "
            f"the foot of the copper{worst}; [isolation] pad_gap requires {required_gap:g}. They "
            f"are drawn {shapely.distance(pad.shape, shapes[other]):.3f} mm apart. Draw them "
            "farther from each other, draw the pad smaller, or look for bridges of solder there."
        )
        findings.append(on_blank(placement, "pad-gap-narrow", "warn", message, pad_gap.at))
    if findings:
        findings[-1] = replace(findings[-1], more=len(near) - len(findings))
    return tuple(findings)


@cached
def check_gaps_opened(
    cut: AsCut, placement: Placement, gap: float, around: float | None = None
) -> tuple[Finding, ...]:
    """A warning for each piece that floating copper is nearer to than `gap`, mm.

    `gap` is measured from the drawn edge to the copper's foot, `around` likewise from the edge of
    pads; None where pads get no gap of their own. Small islands and slivers between laps have a
    finding of their own.
    """
    floating = np.array(
        [part.shape for part in cut.parts if not part.pieces and part.shape.area >= ISLAND],
        dtype=object,
    )
    required = [(f"piece {name}", shape, gap) for name, shape in placement.pieces.items()]
    if around is not None:
        required += [
            (f"the pad of {pad_area.hole.words}", placement.pose.shape(pad_area.shape), around)
            for pad_area in pad_areas(placement.board)
        ]
    drawn = np.array([shape for _, shape, _ in required], dtype=object)
    far = np.array([wide for _, _, wide in required])
    zones = dilated(drawn, far - EDGE, quarter(float(far.max())))
    outline = placement.pose.shape(placement.board.outline)
    # GEOS prepares what it queries with, and that is the large one
    hits = shapely.STRtree(zones).query(floating, predicate="intersects")
    findings: list[Finding] = []
    for n in np.unique(hits[1]).tolist():
        x0, y0, x1, y1 = zones[n].bounds
        near = shapely.clip_by_rect(
            floating[hits[0][hits[1] == n]], x0 - _CLIP, y0 - _CLIP, x1 + _CLIP, y1 + _CLIP
        )
        inside = shapely.intersection(shapely.union_all(near), zones[n]).intersection(outline)
        solid = shapely.buffer(inside, -WIDE / 2, quad_segs=2)
        if solid.is_empty:
            continue
        spots = shapely.points(shapely.get_coordinates(solid))
        least = float(shapely.distance(spots, drawn[n]).min()) - WIDE / 2
        at = solid.representative_point()
        findings.append(
            on_blank(
                placement,
                "gap-not-opened",
                "warn",
                f"floating copper is {least:.3f} mm from the drawn edge of {required[n][0]}, "
                f"required {far[n]:.3f} at the foot of the groove. "
                "A lap next to it is missing, too shallow, or off its place.",
                (at.x, at.y),
            )
        )
    return limited(findings)


@dataclass(frozen=True, slots=True)
class NearPieces:
    """Two pieces of a copy that are nearer to each other than the required gap, as cut.

    Attributes:
        pieces: ids of both.
        parts: the copper that carries them, at its foot.
        gap: between them, mm.
        volts: between their nets; None where a net has none.
        by_volts: what these require, mm; 0 without volts.
    """

    placement: Placement
    pieces: tuple[str, str]
    parts: tuple[shapely.Polygon, shapely.Polygon]
    gap: float
    volts: float | None
    by_volts: float

    @property
    def too_near(self) -> bool:
        """Whether the volts require more."""
        return self.gap < self.by_volts - ENOUGH


@cached
def near_pieces(
    cut: AsCut,
    placement: Placement,
    gap: float,
    nets: Nets,
    volts: Mapping[Key, tuple[float, float]],
    columns: Sequence[Column],
) -> list[NearPieces]:
    """Every two pieces of two nets of a copy that are nearer than `gap` mm as cut.

    The tolerances of both edges do not count. `nets` names the net of every piece, `volts` is
    (lowest, highest) of those that have any; of several `columns` of the table the one that
    requires least counts.
    """
    index = placement.index
    parts = [part for part in cut.parts if any(copy == index for copy, _ in part.pieces)]
    shapes = np.array([part.shape for part in parts], dtype=object)
    first, second, far = pairs_within(shapes, max(gap - 2 * EDGE, 0.0))
    near: list[NearPieces] = []
    for i, j, wide in zip(first.tolist(), second.tolist(), far.tolist(), strict=True):
        if nets_on(parts[i], nets) & nets_on(parts[j], nets):
            continue
        names = tuple(
            next(piece for copy, piece in part.pieces if copy == index)
            for part in (parts[i], parts[j])
        )
        a, b = (volts.get(net_of(nets, (index, piece))) for piece in names)
        between = None if a is None or b is None else max(a[1] - b[0], b[1] - a[0])
        needed = 0.0 if between is None else min(required(between, column) for column in columns)
        pair = (shapes[i], shapes[j])
        near.append(NearPieces(placement, (names[0], names[1]), pair, wide, between, needed))
    return near


def check_grooves(isolation: IsolationPlan, blanks: Sequence[Blank]) -> tuple[Finding, ...]:
    """That a groove is wider than the required gap; a note where another cutter's is not."""
    widths = {
        (use.foot(copper), use.cutter.name)
        for copper in {blank.copper for blank in blanks}
        for use in isolation.uses
    }
    wider = [(width, name) for width, name in sorted(widths) if width > isolation.gap + EDGE]
    severity: Severity = "warn" if len(wider) == len(widths) else "note"
    return tuple(
        Finding(
            code="groove-wider-than-gap",
            severity=severity,
            message=f"The groove of {name} is {width:.3f} mm wide at the foot of the copper, so "
            f"gaps are cut {width:.3f} mm wide where it fits; [isolation] gap is "
            f"{isolation.gap:g}. Set gap to {width:.3f}, or use a narrower or shallower groove.",
        )
        for width, name in wider
    )


def gaps_not_reached(
    near: Sequence[NearPieces], narrowest: Mapping[Key, shapely.Polygon], gap: float
) -> tuple[Finding, ...]:
    """A warning for the nearest of two pieces, a stop where their volts require more.

    `near` are those of a whole set, `narrowest` the copper that carries each piece in the worst
    case. Only what is listed is measured there.
    """
    findings: list[Finding] = []
    for too_near in (True, False):
        alike = sorted(
            (pair for pair in near if pair.too_near is too_near), key=lambda pair: pair.gap
        )
        some = [_not_reached(pair, narrowest, gap) for pair in alike[:MOST_PER_CODE]]
        if some:
            some[-1] = replace(some[-1], more=len(alike) - len(some))
        findings += some
    return tuple(findings)


def _not_reached(pair: NearPieces, narrowest: Mapping[Key, shapely.Polygon], gap: float) -> Finding:
    """That the gap between two pieces is not reached: drawn, as cut and in the worst case."""
    placement = pair.placement
    worst = [narrowest[placement.index, piece] for piece in pair.pieces]
    shapes = {piece.id: piece.shape for piece in placement.board.pieces}
    drawn = float(shapely.distance(*(shapes[piece] for piece in pair.pieces)))
    least = float(shapely.distance(*worst))
    at = shapely.shortest_line(*pair.parts).interpolate(0.5, normalized=True)
    remedy = (
        "and no cut widens that: draw them farther apart, or set a smaller gap if that is enough"
        if drawn < gap
        else "but copper is left between them: add a finer cutter to [isolation] cutters"
    )
    needed = ""
    if pair.too_near:
        needed = f" {pair.volts:g} V require {pair.by_volts:g} mm (IPC-2221 table 6-1)."
    message = (
        f"gap of {pair.gap:.3f} mm between pieces {pair.pieces[0]} and {pair.pieces[1]} at the "
        f"foot of the copper, worst case {least:.3f}; [isolation] gap requires {gap:g}."
        f"{needed} They are drawn {drawn:.3f} mm apart, {remedy}."
    )
    severity: Severity = "stop" if pair.too_near else "warn"
    return on_blank(placement, "gap-not-reached", severity, message, (at.x, at.y))
