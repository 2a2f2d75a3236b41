"""sheet.html: what the person at the mill does, in order, on a few printed pages."""

from __future__ import annotations

import base64
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from millprep.report import rules_words
from millprep.report.bed import bed_programs, bed_words
from millprep.report.buzz_out import tables
from millprep.report.join_table import JoinTable, join_table
from millprep.report.page_words import LAYERS, WORDS
from millprep.report.pass_view import works_words
from millprep.report.pictures import Picture, gallery
from millprep.report.places import ORDER, name_of, where_words
from millprep.report.review import part, review
from millprep.report.setup import hole_rows, setup_words
from millprep.report.touch_page import TouchPage, touch_page
from millprep.report.vernier_view import VernierPage, vernier_page
from millprep.report.words import cutter_words, duration, many, number, plain
from millprep.report.zero import zero_words

if TYPE_CHECKING:
    from collections.abc import Mapping

    from millprep.values.cut_set import CutSet
    from millprep.values.program import Program

SEVERITY = {"stop": "STOP", "warn": "Decide", "note": "Note"}


@dataclass(frozen=True, slots=True)
class Step:
    """One program as a row of the sheet; `change` says to put another cutter in."""

    file: str
    work: str
    cutter: str
    change: bool
    depth: str
    spindle: str
    feed: str
    time: str


@dataclass(frozen=True, slots=True)
class PassPage:
    """One pass of one blank."""

    title: str
    setup: tuple[str, ...]
    holes: tuple[tuple[str, str, str, str, str], ...]
    zero: tuple[str, ...]
    picture: Picture | None
    image: str | None
    steps: tuple[Step, ...]
    time: str
    vernier: VernierPage | None = None
    touch: TouchPage | None = None
    joins: JoinTable | None = None


@dataclass(frozen=True, slots=True)
class Remark:
    """A finding in words."""

    name: str
    severity: str
    kind: str
    message: str
    where: str
    picture: str | None


def sheet(cut_set: CutSet, images: Mapping[str, bytes] | None = None) -> str:
    """The sheet as HTML 5 text, complete in itself: it asks for nothing.

    `images` holds pictures as PNG by their paths in the set, as many as are to stand in it.
    """
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.FunctionLoader(part),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters["kept"] = kept
    pictures = gallery(cut_set)
    return environment.get_template("sheet.html.j2").render(
        job=plain(cut_set.job),
        set_id=plain(cut_set.id),
        derived_from=None if cut_set.derived_from is None else plain(cut_set.derived_from),
        machine=plain(cut_set.machine.name),
        total=duration(sum(f.seconds for f in cut_set.figures)) if cut_set.figures else None,
        blanks=[
            (
                blank.number,
                f"{number(blank.size[0])} × {number(blank.size[1])} mm",
                f"{number(blank.thickness)} mm with {number(blank.copper, 3)} mm of copper",
                _boards_on(cut_set, blank.number),
            )
            for blank in cut_set.layout.blanks
        ],
        cutters=[
            (plain(c.name, 60), cutter_words(c), number(c.shank, 3))
            for c in cut_set.cutters
            if any(p.cutter.name == c.name for p in cut_set.programs)
        ],
        bed=[_step(cut_set, program, i == 0) for i, program in enumerate(bed_programs(cut_set))],
        bed_words=bed_words(cut_set),
        pages=_pages(cut_set, pictures, images or {}),
        review=review(cut_set),
        w=WORDS,
        layers=LAYERS,
        overview=[picture for picture in pictures if picture.svg],
        remarks=_remarks(cut_set, pictures),
        buzz_out=tables(cut_set),
        judged=rules_words.pages(cut_set),
        caution=rules_words.CAUTION,
        inputs=[(plain(i.file, 120), i.sha256) for i in cut_set.inputs],
        by_hand=not cut_set.machine.spindle_by_program,
        clearance=number(cut_set.machine.clearance),
    )


def data_uri(png: bytes) -> str:
    """A picture as an address that holds the picture itself."""
    return "data:image/png;base64," + base64.b64encode(png).decode("ascii")


def kept(words: str) -> str:
    """The words with every coordinate kept together with its axis at the end of a line."""
    return re.sub(r"\b([XYZ]) (?=[−\d])", "\\1\N{NO-BREAK SPACE}", words)


def _boards_on(cut_set: CutSet, blank: int) -> str:
    counts: dict[str, int] = {}
    for placement in cut_set.layout.on(blank):
        counts[placement.board.name] = counts.get(placement.board.name, 0) + 1
    return ", ".join(f"{count} × {plain(name, 60)}" for name, count in counts.items())


def _pages(
    cut_set: CutSet, pictures: tuple[Picture, ...], images: Mapping[str, bytes]
) -> list[PassPage]:
    pages = []
    for milling_pass in cut_set.passes:
        here = (milling_pass.blank, milling_pass.number)
        programs = [p for p in cut_set.programs if (p.blank, p.mill_pass) == here]
        last = max(p.number for p in cut_set.passes if p.blank == milling_pass.blank)
        before = [None, *(p.cutter.name for p in programs)]
        seconds = sum(_seconds(cut_set, program) or 0.0 for program in programs)
        picture = next((p for p in pictures if (p.blank, p.mill_pass) == here), None)
        png = None if picture is None else images.get(picture.png)
        pages.append(
            PassPage(
                title=f"Blank {here[0]}, pass {here[1]} of {last}",
                setup=setup_words(cut_set, milling_pass),
                holes=hole_rows(cut_set, milling_pass),
                zero=zero_words(cut_set, milling_pass),
                picture=picture,
                image=None if png is None else data_uri(png),
                steps=tuple(
                    _step(cut_set, program, program.cutter.name != name)
                    for program, name in zip(programs, before, strict=False)
                ),
                time=duration(seconds) if cut_set.figures else "not known",
                vernier=vernier_page(cut_set, milling_pass),
                touch=touch_page(cut_set, milling_pass),
                joins=join_table(cut_set, milling_pass),
            )
        )
    return pages


def _seconds(cut_set: CutSet, program: Program) -> float | None:
    if not cut_set.figures:
        return None
    return cut_set.figures[cut_set.programs.index(program)].seconds


def _step(cut_set: CutSet, program: Program, change: bool) -> Step:
    seconds = _seconds(cut_set, program)
    return Step(
        file=plain(program.file, 160),
        work=works_words(program),
        cutter=plain(program.cutter.name, 60),
        change=change,
        depth=number(program.depth, 3),
        spindle=number(program.spindle, 0),
        feed=f"{number(program.cutter.feed, 0)} / {number(program.cutter.plunge, 0)}",
        time=duration(seconds) if seconds is not None else "",
    )


def _remarks(cut_set: CutSet, pictures: tuple[Picture, ...]) -> list[Remark]:
    shown = {name: p.png for p in pictures for name in p.findings}
    rows = sorted(
        enumerate(cut_set.findings), key=lambda row: (ORDER[row[1].severity], row[0])
    )
    return [
        Remark(
            name=name_of(index),
            severity=SEVERITY[finding.severity],
            kind=plain(finding.code),
            message=plain(finding.message, 1000),
            where=where_words(finding),
            picture=shown.get(name_of(index)),
        )
        for index, finding in rows
    ]


def findings_text(cut_set: CutSet) -> str:
    """findings.txt of a refused run: every finding in plain words, `stop` first."""
    stops = sum(finding.severity == "stop" for finding in cut_set.findings)
    lines = [
        f"Refused: {plain(cut_set.job)}, set {plain(cut_set.id)}.",
        f"{many(stops, 'finding stops', 'findings stop')} this job. No program was written.",
        "",
    ]
    for remark in _remarks(cut_set, gallery(cut_set)):
        lines.append(f"{remark.name}  {remark.severity.upper()}  {remark.kind}")
        lines.append(f"    {remark.message}")
        if remark.where:
            lines.append(f"    Where: {remark.where}.")
        if remark.picture:
            lines.append(f"    Picture: {remark.picture}")
        lines.append("")
    return "\n".join(lines)
