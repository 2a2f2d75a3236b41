"""The copper in the worst case: every groove as wide, or as narrow, as it may be cut.

The surface of the laminate may lie off by the job's flatness, or by what a surface map leaves of
it; a cutter may run out, and its tip may be worn. The narrow grooves come from cutters that go
less deep by the flatness and cut half their wear less on both sides: they are swept again, and
shorts and gaps are judged on the copper that they leave. The wide grooves come from cutters that
go deeper by the flatness and cut half their runout and half their wear more: they are the nominal
grooves, each dilated by what its cutter may add, and opens and necks are judged on them.

A piece that only cutters with the same addition went around is eroded evenly: its neck loses
twice the addition. Where several went around, no neck loses more than twice the largest addition;
only pieces that this leaves in doubt are cut with the dilated grooves.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.cache import cached
from millprep.geometry.path import FloatArray
from millprep.model.as_cut import AsCut, BoardProof, CopperPart, Groove, WorstCase
from millprep.model.blank import Blank, Placement, on_blank
from millprep.model.cutter import Cutter, Drill, EndMill, Vee, slope, wider
from millprep.model.finding import Finding
from millprep.model.milling_pass import MillingPass
from millprep.verify.as_cut import Nets, as_copper, nets_on
from millprep.verify.contact import Cuts
from millprep.verify.narrowest import are_round, necks_below, outlines, pair_gaps
from millprep.verify.sweep import Shapes
from millprep.verify.trace import Trace

TOUCH = 1e-4
"""A groove this close to a piece, mm, made its edge."""
CHUNK = 24
"""Edges of an outline that are looked at together."""
_SEGMENTS = 8


class GrooveEdges:
    """The grooves of a blank at the surface, each with what its cutter may add, mm."""

    def __init__(self, grooves: Sequence[Groove], more: Mapping[str, float]) -> None:
        self.areas = np.concatenate(
            [shapely.get_parts(groove.surface) for groove in grooves] or [np.array([], object)]
        )
        self.more = np.array(
            [more[g.cutter] for g in grooves for _ in range(len(g.surface.geoms))], dtype=float
        )
        self.owner, lines = outlines(self.areas.tolist(), CHUNK)
        self.edges = shapely.STRtree(lines)

    @property
    def most(self) -> float:
        """What is added at most anywhere."""
        return float(self.more.max(initial=0.0))

    def around(self, shapes: Shapes) -> tuple[FloatArray, FloatArray]:
        """The least and the most that is added on the edges of each shape."""
        # copper lies in no groove, so the outline of a groove is as near as the groove
        which, line = self.edges.query(shapes, predicate="dwithin", distance=TOUCH)
        area = self.owner[line]
        least, most = np.full(len(shapes), math.inf), np.zeros(len(shapes))
        np.minimum.at(least, which, self.more[area])
        np.maximum.at(most, which, self.more[area])
        return np.minimum(least, most), most

    def cut(self, shape: shapely.Polygon) -> shapely.Geometry:
        """What is left of a shape."""
        most = self.most / math.cos(math.pi / (4 * _SEGMENTS))
        near = np.unique(self.owner[self.edges.query(shape, predicate="dwithin", distance=most)])
        x0, y0, x1, y1 = shape.bounds
        wide = 2 * most + TOUCH
        around = shapely.clip_by_rect(self.areas[near], x0 - wide, y0 - wide, x1 + wide, y1 + wide)
        by = self.more[near] / math.cos(math.pi / (4 * _SEGMENTS))
        grown = shapely.buffer(around, by, quad_segs=_SEGMENTS)
        left: shapely.Geometry = shapely.difference(shape, shapely.union_all(grown))
        return left


def separated(shapes: Shapes, widths: FloatArray, edges: GrooveEdges) -> NDArray[np.intp]:
    """Which shapes the grown grooves cut apart, open around a hole, or leave nothing of.

    `widths` are those of the narrowest necks.
    """
    thin = np.flatnonzero(widths <= 2 * edges.most)
    least, most = edges.around(shapes[thin])
    lost = widths[thin] <= 2 * least
    for n in np.flatnonzero((widths[thin] <= 2 * most) & ~lost).tolist():
        shape = shapes[thin[n]]
        left = edges.cut(shape)
        lost[n] = (
            not isinstance(left, shapely.Polygon)
            or left.is_empty
            or len(left.interiors) != len(shape.interiors)
        )
    return thin[lost & (most > 0)]


def narrowest(
    shapes: Shapes, widths: FloatArray, edges: GrooveEdges
) -> tuple[float | None, int | None]:
    """Width of the narrowest neck that the grown grooves leave of any shape, and whose it is."""
    if not len(shapes):
        return None, None
    best, which = math.inf, 0
    order = np.argsort(widths, kind="stable")
    # once the thinnest is known, few others can be narrower
    for some in (order[:1], order[1:]):
        some = some[widths[some] - 2 * edges.most < best]
        rings, of = shapely.get_rings(shapes[some], return_index=True)
        outer = np.flatnonzero(np.diff(of, prepend=-1))
        least, most = edges.around(rings)
        width = widths[some] - 2 * np.maximum.reduceat(most, outer)
        mixed = np.minimum.reduceat(least, outer) < np.maximum.reduceat(most, outer)
        doubt = mixed & (width < best)
        # where one cutter went along each edge, what it adds comes off; where several did, or
        # two along edges with bays, copper is cut
        own = most[outer][of]
        several = np.unique(of[(least < most) | (most != own) & ~are_round(rings)])
        even = np.setdiff1d(np.flatnonzero(doubt), several)
        width[even] = necks_below(shapes[some[even]], best, most[np.isin(of, even)])
        odd = several[doubt[several]]
        left = np.array([edges.cut(shapes[i]) for i in some[odd].tolist()], dtype=object)
        whole = shapely.get_type_id(left) == shapely.GeometryType.POLYGON
        whole &= ~shapely.is_empty(left)
        width[odd] = 0.0
        width[odd[whole]] = necks_below(left[whole], best)
        if width.min(initial=math.inf) < best:
            best, which = float(width.min()), int(some[np.argmin(width)])
    return max(best, 0.0), which


def narrower(cutter: Cutter, flatness: float) -> tuple[Cutter, float]:
    """The cutter at its narrowest, and how much higher than nominal it may go, mm.

    A flat tip can lose no more than it has: the rest of the wear of a vee narrows its cone,
    which is the same as to hold it higher.
    """
    if isinstance(cutter, Vee):
        tip = max(cutter.tip - cutter.wear, 0.0)
        higher = (cutter.wear - (cutter.tip - tip)) / 2 / slope(cutter)
        return replace(cutter, tip=tip), flatness + higher
    assert isinstance(cutter, EndMill | Drill)
    # One that is worn away cuts a groove of no width to speak of.
    return replace(cutter, diameter=max(cutter.diameter - cutter.wear, 1e-6)), flatness


def narrowed(
    blank: Blank, cuts: Cuts, placements: Sequence[Placement], flatness: float | Sequence[float]
) -> tuple[CopperPart, ...]:
    """The copper at its foot with every groove at its narrowest.

    `flatness` is how far the surface may lie off, mm, for all cuts or for each.
    """
    least = [narrower(cutter, off) for (_, cutter, _), off in _flat(cuts, flatness)]
    thin = [(cut[0], cutter, cut[2]) for cut, (cutter, _) in zip(cuts, least, strict=True)]
    return as_copper(blank, thin, placements, raised=[higher for _, higher in least])


def _flat(
    cuts: Cuts, flatness: float | Sequence[float]
) -> list[tuple[tuple[Trace, Cutter, MillingPass], float]]:
    """Every cut with how far the surface may lie off under it, mm."""
    return list(zip(cuts, np.broadcast_to(np.asarray(flatness), len(cuts)).tolist(), strict=True))


def worst_cases(
    cuts: Cuts,
    placements: Sequence[Placement],
    nominal: AsCut,
    narrow: Sequence[CopperPart],
    proofs: Mapping[int, BoardProof],
    flatness: float | Sequence[float],
    nets: Nets | None = None,
) -> dict[int, WorstCase]:
    """The worst case of every copy on a blank, by placement.

    `nominal` is the copper that nominal cutters leave, `narrow` that of `narrowed`, `proofs` what
    the nominal proves, `flatness` how far the surface may lie off, for all cuts or for each; `nets`
    as for the comparison.
    """
    more: dict[str, float] = {}
    for (_, cutter, _), off in _flat(cuts, flatness):
        more[cutter.name] = max(more.get(cutter.name, 0.0), wider(cutter, off))
    return _cases(more, placements, nominal, narrow, proofs, dict(nets or {}))


@cached
def _cases(
    more: Mapping[str, float],
    placements: Sequence[Placement],
    nominal: AsCut,
    narrow: Sequence[CopperPart],
    proofs: Mapping[int, BoardProof],
    nets: Nets,
) -> dict[int, WorstCase]:
    edges = GrooveEdges(nominal.grooves, more)
    result: dict[int, WorstCase] = {}
    for placement in placements:
        index, proof = placement.index, proofs[placement.index]
        mine = [part for part in narrow if any(copy == index for copy, _ in part.pieces)]
        gaps = pair_gaps(mine, index, 1)
        whole = {
            part.pieces[0][1]: part.shape
            for part in nominal.surface
            if [copy for copy, _ in part.pieces] == [index]
        }
        necks = [neck for neck in proof.necks if neck.piece in whole]
        shapes = np.array([whole[neck.piece] for neck in necks], dtype=object)
        widths = np.array([neck.width for neck in necks])
        lost = separated(shapes, widths, edges)
        width, which = narrowest(shapes, widths, edges)
        # where a piece is cut_apart its own neck gives way
        spot = which if lost.size == 0 else int(lost[np.argmin(widths[lost])])
        joined = [part for part in mine if len(nets_on(part, nets)) > 1]
        shorts = sum(len(nets_on(part, nets)) - 1 for part in joined)
        result[index] = WorstCase(
            shorts=shorts,
            short_at=_at(joined[0].shape) if joined else None,
            opens=proof.opens + len(lost),
            narrowest_gap=gaps[0].gap if gaps else None,
            gap_at=gaps[0].at if gaps else None,
            narrowest_copper=width,
            copper_at=None if spot is None else necks[spot].at,
        )
    return result


def worst_case_findings(
    placement: Placement, case: WorstCase, flatness: float
) -> tuple[Finding, ...]:
    """What a person should know of a copy's worst case."""
    findings: list[Finding] = []
    if case.shorts and case.short_at is not None:
        message = (
            f"worst case: where the surface is {flatness:g} mm low and a cutter is worn, "
            f"{case.shorts} pairs of pieces stay connected. Cut deeper, or level the blank."
        )
        findings.append(on_blank(placement, "worst-case-short", "warn", message, case.short_at))
    if case.opens and case.copper_at is not None:
        message = (
            f"worst case: where the surface is {flatness:g} mm high and a cutter runs out or is "
            f"blunt, {case.opens} pieces are cut in two. Choose a finer cutter."
        )
        findings.append(on_blank(placement, "worst-case-open", "warn", message, case.copper_at))
    return tuple(findings)


def _at(shape: shapely.Polygon) -> tuple[float, float]:
    at = shape.representative_point()
    return (at.x, at.y)
