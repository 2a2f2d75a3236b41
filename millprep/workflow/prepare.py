"""The walk: a job file in, a set of programs out; a check of a job keeps none of them."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from functools import partial
from pathlib import Path

from millprep import job, report
from millprep.cache import if_kept
from millprep.files import writing
from millprep.gcode.levelling import with_maps
from millprep.gcode.writing import write_programs
from millprep.geometry.pose import Pose
from millprep.job import copies
from millprep.model.as_cut import AsCut
from millprep.model.blank import Blank, Placement
from millprep.model.board import Board
from millprep.model.derivation import Derivation
from millprep.model.finding import Finding, Refusal, limited
from millprep.model.job.job import JobPlan
from millprep.model.job.keys import InputFile
from millprep.model.set_of_programs import BoardCopy, CutSet, MilledBlank
from millprep.verify import prove
from millprep.verify.buzz_out import buzz_out
from millprep.verify.prove import Checked
from millprep.verify.read_back import ReadBack, read_programs
from millprep.verify.rules.holding import held
from millprep.verify.rules.judge import Judged, judged
from millprep.workflow import second_core, set_on_disk
from millprep.workflow.identity import read_inputs, set_id
from millprep.workflow.inputs import Facts, read_nets, with_stored
from millprep.workflow.lay_out import write_layout
from millprep.workflow.laying import Choice
from millprep.workflow.planning import Say, Stopped, empty, laid_out, planned, read_job, stop, stops


def with_copper(
    cut_set: CutSet, read: ReadBack, copper: Sequence[AsCut], checked: Checked
) -> CutSet:
    """The set with its programs as read back, the copper that they leave, and its proofs."""
    proofs = {proof.placement: proof for proof in checked.proofs}
    blanks = tuple(
        replace(blank, as_cut=left) for blank, left in zip(cut_set.blanks, copper, strict=True)
    )
    done = replace(cut_set, blanks=blanks, findings=(*cut_set.findings, *checked.findings))
    done = done.with_copies(
        replace(copy, proof=proofs[copy.placement.index]) for copy in done.copies
    )
    return done.with_programs(
        replace(program, trail=trail)
        for program, trail in zip(done.programs, read.trails, strict=True)
    )


def with_holding(cut_set: CutSet, plan: JobPlan) -> CutSet:
    """The set with how its blanks are held in every pass, and where they are not."""
    findings = cut_set.findings
    blanks = []
    for blank in cut_set.blanks:
        holdings, faults = held(blank, plan)
        passes = (
            replace(milling_pass, holding=holding)
            for milling_pass, holding in zip(blank.passes, holdings, strict=True)
        )
        blanks.append(replace(blank, passes=tuple(passes)))
        findings = (*findings, *faults)
    return replace(cut_set, blanks=tuple(blanks), findings=findings)


def with_checks(cut_set: CutSet) -> CutSet:
    """The set with what to measure on every finished board."""
    return replace(cut_set, blanks=tuple(map(buzz_out, cut_set.blanks)))


def with_rules(cut_set: CutSet, rules: Judged) -> CutSet:
    """The set with what the rules of the trade find of its boards and cutters."""
    judged = {board.placement: board for board in rules.boards}
    done = cut_set.with_copies(
        replace(copy, judged=judged.get(copy.placement.index)) for copy in cut_set.copies
    )
    cutting = {(row.file, row.cutter): row for row in rules.cutting}
    done = done.with_programs(
        replace(program, cutting=cutting.get((program.file, program.cutter.name)))
        for program in done.programs
    )
    return replace(done, findings=(*cut_set.findings, *rules.findings))


LAMINATE = (1.6, 0.035)
"""Thickness and copper of the sheets that drawings are shown on, mm; nothing shows them."""


def unread(
    plan: JobPlan, job_file: Path, findings: Sequence[Finding], *, repair: bool
) -> tuple[CutSet, CutSet]:
    """The set of which nothing is made, and the same with each refused drawing on a sheet."""
    inputs: tuple[InputFile, ...] = ()
    with suppress(OSError):
        inputs = read_inputs(plan, job_file)
    bare = CutSet(
        id=set_id(inputs),
        job=plan.name,
        machine=plan.machine,
        clamps=(),
        cutters=(),
        gap=plan.isolation.gap,
        inputs=inputs,
        findings=tuple(findings),
    )
    from millprep.drawing.sketch import sketch  # for refused drawings only

    refused = {finding.board for finding in findings}
    sketches = [sketch(board, repair=repair) for board in plan.boards if board.name in refused]
    sheets = [_sheet(n, board) for n, board in enumerate(filter(None, sketches))]
    return bare, replace(bare, blanks=tuple(sheets))


def _sheet(index: int, board: Board) -> MilledBlank:
    """A sheet as large as the drawing."""
    x0, y0, x1, y1 = board.outline.bounds
    sheet = Blank(index + 1, (x1 - x0, y1 - y0), *LAMINATE)
    placement = Placement(index, board, 1, sheet.number, Pose.shift(-x0, -y0))
    return MilledBlank(sheet, (BoardCopy(placement),))


def prepare(
    job_file: Path,
    out: Path,
    say: Say = lambda _: None,
    derivation: Derivation | None = None,
    *,
    repair: bool = False,
    choice: Choice | None = None,
    replace_begun: bool = False,
) -> CutSet:
    """Make a complete new set in `out`, or leave `out` as it was.

    Args:
        job_file: the TOML file.
        out: folder of the set; made, or replaced when it holds an earlier set.
        say: takes the name of every step as it begins.
        derivation: what readings at the machine change; None for a set from a job alone.
        repair: mend drawings that do not open as they are, as far as the job accepts it.
        choice: how boards are laid out, and which are left out.
        replace_begun: replace even a set that is marked as begun.

    Raises:
        Refusal: with all findings; a refused job leaves pictures and findings next to `out`, one
            whose drawings are refused the findings and the drawings as far as they were read.
    """
    out = out.resolve()
    set_on_disk.check(out, replace=replace_begun)
    set_on_disk.check(set_on_disk.refused_folder(out))
    try:
        plan, boards = read_job(job_file, say, repair=repair)
    except Refusal as refusal:
        if refusal.exit_code == 3:
            bare, seen = unread(job.load(job_file), job_file, refusal.findings, repair=repair)
            _write_refused(bare, out, seen)
        raise
    facts = read_nets(plan, boards, job_file)
    choice = with_stored(plan, choice)
    cut_set = empty(plan, job_file, boards, derivation, choice)
    try:
        with writing.staged(out) as folder:
            cut_set = walk(cut_set, plan, boards, facts, folder, say, derivation, choice)
            say("drawing pictures, writing sheet and report")
            write_report(cut_set, folder)
            set_on_disk.put_in_place(folder, out, replace=replace_begun)
        set_on_disk.forget_refused(out)
    except Stopped as stopped:
        _write_refused(stopped.cut_set, out)
        raise Refusal(stopped.cut_set.findings) from None
    return cut_set


def walk(
    cut_set: CutSet,
    plan: JobPlan,
    boards: tuple[Board, ...],
    facts: Facts,
    folder: Path,
    say: Say,
    derivation: Derivation | None = None,
    choice: Choice | None = None,
    *,
    whole: bool = False,
) -> CutSet:
    """The set with its programs written into `folder`, read back, proved and judged.

    With `whole` the rules work out currents and volts at loads as well.

    Raises:
        Stopped: when a finding says so.
    """
    say("laying the boards out")
    cut_set, laid = laid_out(cut_set, plan, boards, facts, choice)
    write_layout(laid, plan, folder)
    say("making paths and passes")
    cut_set = planned(cut_set, plan, facts, derivation, laid.skipped)
    with stops(cut_set):
        cut_set = with_maps(cut_set, plan, derivation)
    say("writing the programs")
    with stops(cut_set):
        cut_set = write_programs(cut_set, folder)
    say("reading them back and cutting the blanks in simulation")
    with stops(cut_set):
        read = read_programs(folder, plan, cut_set.blanks)
    copper = prove.cut_blanks(read)
    # volts at loads are not kept
    begin = second_core.start if whole else second_core.kept_or_started
    judging = begin(judged, cut_set.blanks, copper, plan, facts, whole=whole)
    certifying = second_core.kept_or_started(prove.certify, plan, read, copper)
    checked = prove.check_copper(plan, read, copper)
    cut_set = with_copper(cut_set, read, copper, checked)
    stop(cut_set)
    cut_set = with_holding(cut_set, plan)
    cut_set = replace(with_checks(cut_set), certificate=certifying.result())
    if whole or any(facts.values()):
        say("judging spacing, current and holes")
    cut_set = with_rules(cut_set, judging.result())
    stop(cut_set)
    return replace(cut_set, findings=limited(cut_set.findings))


def write_report(cut_set: CutSet, folder: Path) -> None:
    """Copies of the inputs, pictures, sheet and report; a second core draws half the pictures."""
    copies.keep(cut_set.inputs, folder)
    if if_kept(partial(report.draw, cut_set, folder)) is None:
        import millprep.report.pictures  # noqa: F401 - loaded once for both

        drawing = second_core.start(report.draw, cut_set, folder, slice(1, None, 2))
        report.draw(cut_set, folder, slice(0, None, 2))
        drawing.result()
    report.write(cut_set, folder)


def _write_refused(cut_set: CutSet, out: Path, seen: CutSet | None = None) -> None:
    """Findings and pictures next to `out`, in place of those of an earlier refusal."""
    refused = set_on_disk.refused_folder(out)
    with writing.staged(refused) as folder:
        report.write_refused(cut_set, folder, seen)
        set_on_disk.put_in_place(folder, refused)


def check(job_file: Path, say: Say = lambda _: None, *, repair: bool = False) -> CutSet:
    """Do what `prepare` does in a folder of its own that is thrown away, and judge all boards.

    Args:
        job_file: the TOML file.
        say: takes the name of every step as it begins.
        repair: mend drawings that do not open as they are, as far as the job accepts it.

    Returns:
        what was made, or what was known when a finding said stop.

    Raises:
        Refusal: for mistakes in job or drawings.
    """
    plan, boards = read_job(job_file, say, repair=repair)
    facts = read_nets(plan, boards, job_file)
    choice = with_stored(plan, None)
    cut_set = empty(plan, job_file, boards, None)
    with tempfile.TemporaryDirectory() as folder:
        try:
            return walk(cut_set, plan, boards, facts, Path(folder), say, None, choice, whole=True)
        except Stopped as stopped:
            return stopped.cut_set
