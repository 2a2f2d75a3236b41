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
        blank, mill_pass, number: its blank, its pass, and its place in the pass, from 1.
        row: the program.
        runs: when it ran, with this set or with one that this set was made from.
    """

    blank: int
    mill_pass: int
    number: int
    row: ProgramRow
    runs: tuple[ProgramRun, ...]

    @property
    def options(self) -> str:
        """The options of a command that name it."""
        blank = f" --blank {self.blank}" if self.blank > 1 else ""
        return f"--pass {self.mill_pass}{blank} --program {self.number}"


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
    def next(self) -> ProgramState | None:
        """The first program that has not run after the last that has; None when all have run."""
        left = [program for program in self.programs if not program.runs]
        ran = [k for k, program in enumerate(self.programs) if program.runs]
        after = [p for p in self.programs[ran[-1] + 1 :] if not p.runs] if ran else []
        return next(iter(after or left), None)

    @property
    def seconds_left(self) -> float:
        """Running time of what has not run, s."""
        return sum(program.row.seconds or 0.0 for program in self.programs if not program.runs)


def state_of(folder: Path) -> SetState:
    """What of a set ran, and what is next.

    Raises:
        Refusal: exit code 2, when there is no such set, or a mark cannot be read.
    """
    source = report_file.read(folder)
    mark = own_mark(folder, source)
    runs = RUNS.load(folder / DONE)
    programs = tuple(
        ProgramState(
            *each.pass_id, n, row,
            tuple(run for run in runs if run.program == (row.file, row.cutter)),
        )
        for each in source.passes
        for n, row in enumerate(each.programs, 1)
    )  # fmt: skip
    own = {(program.row.file, program.row.cutter) for program in programs}
    return SetState(source, programs, tuple(r for r in runs if r.program not in own), mark)
