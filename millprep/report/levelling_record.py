"""What report.json tells of a pass whose programs follow a surface map."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from millprep.model.milling_pass import MillingPass
    from millprep.model.set_of_programs import CutSet
    from millprep.model.surface_map import Levelling, Uncorrected

Row = dict[str, Any]
PLACES = 20
"""So many places where nothing would have been isolated stand in the report."""


def levelling_of(cut_set: CutSet, milling_pass: MillingPass) -> Levelling | None:
    """The map that a pass follows."""
    here = (milling_pass.blank, milling_pass.number)
    return next((one for one in cut_set.levellings if (one.blank, one.mill_pass) == here), None)


def uncorrected_of(cut_set: CutSet, milling_pass: MillingPass) -> list[Uncorrected]:
    """The grooves of a pass as they would have been, one for each program that isolates."""
    here = (milling_pass.blank, milling_pass.number)
    return [one for one in cut_set.uncorrected if (one.blank, one.mill_pass) == here]


def levelling_row(cut_set: CutSet, milling_pass: MillingPass) -> Row | None:
    """The map, what it leaves, and what would have come without it; mm."""
    one = levelling_of(cut_set, milling_pass)
    if one is None:
        return None
    return {
        "file": one.file,
        "repeatability": one.repeatability,
        "assumed": one.assumed,
        "left": one.left,
        "x": one.surface.x.tolist(),
        "y": one.surface.y.tolist(),
        "z": one.surface.z.tolist(),
        "uncorrected": [_row(told) for told in uncorrected_of(cut_set, milling_pass)],
    }


def _row(told: Uncorrected) -> Row:
    return {
        "cutter": told.cutter,
        "surface": [_mm(told.surface.min()), _mm(told.surface.max())],
        "foot": [_mm(told.foot.min()), _mm(told.foot.max())],
        "lost": [[_mm(v) for v in at] for at in told.lost[:PLACES]],
        "lost_length": _mm(told.lost_length),
    }


def _mm(value: float) -> float:
    return round(float(value), 4) + 0.0
