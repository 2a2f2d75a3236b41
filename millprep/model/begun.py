"""What of a set has been cut, as a person marked it: passes that are begun, programs that ran."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

FILE = "begun.toml"
"""The mark's file in the set's folder; no part of the set's hashes."""
LOG = "ran.toml"
"""The log of what its runs took, there as well and no part of them either."""
DONE = "done.toml"
"""The programs that ran, there as well and no part of them either."""


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


@dataclass(frozen=True, slots=True)
class ProgramRun:
    """A program that ran.

    Attributes:
        set: id of the set that it ran from.
        file, cutter: the program, by its path from the folder of the set and its cutter's name.
        when: when it was marked.
        fitted: the cutter that was used, where that has another name.
        minutes: what it took, where that was measured.
    """

    set: str
    file: str
    cutter: str
    when: datetime
    fitted: str | None = None
    minutes: float | None = None

    def __post_init__(self) -> None:
        texts = (self.set, self.file, self.cutter, self.fitted or "")
        if not all(isinstance(text, str) for text in texts) or not isinstance(self.when, datetime):
            raise TypeError("set, file, cutter and fitted are texts, when is a time")
        if not isinstance(self.minutes, int | float | None):
            raise TypeError("minutes are a number")
        if self.minutes is not None and not 0 < float(self.minutes) < float("inf"):
            raise ValueError("minutes are above 0")
        # a time without a zone is UTC, as it is written
        zoned = self.when if self.when.tzinfo else self.when.replace(tzinfo=UTC)
        object.__setattr__(self, "when", zoned.astimezone(UTC).replace(microsecond=0))

    @property
    def program(self) -> tuple[str, str]:
        """Which program it is, in this set and in those that are made from it."""
        return self.file, self.cutter

    @property
    def by(self) -> str:
        """The cutter that was used."""
        return self.fitted or self.cutter
