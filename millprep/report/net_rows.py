"""Rows of report.json about nets: what their loads get, and their narrowest copper."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from millprep.report.report_row import Figure, Length, Micro, Ohms, Place, Row, Size, Text, key

if TYPE_CHECKING:
    from millprep.model.judged import AtLoad, AtNeck, NetJudged


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
