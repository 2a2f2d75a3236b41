"""Rows of report.json about the set as a whole: files, blanks, findings, resumed programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Self

import shapely
from pydantic import Field, model_validator

from millprep.model.blank import Blank
from millprep.model.finding import Frame, Severity
from millprep.report.report_row import (
    Figure,
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

if TYPE_CHECKING:
    from millprep.model.finding import Finding
    from millprep.model.resumption import Resumption


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
    """stop refuses the job, warn needs a decision, note informs."""
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

    @classmethod
    def of(cls, finding: Finding) -> FindingRow:
        """One fact worth a person's attention."""
        return cls.taken(finding, copy_number=finding.copy)
