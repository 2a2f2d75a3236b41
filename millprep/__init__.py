"""From a drawing of a single-sided circuit board to safe cut files for a small mill.

The functions here are what the command line uses. They take files and return frozen values.
Each raises `Refusal`, with all findings together, when a job, drawing or set cannot be used.
Lengths are mm. In the examples, `job` is the path of a small example job and `folder` the path
of an empty folder.
"""

from __future__ import annotations

from collections.abc import Callable
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from millprep.drawing.survey.survey import Survey
    from millprep.model.board import Board
    from millprep.model.job.job import JobPlan
    from millprep.model.job.layers import Unit
    from millprep.model.set_of_programs import CutSet
    from millprep.report.guide import Explanation
    from millprep.report.report_model import Report
    from millprep.workflow.compare import Compared
    from millprep.workflow.drawing_changes import DrawingsCompared
    from millprep.workflow.lay_out import LaidOut
    from millprep.workflow.laying import Choice
    from millprep.workflow.verify import Verified

__version__ = "0.3.0"

__all__ = [
    "check",
    "compare_drawings",
    "compare_sets",
    "explain",
    "lay_out",
    "load_job",
    "plan_set",
    "prepare",
    "read_boards",
    "read_report",
    "survey_drawing",
    "verify_set",
]

File = str | PathLike[str]
Say = Callable[[str], None]
"""Takes the name of every step as it begins."""


def load_job(job_file: File) -> JobPlan:
    """Read a job file: every key checked, every default filled in.

    Raises:
        Refusal: exit code 2, with all mistakes, each with line, column and remedy.

    >>> import millprep
    >>> plan = millprep.load_job(job)
    >>> plan.name, plan.isolation.gap
    ('socket on a wrong circle', 0.4)
    """
    from millprep import job

    return job.load(Path(job_file))


def read_boards(job_file: File, *, repair: bool = False) -> tuple[Board, ...]:
    """Read the drawings of a job: one board for every `[[board]]`, in drawing coordinates.

    Args:
        job_file: the TOML file.
        repair: mend damaged drawings, as far as the job accepts each change.

    Raises:
        Refusal: exit code 2 for the job, 3 for a drawing that is unreadable or doubtful.

    >>> (board,) = millprep.read_boards(job)
    >>> len(board.pieces), len(board.holes)
    (7, 7)
    """
    from millprep import job
    from millprep.workflow.inputs import read_boards

    return read_boards(job.load(Path(job_file)), repair=repair)


def survey_drawing(drawing: File, unit: Unit | None = None, *, repair: bool = False) -> Survey:
    """Survey a drawing before a job is written: its layers, and what each of them may be.

    Args:
        drawing: a DXF, Gerber or drill file.
        unit: of a drawing that states none.
        repair: mend a damaged drawing.

    Raises:
        Refusal: exit code 3, when the file cannot be read.

    >>> survey = millprep.survey_drawing(drawing)
    >>> [layer.name for layer in survey.layers]
    ['bores', 'foil', 'rim']
    """
    from millprep.drawing.survey.survey import survey_file

    return survey_file(Path(drawing), unit, repair)


def lay_out(
    job_file: File,
    say: Say = lambda _: None,
    *,
    choice: Choice | None = None,
    repair: bool = False,
) -> LaidOut:
    """Place the boards of a job on its blanks; nothing is cut or written.

    Args:
        job_file: the TOML file.
        say: takes the name of every step as it begins.
        choice: how long to search, a stored layout, and copies to leave out.
        repair: mend damaged drawings, as far as the job accepts each change.

    Raises:
        Refusal: for mistakes in the job, its drawings or its stored layout.

    >>> placed = millprep.lay_out(job)
    >>> len(placed.blanks), placed.least
    (1, 1)
    """
    from millprep.workflow.lay_out import lay_out

    return lay_out(Path(job_file), choice, say, repair=repair)


def plan_set(job_file: File, *, repair: bool = False) -> CutSet:
    """Plan a job: layout, laps, holes, profiles, passes and programs; nothing is written.

    Raises:
        Refusal: with all findings, when the job cannot be cut as it is.

    >>> planned = millprep.plan_set(job)
    >>> [program.work for program in planned.programs]
    ['dry-run', 'isolate', 'bore', 'profile']
    """
    from millprep.workflow.planning import plan_set

    return plan_set(Path(job_file), repair=repair)


def prepare(
    job_file: File,
    out: File,
    say: Say = lambda _: None,
    *,
    choice: Choice | None = None,
    repair: bool = False,
    replace_begun: bool = False,
) -> CutSet:
    """Prepare a job: a complete, proved set of programs in the folder `out`, or `out` as it was.

    Args:
        job_file: the TOML file.
        out: folder of the set; an older set there is replaced as a whole.
        say: takes the name of every step as it begins.
        choice: how long to search for a layout, a stored layout, and copies to leave out.
        repair: mend damaged drawings, as far as the job accepts each change.
        replace_begun: replace even a set that is marked as begun.

    Raises:
        Refusal: with all findings; `out`-refused then holds findings and pictures.

    >>> cut = millprep.prepare(job, folder / "set")
    >>> sum(copy.proof.shorts for copy in cut.copies)
    0
    >>> (folder / "set" / "sheet.html").exists()
    True
    """
    from millprep.workflow.prepare import prepare

    return prepare(
        Path(job_file), Path(out), say, choice=choice, repair=repair, replace_begun=replace_begun
    )


def check(job_file: File, say: Say = lambda _: None, *, repair: bool = False) -> CutSet:
    """Check a job against all rules, volts and currents at the loads included; nothing is written.

    Returns:
        the set as it was judged, or as far as it was known when a finding stopped the work.

    Raises:
        Refusal: for mistakes in the job or its drawings.

    >>> [finding.code for finding in millprep.check(job).findings if finding.severity == "stop"]
    []
    """
    from millprep.workflow.prepare import check

    return check(Path(job_file), say, repair=repair)


def verify_set(folder: File, job_file: File | None = None, say: Say = lambda _: None) -> Verified:
    """Prove a finished set again from its files: hashes, motion, and the copper they cut.

    Args:
        folder: of the set.
        job_file: a job to take instead of the one that the set keeps.
        say: takes the name of every step as it begins.

    Raises:
        Refusal: when the set is none, or is unreadable.

    >>> verified = millprep.verify_set(folder / "set")
    >>> verified.good
    True
    """
    from millprep.workflow.verify import verify

    return verify(Path(folder), None if job_file is None else Path(job_file), say)


def read_report(folder: File) -> Report:
    """Read report.json of a set.

    Raises:
        Refusal: exit code 2, when the folder holds no report, or a damaged one.

    >>> report = millprep.read_report(folder / "set")
    >>> report.format, len(report.blanks)
    (1, 1)
    """
    from millprep.report.report_file import read

    return read(Path(folder))


def compare_sets(first: File, second: File) -> tuple[Compared, ...]:
    """Compare two sets, copy by copy: what they cut differently, wherever the boards lie.

    Raises:
        Refusal: exit code 2, when one of the folders holds no set.

    >>> [copy.board for copy in millprep.compare_sets(folder / "set", folder / "set")]
    ['socket']
    """
    from millprep.workflow.compare import compare

    return compare(Path(first), Path(second))


def compare_drawings(first: File, second: File) -> DrawingsCompared:
    """Compare the drawings of two jobs, or of a set and a job: copper, holes, edge.

    Raises:
        Refusal: exit code 2 for a job or a set that cannot be used, 3 for a drawing.

    >>> [board.same for board in millprep.compare_drawings(folder / "set", job).boards]
    [True]
    """
    from millprep.workflow.drawing_changes import compare_drawings

    return compare_drawings(Path(first), Path(second))


def explain(code: str) -> Explanation:
    """Explain a finding by its code, or by the code that it had in an earlier version.

    Raises:
        KeyError: when there is no such code.

    >>> millprep.explain("mismatch-assumed").code
    'misalignment-assumed'
    """
    from millprep.report.guide import explanations, renamed

    return explanations()[renamed().get(code, code)]
