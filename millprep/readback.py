"""The programs on disk, read back and proved: what counts is the file, not our intention."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from millprep.proof import motion, reader
from millprep.proof.as_cut import as_cut
from millprep.proof.compare import compare
from millprep.proof.trace import Trace
from millprep.values.as_cut import AsCut, BoardProof
from millprep.values.finding import Finding
from millprep.values.layout import Layout
from millprep.values.milling_pass import MillingPass
from millprep.values.plan import JobPlan
from millprep.values.program import Program


def prove(
    folder: Path,
    job: JobPlan,
    layout: Layout,
    passes: Sequence[MillingPass],
    programs: Sequence[Program],
) -> tuple[tuple[AsCut, ...], tuple[BoardProof, ...], tuple[Finding, ...]]:
    """Read every program of a set, check its motion, cut the blanks with it, compare.

    Raises:
        Refusal: when a program is not RS-274.
    """
    by_pass = {(p.blank, p.number): p for p in passes}
    blanks = {blank.number: blank for blank in layout.blanks}
    traces: dict[int, list[tuple[Trace, Program]]] = {}
    findings: list[Finding] = []
    for program in programs:
        trace = reader.read((folder / program.file).read_text("ascii"), file=program.file)
        mill_pass = by_pass[program.blank, program.mill_pass]
        traces.setdefault(program.blank, []).append((trace, program))
        findings += motion.check(
            trace,
            cutter=program.cutter,
            machine=job.machine,
            clamps=tuple(c for c in job.clamps if c.on_in(program.mill_pass)),
            mill_pass=mill_pass,
            blank=blanks[program.blank],
            spoilboard=job.drilling.spoilboard,
            file=program.file,
        )
    cut = tuple(
        as_cut(
            blank,
            [
                (trace, program.cutter, by_pass[program.blank, program.mill_pass])
                for trace, program in traces.get(blank.number, ())
            ],
            layout.on(blank.number),
        )
        for blank in layout.blanks
    )
    proofs, faults = compare(cut, layout)
    findings += faults
    return cut, proofs, tuple(findings)
