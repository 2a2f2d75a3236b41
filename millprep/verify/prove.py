"""What the programs of a set prove of its blanks, step by step, from their files alone.

What the job requires of them, as the proof checks it, is gaps, and where to cut.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import shapely

from millprep.model.as_cut import AsCut, BoardProof, Certificate, PadGap
from millprep.model.blank import Blank, Placement
from millprep.model.finding import Finding, limited
from millprep.model.job.job import JobPlan
from millprep.model.job.work import feed_along_copper
from millprep.model.set_of_programs import MilledBlank, layout_of, nets_of
from millprep.verify.as_cut import Key, Nets, as_cut
from millprep.verify.certificate import certificate_of
from millprep.verify.clearances import (
    NearPieces,
    check_gaps_opened,
    check_grooves,
    gaps_not_reached,
    near_pieces,
    pad_gaps,
    pads_too_near,
)
from millprep.verify.compare import compare
from millprep.verify.depths import Depths
from millprep.verify.edges import EDGE
from millprep.verify.feeds import check_feeds
from millprep.verify.floating import check_cleared, check_in_middle, check_middle
from millprep.verify.holes_as_cut import check_registration
from millprep.verify.marks import isolating_lines
from millprep.verify.netlist import check_cut_nets
from millprep.verify.pads import pad_areas, united
from millprep.verify.programs import check_programs
from millprep.verify.read_back import BlankRuns, ReadBack, read_programs, read_resumed
from millprep.verify.stray_cuts import AllowedCuts, ProgramCuts, check_stray_cuts, lap_reach
from millprep.verify.worst_case import narrowed, worst_case_findings, worst_cases


@dataclass(frozen=True, slots=True)
class Proved:
    """What the programs of a set prove.

    Attributes:
        as_cut: one for each blank.
        proofs: one for each copy, in the order of the layout.
        certificate: None where no join is on copper, and where a finding says stop.
        findings: of motion and of copper.
    """

    as_cut: tuple[AsCut, ...]
    proofs: tuple[BoardProof, ...]
    certificate: Certificate | None
    findings: tuple[Finding, ...]


def prove(
    folder: Path, job: JobPlan, blanks: Sequence[MilledBlank], *, table: bool = True
) -> Proved:
    """All steps of the proof, one after the other.

    With `table` False the programs are not compared with the table of motions.

    Raises:
        Refusal: when programs are not RS-274, with the faults of all of them, or the table of
            motions is damaged.
    """
    read = read_programs(folder, job, blanks, table=table)
    copper = cut_blanks(read)
    checked = check_copper(job, read, copper)
    certificate = None if checked.stopped else certify(job, read, copper)
    return Proved(copper, checked.proofs, certificate, checked.findings)


def prove_resumed(
    folder: Path, job: JobPlan, blanks: Sequence[MilledBlank], *, flat: bool
) -> tuple[Finding, ...]:
    """What is wrong with the programs of a resumed set, which cut a part of what a whole one does.

    Args:
        folder: of the set.
        job: what is required.
        blanks: with its programs.
        flat: whether all programs are known to cut flat copper, so that their depths are known.

    Raises:
        Refusal: when programs are not RS-274, or the table is damaged.
    """
    read = read_resumed(folder, job, blanks)
    findings = list(read.findings)
    if not flat:
        return tuple(findings)
    for blank in read.blanks:
        depths = Depths(job, blank.blank.laminate, blank.blank.placements, None)
        for run in blank.runs:
            findings += check_feeds(run.trace, run.program, job, uneven=False)
            findings += depths.check(run)
    # what an earlier run cut is not missing; what these cut away must not be copper of a board
    _, copper = _compared(job, read, cut_blanks(read), {})
    findings += [f for f in copper if f.code in ("copper-open", "copper-gouged")]
    return limited(findings)


def cut_blanks(read: ReadBack) -> tuple[AsCut, ...]:
    """The copper that the programs leave of every blank."""
    return tuple(as_cut(run.blank.laminate, run.cuts, run.blank.placements) for run in read.blanks)


def certify(job: JobPlan, read: ReadBack, copper: Sequence[AsCut]) -> Certificate | None:
    """The misalignment that all joins of a set tolerate; None where none is on copper."""
    # corners that blending cuts short may take more than the tolerances of edges leave
    short = job.machine.cut_short(feed_along_copper(job.isolation, job.clearing))
    edge = max(EDGE, job.machine.dialect.edge + short)
    return certificate_of(
        [run.blank for run in read.blanks],
        [run.cuts for run in read.blanks],
        copper,
        gap=job.isolation.gap,
        edges=2 * edge,
    )


@dataclass(frozen=True, slots=True)
class Checked:
    """What the copper of a set proves, one proof for each copy, and all findings until then."""

    proofs: tuple[BoardProof, ...]
    findings: tuple[Finding, ...]

    @property
    def stopped(self) -> bool:
        """Whether a finding says stop."""
        return any(finding.severity == "stop" for finding in self.findings)


def check_copper(job: JobPlan, read: ReadBack, copper: Sequence[AsCut]) -> Checked:
    """The copper as cut against the boards, nominal and worst case.

    Copper between pieces of one net is no short. Copper that is spoilt at its nominal has no
    worst case.
    """
    nets = nets_of([run.blank for run in read.blanks])
    proofs, findings = _compared(job, read, copper, nets)
    laminates = [run.blank.laminate for run in read.blanks]
    findings = (*read.findings, *check_programs(job, read), *findings)
    findings = (*findings, *check_grooves(job.isolation, laminates))
    gaps: dict[int, tuple[PadGap, ...]] = {}
    for run, left in zip(read.blanks, copper, strict=True):
        blank_gaps, more = _checked_blank(job, run, left, nets)
        gaps |= blank_gaps
        findings = (*findings, *more)
    proofs = tuple(replace(proof, pad_gaps=gaps.get(proof.placement)) for proof in proofs)
    nominal = Checked(proofs, findings)
    if nominal.stopped:
        return Checked(proofs, (*findings, *_pads_too_near(job, read, nominal.proofs, {})))
    return _with_worst_cases(job, read, copper, nominal, nets)


def _pads_too_near(
    job: JobPlan,
    read: ReadBack,
    proofs: Iterable[BoardProof],
    narrowest: Mapping[Key, shapely.Polygon],
) -> tuple[Finding, ...]:
    """Pads of all copies that other copper is too near to."""
    around = job.isolation.pad_gap
    if around is None:
        return ()
    gaps = {proof.placement: proof.pad_gaps or () for proof in proofs}
    every = [placement for run in read.blanks for placement in run.blank.placements]
    return tuple(
        finding
        for placement in every
        for finding in pads_too_near(gaps[placement.index], placement, around, narrowest)
    )


def _compared(
    job: JobPlan, read: ReadBack, copper: Sequence[AsCut], nets: Nets
) -> tuple[tuple[BoardProof, ...], tuple[Finding, ...]]:
    """The copper of all blanks compared with the boards on them."""
    isolation = job.isolation
    layout = layout_of([run.blank for run in read.blanks])
    thickest = max(blank.copper for blank in layout.blanks)
    return compare(
        copper,
        layout,
        reach=max(use.surface for use in isolation.uses) / 2,
        slope=max(use.skirt(thickest) for use in isolation.uses),
        nets=nets,
        kept=isolation.course == "middle",
        cut_short=job.machine.cut_short(feed_along_copper(isolation, job.clearing)),
    )


def _checked_blank(
    job: JobPlan, run: BlankRuns, left: AsCut, nets: Nets
) -> tuple[dict[int, tuple[PadGap, ...]], list[Finding]]:
    """Nets and clearances of one blank, around pads by placement, and cuts where none should be."""
    blank, placements = run.blank.laminate, run.blank.placements
    plans = {board.name: board for board in job.boards}
    findings = [
        finding
        for placement in placements
        for finding in check_cut_nets(plans[placement.board.name], left, placement)
    ]
    gaps: dict[int, tuple[PadGap, ...]] = {}
    gap, around = required_opening(job, blank), job.isolation.pad_gap
    if gap is not None:
        far = around and required_opening(job, blank, around)
        for placement in placements:
            findings += check_gaps_opened(left, placement, gap, far)
    if around is not None:
        for placement in placements:
            gaps[placement.index], narrow = pad_gaps(
                left, placement, around, foot_extension(job, blank), nets
            )
            findings += narrow
    allowed = allowed_cuts(job, blank, placements)
    findings += check_cleared(job, left, placements, allowed.cleared)
    findings += check_middle(job, left, placements)
    findings += check_in_middle(
        job, blank.copper, isolating_lines(run, job), placements, run.blank.joins
    )
    holes = {hole for mill_pass in run.blank.passes for hole in mill_pass.registration}
    # by id, so that the order of findings is the same every time
    in_order = sorted(holes, key=lambda hole: (len(hole.id), hole.id))
    findings += check_registration(left.grooves, in_order, blank.number)
    findings += check_stray_cuts(
        blank,
        [ProgramCuts(c.program.file, c.trace, c.program.cutter, c.mill_pass) for c in run.cutting],
        placements,
        run.blank.passes,
        run.blank.joins,
        allowed,
    )
    return gaps, findings


def _with_worst_cases(
    job: JobPlan, read: ReadBack, copper: Sequence[AsCut], nominal: Checked, nets: Nets
) -> Checked:
    """The proofs with what surface and cutters may make of each copy."""
    proofs = {proof.placement: proof for proof in nominal.proofs}
    findings = list(nominal.findings)
    gap, columns = job.isolation.gap, {job.rules.spacing, job.rules.lands or job.rules.spacing}
    volts = _volts(job, read)
    near: list[NearPieces] = []
    narrowest: dict[Key, shapely.Polygon] = {}
    for run, left in zip(read.blanks, copper, strict=True):
        blank = run.blank
        levels = [c.mill_pass.levelling for c in run.cutting]
        flatness = [job.isolation.flatness if level is None else level.left for level in levels]
        narrow = narrowed(blank.laminate, run.cuts, blank.placements, flatness)
        narrowest |= {piece: part.shape for part in narrow for piece in part.pieces}
        cases = worst_cases(run.cuts, blank.placements, left, narrow, proofs, flatness, nets)
        for placement in blank.placements:
            case = cases[placement.index]
            proofs[placement.index] = replace(proofs[placement.index], worst=case)
            findings += worst_case_findings(placement, case, max(flatness))
            near += near_pieces(left, placement, gap, nets, volts, tuple(columns))
    findings += gaps_not_reached(near, narrowest, gap)
    findings += _pads_too_near(job, read, proofs.values(), narrowest)
    return Checked(tuple(proofs.values()), tuple(findings))


def _volts(job: JobPlan, read: ReadBack) -> dict[Key, tuple[float, float]]:
    """Lowest and highest volts of the nets of every copy that have any."""
    plans = {board.name: board for board in job.boards}
    return {
        (placement.index, net.name): net.volts
        for run in read.blanks
        for placement in run.blank.placements
        for net in plans[placement.board.name].nets
        if net.volts is not None
    }


def required_opening(job: JobPlan, blank: Blank, gap: float | None = None) -> float | None:
    """How far from a drawn edge all copper is gone at the foot; None in the middle of gaps.

    `gap` is that of all copper, unless given. Of several cutters the one that takes least.
    """
    isolation = job.isolation
    if isolation.course == "middle":
        return None
    return min(
        lap_reach(use.surface, use.foot(blank.copper), gap or isolation.gap)
        for use in isolation.uses
    )


def foot_extension(job: JobPlan, blank: Blank) -> float:
    """How far the copper's foot reaches beyond its drawn edge, of several cutters the least."""
    isolation = job.isolation
    return min(use.skirt(blank.copper) for use in isolation.uses)


def allowed_cuts(job: JobPlan, blank: Blank, placements: Sequence[Placement]) -> AllowedCuts:
    """Where a job wants cuts on a blank.

    Which floating copper must be cleared for the voltages depends on nets: there, as with all of it
    to be cleared, clearing may go anywhere on a board. Of laps in the middle of gaps nothing is
    required.
    """
    isolation = job.isolation
    reaches: dict[str, float] = {}
    for use in isolation.uses:
        reach = lap_reach(use.surface, use.foot(blank.copper), isolation.gap)
        reaches[use.cutter.name] = max(reach, reaches.get(use.cutter.name, 0.0))
    plans = {board.name: board for board in job.boards}
    whole = isolation.by_voltage or (job.clearing is not None and job.clearing.copper == "all")
    wide = required_opening(job, blank, isolation.pad_gap) if isolation.pad_gap else None
    areas: dict[int, shapely.Geometry] = {}
    for p in placements:
        some: list[shapely.Geometry] = []
        some += [shapely.Polygon(area.outline) for area in plans[p.board.name].clear]
        if wide is not None:
            some.append(united(pad_areas(p.board), wide + EDGE))
        if whole or some:
            area = p.board.outline if whole else shapely.union_all(some)
            areas[p.index] = p.pose.shape(area)
    middle = isolation.course == "middle"
    return AllowedCuts(
        job.profile.cutter.name,
        {} if middle else reaches,
        frozenset(cutter.name for cutter in (job.clearing or isolation).cutters)
        if areas
        else frozenset(),
        areas,
        frozenset(reaches) if middle else frozenset(),
    )
