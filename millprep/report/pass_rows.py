"""Rows of report.json about passes: registration holes, verniers and height maps."""

from __future__ import annotations

from typing import Annotated, Literal, Self

import numpy as np
import shapely
from pydantic import Field, model_validator

from millprep.geometry.pose import Pose
from millprep.model.milling_pass import (
    EdgeCheck,
    MarginText,
    Measured,
    MillingPass,
    Reading,
    RegistrationHole,
    Role,
    SupportKind,
    Vernier,
)
from millprep.model.surface_map import Levelling, SurfaceMap, Uncorrected
from millprep.report.report_row import (
    Affine,
    Corners,
    Direction,
    Length,
    Number,
    Passes,
    Place,
    Row,
    Share,
    Size,
    Text,
    key,
    places,
)
from millprep.report.set_rows import ProgramRow

MOST_PLACES = 20


class RegistrationHoleRow(Row):
    """One registration hole."""

    id: Text
    """Id of the hole."""
    blank: Place
    """Its place in the blank frame, mm."""
    machine: Place
    """Its place in the pass that uses it, machine frame, mm."""
    diameter: Size
    """Diameter in the blank, mm."""
    role: Role
    """locate positions the blank, key rules out a turned or flipped blank, witness is only
    inspected."""
    drilled_in: Number
    """Number of the pass that drills it."""
    used_in: Number
    """Number of the pass that is found by it."""
    free: Direction | None = None
    """Unit vector, blank frame, along which it does not locate the blank, because it is a slot or
    its pin is relieved; null for a round hole on a round pin."""
    slot: Length = 0.0
    """Length of the slot's centre line, along `free`, mm; 0 for a round hole."""
    pin: Text = ""
    """Name of its pin on the spoilboard; empty where no pins are used."""

    def hole(self) -> RegistrationHole:
        """The hole as the pass has it."""
        return RegistrationHole(**dict(self))


class VernierRow(Row):
    """One vernier.

    Line i of its first comb is i pitches from the centre, of its second i times (pitch - step).
    """

    id: Text
    """Id of the vernier."""
    at: Place
    """Centre of the combs' common edge, blank frame, mm."""
    measures: Measured
    """The direction that it measures, blank frame."""
    passes: Passes
    """The pass that cuts the first comb, and the pass that cuts the second."""
    pitch: Size
    """Distance between lines of the first comb, mm."""
    step: Size
    """Misalignment of the passes for one line, mm."""
    reach: Number
    """Number of lines on either side of the central one."""

    def vernier(self, blank: int) -> Vernier:
        """The vernier on a blank."""
        return Vernier(blank=blank, **dict(self))

    @model_validator(mode="after")
    def _readable(self) -> Self:
        self.vernier(1)
        return self


class MarginTextRow(Row):
    """A text engraved outside the boards, to be read from the copper side."""

    text: Text
    """What is engraved."""
    at: Place
    """Low left corner of its first letter, blank frame, mm."""
    turn: Literal[0, 90]
    """Turn of the text about that corner, degrees counter-clockwise."""
    height: Size
    """Height of its letters, mm."""
    board: Text | None
    """The board that it names; null for the id of the set."""
    copy_number: Annotated[Number | None, key("copy")]
    """Number of the copy that it names; null for the id of the set."""
    seconds: Length
    """What it takes, s."""

    @classmethod
    def of(cls, text: MarginText) -> MarginTextRow:
        """One text."""
        return cls.taken(text, copy_number=text.copy)

    def margin_text(self) -> MarginText:
        """The text as the pass has it."""
        values = dict(self)
        return MarginText(copy=values.pop("copy_number"), **values)

    @model_validator(mode="after")
    def _readable(self) -> Self:
        self.margin_text()
        return self


class UncorrectedRow(Row):
    """Grooves of one program as they would be without the height map."""

    cutter: Text
    """Name of the cutter."""
    surface: tuple[Length, Length]
    """Narrowest and widest at the surface of the copper, mm."""
    foot: tuple[Length, Length]
    """Narrowest and widest at the foot of the copper, mm; 0 where nothing would be isolated."""
    lost: Annotated[tuple[Place, ...], Field(max_length=MOST_PLACES)]
    """Places where nothing would be isolated, one for each stretch, 20 at most, machine frame,
    mm."""
    lost_length: Length
    """Length of those stretches together, mm."""

    @classmethod
    def of(cls, grooves: Uncorrected) -> UncorrectedRow:
        """The grooves of one program that isolates."""
        return cls.taken(
            grooves,
            surface=(float(grooves.surface.min()), float(grooves.surface.max())),
            foot=(float(grooves.foot.min()), float(grooves.foot.max())),
            lost=places(grooves.lost[:MOST_PLACES]),
        )


class EdgeCheckRow(Row):
    """Where the angle of a blank is checked that nothing but its corner and an edge locates."""

    at: Place
    """Where its long edge is as planned, machine frame, mm."""
    axis: Annotated[int, Field(ge=0, le=1)]
    """The axis along which that edge runs: 0 for x, 1 for y."""
    within: Length
    """How far off the edge may be there, either way, mm."""
    limit: Text
    """What would leave the laminate first if the blank were turned farther."""

    def check(self) -> EdgeCheck:
        """The check as the pass has it."""
        return EdgeCheck(**dict(self))


class LevellingRow(Row):
    """The height map that the programs of a pass follow."""

    file: Text
    """The file it was read from, one of the inputs."""
    repeatability: Annotated[float, Field(gt=0)]
    """Standard deviation of one touch, mm."""
    assumed: bool
    """Whether the repeatability is assumed, because nobody stated it."""
    left: Annotated[float, Field(gt=0)]
    """How far the copper may still be off the map, up or down, mm."""
    x: Annotated[tuple[float, ...], Field(min_length=3)]
    """Columns of the map, machine frame, mm."""
    y: Annotated[tuple[float, ...], Field(min_length=3)]
    """Rows of the map, machine frame, mm."""
    z: tuple[tuple[float, ...], ...]
    """Heights above Z0, row by row, each from the first column to the last, mm."""
    uncorrected: tuple[UncorrectedRow, ...]
    """Grooves as they would be without the map, one entry for each program that isolates."""

    @classmethod
    def of_pass(cls, mill_pass: MillingPass) -> LevellingRow | None:
        """A map, what it leaves, and what would be cut without it; None over flat copper."""
        if mill_pass.levelling is None:
            return None
        surface = mill_pass.levelling.surface
        return cls.taken(
            mill_pass.levelling,
            x=tuple(surface.x.tolist()),
            y=tuple(surface.y.tolist()),
            z=tuple(map(tuple, surface.z.tolist())),
            uncorrected=mill_pass.uncorrected,
        )

    def levelling(self, blank: int, number: int) -> Levelling:
        """The map of a pass."""
        return Levelling(
            blank,
            number,
            surface=SurfaceMap(np.array(self.x), np.array(self.y), np.array(self.z)),
            file=self.file,
            repeatability=self.repeatability,
            assumed=self.assumed,
            left=self.left,
        )

    @model_validator(mode="after")
    def _readable(self) -> Self:
        self.levelling(1, 1)
        return self


class ExtraSupportRow(Row):
    """A clamp or a strip of tape that would hold the blank better."""

    kind: SupportKind
    """What it is."""
    box: Corners
    """Where, [x0, y0, x1, y1], machine frame, mm."""
    lift: Length
    """How far the blank would then lift at its worst place, mm."""
    share: Share
    """The cuts that would then lift more than is allowed, 0 to 1."""


class HoldingRow(Row):
    """How the blank is held in a pass, worked out as a thin plate without the spoilboard."""

    force: Length
    """The pull upwards that is assumed at every cut, N."""
    lift: Length
    """How far the worst place lifts, mm."""
    allowed: Length
    """How far that place may lift: what cuts deeper than is needed, mm."""
    at: Place
    """That place, machine frame, mm."""
    share: Share
    """The cuts that lift more than is allowed, 0 to 1."""
    room: tuple[Corners, ...]
    """Boxes over the edges of the blank in which more clamps are in nobody's way, [x0, y0, x1, y1],
    machine frame, mm."""
    better: tuple[ExtraSupportRow, ...]
    """What would help most, the best first; empty where all cuts are held."""


class PassRow(Row):
    """One pass."""

    blank: Number
    """Number of the blank."""
    number: Number
    """Number of the pass, from 1 for each blank."""
    window: Annotated[tuple[Place, ...], Field(min_length=3)]
    """Corners of what the machine reaches, blank frame, mm; the first is not repeated."""
    blank_to_machine: Affine
    """From the blank frame to the machine frame."""
    touch: Place
    """Where Z is zeroed on the copper, machine frame, mm."""
    registration: tuple[RegistrationHoleRow, ...]
    """The holes this pass is found by."""
    verniers: tuple[VernierRow, ...]
    """The verniers whose second combs this pass cuts."""
    levelling: LevellingRow | None
    """The height map that the programs of this pass follow; null over flat copper."""
    holding: HoldingRow | None = None
    """How the blank is held; null where tape or vacuum holds all of it, or it was not worked
    out."""
    programs: tuple[ProgramRow, ...]
    """The programs, in the order they are run."""
    drop_on: Share | None = None
    """Probability that the blank drops onto its pins, from the errors of its holes; null where it
    is not put on pins."""
    edge: EdgeCheckRow | None = None
    """Where the angle of the blank is checked in pass 1; null where holes show it, or no edge
    does."""
    read: tuple[Reading, ...] = ()
    """What was read of the blank as it lies for this pass; empty before it lies there."""
    texts: tuple[MarginTextRow, ...] = ()
    """Names and the id of the set that this pass engraves outside the boards."""

    @classmethod
    def of(cls, mill_pass: MillingPass) -> PassRow:
        """One pass with its programs."""
        return cls.taken(
            mill_pass,
            window=places(mill_pass.window.exterior.coords[:-1]),
            blank_to_machine=tuple(mill_pass.pose.affine),
            levelling=LevellingRow.of_pass(mill_pass),
        )

    @property
    def pass_id(self) -> tuple[int, int]:
        """Blank and number."""
        return (self.blank, self.number)

    @property
    def pose(self) -> Pose:
        """Blank to machine."""
        return Pose(*self.blank_to_machine)

    def milling_pass(self) -> MillingPass:
        """The pass without its programs."""
        return MillingPass(
            blank=self.blank,
            number=self.number,
            window=shapely.Polygon(self.window),
            pose=self.pose,
            registration=tuple(row.hole() for row in self.registration),
            touch=self.touch,
            verniers=tuple(row.vernier(self.blank) for row in self.verniers),
            levelling=None if self.levelling is None else self.levelling.levelling(*self.pass_id),
            drop_on=self.drop_on,
            edge=None if self.edge is None else self.edge.check(),
            read=self.read,
            texts=tuple(row.margin_text() for row in self.texts),
        )
