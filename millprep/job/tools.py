"""Tables of the cutters."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from millprep.job.fields import (
    FASTEST_FEED,
    FASTEST_SPINDLE,
    PositivePair,
    Table,
    choice,
    entry,
    number,
)

CutterName = Annotated[str, Field(pattern=r"^[A-Za-z0-9-]+$", max_length=40)]
MOST_TEETH = 12
CUTTER_NAME_ALLOWED = "of letters A to Z, digits and hyphens, 40 at most, for it names files"


class CutterTable(Table):
    """What every cutter has; a preset with overrides, or every key spelt."""

    preset: str | None = entry(
        "Ready-made cutter to start from; keys written beside it replace its values",
        "the name of a cutter preset",
        default=None,
        words="none",
    )
    shank: float = number("Diameter of the shank", "mm", above=0, most=50)
    flute: float = number("Length that cuts, from the tip", "mm", above=0, most=200)
    stickout: float = number("Length from the tip to the collet nut", "mm", above=0, most=300)
    runout: float = number(
        "Total indicator reading at the tip; grooves may be wider by it",
        "mm",
        default=0.0,
        least=0,
        most=1,
    )
    wear: float = number(
        "Wear of the tip since it was measured; grooves may be narrower or wider by it",
        "mm",
        default=0.0,
        least=0,
        most=1,
    )
    spindle: float = number("Spindle speed", "rev/min", above=0, most=FASTEST_SPINDLE)
    plunge: float = number("Feed straight down", "mm/min", above=0, most=FASTEST_FEED)
    chip_load: PositivePair | None = entry(
        "Least and most that a tooth may take, of a drill a turn, [least, most]; as its maker says",
        "two plain numbers in mm above 0, [least, most]",
        unit="mm",
        default=None,
        words="by width and laminate, common practice, no source",
    )


class VeeTable(CutterTable):
    """An engraving cutter with a flat tip."""

    kind: Literal["vee"] = choice("An engraving cutter with a flat tip", Literal["vee"])
    tip: float = number("Width of the flat tip", "mm", least=0, most=10)
    angle: float = number("Included angle", "degrees", above=0, below=180)
    teeth: int = number("Edges that cut", "", default=1, least=1, most=MOST_TEETH, whole=True)
    feed: float = number("Feed along a path", "mm/min", above=0, most=FASTEST_FEED)


class EndMillTable(CutterTable):
    """A cylindrical cutter."""

    kind: Literal["endmill"] = choice("A cylindrical cutter", Literal["endmill"])
    diameter: float = number("Diameter of the cutter", "mm", above=0, most=50)
    step: float = number("Depth it takes in one lap", "mm", above=0, most=20)
    teeth: int = number("Edges that cut", "", default=2, least=1, most=MOST_TEETH, whole=True)
    feed: float = number("Feed along a path", "mm/min", above=0, most=FASTEST_FEED)


class DrillTable(CutterTable):
    """A twist drill."""

    kind: Literal["drill"] = choice("A twist drill", Literal["drill"])
    diameter: float = number("Diameter of the drill", "mm", above=0, most=50)
    point_angle: float = number(
        "Included angle of the point", "degrees", default=118.0, above=0, most=180
    )
    feed: float | None = number(
        "Feed along a path, which a drill has no use for",
        "mm/min",
        default=None,
        words="plunge",
        above=0,
        most=FASTEST_FEED,
    )


AnyCutter = Annotated[VeeTable | EndMillTable | DrillTable, Field(discriminator="kind")]
CUTTER_TABLES: dict[str, type[CutterTable]] = {
    "vee": VeeTable,
    "endmill": EndMillTable,
    "drill": DrillTable,
}
