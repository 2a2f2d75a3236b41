"""Nets of the job: their volts and currents, wires that join copper, and areas to be cleared."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Annotated, Any

import shapely
from pydantic import BeforeValidator, Field, WithJsonSchema
from pydantic.dataclasses import dataclass as table

from millprep.geometry.path import Point
from millprep.model.job.keys import (
    CORNERS_ALLOWED,
    LARGEST,
    NAME_ALLOWED,
    POINT_ALLOWED,
    TABLE,
    Corners,
    JobTable,
    Name,
    Number,
    Pair,
    Words,
    entry,
    number,
)
from millprep.model.job.mistakes import Mistake, check, known, plain, twice, wrong
from millprep.standards.copper import wire_resistance

MOST_AMPERES = 1_000.0
BALANCED = 1e-6
"""Currents balance when their sum is below this fraction of the largest."""


@table(frozen=True, slots=True, config=TABLE)
class Load(JobTable):
    """A place where current leaves the net's copper, or enters it."""

    name: Name = entry(
        "What the reports call it; a load of two nets has one name in both", NAME_ALLOWED
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


@dataclass(frozen=True, slots=True)
class Wire:
    """A wire soldered between two places of a net, drawing frame; 0 Ω for a perfect one."""

    start: Point
    end: Point
    ohms: float = 0.0

    def __post_init__(self) -> None:
        if not 0 <= self.ohms < math.inf:
            raise ValueError(f"a wire has 0 Ω or more, got {self.ohms}")


@dataclass(frozen=True, slots=True)
class NetFacts:
    """A net with what the job says of it.

    Attributes:
        name: unlike that of any other net of its board.
        pieces: ids of its copper pieces.
        volts: (lowest, highest) against the board's common reference, DC or peak; None when
            the job does not say.
        amperes: the current it carries when no loads are given; 0 for a signal.
        loads: where current enters and leaves; what enters leaves again.
        wires: between its pieces.

    Raises:
        ValueError: for no pieces, volts that are not two in order, currents that do not
            balance, or both amperes and loads.
    """

    name: str
    pieces: tuple[str, ...]
    volts: tuple[float, float] | None = None
    amperes: float = 0.0
    loads: tuple[Load, ...] = ()
    wires: tuple[Wire, ...] = ()

    def __post_init__(self) -> None:
        if not self.pieces:
            raise ValueError(f"net {self.name} has no copper")
        if self.volts is not None and not -math.inf < self.volts[0] <= self.volts[1] < math.inf:
            raise ValueError(f"net {self.name}: volts are (lowest, highest), got {self.volts}")
        if not 0 <= self.amperes < math.inf:
            raise ValueError(f"net {self.name}: amperes must be 0 or more")
        if self.loads and self.amperes:
            raise ValueError(f"net {self.name}: its loads say its current, amperes must be 0")
        left = unbalanced(load.amperes for load in self.loads)
        if left:
            raise ValueError(f"net {self.name}: {left:g} A leave it and do not enter")

    def volts_to(self, other: NetFacts) -> float | None:
        """Largest voltage between two nets; None when one is unknown."""
        if self.volts is None or other.volts is None:
            return None
        return max(self.volts[1] - other.volts[0], other.volts[1] - self.volts[0])


def unbalanced(amperes: Iterable[float]) -> float:
    """Amperes that leave and do not enter, below 0 the other way; 0.0 when all balances."""
    currents = tuple(amperes)
    left = math.fsum(currents)
    largest = max(map(abs, currents), default=0.0)
    return left if abs(left) > BALANCED * largest else 0.0


@dataclass(frozen=True, slots=True)
class Misfit:
    """Something in the job that its drawing does not bear out.

    Attributes:
        code: as a finding's.
        path: keys from the top of the job file, with the index of an element of an array.
        words: follow the key's name.
        board: name of the board.
        at: place in the drawing frame, mm; None when there is none.
    """

    code: str
    path: tuple[str | int, ...]
    words: str
    board: str
    at: Point | None = None


MOST_VOLTS = 10_000.0
SHORTER = 1e-6
"""A wire may be shorter than straight by the rounding of its ends, mm."""


def _span(value: Any) -> Any:
    plain_number = isinstance(value, int | float) and not isinstance(value, bool)
    return (value, value) if plain_number else value


_VOLT = {"type": "number", "minimum": -MOST_VOLTS, "maximum": MOST_VOLTS}
Volts = Annotated[
    tuple[Number, Number],
    BeforeValidator(_span),
    WithJsonSchema(
        {"anyOf": [_VOLT, {"type": "array", "items": _VOLT, "minItems": 2, "maxItems": 2}]}
    ),
]
"""(lowest, highest); the job file may give one number for both."""


@table(frozen=True, slots=True, kw_only=True, config=TABLE)
class NetPlan(JobTable):
    """A net with what it carries, named by a point on its copper or by text on it."""

    name: Name = entry("What the reports call the net", NAME_ALLOWED)
    at: Pair | None = entry(
        "A point on its copper, drawing coordinates",
        POINT_ALLOWED,
        unit="mm",
        default=None,
        words="where `text` is, or where the netlist has the name",
    )
    text: Words | None = entry(
        "Text of the drawing, on any layer, that is placed on its copper",
        "the words of a text in the drawing",
        default=None,
        words="none: `at` gives the place, or the netlist knows the name",
    )
    volts: Volts | None = entry(
        "Volts against the board's common reference, DC or peak: one number, or lowest and highest",
        "a plain number of volts, or [lowest, highest]",
        unit="V",
        default=None,
        words="unknown: its spacing counts as that of floating copper",
    )
    amperes: float = number(
        "Current, where no loads are listed", "A", default=0.0, least=0, most=MOST_AMPERES
    )
    loads: tuple[Load, ...] = entry(
        "Where current enters and leaves, one [[board.net.load]] each; what enters leaves again",
        "tables headed [[board.net.load]]",
        key="load",
        default=(),
        words="none",
    )

    @check
    def _place_given_once(self) -> Iterator[Mistake]:
        if self.at is not None and self.text is not None:
            yield wrong(("text",), "names the place that `at` names too; keep one of them")

    @check
    def _volts_in_order(self) -> Iterator[Mistake]:
        if self.volts is not None and self.volts[0] > self.volts[1]:
            yield wrong(("volts",), f"must be [lowest, highest]; got {plain(self.volts)}")

    @check
    def _loads_give_the_current(self) -> Iterator[Mistake]:
        if self.amperes and self.loads:
            yield wrong(("amperes",), "is given by the net's loads already; keep one of them")

    @check
    def _loads_have_names(self) -> Iterator[Mistake]:
        yield from twice(
            (("load", k, "name"), known(load, "name")) for k, load in enumerate(self.loads)
        )

    @check
    def _currents_balance(self) -> Iterator[Mistake]:
        left = unbalanced(load.amperes for load in self.loads)
        if left:
            way = "leave it and do not enter" if left > 0 else "enter it and do not leave"
            words = f"has currents that do not balance: {abs(left):g} A {way}; the feed is a load"
            yield wrong(("load",), f"{words} too")


@table(frozen=True, slots=True, kw_only=True, config=TABLE)
class WirePlan(JobTable):
    """A copper wire soldered by hand, whose voltage drop counts."""

    start: Pair = entry("One end, drawing coordinates", POINT_ALLOWED, unit="mm")
    end: Pair = entry("The other end, drawing coordinates", POINT_ALLOWED, unit="mm")
    diameter: float | None = number(
        "Diameter of its copper, a solid wire",
        "mm",
        default=None,
        words="unknown; from `area`",
        above=0,
        most=20,
    )
    area: float | None = number(
        "Cross-section of its copper, as stranded wire is sold",
        "mm²",
        default=None,
        words="unknown; from `diameter`",
        above=0,
        most=300,
    )
    length: float | None = number(
        "Length of the wire",
        "mm",
        default=None,
        words="straight from end to end",
        above=0,
        most=LARGEST,
    )

    def wire(self, celsius: float) -> Wire:
        """The wire with the resistance of its copper at a temperature."""
        length = math.dist(self.start, self.end) if self.length is None else self.length
        area = self.area if self.area is not None else math.pi * (self.diameter or 0.0) ** 2 / 4
        return Wire(self.start, self.end, wire_resistance(length, area, celsius))

    @check
    def _size_given_once(self) -> Iterator[Mistake]:
        if self.diameter is not None and self.area is not None:
            yield wrong((), "gives diameter and area; keep one of them")
        elif self.diameter is None and self.area is None:
            yield wrong((), "gives no diameter or area of its copper")

    @check
    def _long_enough(self) -> Iterator[Mistake]:
        straight = math.dist(self.start, self.end)
        if straight == 0:
            yield wrong(("end",), "must lead from one point to another")
        elif self.length is not None and self.length < straight - SHORTER:
            words = f"is shorter than the {straight:.2f} mm straight between its ends"
            yield wrong(("length",), f"{words}: {self.length:g}")


@table(frozen=True, slots=True, kw_only=True, config=TABLE)
class ClearArea(JobTable):
    """An area of a board that is cleared of floating copper."""

    box: Corners | None = entry(
        "The area as a rectangle, drawing coordinates",
        CORNERS_ALLOWED,
        unit="mm",
        default=None,
        words="none: from `corners`",
    )
    corners: Annotated[tuple[Pair, ...], Field(min_length=3)] | None = entry(
        "The area by its corners in order, drawing coordinates",
        "a list of points in mm, three at least, [[x, y], …]",
        unit="mm",
        default=None,
        words="none: from `box`",
    )

    @property
    def outline(self) -> tuple[Point, ...]:
        """The corners in order, drawing frame."""
        if self.box is not None:
            x0, y0, x1, y1 = self.box
            return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
        return self.corners or ()

    @check
    def _area_given_once(self) -> Iterator[Mistake]:
        if self.box is not None and self.corners is not None:
            yield wrong((), "gives box and corners; keep one of them")
        elif self.box is None and self.corners is None:
            yield wrong((), "gives no box or corners")

    @check
    def _does_not_cross_itself(self) -> Iterator[Mistake]:
        if self.corners is not None:
            shape = shapely.Polygon(self.corners)
            if not shape.is_valid or shape.area == 0:
                yield wrong(("corners",), "must go once around an area without crossing")
