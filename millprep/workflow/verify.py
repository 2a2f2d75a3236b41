"""A finished set proved again: the files on disk against the job and the drawings they are for."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence, Set
from dataclasses import dataclass, replace
from pathlib import Path

from millprep.model.as_cut import BoardProof, Certificate
from millprep.model.begun import FILE, Begun
from millprep.model.blank import Layout
from millprep.model.finding import NOT_RUN, Finding, Refusal, limited, stop
from millprep.model.job.job import JobPlan
from millprep.model.program import check_set_named
from millprep.model.set_of_programs import blanks_of
from millprep.passes.windows import joined_by
from millprep.report import report_file
from millprep.report.report_model import Report
from millprep.toolpaths import least_time
from millprep.verify import prove
from millprep.verify.certificate import TOLERANCE
from millprep.verify.like_job import check_like_job
from millprep.workflow import nets
from millprep.workflow.inputs import read_boards
from millprep.workflow.planning import Say
from millprep.workflow.set_on_disk import load_mark
from millprep.workflow.source_set import (
    job_of,
    made_by_this_version,
    readings_of,
    unchanged,
    unlike_job,
    whole_ids,
)

LEFT_BETWEEN = ("copper-island", "copper-ridge", "copper-sliver", "lap-off-middle")
"""Notes of what is between paths; a new one says that a path is not where it was."""
SAME = 1e-4
"""Lengths, which the report holds to four decimals, are the same within this, mm."""


@dataclass(frozen=True, slots=True)
class Verified:
    """What the files of a set prove.

    Attributes:
        id: of the set.
        files: number of files that were compared with their hashes.
        layout: the boards on the blanks.
        proofs: one for each copy; empty when the programs could not be read.
        findings: what is wrong, and what the user must know.
        begun: what of the set is marked as cut.
        resumed: whether the set only resumes after a broken cutter: its copper was proved when it
            was made, against the program that it resumes.
    """

    id: str
    files: int
    layout: Layout
    proofs: tuple[BoardProof, ...]
    findings: tuple[Finding, ...]
    begun: Begun | None = None
    resumed: bool = False

    @property
    def good(self) -> bool:
        """Whether the set may be cut."""
        stopped = any(finding.severity == "stop" for finding in self.findings)
        return bool(self.proofs or self.resumed) and not stopped


def verify(
    folder: Path,
    job_file: Path | None = None,
    say: Say = lambda _: None,
    *,
    hashes: bool = True,
) -> Verified:
    """Compare a set with its hashes, read its programs again, and simulate them on its blanks.

    Args:
        folder: of the set.
        job_file: a job to take instead of the one that the set keeps.
        say: takes the name of every step as it begins.
        hashes: False leaves hashes and table aside, so that the simulation alone must find
            what is wrong; for tests of the simulation.

    Raises:
        Refusal: exit code 2 when there is no set or no job, 1 when the set is another job's.
    """
    say("reading the set")
    report = report_file.read(folder)
    say("reading the job and the drawings")
    source = job_of(report, folder, job_file)
    unchanged(report, source.inputs)
    boards = read_boards(source.plan, repair=True)
    plan = least_time.chosen(source.plan, boards)
    findings: list[Finding] = []
    if hashes:
        say("comparing the files with their hashes")
        findings += report_file.changed(report, folder)
    mark = load_mark(folder)
    findings += [] if mark is None else _begun_findings(report, mark)
    findings += _check_resumed(report)
    findings += _check_version(report)
    say("reading the programs and cutting the blanks in simulation")
    try:
        layout = report.layout(boards)
        passes = report.milling_passes()
        programs = report.programs(plan.cutters, plan.machine)
        findings += check_like_job(plan, layout, passes, report.chosen, report.engraved_id)
        overruns = {b.number: joined_by(plan, b).registration.overrun for b in layout.blanks}
        blanks = blanks_of(
            layout,
            passes,
            programs,
            report.joins_on(layout, overruns),
            nets.name(plan.boards, layout)[0],
            report.levellings,
            {n: row.tabs for n, row in enumerate(report.boards) if row.tabs is not None},
        )
    except ValueError as fault:
        raise Refusal([unlike_job(fault), *findings]) from None
    files = dict.fromkeys(report.program_files)
    missing = [file for file in files if not (folder / file).is_file()]
    if not hashes:
        findings += [stop("set-file-missing", f"{file} is missing.", file) for file in missing]
    if not missing:
        findings += _check_ids(report, folder, plan, {finding.file for finding in findings})
    proofs: tuple[BoardProof, ...] = ()
    if not missing and report.resumed:
        try:
            # what follows a surface map is not as deep as its heights say
            flat = not readings_of(report, folder, source.inputs)
            findings += prove.prove_resumed(folder, plan, blanks, flat=flat)
        except Refusal as refusal:
            findings += refusal.findings
    elif not missing:
        try:
            proved = prove.prove(folder, plan, blanks, table=hashes)
            proofs = proved.proofs
            findings += _unreported(report, proved.findings)
            findings += _unlike(report, proofs)
            if all(finding.severity != "stop" for finding in proved.findings):
                findings += _unlike_certificate(report, proved.certificate)
        except Refusal as refusal:
            findings += refusal.findings
    count = len(report.files or ())
    resumed = report.resumed is not None
    return Verified(report.set, count, layout, proofs, limited(findings), mark, resumed)


def _begun_findings(report: Report, mark: Begun) -> list[Finding]:
    """That a set is being cut, or that the mark is of another set."""
    if mark.set == report.set:
        message = f"The set is begun: {mark.words}."
        return [Finding(code="set-begun", severity="note", message=message)]
    message = (
        f"{FILE} marks set {mark.set}, and this is set {report.set}. Check which of them is being "
        "cut; delete the file if it was copied here."
    )
    return [stop("begun-another-set", message, FILE)]


def _check_ids(
    report: Report, folder: Path, plan: JobPlan, at_fault: Set[str | None]
) -> Iterator[Finding]:
    """Programs whose head does not name their set, but for those already known at fault."""
    if plan.machine.dialect.comments == "none":
        return
    for file in dict.fromkeys(report.program_files):
        if file not in at_fault:
            text = (folder / file).read_bytes().decode("ascii", "replace")
            finding = check_set_named(text, report.set, file)
            yield from () if finding is None else (finding,)


def _check_resumed(report: Report) -> Iterator[Finding]:
    """What is wrong with a report that says that its set resumes another one."""
    if not report.resumed:
        return
    files = sorted(row.file for row in report.resumed)
    words = None
    if report.derived_from is None or files != sorted(report.program_files):
        words = "it resumes another one, and not for every program which one"
    elif report.set in whole_ids(report):
        words = "it resumes another one, and its id is that of a whole set"
    elif not all(file.endswith("-resumed.ngc") for file in files):
        words = "it resumes another one, and its programs are not named so"
    if words is not None:
        message = f"report.json says of the set that {words}. {NOT_RUN}"
        yield stop("set-unlike-job", message, report_file.REPORT)


def _check_version(report: Report) -> Iterator[Finding]:
    """That another version made the set; of this one every whole set names its tabs."""
    if not made_by_this_version(report):
        yield _another_version(report)
    elif not report.resumed and any(row.tabs is None for row in report.boards):
        message = f"report.json names no tabs of a board. {NOT_RUN}"
        yield stop("set-unlike-job", message, report_file.REPORT)


def _another_version(report: Report) -> Finding:
    return Finding(
        code="made-by-another-version",
        severity="warn",
        message=f"Set {report.set} was made by another version of millprep, whose machine and "
        "cutter presets may differ. It is proved with those of this version.",
    )


def _unreported(report: Report, proved: Sequence[Finding]) -> Iterator[Finding]:
    """The findings of the proof; a warning that the set was not made with says stop.

    Of a kind that the report only counts there may be no more than it counts.
    """
    counts: Counter[object] = Counter()
    counted: set[str] = set()
    for row in report.findings:
        if row.severity == "warn" or row.code in LEFT_BETWEEN:
            counts[row.code, row.board, row.copy_number, row.blank] += 1
            more = re.search(r" And (\d+) more\.$", row.message)
            counts[row.code] += 1 + (int(more[1]) if more else 0)
            counted |= {row.code} if more else set()
    total = Counter(f.code for f in proved for _ in range(1 + f.more))
    known = made_by_this_version(report)
    for finding in proved:
        here = (finding.code, finding.board, finding.copy, finding.blank)
        counts[here] -= 1
        if finding.code in counted:
            new = total[finding.code] > counts[finding.code]
        else:
            new = counts[here] < 0
        judged = finding.severity == "warn" or finding.code in LEFT_BETWEEN
        if judged and new and known:
            message = f"{finding.message} The set was made without this: prepare it again."
            yield replace(finding, severity="stop", message=message)
        else:
            yield finding


def _unlike(report: Report, proofs: tuple[BoardProof, ...]) -> list[Finding]:
    """Where the proof differs from the report."""
    findings: list[Finding] = []
    for row, proof in zip(report.boards, proofs, strict=True):
        for noun in ("pieces", "shorts", "opens", "bridges", "narrowest_gap", "narrowest_copper"):
            old, new = getattr(row.proof, noun, None), getattr(proof, noun)
            same = old is new if old is None or new is None else abs(old - new) <= SAME
            if not same:
                name = noun.replace("_", " ")
                words = f"{name} is {_figure(new)}, the report says {_figure(old)}"
                findings.append(
                    Finding(
                        code="proof-differs",
                        severity="stop",
                        message=f"{words}. {NOT_RUN}",
                        board=row.name,
                        copy=row.copy_number,
                        blank=row.blank,
                    )
                )
    return findings


def _unlike_certificate(report: Report, now: Certificate | None) -> list[Finding]:
    """Where the certificate differs from the report."""
    row = report.certificate
    if (row is None) != (now is None):
        words = "the report has a certificate" if now is None else "the report has no certificate"
        return [_differs(f"{words}, the programs say otherwise")]
    if row is None or now is None:
        return []
    figures = [("misalignment of all joins", row.misalignment, now.least.misalignment)]
    figures += [
        (f"misalignment before {words}", old.misalignment, new.misalignment)
        for words, old, new in (
            ("a short", row.short, now.short),
            ("an open", row.open, now.open),
            ("the gap is lost", row.gap, now.gap),
        )
    ]
    # the last bit of a sine may decide in which square of that size a search ends
    near = TOLERANCE + SAME
    far = [(noun, old, new) for noun, old, new in figures if abs(old - new) > near]
    share = near / max(now.least.misalignment, near)
    if abs(row.turn - now.turn) > share * now.turn + SAME:
        far.append(("turn of a pass", row.turn, now.turn))
    return [
        _differs(f"certified {noun} is {_figure(new)}, the report says {_figure(old)}")
        for noun, old, new in far
    ]


def _differs(words: str) -> Finding:
    message = f"{words}. {NOT_RUN}"
    return Finding(code="proof-differs", severity="stop", message=message)


def _figure(value: float | None) -> str:
    return "unknown" if value is None else f"{value:.4g}"
