"""Tables of the mill, the laminate on it and what holds it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from millprep.job.dialect import DialectTable
from millprep.job.fields import (
    FASTEST_FEED,
    FASTEST_SPINDLE,
    LARGEST,
    NAME_ALLOWED,
    Name,
    NotNegative,
    Number,
    Pair,
    PositivePair,
    Table,
    Words,
    choice,
    entry,
    number,
)
from millprep.model.blank import Grade
from millprep.model.dialect import ToolChange

Spindle = Literal["program", "hand"]
SurfaceProbe = Literal["electrical", "switch"]


class MachineTable(Table):
    """The mill: a preset with overrides, or every key spelt."""

    preset: str | None = entry(
        "Ready-made machine to start from; keys written beside it replace its values",
        "the name of a machine preset",
        default=None,
        words="none",
    )
    name: Name = entry("What the reports call the machine", NAME_ALLOWED)
    travel: PositivePair = entry(
        "How far the spindle's axis travels, [x, y]",
        "two plain numbers in mm above 0, [x, y]",
        unit="mm",
    )
    zero: Annotated[list[NotNegative], Field(min_length=2, max_length=2)] = entry(
        "Place of the work zero, measured from the low corner of the travel, [x, y]",
        "two plain numbers in mm within the travel, [x, y]",
        unit="mm",
        default=[0.0, 0.0],
    )
    above: float = number("Free travel above the copper surface", "mm", above=0, most=1000)
    below: float = number("Free travel below the copper surface", "mm", above=0, most=1000)
    clearance: float = number(
        "Height of rapid moves above the copper surface; higher than every clamp they cross",
        "mm",
        default=5.0,
        above=0,
        most=1000,
    )
    rapid: float | None = number(
        "Speed of rapid moves, for the time estimate only",
        "mm/min",
        default=None,
        words="max_feed",
        above=0,
        most=FASTEST_FEED,
    )
    max_feed: float = number("Fastest feed along a path", "mm/min", above=0, most=FASTEST_FEED)
    max_plunge: float = number("Fastest feed straight down", "mm/min", above=0, most=FASTEST_FEED)
    max_spindle: float = number("Fastest spindle", "rev/min", above=0, most=FASTEST_SPINDLE)
    spindle: Spindle = choice(
        "Who switches the spindle; by hand, programs stop and ask for it before contact", Spindle
    )
    dwell: float = number(
        "Wait after the spindle starts, before contact", "s", default=3.0, least=0, most=120
    )
    collet: float = number(
        "Diameter of the collet nut, which must clear the clamps", "mm", above=0, most=200
    )
    screw_lead: float | None = number(
        "Travel for one turn of the lead screw; shifts between passes become multiples of it",
        "mm",
        default=None,
        words="unknown",
        above=0,
        most=100,
    )
    scale_error: float | None = number(
        "How much a metre of travel is too long, measured; boards grow by it, joins do not",
        "mm/m",
        default=None,
        words="not stated",
        least=-20,
        most=20,
    )
    squareness: float | None = number(
        "How far the angle between the axes is off 90, measured; boards lean by it, joins do not",
        "degrees",
        default=None,
        words="not stated",
        least=-2,
        most=2,
    )
    periodic_error: float | None = number(
        "Amplitude of the error that repeats with every turn of the lead screw; it cancels at "
        "joins when the shift is a multiple of screw_lead",
        "mm",
        default=None,
        words="not stated",
        least=0,
        most=1,
    )
    backlash: float | None = number(
        "Play of an axis when it turns back; counted at joins that it can move",
        "mm",
        default=None,
        words="not stated",
        least=0,
        most=1,
    )
    tool_change: ToolChange = choice(
        "How cutters are changed: a file for each; or one file for a pass, which stops for a "
        "person to put the next one in; or in which the machine changes it. Z is zeroed anew with "
        "each",
        ToolChange,
        default="files",
    )
    surface_probe: SurfaceProbe = choice(
        "What tells that a surface is touched: the cutter itself, which closes a circuit with the "
        "copper, or a probe with a switch of its own",
        SurfaceProbe,
        default="electrical",
    )
    probe_log: Words | None = entry(
        "Regular expression with groups (?P<x>…), (?P<y>…) and (?P<z>…) that picks a touch from a "
        "line of what the machine logs while it probes",
        "a regular expression with groups named x, y and z",
        default=None,
        words="none: the program stops after each touch for a person to write z down",
    )
    probe_repeatability: float | None = number(
        "Standard deviation of one touch of a surface, measured",
        "mm",
        default=None,
        words="0.005, assumed",
        above=0,
        most=1,
    )
    dialect: DialectTable = entry(
        "What of RS-274 its controller understands",
        "a table headed [machine.dialect]",
        default=DialectTable(),
        words="the defaults of its keys",
    )


class BlankTable(Table):
    """A size of copper-clad laminate: `[blank]`, or `[[blank]]` for several sizes."""

    preset: str | None = entry(
        "Ready-made laminate to take thickness and copper from",
        "the name of a laminate preset",
        default=None,
        words="none",
    )
    size: PositivePair = entry(
        "Size as it lies on the machine, [x, y]",
        "two plain numbers in mm above 0, [x, y]",
        unit="mm",
    )
    thickness: float = number("Carrier and copper together", "mm", above=0, most=20)
    copper: float = number("Thickness of the copper foil", "mm", above=0, most=1)
    margin: float = number(
        "Strip along every edge that no board enters; registration holes lie in it",
        "mm",
        default=10.0,
        least=0,
        most=LARGEST,
    )
    spacing: float | None = number(
        "Distance between neighbouring boards, at least; the profile cutter must fit",
        "mm",
        default=None,
        words="twice the profile cutter's diameter + 2, so that tabs find firm laminate between",
        above=0,
        most=LARGEST,
    )
    shared_kerf: bool = entry(
        "One cut between two boards: they lie the profile cutter's diameter apart, and what their "
        "straight edges have in common is cut once",
        "true or false",
        default=False,
    )
    count: int = number(
        "How many blanks of this size there are", "", default=1, least=1, most=1000, whole=True
    )
    outline: Annotated[list[Pair], Field(min_length=3)] | None = entry(
        "Corners of an offcut in order, from the low corner of the box around it",
        "a list of points in mm within the size, three at least, [[x, y], …]",
        unit="mm",
        default=None,
        words="the whole rectangle",
    )
    grade: Grade | None = choice(
        "Grade of the laminate; paper lets a tooth take more than glass",
        Grade,
        default=None,
        words="not told, taken for glass",
    )


class LayoutTable(Table):
    """Where boards lie, when that is stored."""

    file: Words | None = entry(
        "A layout that `millprep layout` wrote: its places are kept, and what is new is added",
        "the path of a layout file",
        default=None,
        words="none: places are found",
    )


class ClampTable(Table):
    """Something that holds the blank and stands in the way."""

    box: Annotated[list[Number], Field(min_length=4, max_length=4)] = entry(
        "Where it stands, machine coordinates, [x0, y0, x1, y1]",
        "four plain numbers in mm, [x0, y0, x1, y1] with x0 < x1 and y0 < y1",
        unit="mm",
    )
    height: float = number("Height above the copper surface", "mm", least=0, most=1000)
    passes: Annotated[list[Annotated[int, Field(ge=1)]], Field(min_length=1)] | None = entry(
        "Passes in which it is on",
        "a list of pass numbers from 1, such as [1, 2]",
        default=None,
        words="all passes",
    )


class SetupTable(Table):
    """How the blank lies on the machine and what holds it."""

    origin: Pair = entry(
        "Machine coordinates of the blank's low corner in pass 1, [x, y]",
        "two plain numbers in mm, [x, y]",
        unit="mm",
        default=[0.0, 0.0],
        words="the work zero",
    )
    touch: Pair | None = entry(
        "Where z is zeroed on the copper after each cutter change, machine coordinates, [x, y]; "
        "never cut",
        "two plain numbers in mm within the travel, [x, y]",
        unit="mm",
        default=None,
        words="chosen for you",
    )
    tape: bool = entry(
        "Whether tape holds the blank, so that no clamp is needed", "true or false", default=False
    )
    turn: bool = entry(
        "Whether a blank longer than the travel is turned by half a turn for a second pass, so "
        "that both halves are cut from the same side, instead of being moved along",
        "true or false",
        default=False,
    )
    clamp: list[ClampTable] = entry(
        "The clamps, one [[setup.clamp]] each; at least one unless tape = true",
        "tables headed [[setup.clamp]]",
        default=[],
        words="none",
    )
