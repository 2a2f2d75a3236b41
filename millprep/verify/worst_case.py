"""The copper at its worst: a groove nowhere wider, or nowhere narrower, than any that may be cut.

The surface of the laminate may lie off by the job's flatness, or what a surface map leaves of it in
a pass that follows one, a cutter may run out of true, and
its tip may be worn. So a cutter may go less deep than asked by the flatness while it cuts half
its wear less far out on both sides, and at most deeper by as much while it cuts half its runout
and half its wear farther out. The narrow grooves are swept anew, with cutters as narrow and as
high: shorts and gaps are judged on what they leave. The wide ones are the grooves as asked, each
cutter's grown on every edge by as much as that cutter adds: opens and necks are judged on what
those leave.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import shapely

from millprep.model.as_cut import AsCut, BoardProof, WorstCase
from millprep.model.blank import Blank
from millprep.model.copy_findings import on_blank
from millprep.model.cutter import Cutter, Drill, EndMill, Vee, slope, wider
from millprep.model.finding import Finding
from millprep.model.layout import Placement
from millprep.model.milling_pass import MillingPass
from millprep.verify.as_cut import as_copper
from millprep.verify.gaps import pair_gaps
from millprep.verify.one_net import Nets, nets_on
from millprep.verify.trace import Trace
from millprep.verify.wide import Edges, narrowest, parted


def narrower(cutter: Cutter, flatness: float) -> tuple[Cutter, float]:
    """The cutter at its narrowest, and how much higher than asked it may go, mm.

    A flat tip can lose no more than it has: the rest of the wear of a vee narrows its cone,
    which is the same as to hold it higher.
    """
    match cutter:
        case Vee():
            tip = max(cutter.tip - cutter.wear, 0.0)
            higher = (cutter.wear - (cutter.tip - tip)) / 2 / slope(cutter)
            return replace(cutter, tip=tip), flatness + higher
        case EndMill() | Drill():
            # One that is worn away cuts a groove of no width to speak of.
            return replace(cutter, diameter=max(cutter.diameter - cutter.wear, 1e-6)), flatness
    raise TypeError(f"no shape is known for a {cutter.kind}")


def worst(
    blank: Blank,
    cuts: Sequence[tuple[Trace, Cutter, MillingPass]],
    placements: Sequence[Placement],
    asked: AsCut,
    proofs: Mapping[int, BoardProof],
    flatness: float | Sequence[float],
    nets: Nets | None = None,
) -> dict[int, WorstCase]:
    """The worst case of every copy on a blank, by placement.

    `asked` is the copper that cutters as asked leave, `proofs` what it proves, `flatness` how far
    the surface may lie off, for all cuts or for each; `nets` as for the comparison.
    """
    flat = list(zip(cuts, np.broadcast_to(np.asarray(flatness), len(cuts)).tolist(), strict=True))
    least = [narrower(cutter, off) for (_, cutter, _), off in flat]
    thin = [(one[0], cutter, one[2]) for one, (cutter, _) in zip(cuts, least, strict=True)]
    narrow = as_copper(blank, thin, placements, raised=[higher for _, higher in least])
    more: dict[str, float] = {}
    for (_, cutter, _), off in flat:
        more[cutter.name] = max(more.get(cutter.name, 0.0), wider(cutter, off))
    edges = Edges(asked.grooves, more)
    found: dict[int, WorstCase] = {}
    for placement in placements:
        index, proof = placement.index, proofs[placement.index]
        mine = [part for part in narrow if any(copy == index for copy, _ in part.pieces)]
        gaps = pair_gaps(mine, index, 1)
        whole = {
            part.pieces[0][1]: part.shape
            for part in asked.surface
            if [copy for copy, _ in part.pieces] == [index]
        }
        necks = [neck for neck in proof.necks if neck.piece in whole]
        shapes = np.array([whole[neck.piece] for neck in necks], dtype=object)
        widths = np.array([neck.width for neck in necks])
        lost = parted(shapes, widths, edges)
        width, which = narrowest(shapes, widths, edges)
        # where a piece is parted its own neck gives way
        spot = which if lost.size == 0 else int(lost[np.argmin(widths[lost])])
        joined = [part for part in mine if len(nets_on(part, nets or {})) > 1]
        shorts = sum(len(nets_on(part, nets or {})) - 1 for part in joined)
        found[index] = WorstCase(
            shorts=shorts,
            short_at=_at(joined[0].shape) if joined else None,
            opens=proof.opens + len(lost),
            narrowest_gap=gaps[0].gap if gaps else None,
            gap_at=gaps[0].at if gaps else None,
            narrowest_copper=width,
            copper_at=None if spot is None else necks[spot].at,
        )
    return found


def worst_findings(
    placement: Placement, case: WorstCase, flatness: float
) -> tuple[Finding, ...]:
    """What a person should know of a copy's worst case."""
    found: list[Finding] = []
    if case.shorts and case.short_at is not None:
        message = (
            f"where the surface lies {flatness:g} mm lower than it should and a cutter is worn, "
            f"{case.shorts} pairs of pieces stay joined. Cut deeper, or level the blank."
        )
        found.append(on_blank(placement, "worst-case-short", "warn", message, case.short_at))
    if case.opens and case.copper_at is not None:
        message = (
            f"where the surface lies {flatness:g} mm higher than it should and a cutter runs out "
            f"of true or is blunt, {case.opens} pieces are cut in two. Choose a finer cutter."
        )
        found.append(on_blank(placement, "worst-case-open", "warn", message, case.copper_at))
    return tuple(found)


def _at(shape: shapely.Polygon) -> tuple[float, float]:
    at = shape.representative_point()
    return (at.x, at.y)
