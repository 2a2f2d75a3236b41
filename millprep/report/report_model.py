"""The report of a set: what report.json holds, one field a key, written and read by this model."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field

from millprep.gcode.spoilboard import spoilboard_pass
from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.blank import Layout
from millprep.model.board import Board
from millprep.model.by_hand import by_hand
from millprep.model.cutter import Cutter
from millprep.model.job.keys import InputFile
from millprep.model.machine import Machine
from millprep.model.milling_pass import Join, MillingPass, Reading, RegistrationHole, Vernier
from millprep.model.program import Program
from millprep.model.set_of_programs import CutSet
from millprep.model.surface_map import Levelling
from millprep.report.board_rows import BoardRow, CertificateRow, JoinRow
from millprep.report.pass_rows import PassRow
from millprep.report.report_row import Length, Row, Sha256, Text, described, key
from millprep.report.rules_rows import RulesRow
from millprep.report.set_rows import (
    BlankRow,
    ByHandRow,
    CutterRow,
    CuttingRow,
    FileRow,
    FindingRow,
    ProgramRow,
    ResumedRow,
    TimeFitRow,
    cutter_row,
)

FORMAT: Literal[1] = 1


def _head(schema: dict[str, Any], kind: type[Row]) -> None:
    described(schema, kind)
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"


class Report(Row):
    """What one run made.

    Lengths in mm, times in s, angles in degrees; null for what was not computed. Frames: `drawing`
    is the drawing in mm with y up; `blank` has its origin at the lower-left corner of the blank,
    copper side up; `machine` is the work coordinates of the programs.
    """

    model_config = ConfigDict(title="report.json of a millprep set", json_schema_extra=_head)

    format: Literal[1]
    """Version of this format."""
    set: Text
    """Id of the set: a hash of its inputs."""
    job: Text
    """Name of the job."""
    derived_from: Text | None
    """Id of the set this one was made from with readings taken at the machine; null for a set made
    from a job."""
    chosen: tuple[Text, ...]
    """Choices that are not in the job: effort, copies skipped or made alone, the hash of a
    layout."""
    resumed: tuple[ResumedRow, ...] | None
    """The programs that resume those of another set after a break; null for a whole set."""
    inputs: Annotated[tuple[FileRow, ...], Field(min_length=1)]
    """The files the set was made from: first the job file, then the drawings."""
    blanks: tuple[BlankRow, ...]
    """The pieces of laminate."""
    boards: tuple[BoardRow, ...]
    """Every copy of every board."""
    cutters: dict[Text, CutterRow]
    """Every cutter of the job by its name."""
    spoilboard: Annotated[tuple[ProgramRow, ...], key("bed")]
    """Programs for the spoilboard, run with the blank off, such as the pin holes; empty when there
    are none."""
    passes: tuple[PassRow, ...]
    """The passes in order: all that is cut between two placings of a blank."""
    joins: tuple[JoinRow, ...]
    """Where two passes meet on one path."""
    certificate: CertificateRow | None
    """The misalignment between passes that the whole set tolerates, proved; null when not
    computed."""
    findings: tuple[FindingRow, ...]
    """What the user must know."""
    machine_seconds: Length | None
    """Estimated running time of all programs, s, without setting up and cutter changes, with the
    acceleration of the machine and as earlier runs of it show; null when there are none."""
    by_feeds_seconds: Length | None = None
    """The same by lengths and feeds alone, s."""
    least_seconds: Length | None = None
    """What all cuts take at least by lengths and feeds alone, in whatever order, s."""
    by_hand: ByHandRow | None = None
    """What a person does at the machine besides; null for a refused run."""
    time_fit: TimeFitRow | None = None
    """How running times follow earlier runs of the machine; null without a log of them."""
    machine: Text | None = None
    """Name of the machine; null in older reports."""
    time_log: Text | None = None
    """The log of runs that the job names, whether it is there yet or not; null where it names
    none."""
    files: tuple[FileRow, ...] | None
    """Every other file of the set, in the order of the names; null for a refused run."""
    seal: Sha256 | None
    """SHA-256 of this report with null in place of the seal; null for a refused run."""

    @classmethod
    def of(cls, cut_set: CutSet) -> Report:
        """The report of one run, without the hashes of its files.

        A refused run has no programs, so its running time is not known either.
        """
        layout, certificate = cut_set.layout, cut_set.certificate
        running = cut_set.running
        return cls.taken(
            cut_set,
            format=FORMAT,
            set=cut_set.id,
            resumed=cut_set.resumed or None,
            blanks=layout.blanks,
            boards=cut_set.copies,
            cutters={cutter.name: cutter_row(cutter) for cutter in cut_set.cutters},
            spoilboard=tuple(p for blank in cut_set.blanks for p in blank.spoilboard),
            joins=tuple(JoinRow.on(layout, join) for join in cut_set.joins),
            machine_seconds=running.seconds if running else None,
            by_feeds_seconds=running.by_feeds if running else None,
            least_seconds=running.least if running else None,
            by_hand=by_hand(cut_set) if running else None,
            machine=cut_set.machine.name,
            time_log=None if cut_set.machine.time.log is None else cut_set.machine.time.log.name,
            certificate=CertificateRow.of_certificate(layout, certificate) if certificate else None,
            files=None,
            seal=None,
        )

    # What the set was, as values again.

    @property
    def poses(self) -> dict[tuple[int, int], Pose]:
        """(blank, pass) to where the blank was taken to lie, blank to machine."""
        return {row.pass_id: row.pose for row in self.passes}

    @property
    def engraved_id(self) -> str:
        """The set id that the programs engrave: its own, or of the set that this one came from."""
        texts = (text for row in self.passes for text in row.texts)
        named = (text.text for text in texts if text.board is None)
        first = None if self.derived_from is None else next(named, None)
        return self.set if first is None else first.removeprefix("SET ").lower()

    @property
    def readings(self) -> dict[tuple[int, int], tuple[Reading, ...]]:
        """(blank, pass) to what was read of the blank there; passes without are left out."""
        return {row.pass_id: row.read for row in self.passes if row.read}

    @property
    def touches(self) -> dict[tuple[int, int], Point]:
        """(blank, pass) to where Z is zeroed, machine frame."""
        return {row.pass_id: row.touch for row in self.passes}

    @property
    def levellings(self) -> dict[tuple[int, int], Levelling]:
        """(blank, pass) to the height map that its programs follow."""
        return {
            row.pass_id: row.levelling.levelling(*row.pass_id)
            for row in self.passes
            if row.levelling is not None
        }

    @property
    def input_files(self) -> tuple[InputFile, ...]:
        """Job file, drawings, then readings taken at the machine."""
        return tuple(InputFile(row.file, row.sha256) for row in self.inputs)

    @property
    def program_files(self) -> tuple[str, ...]:
        """The paths of all programs, from the set's folder."""
        rows = [*self.spoilboard, *(program for row in self.passes for program in row.programs)]
        return tuple(row.file for row in rows)

    def holes(self, blank: int) -> tuple[RegistrationHole, ...]:
        """Every registration hole of a blank."""
        rows = [row for row in self.passes if row.blank == blank]
        return tuple(hole.hole() for row in rows for hole in row.registration)

    def verniers(self, blank: int) -> tuple[Vernier, ...]:
        """Every vernier of a blank."""
        rows = [row for row in self.passes if row.blank == blank]
        return tuple(vernier.vernier(blank) for row in rows for vernier in row.verniers)

    def layout(self, boards: Sequence[Board]) -> Layout:
        """Where the boards of the job lie on the set's blanks.

        Raises:
            ValueError: when a board is not among them.
        """
        by_name = {board.name: board for board in boards}
        missing = [row.name for row in self.boards if row.name not in by_name]
        if missing:
            raise ValueError(f"the job has no board {missing[0]}")
        return Layout(
            tuple(row.blank() for row in self.blanks),
            tuple(row.placement(n, by_name[row.name]) for n, row in enumerate(self.boards)),
        )

    def milling_passes(self) -> tuple[MillingPass, ...]:
        """The passes of the set."""
        return tuple(row.milling_pass() for row in self.passes)

    def programs(self, cutters: Sequence[Cutter], machine: Machine) -> tuple[Program, ...]:
        """The programs of the set without their moves, which are in the files.

        Raises:
            ValueError: when a cutter is not among those of the job.
        """
        by_name = {cutter.name: cutter for cutter in cutters}
        programs: list[Program] = []
        for row in self.spoilboard:
            named = re.search(r"/blank-(\d+)-", row.file)
            blank = 1 if named is None else int(named[1])
            start = (*spoilboard_pass(machine, blank).touch, machine.clearance)
            programs.append(row.program(blank, 0, by_name, start))
        for row_of_pass in self.passes:
            start = (*row_of_pass.touch, machine.clearance)
            programs += [
                row.program(*row_of_pass.pass_id, by_name, start) for row in row_of_pass.programs
            ]
        return tuple(programs)

    def joins_on(self, layout: Layout, overruns: Mapping[int, float]) -> tuple[Join, ...]:
        """The joins of the set on its layout.

        `overruns` is how far paths are cut past joins, by blank: the report does not hold it.

        Raises:
            ValueError: when the layout has no such blank or copy.
        """
        index = {(p.board.name, p.copy): p.index for p in layout.placements}
        for row in self.joins:
            if (row.board, row.copy_number) not in index or row.blank not in overruns:
                raise ValueError(f"a join names blank {row.blank}, board {row.board}")
        return tuple(
            row.join(index[row.board, row.copy_number], overruns[row.blank]) for row in self.joins
        )


def check_row(cut_set: CutSet) -> dict[str, Any]:
    """What `millprep check --json` prints: the rows of the report that it knows."""
    boards = []
    for copy in cut_set.copies:
        placement, judged = copy.placement, copy.judged
        boards.append(
            {
                "name": placement.board.name,
                "copy": placement.copy,
                "blank": placement.blank,
                "rules": None if judged is None else RulesRow.of(judged).row(),
            }
        )
    return {
        "job": cut_set.job,
        "boards": boards,
        "programs": [
            {"file": c.file, "cutter": c.cutter, "cutting": CuttingRow.of(c).row()}
            for c in (program.cutting for program in cut_set.programs)
            if c is not None
        ],
        "findings": [FindingRow.of(finding).row() for finding in cut_set.findings],
    }
