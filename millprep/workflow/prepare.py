"""The walk: a job file in, a set of programs out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from millprep import job, report
from millprep.gcode.levelling import with_maps
from millprep.gcode.writing import write_programs
from millprep.model.as_cut import AsCut
from millprep.model.board import Board
from millprep.model.derivation import Derivation
from millprep.model.finding import Refusal
from millprep.model.plan import JobPlan
from millprep.model.set_of_programs import CutSet
from millprep.verify import prove
from millprep.verify.buzz_out import buzz_out
from millprep.verify.rules.judge import Judged, judged
from millprep.workflow import layout_files, set_on_disk
from millprep.workflow.inputs import Facts, read_boards, read_nets, with_stored
from millprep.workflow.laying import Choice
from millprep.workflow.planning import empty, laid_out, planned
from millprep.workflow.second_core import beside
from millprep.workflow.stopped import Stopped, stop, stopped

Say = Callable[[str], None]


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
        Refusal: with all findings; a refused job leaves pictures and findings beside `out`.
    """
    out = out.resolve()
    set_on_disk.check(out, replace=replace_begun)
    set_on_disk.check(set_on_disk.refused_folder(out))
    say("reading the job")
    plan = job.load(job_file)
    say("reading the drawings")
    boards = read_boards(plan, repair=repair)
    facts = read_nets(plan, boards, job_file)
    choice = with_stored(plan, choice)
    cut_set = empty(plan, job_file, boards, derivation, choice)
    try:
        with set_on_disk.staged(out) as folder:
            cut_set = made(cut_set, plan, boards, facts, folder, say, derivation, choice)
            say("drawing pictures, writing sheet and report")
            report.write(cut_set, folder, beside)
            set_on_disk.put_in_place(folder, out, replace=replace_begun)
        set_on_disk.forget_refused(out)
    except Stopped as stopped:
        _write_refused(stopped.cut_set, out)
        raise Refusal(stopped.cut_set.findings) from None
    return cut_set


def made(
    cut_set: CutSet,
    plan: JobPlan,
    boards: tuple[Board, ...],
    facts: Facts,
    folder: Path,
    say: Say,
    derivation: Derivation | None,
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
    for name, text in layout_files.texts(laid, plan).items():
        (folder / name).write_bytes(text.encode("utf-8"))
    say("making paths and passes")
    cut_set = planned(cut_set, plan, facts, derivation, laid.skipped)
    try:
        cut_set = with_maps(cut_set, plan, derivation)
    except Refusal as refusal:
        raise stopped(cut_set, refusal) from refusal
    say("writing the programs")
    try:
        cut_set = write_programs(cut_set, folder)
    except Refusal as refusal:
        raise stopped(cut_set, refusal) from refusal
    say("reading them back and cutting the blanks in simulation")
    begun: list[Callable[[], Judged]] = []

    def judge(copper: tuple[AsCut, ...]) -> None:
        """The rules need the copper only: they begin while the rest of the proof goes on."""
        begun.append(beside(lambda: judged(cut_set, copper, plan, facts, whole=whole)))

    proved = _proved(cut_set, plan, folder, judge)
    if whole or any(facts.values()):
        say("judging spacing, current and holes")
    rules = begun[0]()
    by_copy = {one.placement: one for one in rules.boards}
    cutting = {(one.file, one.cutter): one for one in rules.cutting}
    done = replace(proved, findings=(*proved.findings, *rules.findings))
    done = done.with_copies(
        replace(copy, judged=by_copy.get(copy.placement.index)) for copy in done.copies
    )
    done = done.with_programs(
        replace(program, cutting=cutting.get((program.file, program.cutter.name)))
        for program in done.programs
    )
    stop(done)
    return done


def _proved(
    cut_set: CutSet,
    plan: JobPlan,
    folder: Path,
    once_cut: Callable[[tuple[AsCut, ...]], object],
) -> CutSet:
    """The set with what the files on disk prove of it; `once_cut` is told the copper early."""
    try:
        proved = prove.prove(
            folder,
            plan,
            cut_set.layout,
            cut_set.passes,
            cut_set.programs,
            joins=cut_set.joins,
            levellings=cut_set.levellings,
            nets=cut_set.nets,
            beside=beside,
            once_cut=once_cut,
        )
    except Refusal as refusal:
        raise stopped(cut_set, refusal) from refusal
    as_cut = {one.blank: one for one in proved.as_cut}
    proofs = {one.placement: one for one in proved.proofs}
    done = replace(
        cut_set,
        blanks=tuple(replace(one, as_cut=as_cut[one.number]) for one in cut_set.blanks),
        certificate=proved.certificate,
        findings=(*cut_set.findings, *proved.findings),
    )
    done = done.with_copies(
        replace(copy, proof=proofs[copy.placement.index]) for copy in done.copies
    )
    done = done.with_programs(
        replace(program, trail=trail)
        for program, trail in zip(done.programs, proved.trails, strict=True)
    )
    stop(done)
    checks = buzz_out(done.layout, done.nets, done.as_cut, done.proofs, done.joins)
    return done.with_copies(
        replace(
            copy, checks=tuple(one for one in checks if one.placement == copy.placement.index)
        )
        for copy in done.copies
    )


def _write_refused(cut_set: CutSet, out: Path) -> None:
    """Findings and pictures beside `out`, in place of those of an earlier refusal."""
    refused = set_on_disk.refused_folder(out)
    with set_on_disk.staged(refused) as folder:
        report.write_refused(cut_set, folder)
        set_on_disk.put_in_place(folder, refused)
