"""What the job says of a net: its volts, its current, and the wires that join its copper."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import pydantic.dataclasses

from millprep.geometry.path import Point
from millprep.model.job.keys import (
    NAME_ALLOWED,
    POINT_ALLOWED,
    TABLE,
    JobTable,
    Name,
    Pair,
    entry,
    number,
)

MOST_AMPERES = 1_000.0
BALANCED = 1e-6
"""Currents balance when their sum is below this fraction of the largest."""


@pydantic.dataclasses.dataclass(frozen=True, slots=True, config=TABLE)
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
