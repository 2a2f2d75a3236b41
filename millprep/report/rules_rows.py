"""Rows of report.json about the electrical rules: nets, spacing, loads, valve bases, holes."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from millprep.model.judged import (
    Across,
    AnnularRing,
    AtLoad,
    AtNeck,
    BaseFit,
    BoardJudged,
    NetJudged,
    Spacing,
)
from millprep.report.report_row import (
    Count,
    Figure,
    Length,
    Micro,
    Ohms,
    Place,
    Row,
    Size,
    Text,
    key,
)

MOST_PAIRS = 100
"""Pairs of nets that are listed, the smallest margin first."""
MOST_HOLES = 20
"""Holes whose annular rings are listed, the narrowest first."""


class LimitsRow(Row):
    """What the rules require."""

    spacing: Text
    """Column of IPC-2221 table 6-1."""
    pads: Annotated[Text | None, key("lands")]
    """Column for gaps between two pads; null for the same."""
    least_counted_gap: Length
    """Narrower gaps do not count, mm."""
    temperature_rise: Figure
    """How much current may warm the copper, K."""
    celsius: Figure
    """Temperature of the copper for its resistance, °C."""
    most_lost: Figure | None
    """Voltage drop allowed for a load, V; null for no limit."""
    copper: Size
    """Thickness of the copper, mm."""

    @classmethod
    def of(cls, judged: BoardJudged) -> LimitsRow:
        """The limits by which a copy was judged."""
        return cls.taken(judged.rules, pads=judged.rules.lands, copper=judged.copper)


class SpacingRow(Row):
    """Two neighbouring nets and the distance between them."""

    nets: tuple[Text, Text]
    """Their names; the second may be the board's edge or a screw."""
    volts: Length
    """Highest voltage between them, V."""
    required: Length
    """Required distance, mm."""
    measured: Length
    """Sum of the gaps that count on the shortest path, at the foot of the copper, mm."""
    direct: Figure | None
    """Straight from copper to copper, mm; null when far."""
    floating: Count
    """Areas of floating copper on that path."""
    column: Text
    """Column of IPC-2221 table 6-1."""
    at: Place
    """Centre of the narrowest gap, blank frame, mm."""
    way: tuple[tuple[Place, Place], ...] = ()
    """Both ends of every gap on that path, in order, blank frame, mm."""

    @classmethod
    def of(cls, pair: Spacing) -> SpacingRow:
        """One pair of nets."""
        return cls.taken(pair, nets=(pair.net, pair.other), floating=pair.stones)


class AcrossRow(Row):
    """A load between two nets."""

    load: Text
    """Name of the load."""
    nets: tuple[Text, Text]
    """The net that feeds it, and the net that takes the current back."""
    amperes: Figure
    """Its current, A."""
    volts: Figure | None
    """Voltage at the load, V; null when either net has a range of voltages or none."""
    lost: Micro
    """Voltage drop there and back, V."""

    @classmethod
    def of(cls, across: Across) -> AcrossRow:
        """One load that two nets name."""
        return cls.taken(across, nets=(across.net, across.other))


class PinNeedsRow(Row):
    """What the pins of a base need."""

    hole: Figure
    """Diameter of the hole, mm."""
    pad: Annotated[Figure, key("land")]
    """Diameter of the pad, mm."""


class BaseRow(Row):
    """Holes in the pattern of a valve base."""

    base: Text
    """Name of the base."""
    circle: Figure
    """Diameter of the circle through the holes, mm."""
    true_circle: Figure
    """Diameter of the base's own pin circle, mm."""
    error: Length
    """Largest distance of a hole from its place on the true base, mm."""
    at: Place
    """Centre of the pattern, blank frame, mm."""
    pins: tuple[Text, ...]
    """Ids of the holes of pin 1, 2, … as the board is milled."""
    keyed: bool
    """Whether the pattern of the holes shows which pin is pin 1."""
    fits: bool
    """Whether the base fits the holes."""
    hole: Figure
    """Narrowest of its holes as made, mm."""
    pad: Annotated[Figure | None, key("land")]
    """Narrowest of its pads as drawn, mm; null where no hole has one."""
    required: Annotated[PinNeedsRow, key("asked")]
    """What its pins need, mm: by the level of IPC-2222 and IPC-2221, or the pins of its socket."""

    @classmethod
    def of(cls, base: BaseFit) -> BaseRow:
        """One valve base among the holes."""
        return cls.taken(
            base,
            true_circle=base.true,
            fits=not base.wrong,
            pad=base.pad,
            required=PinNeedsRow(hole=base.required_hole, pad=base.required_pad),
        )


class AnnularRingRow(Row):
    """The narrowest copper around a hole."""

    hole: Text
    """Id of the hole."""
    nominal: Annotated[Figure, key("ring")]
    """Copper on its thinnest side with everything in its place, mm; below 0 when the hole breaks
    out."""
    worst_case: Annotated[Figure, key("worst")]
    """The same with hole and grooves as far off as they may be, mm."""
    at: Place
    """Where that is, blank frame, mm."""

    @classmethod
    def of(cls, ring: AnnularRing) -> AnnularRingRow:
        """The annular ring of one hole."""
        return cls.taken(ring, nominal=ring.ring, worst_case=ring.worst)


class LoadRow(Row):
    """What one load gets."""

    name: Text
    """Name of the load."""
    at: Place
    """Where it is, blank frame, mm."""
    amperes: Figure
    """Out of the copper; below 0 where the current enters, A."""
    lost: Micro
    """Voltage drop between the feed and here, all loads on, V."""
    ohms: Ohms
    """Resistance between the feed and here, Ω."""

    @classmethod
    def of(cls, at: AtLoad) -> LoadRow:
        """One load of a net."""
        return cls.taken(at, name=at.load.name, amperes=at.load.amperes)


class WireRow(Row):
    """A jumper wire whose resistance counts."""

    start: Annotated[Place, key("from")]
    """One end, blank frame, mm."""
    end: Annotated[Place, key("to")]
    """The other end, blank frame, mm."""
    ohms: Ohms
    """Resistance of the wire, Ω."""
    amperes: Length
    """Current through it, A."""


class SectionRow(Row):
    """A section across copper."""

    width: Size
    """Width of the copper, mm."""
    amperes: Figure
    """Current through it, A."""
    at: Place
    """Centre of the section, blank frame, mm."""


class NeckRow(SectionRow):
    """A section across copper and what it may carry."""

    carries: Figure
    """Current that warms it by the allowed rise, A."""

    @classmethod
    def of(cls, neck: AtNeck) -> NeckRow:
        """The section nearest to its limit."""
        return cls.taken(neck.neck, carries=neck.carries)


class NetRow(Row):
    """One net as cut."""

    name: Text
    """Name of the net."""
    pieces: tuple[Text, ...]
    """Ids of its pieces."""
    volts: tuple[Figure, Figure] | None
    """Lowest and highest against the common reference, V; null when not given."""
    amperes: Length
    """Its current when no loads are listed, A."""
    feed: Text | None
    """Name of the load from which voltage drops are counted; null when nothing was solved."""
    loads: tuple[LoadRow, ...]
    """What each load gets."""
    wires: tuple[WireRow, ...]
    """Jumper wires whose resistance counts, where the voltages were solved."""
    error: Figure | None
    """Estimated error of the voltages as a part of the largest drop; null when not solved."""
    neck: NeckRow | None
    """The section nearest to its limit; null without a current."""
    hottest: SectionRow | None
    """The section with the most current for its width; null when not solved."""

    @classmethod
    def of(cls, judged: NetJudged) -> NetRow:
        """One net that the job names."""
        net = judged.net
        return cls.taken(
            judged, name=net.name, pieces=net.pieces, volts=net.volts, amperes=net.amperes
        )


class RulesRow(Row):
    """How a copy fares by the electrical rules."""

    limits: Annotated[LimitsRow, key("asked")]
    """Limits by which the copy was judged."""
    nets: tuple[NetRow, ...]
    """The nets that the job names, in its order."""
    pairs: Count
    """Number of pairs of neighbouring nets with voltages."""
    spacing: Annotated[tuple[SpacingRow, ...], Field(max_length=MOST_PAIRS)]
    """The pairs with the smallest margins, the smallest first, 100 at most; functional spacing, no
    protective insulation."""
    across: tuple[AcrossRow, ...]
    """Loads between two nets."""
    bases: tuple[BaseRow, ...]
    """Holes in the patterns of valve bases."""
    annular_rings: Annotated[tuple[AnnularRingRow, ...], Field(max_length=MOST_HOLES), key("rings")]
    """The narrowest copper around holes after isolation and drilling, 20 at most."""

    @classmethod
    def of(cls, judged: BoardJudged) -> RulesRow:
        """One copy as judged."""
        return cls.taken(
            judged,
            limits=judged,
            pairs=len(judged.spacings),
            spacing=judged.spacings[:MOST_PAIRS],
            annular_rings=judged.rings[:MOST_HOLES],
        )
