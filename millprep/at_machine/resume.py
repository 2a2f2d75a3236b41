"""Resume: a small set whose programs continue where a cutter broke."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import shapely

from millprep.at_machine.restart_points import Entry, PassHoles
from millprep.at_machine.resumed_program import Wish, resumed_program
from millprep.files import writing
from millprep.gcode.writing import write_programs
from millprep.model.blank import Layout
from millprep.model.board import Hole
from millprep.model.finding import Finding, Refusal, Severity, usage
from millprep.model.job.job import JobPlan
from millprep.model.machine_time import TimeFit
from millprep.model.milling_pass import MillingPass, RegistrationHole
from millprep.model.program import Program, Resumption
from millprep.model.set_of_programs import BoardCopy, CutSet, MilledBlank
from millprep.report import report_file
from millprep.report.report_model import Report
from millprep.verify.read_back import read_alone, read_resumed, trail_of
from millprep.verify.resumed import check_resumed
from millprep.verify.trace import Trace
from millprep.workflow import set_on_disk
from millprep.workflow.identity import set_id
from millprep.workflow.inputs import read_boards
from millprep.workflow.planning import Say
from millprep.workflow.prepare import write_report
from millprep.workflow.source_set import inputs_of, job_of, unchanged, unedited, unlike_job


@dataclass(frozen=True, slots=True)
class _Part:
    """A resumed program: as it was, as it continues, and how it was entered."""

    old: Trace
    new: Program
    resumption: Resumption
    entry: Entry


def resume(
    folder: Path,
    out: Path,
    program: str | None,
    wish: Wish,
    job_file: Path | None = None,
    say: Say = lambda _: None,
    *,
    replace_begun: bool = False,
) -> CutSet:
    """Make a set that continues where a program of another set was broken off.

    Args:
        folder: the set that is being cut.
        out: folder of the new set, another one.
        program: the program's file, or as much of its name as distinguishes it from others; None
            for every program that cuts the wished board.
        wish: where to continue.
        job_file: a job to take instead of the one that the set keeps.
        say: takes the name of every step as it begins.
        replace_begun: replace even a set in `out` that is marked as begun.

    Raises:
        Refusal: with what is wrong with the call, the set or the new program; nothing is written.
    """
    out = out.resolve()
    if out == folder.resolve():
        message = f"{out} holds the set that is being cut. Name another folder with --out."
        raise usage("resume-same-folder", message)
    set_on_disk.check(out, replace=replace_begun)
    say("reading the set")
    source = report_file.read(folder)
    set_job = job_of(source, folder, job_file)
    plan = set_job.plan
    unchanged(source, set_job.inputs)
    try:
        layout = source.layout(read_boards(plan, repair=True))
        passes = source.milling_passes()
        programs = source.programs(plan.cutters, plan.machine)
    except ValueError as fault:
        raise Refusal([unlike_job(fault)]) from None
    wished = _wished(programs, program, wish, layout)
    unedited(source, folder, {report_file.REPORT, *(each.file for each in wished)})
    say("resuming the programs")
    parts = _resumed(source, folder, plan, layout, passes, wished, wish)
    cut_set = _unwritten(source, plan, layout, passes, parts)
    cut_set = replace(cut_set, inputs=inputs_of(source, folder))
    say("writing them")
    with writing.staged(out) as new:
        cut_set = write_programs(cut_set, new)
        say("reading them back")
        cut_set = _proved(cut_set, plan, new, parts)
        write_report(cut_set, new)
        set_on_disk.carry_runs(folder, new)
        set_on_disk.put_in_place(new, out, replace=replace_begun)
    return cut_set


def _wished(
    programs: Sequence[Program], name: str | None, wish: Wish, layout: Layout
) -> tuple[Program, ...]:
    """The programs that a wish may concern."""
    cutting = [p for p in programs if p.mill_pass > 0 and p.work not in ("probe", "dry-run")]
    listed = ", ".join(p.file for p in cutting)
    if wish.board is not None:
        copies = {(p.board.name, p.copy): p.blank for p in layout.placements}
        blank = copies.get((wish.board, wish.copy))
        if blank is None:
            has = ", ".join(f"{name}:{copy}" for name, copy in copies)
            message = f"The set has no board {wish.board}:{wish.copy}. It has {has}."
            raise usage("resume-no-such-board", message)
        cutting = [p for p in cutting if p.blank == blank]
    if name is None:
        if wish.board is None or (wish.after, wish.near, wish.hole) != (None, None, None):
            message = f"Name the program in which the cutter broke: {listed}."
            raise usage("resume-which-program", message)
        return tuple(cutting)
    matching = [p for p in cutting if p.file == name]
    matching = matching or [p for p in cutting if name in p.file]
    if len({p.file for p in matching}) != 1:
        words = f"is none of {listed}"
        if matching:
            words = f"fits {', '.join(p.file for p in matching)}. Give more of the name"
        elif any(name in p.file for p in programs):
            words = "cannot be resumed: it is short. Run it again from its start"
        raise usage("resume-which-program", f"{name} {words}.")
    return tuple(matching[:1])


def _resumed(
    source: Report,
    folder: Path,
    plan: JobPlan,
    layout: Layout,
    passes: Sequence[MillingPass],
    wished: Sequence[Program],
    wish: Wish,
) -> tuple[_Part, ...]:
    """Every program that still has something to cut."""
    concerned = {(program.blank, program.mill_pass) for program in wished}
    by_pass = {(p.blank, p.number): p for p in passes if (p.blank, p.number) in concerned}
    holes = {key: _holes(source, layout, mill_pass) for key, mill_pass in by_pass.items()}
    parts: list[_Part] = []
    for program in wished:
        mill_pass = by_pass[program.blank, program.mill_pass]
        old = read_alone(folder, program, plan.machine.dialect)
        trail = trail_of(old, program)
        done = resumed_program(
            trail,
            replace(program, spindle=max((e.rpm for e in old.spindle), default=program.spindle)),
            wish,
            plan.machine,
            set_id=source.set,
            of_pass=holes[program.blank, program.mill_pass],
            outlines={
                (p.board.name, p.copy): mill_pass.pose.shape(p.pose.shape(p.board.outline))
                for p in layout.on(program.blank)
            },
        )
        if done is not None:
            parts.append(_Part(old, *done))
    if not parts:
        where = wished[0].file if len(wished) == 1 else "The set"
        message = f"{where} cuts nothing on {wish.board} copy {wish.copy} after that place."
        raise usage("resume-nothing-left", message)
    return tuple(parts)


def _holes(source: Report, layout: Layout, mill_pass: MillingPass) -> PassHoles:
    """The holes that a pass may make: those of its boards, and those that later passes need."""
    pose, number = mill_pass.pose, mill_pass.blank
    registration = [
        hole
        for hole in source.holes(number)
        if hole.drilled_in == mill_pass.number and hole.role != "witness"
    ]
    holes: list[RegistrationHole | Hole] = [*registration]
    for placement in layout.on(number):
        holes += placement.holes
    areas = [hole.spine.buffer(hole.diameter / 2) for hole in holes]
    blank = next(blank for blank in layout.blanks if blank.number == number)
    return PassHoles(
        pose.shape(shapely.union_all(areas)),
        {hole.id: pose.point(hole.blank) for hole in registration},
        through=blank.thickness / 2,
    )


def _unwritten(
    source: Report,
    plan: JobPlan,
    layout: Layout,
    passes: Sequence[MillingPass],
    parts: Sequence[_Part],
) -> CutSet:
    """The new set before it is written."""
    new: dict[tuple[int, int], list[Program]] = {}
    for part in parts:
        new.setdefault((part.new.blank, part.new.mill_pass), []).append(part.new)
    milled = {blank for blank, _ in new}
    again = [placement for placement in layout.placements if placement.blank in milled]
    index = {placement.index: n for n, placement in enumerate(again)}
    drawn = {row.name: row.input for row in source.boards}
    blanks = tuple(
        MilledBlank(
            laminate,
            tuple(
                BoardCopy(replace(lying, index=index[lying.index]), drawn[lying.board.name])
                for lying in layout.on(laminate.number)
            ),
            passes=tuple(
                replace(
                    p,
                    # the programs that were read have their combs and heights already
                    verniers=(),
                    levelling=None,
                    read=(),
                    programs=tuple(new[p.blank, p.number]),
                )
                for p in passes
                if p.blank == laminate.number and (p.blank, p.number) in new
            ),
        )
        for laminate in layout.blanks
        if laminate.number in milled
    )
    wishes = [f"{p.resumption.of} {p.resumption.wish}" for p in parts]
    has_registration = any(row.registration for row in source.passes)
    return CutSet(
        id=set_id(source.input_files, (source.set, "resume", *wishes)),
        job=plan.name,
        machine=plan.machine,
        clamps=plan.setup.clamps,
        tape=plan.setup.tape,
        vacuum=plan.setup.vacuum,
        cutters=plan.cutters,
        gap=plan.isolation.gap,
        locating=plan.registration.method if has_registration else None,
        inputs=source.input_files,
        blanks=blanks,
        findings=tuple(f for p in parts for f in _entry_findings(p)),
        derived_from=source.set,
        resumed=tuple(p.resumption for p in parts),
        time_fit=None if source.time_fit is None else TimeFit(**dict(source.time_fit)),
    )


def _entry_findings(part: _Part) -> list[Finding]:
    """Where a program is resumed, and what the person must decide."""
    resumption, entry = part.resumption, part.entry
    if resumption.overlap is None:
        words = f"It starts at restart point {resumption.point} and makes that whole cut again."
    else:
        words = (
            f"It starts in the cut of restart point {resumption.point}, "
            f"{resumption.overlap:.1f} mm along the path before the place. The path passes "
            f"{entry.away:.2f} mm from the place that was read."
        )
    words += f" It makes {resumption.cuts} of {resumption.points} cuts."
    findings = [_at(part, "resume-entry", "note", words)]
    if entry.later:
        points = ", ".join(map(str, entry.later[:8])) + (" …" if len(entry.later) > 8 else "")
        words = (
            f"The path passes there again after restart points {points}. The first time counts, so "
            "that nothing is left out. If the cutter was past it, give --after as well."
        )
        findings.append(_at(part, "resume-earliest", "warn", words))
    return findings


def _at(part: _Part, code: str, severity: Severity, message: str) -> Finding:
    """A finding where the cutter goes down."""
    x, y, _ = part.resumption.entry
    return Finding(
        code=code,
        severity=severity,
        message=message,
        frame="machine",
        at=(x, y),
        blank=part.new.blank,
        mill_pass=part.new.mill_pass,
        file=part.resumption.file,
    )


def _proved(cut_set: CutSet, plan: JobPlan, folder: Path, parts: Sequence[_Part]) -> CutSet:
    """The set once its files are read back: motion, table, and path compared with the old one.

    Raises:
        Refusal: when anything is wrong.
    """
    read = read_resumed(folder, plan, cut_set.blanks)
    findings = list(read.findings)
    runs = [run for blank in read.blanks for run in blank.runs]
    for part, run in zip(parts, runs, strict=True):
        new = part.new
        findings += check_resumed(
            part.old,
            run.trace,
            plunge=min(new.cutter.plunge, plan.machine.max_plunge),
            whole=part.resumption.board is None,
            file=new.file,
            digit=plan.machine.dialect.digit,
        )
    if any(finding.severity == "stop" for finding in findings):
        raise Refusal(findings)
    done = cut_set.with_programs(
        replace(program, trail=trail)
        for program, trail in zip(cut_set.programs, read.trails, strict=True)
    )
    return replace(done, findings=(*cut_set.findings, *findings))
