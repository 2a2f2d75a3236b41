"""Rows of report.json about programs: their cutters, what they cost, and how they cut."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field

from millprep.model.cut import Work
from millprep.model.cutter import Drill, Vee
from millprep.model.program import Program
from millprep.report.report_row import Fine, Length, Number, Row, Text

if TYPE_CHECKING:
    from collections.abc import Mapping

    from millprep.model.cutter import Cutter
    from millprep.model.program import Cutting


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
    """Estimated running time without cutter changes, s."""
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
