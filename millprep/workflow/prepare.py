"""The walk: a job file in, a set of programs out; a check of a job keeps none of them."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path

from millprep import job, report
from millprep.files import writing
from millprep.gcode.levelling import with_maps
from millprep.gcode.writing import write_programs
from millprep.job import copies
from millprep.model.board import Board
from millprep.model.derivation import Derivation
from millprep.model.finding import Refusal, limited
from millprep.model.job.job import JobPlan
from millprep.model.set_of_programs import CutSet
from millprep.verify import prove
from millprep.verify.read_back import read_programs
from millprep.verify.rules.judge import judged
from millprep.workflow import proof, second_core, set_on_disk
from millprep.workflow.inputs import Facts, read_nets, with_stored
from millprep.workflow.lay_out import write_layout
from millprep.workflow.laying import Choice
from millprep.workflow.planning import Say, Stopped, empty, laid_out, planned, read_job, stop, stops
from millprep.workflow.unread import unread


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
    judging = second_core.start(judged, cut_set.blanks, copper, plan, facts, whole=whole)
    certifying = second_core.start(prove.certify, plan, read, copper)
    checked = prove.check_copper(plan, read, copper)
    cut_set = proof.with_copper(cut_set, read, copper, checked)
    stop(cut_set)
    cut_set = proof.with_holding(cut_set, plan)
    cut_set = replace(proof.with_checks(cut_set), certificate=certifying.result())
    if whole or any(facts.values()):
        say("judging spacing, current and holes")
    cut_set = proof.with_rules(cut_set, judging.result())
    stop(cut_set)
    return replace(cut_set, findings=limited(cut_set.findings))


def write_report(cut_set: CutSet, folder: Path) -> None:
    """Copies of the inputs, pictures, sheet and report; a second core draws half the pictures."""
    copies.keep(cut_set.inputs, folder)
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
