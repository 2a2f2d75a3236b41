"""What of a set has been cut, as a person marked it."""

from __future__ import annotations

from dataclasses import dataclass

FILE = "begun.toml"
"""The mark's file in the set's folder; no part of the set's hashes."""


@dataclass(frozen=True, slots=True)
class Begun:
    """The mark of a set.

    Attributes:
        set: the set's id.
        passes: (blank, pass) of every pass that was begun, in order.
    """

    set: str
    passes: tuple[tuple[int, int], ...]

    def __post_init__(self) -> None:
        if not self.passes or any(number < 1 for pair in self.passes for number in pair):
            raise ValueError("a mark names blanks and passes, counted from 1")

    @property
    def words(self) -> str:
        """The passes for people."""
        return ", ".join(f"pass {number} of blank {blank}" for blank, number in self.passes)
