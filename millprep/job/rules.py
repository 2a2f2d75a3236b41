"""Table of the rules of the trade: what spacing, current and holes are held against."""

from __future__ import annotations

from millprep.job.fields import Table, choice, entry, number
from millprep.job.pins import PinsTable
from millprep.model.plan import Column, Level, RulesPlan
from millprep.standards.holes import THIN, WANDER
from millprep.standards.spacing import COLUMNS

_COLUMNS = "; ".join(f"{name} {words}" for name, words in COLUMNS.items())


class RulesTable(Table):
    """What the rules of the trade are asked; functional spacing, no protective insulation."""

    spacing: Column = choice(
        f"Column of IPC-2221 table 6-1 for gaps between nets ({_COLUMNS})", Column, default="B2"
    )
    lands: Column | None = choice(
        "Column for the gap between two lands, A6 or A7 for leads soldered there",
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
    edge: bool = entry(
        "Whether the board's edge and fixing holes count as metal at 0 V",
        "true or false",
        default=True,
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
        "What any load may lose on the way from the feed",
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
        "How far a hole may stand off its place",
        "mm",
        default=None,
        words=f"{WANDER:g}, of drills below {THIN:g} mm {WANDER * THIN:g} mm² / diameter; common "
        "practice, no source",
        least=0,
        most=1,
    )
    pass_error: float | None = number(
        "How far a hole stands off besides when another pass drills it than cuts its copper",
        "mm",
        default=None,
        words="what [registration] predicts for the place",
        least=0,
        most=5,
    )

    pins: PinsTable | None = entry(
        "The pins that sockets are built from, one by one",
        "a table headed [rules.pins]",
        default=None,
        words="none: valves are soldered in",
    )

    def plan(self) -> RulesPlan:
        """The same as a value."""
        return RulesPlan(
            spacing=self.spacing,
            lands=self.lands,
            least_counted_gap=self.least_counted_gap,
            edge=self.edge,
            fixing_metal=self.fixing_metal,
            temperature_rise=self.temperature_rise,
            celsius=self.celsius,
            most_lost=self.most_lost,
            level=self.level,
            drill_wander=self.drill_wander,
            pass_error=self.pass_error,
            pins=None if self.pins is None else self.pins.plan(),
        )
