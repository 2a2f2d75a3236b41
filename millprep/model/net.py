"""What the job says of a net: its volts, its current, and the wires that join its copper."""

from __future__ import annotations

import math
from dataclasses import dataclass

from millprep.geometry.path import Point

BALANCED = 1e-6
"""Currents balance when what is left over is below this share of the largest."""


@dataclass(frozen=True, slots=True)
class Load:
    """A place where current leaves the copper, or enters it.

    Attributes:
        name: what stands there, "V3 heater".
        at: drawing frame, mm; within the hole or on the copper.
        amperes: out of the copper above 0, into it below 0.
        contact: diameter of the soldered joint, mm; None for the rim of the hole there, or
            for a joint of the usual size where there is no hole.
    """

    name: str
    at: Point
    amperes: float
    contact: float | None = None

    def __post_init__(self) -> None:
        if not math.isfinite(self.amperes):
            raise ValueError(f"load {self.name}: amperes must be finite")
        if self.contact is not None and not self.contact > 0:
            raise ValueError(f"load {self.name}: contact must be above 0")


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
        left = unbalanced(self.loads)
        if left:
            raise ValueError(f"net {self.name}: {left:g} A leave it and do not enter")

    def volts_to(self, other: NetFacts) -> float | None:
        """Largest voltage that can stand between two nets; None when one is not told."""
        if self.volts is None or other.volts is None:
            return None
        return max(self.volts[1] - other.volts[0], other.volts[1] - self.volts[0])


def unbalanced(loads: tuple[Load, ...]) -> float:
    """Amperes that leave and do not enter, below 0 the other way; 0.0 when all balances."""
    left = math.fsum(load.amperes for load in loads)
    largest = max((abs(load.amperes) for load in loads), default=0.0)
    return left if abs(left) > BALANCED * largest else 0.0
