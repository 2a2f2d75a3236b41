"""What of a set has been cut, as a person marked it."""

from __future__ import annotations

from dataclasses import dataclass

FILE = "begun.toml"
"""The mark's file in the set's folder; no part of the set's hashes."""
LOG = "ran.toml"
"""The log of what its runs took, there as well and no part of them either."""


@dataclass(frozen=True, slots=True)
class Begun:
    """The mark of a set.

    Attributes:
        set: the set's id.
        passes: (blank, pass) of every pass that was begun, in order.
        before: those of them that were begun with the set that this one was made from.
    """

    set: str
    passes: tuple[tuple[int, int], ...]
    before: frozenset[tuple[int, int]] = frozenset()

    def __post_init__(self) -> None:
        if not self.passes or any(number < 1 for pair in self.passes for number in pair):
            raise ValueError("a mark names blanks and passes, counted from 1")
        if not self.before <= set(self.passes):
            raise ValueError("what was begun before is among the passes of the mark")

    @property
    def words(self) -> str:
        """The passes for people."""
        return ", ".join(f"pass {number} of blank {blank}" for blank, number in self.passes)
