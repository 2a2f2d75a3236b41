"""What is proved of a set, kept with its blanks, copies and programs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from millprep.model.as_cut import AsCut
from millprep.model.job.job import JobPlan
from millprep.model.set_of_programs import CutSet
from millprep.verify.buzz_out import buzz_out
from millprep.verify.prove import Checked
from millprep.verify.read_back import ReadBack
from millprep.verify.rules.holding import held
from millprep.verify.rules.judge import Judged


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
