"""Tables of the work: isolation, drilling, profile, registration.

Defaults that are the trade's habit rather than anybody's finding are common practice,
no source: depth of a vee cut 0.06 to 0.10 mm, breakthrough 0.2 to 0.3 mm, a tab every
60 to 80 mm. What could spoil a board or a cutter has no default.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, PlainValidator, WithJsonSchema
from pydantic_core import PydanticCustomError

from millprep.job.fields import LARGEST, Table, Words, choice, entry, number
from millprep.model.plan import Course, Direction

Method = Literal["pins", "measure"]
Probe = Literal["none", "electrical"]
CutterNames = list[Words]

BY_VOLTAGE = "by voltage"
WIDEST_GAP = 20.0


def _gap(value: Any) -> float | str:
    if value == BY_VOLTAGE:
        return BY_VOLTAGE
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise PydanticCustomError("gap_type", "neither a number nor the words")
    if not 0 < value <= WIDEST_GAP:
        raise PydanticCustomError("gap_range", "out of range")
    return float(value)


Gap = Annotated[
    float | str,
    PlainValidator(_gap),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "number", "exclusiveMinimum": 0, "maximum": WIDEST_GAP},
                {"const": BY_VOLTAGE},
            ]
        }
    ),
]
"""Millimetres, or the words that leave it to the voltages."""

CUTTERS_ALLOWED = "a list of names defined as [cutters.NAME]"
CUTTER_ALLOWED = "a name defined as [cutters.NAME]"


class IsolationTable(Table):
    """How copper pieces are set apart."""

    gap: Gap = entry(
        "Asked distance between a piece and whatever is beyond, at the foot of the copper; by "
        "voltage as wide as [rules] spacing asks for the volts of the nets",
        f'a plain number in mm, above 0 and at most {WIDEST_GAP:g}, or "{BY_VOLTAGE}"',
        unit="mm",
    )
    base_gap: float = number(
        "Distance opened everywhere before voltages widen it; unused where gap is a number",
        "mm",
        default=0.2,
        above=0,
        most=WIDEST_GAP,
    )
    pad_gap: float | None = number(
        "Distance opened around lands, the copper around holes: wider, so that solder does not "
        "bridge by hand without a solder mask",
        "mm",
        default=None,
        words="as everywhere",
        above=0,
        most=WIDEST_GAP,
    )
    course: Course = choice(
        "Where laps run: along the copper, or along the middle of the gaps, which leaves copper "
        "as wide as possible",
        Course,
        default="copper",
    )
    depth: float = number(
        "Depth of the tip below the copper surface", "mm", default=0.08, above=0, most=5
    )
    flatness: float = number(
        "How far the surface may lie off, up or down", "mm", default=0.02, least=0, most=5
    )
    cutters: Annotated[CutterNames, Field(min_length=1)] = entry(
        "Vees or end mills that may isolate; the widest that fits is used", CUTTERS_ALLOWED
    )
    overlap: float = number(
        "Share of the groove's foot by which neighbouring laps overlap",
        "",
        default=0.15,
        least=0,
        below=1,
    )
    direction: Direction = choice(
        "Direction of travel along the copper", Direction, default="climb"
    )


class DrillingTable(Table):
    """How holes are made."""

    cutters: CutterNames = entry(
        "Drills that may drill; a hole takes the nearest within tolerance",
        CUTTERS_ALLOWED,
        default=[],
        words="none",
    )
    tolerance: float = number(
        "Largest difference between a hole and the drill that makes it",
        "mm",
        default=0.05,
        least=0,
        most=1,
    )
    borer: Words | None = entry(
        "End mill that bores the holes no drill serves, and mills slots",
        CUTTER_ALLOWED,
        default=None,
        words="none",
    )
    breakthrough: float = number(
        "How far the full diameter goes below the blank", "mm", default=0.3, above=0, most=5
    )
    spoilboard: float = number(
        "Thickness of the board beneath the blank, which no cutter may pass",
        "mm",
        above=0,
        most=100,
    )


class ProfileTable(Table):
    """How boards are cut out."""

    cutter: Words = entry("End mill that cuts along the outline", CUTTER_ALLOWED)
    breakthrough: float = number(
        "Depth of the last lap below the blank", "mm", default=0.3, above=0, most=5
    )
    tab_width: float = number(
        "Width of a holding tab where it is narrowest", "mm", default=3.0, above=0, most=100
    )
    tab_height: float = number(
        "Thickness of laminate left in a holding tab", "mm", default=0.4, above=0, most=20
    )
    tab_every: float = number(
        "Largest distance between tabs along the edge", "mm", default=70.0, above=0, most=LARGEST
    )
    ramp: float = number(
        "Angle at which the cutter enters along the path",
        "degrees",
        default=10.0,
        above=0,
        most=90,
    )
    direction: Direction = choice("Direction of travel along the board", Direction, default="climb")


class RegistrationTable(Table):
    """How a blank is found again after it was moved; only long boards need it."""

    method: Method = choice(
        "Pins in the bed, or holes that are measured and typed in", Method, default="pins"
    )
    hole: float = number(
        "Diameter of the locating holes in the blank, a slip fit on 3 mm pins",
        "mm",
        default=3.02,
        above=0,
        most=20,
    )
    key: float = number(
        "Diameter of the key hole, larger than the locating holes",
        "mm",
        default=4.0,
        above=0,
        most=30,
    )
    wall: float = number(
        "Laminate left around every registration hole, at least",
        "mm",
        default=2.0,
        above=0,
        most=100,
    )
    cutters: CutterNames | None = entry(
        "Drills or end mills that may make the holes",
        CUTTERS_ALLOWED,
        default=None,
        words="the borer and the cutters of [drilling]",
    )
    pin: float = number(
        "Diameter of the holes in the bed, a press fit on 3 mm pins",
        "mm",
        default=2.98,
        above=0,
        most=20,
    )
    pin_depth: float | None = number(
        "Depth of the holes in the bed",
        "mm",
        default=None,
        words="4.5, or three quarters of the spoilboard if that is less",
        above=0,
        most=100,
    )
    overrun: float = number(
        "How far each side of a join is cut past it", "mm", default=0.4, least=0, most=10
    )
    drill_error: float | None = number(
        "Standard deviation of a drilled hole's place, per axis",
        "mm",
        default=None,
        words="with locate_error 0.03 in total, assumed",
        above=0,
        most=1,
    )
    locate_error: float | None = number(
        "Standard deviation of finding a hole again, per axis",
        "mm",
        default=None,
        words="with drill_error 0.03 in total, assumed",
        above=0,
        most=1,
    )
    probe: Probe = choice(
        "How measured holes are found: by a person, or by a program whose tip touches the copper "
        "rims and closes a circuit; needs copper around the holes",
        Probe,
        default="none",
    )
    probe_cutter: Words | None = entry(
        "The tip that touches: a plain pin entered as an end mill, or an end mill",
        CUTTER_ALLOWED,
        default=None,
        words="the widest end mill that leaves 0.4 mm around it in the locating holes",
    )
    probe_depth: float = number(
        "Depth of the tip below the copper while it touches",
        "mm",
        default=0.4,
        above=0,
        most=10,
    )
    probe_feed: float = number("Feed of every touch", "mm/min", default=30.0, above=0, most=100)
    probe_error: float = number(
        "Standard deviation of one touch",
        "mm",
        default=0.01,
        words="0.01, assumed",
        above=0,
        most=1,
    )
    verniers: bool = entry(
        "Engrave verniers that show how far two passes lie apart, where the margins have room",
        "true or false",
        default=True,
    )
