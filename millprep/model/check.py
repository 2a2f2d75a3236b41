"""A check with a meter: two places to touch and what to expect."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from millprep.geometry.path import Point

Expect = Literal["continuity", "isolation"]
When = Literal["at any time", "once the links are soldered", "before the links are soldered"]


@dataclass(frozen=True, slots=True)
class Touch:
    """A place to touch.

    Attributes:
        piece: id of the copper piece, None for copper that carries none.
        net: the piece's net, None for such copper.
        pad: id of the hole that stands there, None beside one.
        at: on the board with its copper up, as it lies on the mill: mm from the low corner of
            the board's extent.
    """

    piece: str | None
    net: str | None
    pad: str | None
    at: Point


@dataclass(frozen=True, slots=True)
class Check:
    """One check of one copy.

    Attributes:
        why: in a few words.
        gap: between the two at their narrowest, mm; None for continuity.
    """

    placement: int
    expect: Expect
    one: Touch
    other: Touch
    when: When
    why: str
    gap: float | None = None
