"""The walk: a job file in, a set of programs out."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

from millprep import (
    job,
    judging,
    laying,
    layout_files,
    nets,
    one_blank,
    readback,
    report,
    set_on_disk,
)
from millprep.beside import beside
from millprep.inputs import (
    Facts,
    read_boards,
    read_inputs,
    read_nets,
    set_id,
    stored,
    told,
    with_stored,
)
from millprep.laying import Choice, Laid
from millprep.levelling import followed, with_maps
from millprep.program import sink
from millprep.program.adapted import adapted
from millprep.program.joined import files, numbers
from millprep.program.rs274 import TextSink
from millprep.program.table import HEADER, TableSink
from millprep.program.tally import TallySink
from millprep.proof.buzz_out import buzz_out
from millprep.values.board import Board
from millprep.values.cut_set import CutSet, Figures
from millprep.values.derivation import Derivation
from millprep.values.dialect import LAST_NUMBER
from millprep.values.finding import Finding, Refusal
from millprep.values.layout import Layout
from millprep.values.plan import JobPlan

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
            if any(facts.values()):
                say("judging spacing, current and holes")
            cut_set = judging.judged(cut_set, plan, facts)
            _stop(cut_set)
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
) -> CutSet:
    """The set with its programs written into `folder`, read back and proved.

    Raises:
        Stopped: when a finding says so.
    """
    say("laying the boards out")
    cut_set, laid = _laid_out(cut_set, plan, boards, facts, choice)
    for name, text in layout_files.texts(laid, plan).items():
        (folder / name).write_bytes(text.encode("utf-8"))
    say("making paths and passes")
    cut_set = _planned(cut_set, plan, facts, derivation, laid.skipped)
    try:
        cut_set = with_maps(cut_set, plan, derivation)
    except Refusal as refusal:
        raise _stopped(cut_set, refusal) from refusal
    say("writing the programs")
    try:
        cut_set = replace(cut_set, figures=write_programs(cut_set, folder))
    except Refusal as refusal:
        raise _stopped(cut_set, refusal) from refusal
    say("reading them back and cutting the blanks in simulation")
    return _proved(cut_set, plan, folder)


class Stopped(Exception):  # noqa: N818 - no error of the program: a finding says stop
    """The walk ends here; carries what was known."""

    def __init__(self, cut_set: CutSet) -> None:
        self.cut_set = cut_set
        super().__init__("stopped by a finding")


def empty(
    plan: JobPlan,
    job_file: Path,
    boards: Iterable[Board],
    derivation: Derivation | None,
    choice: Choice | None = None,
) -> CutSet:
    """The set before anything is planned: its id, inputs and machine."""
    inputs = read_inputs(plan, job_file)
    derived: tuple[str, ...] = ()
    if derivation is not None:
        inputs = (*inputs, *derivation.readings)
        derived = (derivation.derived_from, derivation.step)
    chosen: tuple[str, ...] = ()
    if choice is not None:
        # what the job names itself is among the inputs
        own = plan.layout is not None and choice.stored == stored(*plan.layout)
        chosen = (replace(choice, stored=None) if own else choice).words
    return CutSet(
        id=set_id(inputs, (*derived, *chosen)),
        job=plan.name,
        machine=plan.machine,
        clamps=plan.clamps,
        cutters=plan.cutters,
        gap=plan.isolation.gap,
        locating=plan.registration.method,
        inputs=inputs,
        layout=Layout((), ()),
        board_input=(),
        nets={},
        findings=told(plan, boards)
        + (() if derivation is None else derivation.findings),
        derived_from=None if derivation is None else derivation.derived_from,
        chosen=chosen,
    )


def _laid_out(
    cut_set: CutSet,
    plan: JobPlan,
    boards: tuple[Board, ...],
    facts: Facts,
    choice: Choice | None,
) -> tuple[CutSet, Laid]:
    """The set with its layout."""
    try:
        laid = laying.lay(plan, boards, choice)
        if laid.findings:
            raise Refusal(laid.findings)
    except Refusal as refusal:
        if refusal.exit_code != 1:
            raise
        raise _stopped(cut_set, refusal) from refusal
    layout = laid.layout(boards, plan.blanks)
    files = [i.file for i in cut_set.inputs]
    drawn = {one.name: files.index(one.drawing_name) for one in plan.boards}
    named, faults = nets.name(plan.boards, layout, facts)
    known = replace(
        cut_set,
        layout=layout,
        board_input=tuple(drawn[p.board.name] for p in layout.placements),
        nets=named,
        findings=(*cut_set.findings, *laid.notes, *faults),
    )
    return known, laid


def _planned(
    cut_set: CutSet,
    plan: JobPlan,
    facts: Facts,
    derivation: Derivation | None,
    skipped: int = 0,
) -> CutSet:
    """Cuts and passes of every blank; the stops of all blanks together.

    All is planned as if every placement were cut, so that what is skipped changes nothing of
    the others; then the last `skipped` placements are taken out.
    """
    layout = cut_set.layout
    made_layout = laying.made_of(layout, skipped)
    left_out = frozenset(range(len(made_layout.placements), len(layout.placements)))
    for blank in layout.blanks:
        here = layout.on(blank.number)
        cuts = one_blank.cuts(plan, blank, here, facts)
        cut_set = replace(
            cut_set,
            rings=(*cut_set.rings, *cuts.rings),
            clearings=(*cut_set.clearings, *cuts.clearings),
            holes=(*cut_set.holes, *cuts.holes),
            profiles=(*cut_set.profiles, *cuts.profiles),
            findings=(*cut_set.findings, *cuts.findings),
        )
    _stop(cut_set)
    bare = replace(cut_set, profiles=())
    poses = {} if derivation is None else derivation.poses
    for blank in made_layout.blanks:
        mine = {p.index for p in layout.on(blank.number)}
        made = one_blank.Cuts(
            tuple(r for r in cut_set.rings if r.placement in mine),
            tuple(h for h in cut_set.holes if h.placement in mine),
            tuple(p for p in cut_set.profiles if p.placement in mine),
            (),
            tuple(c for c in cut_set.clearings if c.placement in mine),
        )
        try:
            done = one_blank.passes(plan, blank, made, layout.on(blank.number), poses, left_out)
        except Refusal as refusal:
            raise _stopped(cut_set, refusal) from refusal
        bare = replace(
            bare,
            holes=(*bare.holes, *done.registration),
            profiles=(*bare.profiles, *done.profiles),
            passes=(*bare.passes, *done.passes),
            joins=(*bare.joins, *done.joins),
            programs=(*bare.programs, *done.programs),
            findings=(*bare.findings, *done.findings),
            apart=(*bare.apart, *done.apart),
        )
    return _without(bare, made_layout)


def _without(cut_set: CutSet, layout: Layout) -> CutSet:
    """The set less the placements that the layout lacks, which are the last of its own."""
    if len(layout.placements) == len(cut_set.layout.placements):
        return cut_set
    last = len(layout.placements)
    gone = {(p.board.name, p.copy) for p in cut_set.layout.placements[last:]}
    return replace(
        cut_set,
        layout=layout,
        board_input=cut_set.board_input[:last],
        nets={key: net for key, net in cut_set.nets.items() if key[0] < last},
        rings=tuple(one for one in cut_set.rings if one.placement < last),
        clearings=tuple(one for one in cut_set.clearings if one.placement < last),
        holes=tuple(h for h in cut_set.holes if h.placement is None or h.placement < last),
        findings=tuple(f for f in cut_set.findings if (f.board, f.copy) not in gone),
    )


def write_programs(cut_set: CutSet, folder: Path) -> tuple[Figures, ...]:
    """Every program as RS-274, all motion as one CSV table; what each program costs.

    Raises:
        Refusal: when programs have more lines than line numbers can tell.
    """
    table = io.StringIO()
    table.write(HEADER)
    figures: list[Figures] = []
    too_long: list[Finding] = []
    for group in files(cut_set.programs):
        text = io.StringIO()
        text_sink = TextSink(
            text.write,
            cut_set.id,
            cut_set.job,
            cut_set.machine,
            len(group),
            numbers(cut_set.cutters),
        )
        for program in group:
            tally, before = TallySink(cut_set.machine), text_sink.line
            told = adapted(followed(cut_set, program), cut_set.machine)
            sink.run(told, text_sink, TableSink(table.write, text_sink), tally)
            part = None if len(group) == 1 else (before + 1, text_sink.line)
            figures.append(replace(tally.figures, lines=part))
        name = group[0].file
        if cut_set.machine.dialect.line_numbers and text_sink.line > LAST_NUMBER:
            too_long.append(_too_long(name, text_sink.line))
        file = folder / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(text.getvalue().encode("ascii"))
    (folder / "toolpaths.csv").write_bytes(table.getvalue().encode("ascii"))
    if too_long:
        raise Refusal(too_long)
    return tuple(figures)


def _too_long(file: str, lines: int) -> Finding:
    return Finding(
        code="program-too-long",
        severity="stop",
        message=f"{file} has {lines} lines, and a line number has five digits at most. Set "
        "line_numbers = false in [machine.dialect], or cut fewer boards in one set.",
        file=file,
    )


def _proved(cut_set: CutSet, plan: JobPlan, folder: Path) -> CutSet:
    """The set with what the files on disk prove of it."""
    try:
        proved = readback.prove(
            folder,
            plan,
            cut_set.layout,
            cut_set.passes,
            cut_set.programs,
            joins=cut_set.joins,
            levellings=cut_set.levellings,
            nets=cut_set.nets,
            beside=beside,
        )
    except Refusal as refusal:
        raise _stopped(cut_set, refusal) from refusal
    done = replace(
        cut_set,
        as_cut=proved.as_cut,
        proofs=proved.proofs,
        certificate=proved.certificate,
        trails=proved.trails,
        findings=(*cut_set.findings, *proved.findings),
    )
    _stop(done)
    return replace(
        done,
        checks=buzz_out(done.layout, done.nets, done.as_cut, done.proofs, done.joins),
    )


def _stop(cut_set: CutSet) -> None:
    """End the walk when a finding says stop."""
    if any(f.severity == "stop" for f in cut_set.findings):
        raise Stopped(cut_set)


def _stopped(cut_set: CutSet, refusal: Refusal) -> Stopped:
    """The end of the walk by a refusal from one of its steps."""
    return Stopped(replace(cut_set, findings=(*cut_set.findings, *refusal.findings)))


def _write_refused(cut_set: CutSet, out: Path) -> None:
    """Findings and pictures beside `out`, in place of those of an earlier refusal."""
    refused = set_on_disk.refused_folder(out)
    with set_on_disk.staged(refused) as folder:
        report.write_refused(cut_set, folder)
        set_on_disk.put_in_place(folder, refused)
