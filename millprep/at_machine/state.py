"""The state of a set: which of its programs ran, and what is next."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from millprep.at_machine.begin import own_mark
from millprep.model.begun import DONE, Begun, ProgramRun
from millprep.report import report_file
from millprep.report.report_model import Report
from millprep.report.set_rows import ProgramRow
from millprep.workflow.set_on_disk import RUNS


@dataclass(frozen=True, slots=True)
class ProgramState:
    """One program of a set.

    Attributes:
        place: its blank and pass; None for the spoilboard's.
        number: its place in the pass, or among those of the spoilboard, from 1.
        row: the program.
        runs: when it ran, with this set or with one that this set was made from.
    """

    place: tuple[int, int] | None
    number: int
    row: ProgramRow
    runs: tuple[ProgramRun, ...]

    @property
    def options(self) -> str:
        """The options of a command that name it."""
        where = "--spoilboard" if self.place is None else pass_options(*self.place)
        return f"{where} --program {self.number}"


def pass_options(blank: int, number: int) -> str:
    """The options of a command that name a pass."""
    return f"--pass {number}" + (f" --blank {blank}" if blank > 1 else "")


@dataclass(frozen=True, slots=True)
class SetState:
    """A set with what ran of it.

    Attributes:
        report: the set's report.
        programs: in the order in which they run.
        other_runs: programs that ran with sets that this one was made from, and are not in it.
        mark: the passes that are begun; None without.
    """

    report: Report
    programs: tuple[ProgramState, ...]
    other_runs: tuple[ProgramRun, ...]
    mark: Begun | None

    @property
    def left(self) -> tuple[ProgramState, ...]:
        """What is still to run. The spoilboard is cut before a pass: once one ran, it has been."""
        begun = any(program.runs for program in self.programs if program.place is not None)
        return tuple(p for p in self.programs if not p.runs and not (begun and p.place is None))

    @property
    def next(self) -> ProgramState | None:
        """The first program that is left after the last that ran; None when none is left."""
        ran = [k for k, program in enumerate(self.programs) if program.runs]
        after = [p for p in self.programs[ran[-1] + 1 :] if not p.runs] if ran else []
        return next(iter(after or self.left), None)

    @property
    def seconds_left(self) -> float:
        """Running time of what is left, s."""
        return sum(program.row.seconds or 0.0 for program in self.left)


def state_of(folder: Path) -> SetState:
    """What of a set ran, and what is next.

    Raises:
        Refusal: exit code 2, when there is no such set, or a mark cannot be read.
    """
    source = report_file.read(folder)
    mark = own_mark(folder, source)
    runs = RUNS.load(folder / DONE)
    groups = [(None, source.spoilboard), *((each.pass_id, each.programs) for each in source.passes)]
    programs = tuple(
        ProgramState(
            place, n, row, tuple(run for run in runs if run.program == (row.file, row.cutter))
        )
        for place, rows in groups
        for n, row in enumerate(rows, 1)
    )
    own = {(program.row.file, program.row.cutter) for program in programs}
    return SetState(source, programs, tuple(r for r in runs if r.program not in own), mark)
