"""Rows of report.json about the set as a whole: files, blanks, findings, cutters, programs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal, Self

import shapely
from pydantic import Field, model_validator

from millprep.model.blank import Blank
from millprep.model.cut import Work
from millprep.model.cutter import Cutter, Drill, Vee
from millprep.model.finding import Finding, Frame, Severity
from millprep.model.program import Cutting, Program, Resumption
from millprep.report.report_row import (
    Count,
    Figure,
    Fine,
    Length,
    Number,
    Place,
    Row,
    Sha256,
    Size,
    Text,
    key,
    places,
)


class FileRow(Row):
    """A file and its hash."""

    file: Text
    """Name of an input as the job gives it; path of a file of the set, relative to its folder,
    with forward slashes."""
    sha256: Sha256
    """SHA-256 of its bytes, hexadecimal."""


class ResumedRow(Row):
    """A program that resumes another one after a break."""

    file: Text
    """The program of this set."""
    original: Annotated[Text, key("of")]
    """The program of the set named in `derived_from` that it resumes."""
    wish: Annotated[Text, key("asked")]
    """Where it was to continue, in the words of the command."""
    point: Number
    """The restart point in whose cut it begins."""
    points: Number
    """Number of restart points of the program."""
    cuts: Number
    """How many of its cuts are made, the first perhaps in part."""
    entry: tuple[Figure, Figure, Figure]
    """Where the cutter goes down, x, y and z, machine frame, mm."""
    overlap: Length | None
    """Length of path from there to the place that was named, mm; null where a cut is made as a
    whole."""
    board: Text | None
    """Name of the board whose cuts alone are made; null for all."""
    copy_number: Annotated[Number | None, key("copy")]
    """Number of its copy; null for all."""

    @classmethod
    def of(cls, resumption: Resumption) -> ResumedRow:
        """How one program goes on."""
        return cls.taken(resumption, original=resumption.of, copy_number=resumption.copy)


class BlankRow(Row):
    """One blank."""

    number: Number
    """Number of the blank, from 1."""
    size: Place
    """Size in x and y as it lies on the machine, mm."""
    thickness: Size
    """Copper and carrier together, mm."""
    copper: Size
    """Thickness of the copper, mm."""
    outline: Annotated[tuple[Place, ...], Field(min_length=3)] | None
    """Corners of an offcut in order, blank frame, mm; null for the whole rectangle."""

    @classmethod
    def of(cls, blank: Blank) -> BlankRow:
        """One piece of laminate."""
        rim = blank.outline
        return cls.taken(blank, outline=None if rim is None else places(rim.exterior.coords[:-1]))

    def blank(self) -> Blank:
        """The piece of laminate; the report does not hold its grade."""
        outline = None if self.outline is None else shapely.Polygon(self.outline)
        return Blank(self.number, self.size, self.thickness, self.copper, outline)

    @model_validator(mode="after")
    def _readable(self) -> Self:
        self.blank()
        return self


class FindingRow(Row):
    """One finding."""

    code: Text
    """Stable name of the kind of finding."""
    severity: Severity
    """stop refuses the job, warn (a warning) needs a decision, note informs."""
    message: Text
    """What is wrong and what to do about it."""
    frame: Frame | None
    """The frame that `at` is in; null without a place."""
    at: Place | None
    """The place, mm; null when there is none."""
    board: Text | None
    """Name of the board, or null."""
    copy_number: Annotated[Number | None, key("copy")]
    """Number of the copy, or null."""
    blank: Number | None
    """Number of the blank, or null."""
    mill_pass: Annotated[Number | None, key("pass")]
    """Number of the pass, or null."""
    file: Text | None
    """The file at fault, or null."""
    line: Number | None
    """The line in it, from 1, or null."""
    places: tuple[Place, ...] = ()
    """Where else the same is wrong, mm, in the same frame and on the same blank."""

    @classmethod
    def of(cls, finding: Finding) -> FindingRow:
        """One fact worth a person's attention."""
        return cls.taken(finding, message=finding.words, copy_number=finding.copy)


class VeeRow(Row):
    """An engraving cutter with a flat tip."""

    kind: Literal["vee"]
    """The kind of cutter."""
    tip: Length
    """Width of the flat tip, mm."""
    angle: Length
    """Included angle, degrees."""
    flute: Length
    """Length that cuts, from the tip, mm."""
    shank: Length
    """Diameter of the shank, mm."""


class RoundCutterRow(Row):
    """A cylindrical cutter."""

    kind: Literal["endmill", "drill"]
    """The kind of cutter."""
    diameter: Length
    """Diameter of the cutter, mm."""
    point_angle: Length
    """Included angle of the point, degrees; 180 for a flat end."""
    flute: Length
    """Length that cuts, from the tip, mm."""
    shank: Length
    """Diameter of the shank, mm."""


CutterRow = Annotated[VeeRow | RoundCutterRow, Field(discriminator="kind")]


def cutter_row(cutter: Cutter) -> VeeRow | RoundCutterRow:
    """A cutter of the job."""
    if isinstance(cutter, Vee):
        return VeeRow.of(cutter)
    # a flat end is a point of half a turn
    point = cutter.point_angle if isinstance(cutter, Drill) else 180.0
    return RoundCutterRow.taken(cutter, point_angle=point)


class CuttingRow(Row):
    """How a cutter cuts in one program."""

    width: Annotated[Fine, Field(gt=0)]
    """Diameter of the cutter, of a vee the width of its groove at the surface, mm."""
    surface_speed: Annotated[Fine, Field(gt=0)]
    """Cutting speed at that width, m/min."""
    chip_load: Fine | None
    """What a tooth takes along a path, mm; null for a drill."""
    plunge_load: Fine | None
    """What a tooth takes straight down, of a drill per revolution, mm; null where the cutter goes
    down on ramps alone."""
    bounds: tuple[Fine, Fine]
    """Least and most that a tooth should take, of a drill per revolution, mm."""
    step: Fine
    """Largest depth step, mm."""
    steps: Number | None
    """Number of depth steps of the deepest hole; null for a cutter that is no drill."""

    @classmethod
    def of(cls, cutting: Cutting) -> CuttingRow:
        """The figures of one program."""
        return cls.taken(cutting, surface_speed=round(cutting.surface_speed, 2))


class ByHandRow(Row):
    """What a person does at the machine while no program runs."""

    changes: Count
    """Changes of cutters, each with Z zero; the first cutter of a pass counts."""
    placings: Count
    """How often a blank is placed, or moved to its next pass."""
    readings: Count
    """Holes, check crosses, verniers and edges that are read, and how flat a blank lies."""
    minutes: Length
    """What all of it takes, min."""
    assumed: bool
    """Whether minutes are assumed because the job does not state them."""


class TimeFitRow(Row):
    """How running times are corrected by earlier runs of the machine."""

    factor: Size
    """The median of what each run took over its estimate; estimates are multiplied by it."""
    runs: Number
    """How many runs there were."""
    spread: Length
    """How far the run that fits worst is off the corrected estimate, as a share of it."""


class ProgramRow(Row):
    """What one cutter does in one pass: a file, or a part of one."""

    file: Text
    """Path of the file, relative to the folder of the set, with forward slashes."""
    lines: tuple[Number, Number] | None
    """First and last of its lines, where the file holds programs of other cutters as well; null
    where it does not."""
    cutter: Text
    """Name of the cutter; a key of `cutters`."""
    work: Work
    """The kind of work, the first where a file holds several."""
    depth: Length
    """Depth of the tip below the copper surface at its deepest, mm."""
    spindle: Length
    """Spindle speed, rev/min."""
    seconds: Length | None
    """Estimated running time without cutter changes, s: with the acceleration of the machine, and
    as earlier runs of it show."""
    by_feeds_seconds: Length | None = None
    """The same by lengths and feeds alone, s."""
    least_seconds: Length | None = None
    """What its cuts take at least by lengths and feeds alone, in whatever order and with whatever
    travel between, s."""
    cut_length: Length | None
    """Length of all moves with a feed, mm."""
    travel_length: Length | None
    """Length of all rapid moves, mm."""
    cutting: CuttingRow | None
    """How the cutter cuts; null where nothing turns or cuts."""

    @classmethod
    def of(cls, program: Program) -> ProgramRow:
        """A program with its figures."""
        cost = program.figures
        return cls.taken(
            program,
            lines=cost.lines if cost else None,
            cutter=program.cutter.name,
            seconds=cost.seconds if cost else None,
            by_feeds_seconds=cost.by_feeds_seconds if cost else None,
            least_seconds=cost.least_seconds if cost else None,
            cut_length=cost.cut_length if cost else None,
            travel_length=cost.travel_length if cost else None,
        )

    def program(
        self,
        blank: int,
        number: int,
        cutters: Mapping[str, Cutter],
        start: tuple[float, float, float],
    ) -> Program:
        """The program without its moves, which are in the file.

        Raises:
            ValueError: when its cutter is not among `cutters`.
        """
        if self.cutter not in cutters:
            raise ValueError(f"the job has no cutter {self.cutter}")
        return Program(
            file=self.file,
            blank=blank,
            mill_pass=number,
            cutter=cutters[self.cutter],
            works=(self.work,),
            depth=self.depth,
            spindle=self.spindle,
            start=start,
            moves=(),
        )
