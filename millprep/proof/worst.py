"""The copper at its worst: a groove nowhere wider, or nowhere narrower, than any that may be cut.

The surface of the laminate may lie off by the job's flatness, and a cutter may run out of true.
So a cutter may go less deep than asked by the flatness, and at most deeper by as much while it
cuts half its runout farther out on both sides. The narrow grooves are swept anew, each step
that much higher: shorts and gaps are judged on what they leave. The wide ones are the grooves as
asked, grown on every edge by as much as the most that any cutter adds: opens and necks are
judged on what those leave.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import shapely

from millprep.proof.as_cut import as_copper
from millprep.proof.gaps import pair_gaps
from millprep.proof.necks import thinner
from millprep.proof.told import on_blank
from millprep.proof.trace import Trace
from millprep.values.as_cut import AsCut, BoardProof, WorstCase
from millprep.values.blank import Blank
from millprep.values.cutter import Cutter, Vee
from millprep.values.finding import Finding
from millprep.values.layout import Placement
from millprep.values.milling_pass import MillingPass


def wider(cutter: Cutter, flatness: float) -> float:
    """How much farther out an edge of the groove may lie on each side than asked, mm."""
    slope = math.tan(math.radians(cutter.angle) / 2) if isinstance(cutter, Vee) else 0.0
    return flatness * slope + cutter.runout / 2


def worst(
    blank: Blank,
    cuts: Sequence[tuple[Trace, Cutter, MillingPass]],
    placements: Sequence[Placement],
    asked: AsCut,
    proofs: Mapping[int, BoardProof],
    flatness: float,
) -> dict[int, WorstCase]:
    """The worst case of every copy on a blank, by placement.

    `asked` is the copper that cutters as asked leave, `proofs` what it proves.
    """
    narrow = as_copper(blank, cuts, placements, raised=flatness)
    more = max((wider(cutter, flatness) for _, cutter, _ in cuts), default=0.0)
    found: dict[int, WorstCase] = {}
    for placement in placements:
        index, proof = placement.index, proofs[placement.index]
        mine = [part for part in narrow if any(copy == index for copy, _ in part.pieces)]
        gaps = pair_gaps(mine, index, 1)
        whole = [
            part.shape for part in asked.surface if [copy for copy, _ in part.pieces] == [index]
        ]
        parted = len(thinner(np.array(whole, dtype=object), 2 * more))
        neck = proof.narrowest_copper
        joined = [part for part in mine if len(part.pieces) > 1]
        shorts = sum(len(part.pieces) - 1 for part in joined)
        found[index] = WorstCase(
            shorts=shorts,
            short_at=_at(joined[0].shape) if joined else None,
            opens=proof.opens + parted,
            narrowest_gap=gaps[0].gap if gaps else None,
            gap_at=gaps[0].at if gaps else None,
            narrowest_copper=None if neck is None else max(neck - 2 * more, 0.0),
            copper_at=proof.copper_at,
        )
    return found


def worst_findings(
    placement: Placement, case: WorstCase, flatness: float
) -> tuple[Finding, ...]:
    """What a person should know of a copy's worst case."""
    found: list[Finding] = []
    if case.shorts and case.short_at is not None:
        message = (
            f"where the surface lies {flatness:g} mm lower than it should, {case.shorts} pairs of "
            "pieces stay joined. Cut deeper, or level the blank."
        )
        found.append(on_blank(placement, "worst-case-short", "warn", message, case.short_at))
    if case.opens and case.copper_at is not None:
        message = (
            f"where the surface lies {flatness:g} mm higher than it should and a cutter runs out "
            f"of true, {case.opens} pieces are cut in two. Choose a finer cutter."
        )
        found.append(on_blank(placement, "worst-case-open", "warn", message, case.copper_at))
    return tuple(found)


def _at(shape: shapely.Polygon) -> tuple[float, float]:
    at = shape.representative_point()
    return (at.x, at.y)
