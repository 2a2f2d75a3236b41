"""What is cut besides isolation, and how: clearing, holes, profiles.

Defaults that are the trade's habit rather than anybody's finding are common practice,
no source: breakthrough 0.2 to 0.3 mm, a tab every 60 to 80 mm. What could spoil a board or a
cutter has no default.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field
from pydantic.dataclasses import dataclass

from millprep.model.cutter import (
    CUTTER_ALLOWED,
    CUTTERS_ALLOWED,
    Drill,
    Engraver,
    NamedDrill,
    NamedEndMill,
    each_once,
)
from millprep.model.job.isolation import Direction, IsolationPlan
from millprep.model.job.keys import LARGEST, TABLE, JobTable, choice, entry, number
from millprep.model.job.mistakes import Mistake, check, plain, settled, wrong

Floating = Literal["areas", "all"]
"""What floating copper is cleared: that of given areas, or all."""


@dataclass(frozen=True, slots=True, kw_only=True, config=TABLE)
class ClearingPlan(JobTable):
    """How floating copper is cleared."""

    cutters: Annotated[tuple[Engraver, ...], Field(min_length=1)] = entry(
        "Vees or end mills that clear, the widest first; each clears what the wider ones left",
        CUTTERS_ALLOWED,
    )
    copper: Floating = choice(
        "What is cleared: the areas of [[board.clear]], or all floating copper",
        Floating,
        default="areas",
    )
    depth: float = number(
        "Depth of the tip below the copper surface",
        "mm",
        otherwise=lambda job, _: job.isolation.depth,
        words="that of [isolation]",
        above=0,
        most=5,
    )
    overlap: float = number(
        "Overlap of neighbouring laps, as a fraction of the groove's width at its foot",
        "",
        default=0.2,
        least=0,
        below=1,
    )

    @check
    def _each_cutter_once(self) -> Iterator[Mistake]:
        yield from each_once(self.cutters)


@dataclass(frozen=True, slots=True, kw_only=True, config=TABLE)
class LegendPlan(JobTable):
    """How a legend is engraved into the component side of the laminate."""

    cutter: Engraver = entry(
        "Vee or end mill that engraves",
        CUTTER_ALLOWED,
        otherwise=lambda job, _: job.isolation.cutters[0],
        words="the first cutter of [isolation]",
    )
    depth: float = number(
        "Depth of the tip below the laminate's surface", "mm", default=0.15, above=0, most=1
    )
    clear: float = number(
        "Laminate left between a line of the legend and any hole or edge of its board",
        "mm",
        default=0.3,
        least=0,
        most=10,
    )


@dataclass(frozen=True, slots=True, kw_only=True, config=TABLE)
class DrillingPlan(JobTable):
    """How holes are made."""

    cutters: tuple[NamedDrill, ...] = entry(
        "Drills that may drill; a hole takes the nearest within tolerance",
        CUTTERS_ALLOWED,
        default=(),
        words="none",
    )
    tolerance: float = number(
        "Largest difference between a hole and the drill that makes it",
        "mm",
        default=0.05,
        least=0,
        most=1,
    )
    borer: NamedEndMill | None = entry(
        "End mill that bores the holes no drill fits, and mills slots",
        CUTTER_ALLOWED,
        default=None,
        words="none",
    )
    breakthrough: float = number(
        "How far the full diameter goes below the blank", "mm", default=0.3, above=0, most=5
    )
    spoilboard: float = number(
        "Thickness of the spoilboard under the blank, which no cutter may pass",
        "mm",
        above=0,
        most=100,
    )

    @check
    def _each_cutter_once(self) -> Iterator[Mistake]:
        yield from each_once(self.cutters)

    @check
    def _points_within_spoilboard(self) -> Iterator[Mistake]:
        for i, drill in enumerate(self.cutters):
            yield from settled(self._point_within_spoilboard(i, drill))

    def _point_within_spoilboard(self, i: int, drill: Drill) -> Iterator[Mistake]:
        deepest = self.breakthrough + drill.point
        if deepest >= self.spoilboard:
            words = (
                f"would pass the spoilboard of {self.spoilboard:g} mm: the point of "
                f"{plain(drill.name)} goes {deepest:.2f} mm below the blank; use a thicker board "
                "or less breakthrough"
            )
            yield wrong(("cutters", i), words)


@dataclass(frozen=True, slots=True, kw_only=True, config=TABLE)
class ProfilePlan(JobTable):
    """How boards are cut out."""

    cutter: NamedEndMill = entry("End mill that cuts along the outline", CUTTER_ALLOWED)
    breakthrough: float = number(
        "How deep the last depth step goes below the blank", "mm", default=0.3, above=0, most=5
    )
    tab_width: float = number(
        "Width of a holding tab where it is narrowest", "mm", default=3.0, above=0, most=100
    )
    tab_height: float = number(
        "Thickness of laminate left in a holding tab", "mm", default=0.4, above=0, most=20
    )
    tab_every: float = number(
        "Largest distance between tabs along the edge", "mm", default=70.0, above=0, most=LARGEST
    )
    ramp: float = number(
        "Angle at which the cutter enters along the path",
        "degrees",
        default=10.0,
        above=0,
        most=90,
    )
    direction: Direction = choice("Direction of travel along the board", Direction, default="climb")

    @check
    def _tabs_do_not_touch(self) -> Iterator[Mistake]:
        if self.tab_width >= self.tab_every:
            words = f"must be above tab_width, {self.tab_width:g} mm; got {self.tab_every:g}"
            yield wrong(("tab_every",), words)


def feed_along_copper(isolation: IsolationPlan, clearing: ClearingPlan | None) -> float:
    """The fastest feed of the cutters that run along copper, mm/min."""
    cutters = [*isolation.cutters, *(() if clearing is None else clearing.cutters)]
    return max(cutter.feed for cutter in cutters)
