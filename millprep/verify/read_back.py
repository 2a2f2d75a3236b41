"""The programs of a set as their files have them: read back, and checked for motion.

What counts is the file, not our intention.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely

from millprep.geometry.pose import Pose
from millprep.model.blank import Blank
from millprep.model.cutter import Cutter
from millprep.model.dialect import Dialect
from millprep.model.finding import NOT_RUN, Finding, Refusal, usage
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import MillingPass
from millprep.model.program import ARC_CCW, ARC_CW, FEED, RAPID, Program, Trail
from millprep.model.set_of_programs import MilledBlank
from millprep.model.surface_map import SurfaceMap
from millprep.verify import motion, reader
from millprep.verify.cutter_changes import programs_of_file, split_by_cutter
from millprep.verify.feeds import check_feeds
from millprep.verify.obstacles import once_per_clamp
from millprep.verify.over_copper import over_flat_copper
from millprep.verify.trace import MotionRow, Trace, check_rows, rows_by_file
from millprep.verify.words import check_comments, check_words

TABLE = "toolpaths.csv"
"""All motion of a set, written next to the programs and compared with them."""


@dataclass(frozen=True, slots=True)
class Run:
    """One program as its file has it.

    Attributes:
        program: with the cutter that the file names.
        trace: its motion; over a surface map, as it would be over flat copper.
        mill_pass: where it runs; number 0 is the spoilboard.
    """

    program: Program
    trace: Trace
    mill_pass: MillingPass


@dataclass(frozen=True, slots=True)
class BlankRuns:
    """A blank and all programs that run for it, in order."""

    blank: MilledBlank
    runs: tuple[Run, ...]

    @property
    def cutting(self) -> tuple[Run, ...]:
        """The runs that cut the blank: none of the spoilboard, and none that only touches."""
        return tuple(
            run for run in self.runs if run.mill_pass.number > 0 and run.program.work != "probe"
        )

    @property
    def cuts(self) -> list[tuple[Trace, Cutter, MillingPass]]:
        """The motion of these runs with their cutters."""
        return [(run.trace, run.program.cutter, run.mill_pass) for run in self.cutting]


@dataclass(frozen=True, slots=True)
class ReadBack:
    """A set as its files have it, and what is wrong with its motion."""

    blanks: tuple[BlankRuns, ...]
    findings: tuple[Finding, ...]

    @property
    def trails(self) -> Iterator[Trail]:
        """The motion of every program as plain arrays, in order."""
        for blank in self.blanks:
            for run in blank.runs:
                yield trail_of(run.trace, run.program)


def read_programs(
    folder: Path, job: JobPlan, blanks: Sequence[MilledBlank], *, table: bool = True
) -> ReadBack:
    """Read every program of a set and check its motion.

    With `table` False the programs are not compared with the table of motions.

    Raises:
        Refusal: when programs are not RS-274, with the faults of all of them, or the table of
            motions is damaged.
    """
    programs = [program for blank in blanks for program in blank.programs]
    rows = motion_rows(folder / TABLE, programs) if table else None
    findings: list[Finding] = []
    as_read: dict[str, Iterator[tuple[Program, Trace]]] = {}
    for file, trace in _traces(folder, programs, job.machine.dialect).items():
        if rows is not None:
            findings += check_rows(trace, rows.get(file, ()), file=file)
        of_file = [program for program in programs if program.file == file]
        file_programs = programs_of_file(trace, of_file, job.cutters, job.machine)
        findings += file_programs.findings
        findings += check_comments(trace, of_file, job.cutters)
        as_read[file] = zip(file_programs.programs, file_programs.traces, strict=True)
    blank_runses: list[BlankRuns] = []
    for blank in blanks:
        runs: list[Run] = []
        for mill_pass, planned in _places(job, blank):
            program, trace = next(as_read[planned.file])
            findings += check_motion(job, blank, mill_pass, program, trace)
            surface = _surface(program, mill_pass)
            if surface is not None:
                trace = over_flat_copper(trace, surface, job.machine.clearance).trace
            findings += check_words(trace, program, job.machine)
            findings += check_feeds(trace, program, job, uneven=surface is not None)
            runs.append(Run(program, trace, mill_pass))
        blank_runses.append(BlankRuns(blank, tuple(runs)))
    return ReadBack(tuple(blank_runses), tuple(once_per_clamp(findings)))


def _places(job: JobPlan, blank: MilledBlank) -> Iterator[tuple[MillingPass, Program]]:
    """The programs of a blank in order, each with its pass."""
    spoilboard = _spoilboard_pass(job)
    for program in blank.spoilboard:
        yield spoilboard, program
    for mill_pass in blank.passes:
        for program in mill_pass.programs:
            yield mill_pass, program


def _surface(program: Program, mill_pass: MillingPass) -> SurfaceMap | None:
    """The map that a program follows; what touches or only shows places follows none."""
    if mill_pass.levelling is None or program.work in ("probe", "dry-run"):
        return None
    return mill_pass.levelling.surface


def check_motion(
    job: JobPlan, blank: MilledBlank, mill_pass: MillingPass, program: Program, trace: Trace
) -> Iterable[Finding]:
    """What is wrong with the motion of a program; pass 0 is the spoilboard."""
    on_spoilboard = mill_pass.number == 0
    on = tuple(clamp for clamp in job.setup.clamps if clamp.on_in(mill_pass.number))
    clamps = () if on_spoilboard else on
    surface = _surface(program, mill_pass)
    level = None if surface is None else mill_pass.levelling
    return motion.check(
        trace,
        cutter=program.cutter,
        machine=job.machine,
        clamps=clamps,
        mill_pass=mill_pass,
        blank=_spoilboard_sheet(job, blank.number) if on_spoilboard else blank.laminate,
        spoilboard=0.0 if on_spoilboard else job.drilling.spoilboard,
        file=program.file,
        # the person has just zeroed z there
        at=program.start[:2],
        flatness=job.isolation.flatness if level is None else level.left,
        probing=program.work == "probe",
        surface=surface,
    )


def _spoilboard_pass(job: JobPlan) -> MillingPass:
    """The spoilboard as the motion rules see it: a sheet as large as the travel."""
    t = job.machine.travel
    window = shapely.box(0.0, 0.0, t.x1 - t.x0, t.y1 - t.y0)
    return MillingPass(0, 0, window, Pose.shift(t.x0, t.y0), (), (t.x0, t.y0))


def _spoilboard_sheet(job: JobPlan, number: int) -> Blank:
    t, thickness = job.machine.travel, job.drilling.spoilboard
    return Blank(number, (t.x1 - t.x0, t.y1 - t.y0), thickness, thickness / 2)


def programs_read(
    folder: Path, programs: Sequence[Program], job: JobPlan
) -> tuple[tuple[Program, Trace], ...]:
    """Programs of a set, each as its file has it.

    Raises:
        Refusal: when one cannot be read, with the faults of all of them.
    """
    missing = [p.file for p in programs if not (folder / p.file).is_file()]
    if missing:
        raise Refusal([_damaged(file, "the file is missing.") for file in dict.fromkeys(missing)])
    result: list[tuple[Program, Trace]] = []
    for file, trace in _traces(folder, programs, job.machine.dialect).items():
        of_file = [program for program in programs if program.file == file]
        file_programs = programs_of_file(trace, of_file, job.cutters, job.machine)
        result += zip(file_programs.programs, file_programs.traces, strict=True)
    return tuple(result)


def read_alone(folder: Path, program: Program, dialect: Dialect) -> Trace:
    """A program of one cutter that has its file to itself.

    Raises:
        Refusal: when it is no RS-274, or exit code 2 when it holds several cutters' programs.
    """
    return _alone(_traces(folder, [program], dialect)[program.file])


def _alone(trace: Trace) -> Trace:
    """The one program of a file."""
    parts = split_by_cutter(trace)
    if len(parts) > 1:
        message = (
            f"{trace.file} holds the programs of {len(parts)} cutters and cannot be resumed in "
            'the middle. Set [machine] tool_change = "files", prepare into another folder, and '
            "resume the program of the cutter that broke from there: its cuts are the same."
        )
        raise usage("resume-several-cutters", message)
    return parts[0].trace


def read_resumed(folder: Path, job: JobPlan, blanks: Sequence[MilledBlank]) -> ReadBack:
    """Read the programs of a resumed set and check their motion.

    Raises:
        Refusal: when they are no RS-274, or the table is damaged.
    """
    programs = [program for blank in blanks for program in blank.programs]
    rows = motion_rows(folder / TABLE, programs)
    traces = _traces(folder, programs, job.machine.dialect)
    findings: list[Finding] = []
    blank_runses: list[BlankRuns] = []
    for blank in blanks:
        runs: list[Run] = []
        for mill_pass, program in _places(job, blank):
            trace = _alone(traces[program.file])
            findings += check_rows(trace, rows.get(program.file, ()), file=program.file)
            findings += check_motion(job, blank, mill_pass, program, trace)
            findings += check_words(trace, program, job.machine)
            findings += check_comments(trace, [program], job.cutters)
            runs.append(Run(program, trace, mill_pass))
        blank_runses.append(BlankRuns(blank, tuple(runs)))
    return ReadBack(tuple(blank_runses), tuple(once_per_clamp(findings)))


def _traces(folder: Path, programs: Sequence[Program], dialect: Dialect) -> dict[str, Trace]:
    """Every file read, by its name."""
    result: dict[str, Trace] = {}
    faults: list[Finding] = []
    for file in dict.fromkeys(program.file for program in programs):
        try:
            # line ends are left as they are
            text = (folder / file).read_bytes().decode("ascii")
            result[file] = reader.read(text, file=file, dialect=dialect)
        except UnicodeDecodeError as fault:
            line = fault.object.count(b"\n", 0, fault.start) + 1
            message = f"the file holds characters that no program may hold. {NOT_RUN}"
            faults.append(_damaged(file, message, line))
        except Refusal as refusal:
            faults += refusal.findings
    if faults:
        raise Refusal(faults)
    return result


_KINDS = {"rapid": RAPID, "feed": FEED, "probe": FEED, "arc_cw": ARC_CW, "arc_ccw": ARC_CCW}


def trail_of(trace: Trace, program: Program) -> Trail:
    """A trace as plain arrays; before the first word that names a place, the program's start."""
    moves = trace.columns
    places = np.vstack((np.array([program.start], dtype=float), moves.end))
    for column, start in zip(places.T, program.start, strict=True):
        column[np.isnan(column)] = start
    wait = np.zeros(len(places))
    for dwell in trace.dwells:
        wait[dwell.before] += dwell.seconds
    return Trail(
        file=program.file,
        xyz=places,
        kind=np.array([_KINDS[move.kind] for move in trace.moves], dtype=np.int64),
        centre=moves.centre,
        feed=moves.feed,
        line=moves.line,
        wait=wait[:-1],
    )


def motion_rows(table: Path, programs: Sequence[Program]) -> dict[str, list[MotionRow]]:
    """The table's rows by program file.

    Raises:
        Refusal: when it is no such table.
    """
    try:
        with table.open(encoding="ascii", newline="") as lines:
            return rows_by_file(lines, programs)
    except OSError as fault:
        words = f"the table of motions cannot be read ({fault.strerror}). Make it readable."
        raise Refusal([_damaged(table.name, words)]) from None
    except (csv.Error, LookupError, TypeError, ValueError) as fault:
        words = f"the table of motions is damaged ({fault}). {NOT_RUN}"
        raise Refusal([_damaged(table.name, words)]) from None


def _damaged(file: str, message: str, line: int | None = None) -> Finding:
    return Finding(code="file-damaged", severity="stop", message=message, file=file, line=line)
