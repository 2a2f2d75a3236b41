"""Which published rules apply: spacing, current, holes and pins."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from pydantic.dataclasses import dataclass

from millprep.model.job.keys import TABLE, JobTable, choice, entry, flag, number, preset_key
from millprep.model.job.mistakes import Mistake, check, known, wrong
from millprep.standards.holes import THIN, WANDER
from millprep.standards.spacing import COLUMNS

Column = Literal["B1", "B2", "B3", "B4", "A5", "A6", "A7"]
"""A column of IPC-2221 table 6-1; `millprep.standards.spacing` says what each is for."""
Level = Literal["A", "B", "C"]
"""Ease of making by IPC-2221: A general, B moderate, C tight."""

_COLUMNS = "; ".join(f"{name} {words}" for name, words in COLUMNS.items())


@dataclass(frozen=True, slots=True, kw_only=True, config=TABLE)
class SocketPin(JobTable):
    """A pin that sockets are built from, one by one; the holes of valve bases must fit it."""

    preset: str | None = preset_key(
        "pin", "A pin to start from; keys written here replace its values"
    )
    thinnest: float = number("Diameter of the thinnest tail", "mm", above=0, most=20)
    thickest: float = number("Diameter of the thickest tail", "mm", above=0, most=20)
    hole: float = number("Hole that the tail is soldered into", "mm", above=0, most=20)
    land: float = number("Pad around that hole, at least", "mm", above=0, most=50)
    takes: float = number(
        "Thickest pin of a valve that enters; bases with thicker ones are not checked",
        "mm",
        above=0,
        most=20,
    )

    @check
    def _sizes_in_order(self) -> Iterator[Mistake]:
        for small, large, words in (
            ("thinnest", "thickest", "at least as thick as `thinnest`"),
            ("thickest", "hole", "wider than `thickest`, or no pin enters"),
            ("hole", "land", "wider than `hole`, or nothing can be soldered"),
        ):
            low, high = known(self, small), known(self, large)
            if low is None or high is None:
                continue
            if high < low or (high == low and large != "thickest"):
                yield wrong((large,), f"must be {words}, {low:g}; got {high:g}")


@dataclass(frozen=True, slots=True, kw_only=True, config=TABLE)
class RulesPlan(JobTable):
    """Which rules apply; functional spacing, no protective insulation."""

    spacing: Column = choice(
        f"Column of IPC-2221 table 6-1 for gaps between nets ({_COLUMNS})", Column, default="B2"
    )
    lands: Column | None = choice(
        "Column for the gap between two pads, A6 or A7 for leads soldered there",
        Column,
        default=None,
        words="that of `spacing`",
    )
    least_counted_gap: float = number(
        "Narrower gaps count as nothing where gaps over floating copper add up: dirt bridges them",
        "mm",
        default=0.0,
        least=0,
        most=20,
    )
    edge: bool = flag(
        "Whether the board's edge and fixing holes count as metal at 0 V", default=True
    )
    fixing_metal: float | None = number(
        "Diameter of what a screw covers around a fixing hole: its head or its washer",
        "mm",
        default=None,
        words="2.2 times the hole, a usual washer",
        above=0,
        most=100,
    )
    temperature_rise: float = number(
        "How much current may warm copper; 10 K is common practice, no source",
        "K",
        default=10.0,
        above=0,
        most=100,
    )
    celsius: float = number(
        "Temperature of the copper, for its resistance",
        "°C",
        default=20.0,
        least=-60,
        most=200,
    )
    most_lost: float | None = number(
        "Largest voltage drop from the feed to any load",
        "V",
        default=None,
        words="no limit",
        above=0,
        most=1000,
    )
    level: Level = choice(
        "IPC-2222 level for holes of leads: A general, B moderate, C tight", Level, default="A"
    )
    drill_wander: float | None = number(
        "How far a hole may be off its place",
        "mm",
        default=None,
        words=f"{WANDER:g}, of drills below {THIN:g} mm {WANDER * THIN:g} mm² / diameter; common "
        "practice, no source",
        least=0,
        most=1,
    )
    pass_error: float | None = number(
        "How much farther off a hole is that another pass drills than the one that cuts its copper",
        "mm",
        default=None,
        words="what [registration] predicts for the place",
        least=0,
        most=5,
    )
    pins: SocketPin | None = entry(
        "The pins that sockets are built from, one by one",
        "a table headed [rules.pins]",
        default=None,
        words="none: valves are soldered in",
    )
