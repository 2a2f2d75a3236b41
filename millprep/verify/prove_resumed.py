"""Programs that take others up, read back from their files: what they do, and whether they may."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from millprep.model.dialect import Dialect
from millprep.model.finding import Finding, Refusal
from millprep.model.layout import Layout
from millprep.model.milling_pass import MillingPass
from millprep.model.plan import JobPlan
from millprep.model.program import Program
from millprep.verify import motion, prove, reader
from millprep.verify.cutter_changes import parts
from millprep.verify.rows import check_rows
from millprep.verify.trace import Trace


def read_back(
    folder: Path,
    plan: JobPlan,
    layout: Layout,
    passes: Sequence[MillingPass],
    programs: Sequence[Program],
) -> tuple[list[Trace], list[Finding]]:
    """What the programs of a resumed set do, and what rules of motion and their table say of it.

    Raises:
        Refusal: when they are no RS-274, or the table is damaged.
    """
    by_pass = {(p.blank, p.number): p for p in passes}
    blanks = {blank.number: blank for blank in layout.blanks}
    rows = prove.motion_rows(folder / prove.TABLE, programs)
    traces: list[Trace] = []
    findings: list[Finding] = []
    for one in programs:
        trace = read(folder, one, plan.machine.dialect)
        traces.append(trace)
        findings += check_rows(trace, rows.get(one.file, ()), file=one.file)
        findings += motion.check(
            trace,
            cutter=one.cutter,
            machine=plan.machine,
            clamps=tuple(c for c in plan.clamps if c.on_in(one.mill_pass)),
            mill_pass=by_pass[one.blank, one.mill_pass],
            blank=blanks[one.blank],
            spoilboard=plan.drilling.spoilboard,
            file=one.file,
            at=one.start[:2],
        )
    return traces, findings


def read(folder: Path, program: Program, dialect: Dialect) -> Trace:
    """A program of one cutter.

    Raises:
        Refusal: when it is no RS-274, or exit code 2 when it holds several cutters' programs.
    """
    # line ends are left as they are
    text = (folder / program.file).read_bytes().decode("ascii")
    found = parts(reader.read(text, file=program.file, dialect=dialect))
    if len(found) > 1:
        message = (
            f"{program.file} holds the programs of {len(found)} cutters and cannot be taken up in "
            'the middle. Set [machine] tool_change = "files", prepare into another folder, and '
            "take up the program of the cutter that broke from there: its cuts are the same."
        )
        finding = Finding(code="resume-several-cutters", severity="stop", message=message)
        raise Refusal([finding], exit_code=2)
    return found[0].trace
