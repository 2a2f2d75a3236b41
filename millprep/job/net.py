"""Tables of a board's nets: a place on each, what it carries, and where."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BeforeValidator, Field, WithJsonSchema

from millprep.job.fields import Name, Number, Pair, Table, Words, entry, number
from millprep.model.net import Load
from millprep.model.plan import NetPlan

POINT_ALLOWED = "a point [x, y] in plain numbers, mm"
NAME_OF_NET = "a name without / and \\ and control characters, 100 letters at most"
MOST_VOLTS = 10_000.0
MOST_AMPERES = 1_000.0


def _span(value: Any) -> Any:
    plain_number = isinstance(value, int | float) and not isinstance(value, bool)
    return [value, value] if plain_number else value


_VOLT = {"type": "number", "minimum": -MOST_VOLTS, "maximum": MOST_VOLTS}
Volts = Annotated[
    list[Number],
    Field(min_length=2, max_length=2),
    BeforeValidator(_span),
    WithJsonSchema(
        {"anyOf": [_VOLT, {"type": "array", "items": _VOLT, "minItems": 2, "maxItems": 2}]}
    ),
]
"""One number, or the lowest and the highest."""


class LoadTable(Table):
    """A place where current leaves the net's copper, or enters it."""

    name: Name = entry(
        "What the reports call it; a load of two nets has one name in both", NAME_OF_NET
    )
    at: Pair = entry(
        "Where it is soldered, drawing coordinates: within a hole, or on the copper",
        POINT_ALLOWED,
        unit="mm",
    )
    amperes: float = number(
        "Current out of the copper; below 0 where it enters",
        "A",
        least=-MOST_AMPERES,
        most=MOST_AMPERES,
    )
    contact: float | None = number(
        "Diameter of the soldered joint",
        "mm",
        default=None,
        words="the rim of the hole there, or 1",
        above=0,
        most=100,
    )


class NetTable(Table):
    """A net with what it carries; wire links join its pieces."""

    name: Name = entry("What the reports call the net", NAME_OF_NET)
    at: Pair | None = entry(
        "A point on its copper, drawing coordinates",
        POINT_ALLOWED,
        unit="mm",
        default=None,
        words="where `text` stands",
    )
    text: Words | None = entry(
        "Text of the drawing, on any layer, that stands on its copper",
        "the words of a text in the drawing",
        default=None,
        words="none, `at` tells",
    )
    volts: Volts | None = entry(
        "Volts against the board's common reference, DC or peak: one number, or lowest and highest",
        "a plain number of volts, or [lowest, highest]",
        unit="V",
        default=None,
        words="not told: spacing takes it for floating",
    )
    amperes: float = number(
        "Current, where no loads are listed", "A", default=0.0, least=0, most=MOST_AMPERES
    )
    load: list[LoadTable] = entry(
        "Where current enters and leaves, one [[board.net.load]] each; what enters leaves again",
        "tables headed [[board.net.load]]",
        default=[],
        words="none",
    )


def nets_of(tables: list[NetTable]) -> tuple[NetPlan, ...]:
    """The nets of a board whose checks have passed."""
    return tuple(
        NetPlan(
            name=table.name,
            at=None if table.at is None else (table.at[0], table.at[1]),
            text=table.text,
            volts=None if table.volts is None else (table.volts[0], table.volts[1]),
            amperes=table.amperes,
            loads=tuple(
                Load(one.name, (one.at[0], one.at[1]), one.amperes, one.contact)
                for one in table.load
            ),
        )
        for table in tables
    )
