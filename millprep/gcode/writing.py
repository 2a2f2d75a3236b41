"""Programs and the table of their motions, written."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

from millprep.gcode import sink
from millprep.gcode.joined import files, numbers
from millprep.gcode.levelling import followed
from millprep.gcode.post_processor import adapted
from millprep.gcode.program_time import TallySink
from millprep.gcode.rs274 import TextSink
from millprep.gcode.table import HEADER, TableSink
from millprep.model.dialect import LAST_NUMBER
from millprep.model.finding import Finding, Refusal
from millprep.model.set_of_programs import CutSet, Figures


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
