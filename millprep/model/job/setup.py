"""How the blank lies on the machine, and what holds it."""

from __future__ import annotations

from collections.abc import Iterator

from pydantic.dataclasses import dataclass

from millprep.model.blank import AREAS_ALLOWED, Areas, Clamp
from millprep.model.job.keys import TABLE, JobTable, Pair, entry, flag
from millprep.model.job.mistakes import Mistake, check


@dataclass(frozen=True, slots=True, kw_only=True, config=TABLE)
class SetupTable(JobTable):
    """How the blank lies on the machine and what holds it."""

    origin: Pair = entry(
        "Machine coordinates of the blank's lower-left corner in pass 1, [x, y]",
        "two plain numbers in mm, [x, y]",
        unit="mm",
        default=(0.0, 0.0),
        words="the work zero",
    )
    touch: Pair | None = entry(
        "Where z is zeroed on the copper after each cutter change, machine coordinates, [x, y]; "
        "never cut",
        "two plain numbers in mm within the travel, [x, y]",
        unit="mm",
        default=None,
        words="chosen for you",
    )
    tape: Areas = entry(
        "Where double-sided tape holds the blank: true for all of it, or areas in machine "
        "coordinates, in every pass",
        AREAS_ALLOWED,
        default=False,
    )
    vacuum: Areas = entry(
        "Where vacuum holds the blank: true for all of it, or areas in machine coordinates, in "
        "every pass",
        AREAS_ALLOWED,
        default=False,
    )
    turn: bool = flag(
        "Whether a blank longer than the travel is turned by half a turn for a second pass, so "
        "that both halves are cut from the same side, instead of being moved along",
        default=False,
    )
    clamps: tuple[Clamp, ...] = entry(
        "The clamps, one [[setup.clamp]] each; at least one unless tape or vacuum holds the blank",
        "tables headed [[setup.clamp]]",
        key="clamp",
        default=(),
        words="none",
    )

    @check
    def _something_holds(self) -> Iterator[Mistake]:
        if not (self.tape or self.vacuum or self.clamps):
            words = "names nothing that holds the blank; list [[setup.clamp]] or say tape = true"
            yield Mistake("job-missing-key", (), words)
