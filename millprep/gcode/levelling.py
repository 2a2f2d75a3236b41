"""Surface maps in the walk: which programs follow which, and what would have come without."""

from __future__ import annotations

from dataclasses import replace

from millprep.gcode.level import levelled
from millprep.gcode.uncorrected import uncorrected
from millprep.model.derivation import Derivation
from millprep.model.finding import Finding, Refusal
from millprep.model.plan import JobPlan
from millprep.model.program import Program
from millprep.model.set_of_programs import CutSet
from millprep.model.surface_map import Levelling, Uncorrected

FREE = 0.3
"""A dry run stays above the highest copper by this, mm."""


def with_maps(cut_set: CutSet, plan: JobPlan, derivation: Derivation | None) -> CutSet:
    """The set whose programs follow the maps of a derivation once they are written.

    Its own programs stay as over flat copper: pictures and depths are told from the copper.

    Raises:
        Refusal: with every program that its map does not reach.
    """
    if derivation is None or not derivation.levellings:
        return cut_set
    levellings = tuple(derivation.levellings[key] for key in sorted(derivation.levellings))
    done = replace(cut_set, levellings=levellings)
    faults: list[Finding] = []
    for program in done.programs:
        faults += _too_high(done, program)
        try:
            followed(done, program)
        except Refusal as refusal:
            faults += refusal.findings
    if faults:
        raise Refusal(faults)
    told = [one for program in done.programs for one in _without(done, plan, program)]
    findings = (*done.findings, *(_told(one) for one in told))
    return replace(done, uncorrected=tuple(told), findings=findings)


def followed(cut_set: CutSet, program: Program) -> Program:
    """A program as it is written: over the map of its pass, if there is one.

    Raises:
        Refusal: when the map does not reach.
    """
    one = _of(cut_set, program)
    return program if one is None else levelled(program, one.surface, cut_set.machine)


def _of(cut_set: CutSet, program: Program) -> Levelling | None:
    """The map that a program follows; what touches or only shows places follows none."""
    if not program.spins:
        return None
    here = (program.blank, program.mill_pass)
    return next((one for one in cut_set.levellings if (one.blank, one.mill_pass) == here), None)


def _too_high(cut_set: CutSet, program: Program) -> list[Finding]:
    """A dry run, which follows no map, over copper that rises to where it runs."""
    here = (program.blank, program.mill_pass)
    lowest = min(move.z for move in program.moves)
    rising = [
        one.surface.highest
        for one in cut_set.levellings
        if (one.blank, one.mill_pass) == here and one.surface.highest > lowest - FREE
    ]
    if not rising or program.work != "dry-run":
        return []
    message = (
        f"The copper rises to {rising[0]:.3f} mm, and the dry run goes down to {lowest:g} mm. "
        "Set Z zero on higher copper ([setup] touch) and probe again, or flatten the blank."
    )
    return [
        Finding(
            code="map-above-clearance",
            severity="stop",
            message=message,
            blank=program.blank,
            mill_pass=program.mill_pass,
            file=program.file,
        )
    ]


def _without(cut_set: CutSet, plan: JobPlan, program: Program) -> list[Uncorrected]:
    """What a program that isolates would have made of an uneven blank."""
    one = _of(cut_set, program)
    if one is None or "isolate" not in program.works:
        return []
    copper = next(b.copper for b in cut_set.layout.blanks if b.number == program.blank)
    told = uncorrected(program, one.surface, depth=plan.isolation.depth, copper=copper)
    return [] if told is None else [told]


def _told(one: Uncorrected) -> Finding:
    """The grooves that levelling mends."""
    foot, top = one.foot, one.surface
    message = (
        f"Without the surface map the grooves of {one.cutter} would have been {foot.min():.3f} to "
        f"{foot.max():.3f} mm wide at the foot of the copper and {top.min():.3f} to "
        f"{top.max():.3f} at its surface"
    )
    if one.lost:
        message += f"; {one.lost_length:.0f} mm of them would not have cut through the copper"
    return Finding(
        code="grooves-without-map",
        severity="note",
        message=f"{message}.",
        frame="machine" if one.lost else None,
        at=one.lost[0] if one.lost else None,
        blank=one.blank,
        mill_pass=one.mill_pass,
    )
