"""A check with a meter: two places to touch and what to expect."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from millprep.geometry.path import Point

Expect = Literal["continuity", "isolation"]
When = Literal["any time", "after soldering", "before soldering"]
"""When a check is due, as seen from the soldering of the jumper wires."""


@dataclass(frozen=True, slots=True)
class Touch:
    """A place to touch.

    Attributes:
        piece: id of the copper piece, None for copper that carries none.
        net: the piece's net, None for such copper.
        pad: id of the hole there, None next to one.
        at: on the board with its copper up, as it lies on the mill: mm from the low corner of
            the board's extent.
        pin: part and pin that netlist or text put there, None where none does.
    """

    piece: str | None
    net: str | None
    pad: str | None
    at: Point
    pin: str | None = None


@dataclass(frozen=True, slots=True)
class NetReason:
    """The two are the pads of a net that are farthest apart."""

    net: str


@dataclass(frozen=True, slots=True)
class GapReason:
    """The gap between the two is one of the narrowest.

    Attributes:
        gap: between the two at their narrowest, mm.
    """

    gap: float


@dataclass(frozen=True, slots=True)
class JoinReason:
    """Two passes meet between the two.

    Attributes:
        at: where, on the board like a `Touch`.
    """

    passes: tuple[int, int]
    at: Point


Reason = NetReason | GapReason | JoinReason


@dataclass(frozen=True, slots=True)
class Check:
    """One check of one copy."""

    placement: int
    expect: Expect
    first: Touch
    second: Touch
    when: When
    reason: Reason

    @property
    def gap(self) -> float | None:
        """Between the two at their narrowest, mm, if that is the reason."""
        return self.reason.gap if isinstance(self.reason, GapReason) else None
