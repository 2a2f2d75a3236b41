"""sheet.html: what the person at the mill does, in order, on a few printed pages.

The first page holds what comes before and after the passes; every pass has a page of its own. What
is read at a desk, the details, is printed only when it is wanted.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING

from millprep.cache import Cache, current
from millprep.model.by_hand import by_hand, by_hand_in
from millprep.model.finding import SEVERITIES
from millprep.model.machine import Machine
from millprep.model.set_of_programs import CutSet, MilledBlank
from millprep.report import rules_words
from millprep.report.blank_contents import marked, name_of, where_words
from millprep.report.buzz_out import FILE, shortest, tables
from millprep.report.pass_tables import (
    JoinTable,
    Step,
    change_words,
    cut_out_words,
    dry_run_words,
    engraved_words,
    join_table,
    program_rows,
    running_time,
    time_rows,
)
from millprep.report.pictures import gallery
from millprep.report.review import LAYERS, Compiled, part, review
from millprep.report.setup import (
    FlatCheck,
    flat_check,
    lift_words,
    need_words,
    resumed_words,
    setup_words,
    spoilboard_words,
)
from millprep.report.setup_drawing import setup_drawing
from millprep.report.words import (
    by_hand_words,
    cutter_words,
    minutes_words,
    number,
    plain,
    running_words,
)
from millprep.report.zero import (
    HoleRow,
    TouchPage,
    VernierPage,
    edge_words,
    hole_rows,
    lost_words,
    mark_command,
    spoilboard_programs,
    touch_page,
    vernier_page,
    zero_words,
)

if TYPE_CHECKING:
    import jinja2

BLANK = ("", "")
MOST_TO_DECIDE = 8
"""Findings on the first page; the others are in the details."""


@dataclass(frozen=True, slots=True)
class PassPage:
    """One pass of one blank."""

    title: str
    drawing: str
    setup: tuple[str, ...]
    edge: str
    holes: tuple[HoleRow, ...]
    zero: tuple[str, ...]
    folder: str
    steps: tuple[Step, ...]
    ran: int
    time: str
    hand: str
    begin: str
    has_run: str
    resume: str
    lift: str = ""
    lost: str = ""
    engraved: str = ""
    cut_out: str = ""
    flat: FlatCheck | None = None
    vernier: VernierPage | None = None
    touch: TouchPage | None = None
    joins: JoinTable | None = None


@dataclass(frozen=True, slots=True)
class CutterRow:
    """A cutter: what to look for in the tray, and how it cuts."""

    name: str
    words: str
    shank: str
    feeds: str
    speed: str
    chip: str


@dataclass(frozen=True, slots=True)
class ShownFinding:
    """A finding in words; `shown` if the review can show its place."""

    name: str
    severity: str
    kind: str
    message: str
    where: str
    shown: bool
    picture: str | None
    decide: bool


def _hop(machine: Machine) -> str:
    """Height of hops above the highest copper; empty where there are none."""
    height = max(machine.hop_height, machine.approach)
    return number(height) if height < machine.clearance else ""


def sheet(cut_set: CutSet, *, refused: bool = False, unread: bool = False) -> str:
    """The sheet as HTML 5 text, complete in itself: it asks for nothing.

    The page of a refused job has the review and the findings, and no plan. With `unread` its
    boards are drawings that could not be read.
    """
    remarks = _remarks(cut_set)
    left = replace(cut_set, blanks=tuple(_left(blank) for blank in cut_set.blanks))
    spoilboard = spoilboard_programs(left)
    running = left.running
    return _template(current()).render(
        refused=refused,
        unread=unread,
        job=plain(cut_set.job),
        set_id=plain(cut_set.id),
        derived_from=None if cut_set.derived_from is None else plain(cut_set.derived_from),
        resumed=bool(cut_set.resumed),
        machine=plain(cut_set.machine.name),
        running=None
        if running is None
        else running_words(running, cut_set.machine, cut_set.time_fit),
        time=running_time(left.programs),
        times=time_rows(left.programs),
        hand=by_hand_words(by_hand(left)),
        blanks=_blanks(cut_set),
        cutters=_cutters(left),
        need=need_words(left),
        spoilboard=program_rows(cut_set, spoilboard),
        spoilboard_words=spoilboard_words(left),
        spoilboard_time=running_time(spoilboard),
        done=_done(cut_set),
        pages=() if refused else _pages(cut_set),
        review=review(cut_set, refused=refused, unread=unread),
        layers=LAYERS,
        caution=rules_words.CAUTION,
        remarks=remarks,
        decide=[remark for remark in remarks if remark.decide][:MOST_TO_DECIDE],
        undecided=max(sum(remark.decide for remark in remarks) - MOST_TO_DECIDE, 0),
        first_checks=shortest(cut_set),
        buzz_out=tables(cut_set),
        checks_file=FILE,
        judged=rules_words.pages(cut_set),
        inputs=[(plain(i.file, 120), i.sha256) for i in cut_set.inputs],
        by_hand=not cut_set.machine.spindle_by_program,
        changing=change_words(cut_set),
        dry=dry_run_words(left),
        clearance=number(cut_set.machine.clearance),
        hop=_hop(cut_set.machine),
    )


@cache
def _template(results: Cache | None) -> jinja2.Template:
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.FunctionLoader(part),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        bytecode_cache=jinja2.MemcachedBytecodeCache(Compiled(results)) if results else None,
    )
    environment.filters["kept"] = kept
    environment.filters["by_places"] = by_places
    return environment.get_template("sheet.html.j2")


def kept(words: str) -> str:
    """The words with every coordinate kept together with its axis at the end of a line."""
    return re.sub(r"\b([XYZ]) (?=[−\d])", "\\1\N{NO-BREAK SPACE}", words)


def by_places(words: str) -> list[str]:
    """The words split at their places, which are every second part."""
    number_ = r"[−\d](?:[\d.]*\d)?"
    return re.split(rf"(\bX +{number_} +Y +{number_})", words)


def _cutters(cut_set: CutSet) -> list[CutterRow]:
    """The cutters that the programs use."""
    chips = rules_words.cutter_rows(p.cutting for p in cut_set.programs if p.cutting is not None)
    used = {program.cutter.name for program in cut_set.programs}
    return [
        CutterRow(
            plain(cutter.name, 60),
            cutter_words(cutter),
            number(cutter.shank, 3),
            f"{number(cutter.feed, 0)} / {number(cutter.plunge, 0)}",
            *chips.get(cutter.name, BLANK)[:2],
        )
        for cutter in cut_set.cutters
        if cutter.name in used
    ]


def _blanks(cut_set: CutSet) -> list[tuple[str, ...]]:
    """Number, size, thickness and boards of each blank."""
    result: list[tuple[str, ...]] = []
    for milled in cut_set.blanks:
        blank = milled.laminate
        counts = Counter(placement.board.name for placement in milled.placements)
        boards = ", ".join(f"{count} × {plain(name, 60)}" for name, count in counts.items())
        size = f"{number(blank.size[0])} × {number(blank.size[1])} mm"
        thick = f"{number(blank.thickness)} mm with {number(blank.copper, 3)} mm of copper"
        result.append((str(blank.number), size, thick, boards))
    return result


def _pages(cut_set: CutSet) -> list[PassPage]:
    pages = []
    for blank, milling_pass in ((b, p) for b in cut_set.blanks for p in b.passes):
        if milling_pass.number < (blank.lies_in or 1):
            continue
        programs = milling_pass.programs
        ran = milling_pass.ran
        title = f"Blank {blank.number}, pass {milling_pass.number}"
        last = blank.passes[-1].number
        title += ", resumed" if cut_set.resumed else f" of {last}"
        folders = {p.file.rpartition("/")[0] for p in programs}
        folder = f"{folders.pop()}/" if len(folders) == 1 else ""
        pages.append(
            PassPage(
                title=title,
                drawing=setup_drawing(cut_set, milling_pass, title),
                setup=resumed_words(cut_set) or setup_words(cut_set, milling_pass),
                edge=edge_words(milling_pass),
                holes=hole_rows(cut_set, milling_pass),
                zero=zero_words(cut_set, milling_pass),
                folder=plain(folder, 120) if folder != "/" else "",
                steps=program_rows(cut_set, programs, folder),
                ran=ran,
                time=running_time(programs[ran:]),
                hand=minutes_words(
                    by_hand_in(cut_set, replace(milling_pass, programs=programs[ran:])).minutes
                ),
                begin="" if cut_set.resumed else mark_command("begin", cut_set, milling_pass),
                has_run=f"{mark_command('ran', cut_set, milling_pass)} --program N",
                resume="millprep resume SET PROGRAM --near=X,Y --out NEW",
                lift=lift_words(milling_pass),
                lost=lost_words(cut_set, milling_pass),
                engraved="" if cut_set.resumed or ran else engraved_words(milling_pass),
                cut_out=cut_out_words(cut_set, milling_pass),
                flat=flat_check(cut_set, milling_pass),
                vernier=None if ran else vernier_page(cut_set, milling_pass),
                touch=None if ran else touch_page(cut_set, milling_pass),
                joins=join_table(cut_set, milling_pass),
            )
        )
    return pages


def _left(blank: MilledBlank) -> MilledBlank:
    """The blank with those passes and programs alone that have not run by what was read."""
    if blank.lies_in is None:
        return blank
    passes = tuple(
        replace(each, programs=each.programs[each.ran :])
        for each in blank.passes
        if each.number >= blank.lies_in
    )
    return replace(blank, passes=passes, spoilboard=())


def _done(cut_set: CutSet) -> list[str]:
    """Titles of the passes that were cut before a blank was read where it lies."""
    return [
        f"Blank {blank.number}, pass {each.number} of {blank.passes[-1].number}"
        for blank in cut_set.blanks
        for each in blank.passes
        if each.number < (blank.lies_in or 1)
    ]


def _remarks(cut_set: CutSet) -> list[ShownFinding]:
    pictures = {name: p.png for p in gallery(cut_set) for name in p.findings}
    placed = {mark.name for mark in marked(cut_set)}
    rows = sorted(enumerate(cut_set.findings), key=lambda row: (row[1].rank, row[0]))
    return [
        ShownFinding(
            name=name_of(index),
            severity=SEVERITIES[finding.severity],
            kind=plain(finding.code),
            message=plain(finding.words, 1000),
            where=where_words(finding),
            shown=name_of(index) in placed,
            picture=pictures.get(name_of(index)),
            decide=finding.severity != "note",
        )
        for index, finding in rows
    ]


def findings_text(cut_set: CutSet) -> str:
    """findings.txt of a refused run: every finding in plain words, `stop` first."""
    stops = sum(finding.severity == "stop" for finding in cut_set.findings)
    lines = [
        f"Refused: {plain(cut_set.job)}, set {plain(cut_set.id)}.",
        f"{'1 finding stops' if stops == 1 else f'{stops} findings stop'} this job. "
        "No program was written.",
        "",
    ]
    for remark in _remarks(cut_set):
        lines.append(f"{remark.name}  {remark.severity.upper()}  {remark.kind}")
        lines.append(f"    {remark.message}")
        if remark.where:
            lines.append(f"    Where: {remark.where}.")
        if remark.picture:
            lines.append(f"    Picture: {remark.picture}")
        lines.append("")
    return "\n".join(lines)
