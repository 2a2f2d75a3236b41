"""Rows of report.json about joins: how well two passes meet, and how much they may miss by."""

from __future__ import annotations

from typing import Annotated

from millprep.model.as_cut import Certificate, Kind, Limit
from millprep.model.blank import Layout
from millprep.model.milling_pass import Join
from millprep.report.report_row import Figure, Length, Number, Passes, Place, Row, Text, key


class JoinRow(Row):
    """One join."""

    blank: Number
    """Number of the blank."""
    board: Text
    """Name of the board."""
    copy_number: Annotated[Number, key("copy")]
    """Number of its copy."""
    piece: Text | None
    """Id of the copper piece the path goes around; null on the edge of a board."""
    at: Place
    """The place, blank frame, mm."""
    passes: Passes
    """The numbers of the two passes."""
    predicted_rms: Length | None
    """Root mean square of the misalignment across the path, mm."""
    predicted_997: Length | None
    """Misalignment across the path that 99.7 % of blanks stay below, mm."""
    tolerance_electrical: Length | None
    """Misalignment up to which nothing shorts and nothing opens, mm."""
    tolerance_gap: Length | None
    """Misalignment up to which the required gap is kept, mm."""
    tick: Length
    """Length of the ticks at the ends of both sides, outward; 0 for none, mm."""

    @classmethod
    def on(cls, layout: Layout, join: Join) -> JoinRow:
        """One join of the set."""
        placement = layout.placements[join.placement]
        return cls.taken(
            join,
            board=placement.board.name,
            copy_number=placement.copy,
            predicted_997=join.predicted,
        )

    def join(self, placement: int, overrun: float) -> Join:
        """The join on a copy of a layout.

        The report holds neither `overrun`, which the registration of the blank gives, nor the
        direction of the path, for which up is taken.
        """
        same = dict(self)
        del same["board"], same["copy_number"]
        predicted = same.pop("predicted_997")
        return Join(
            placement=placement, overrun=overrun, across=(0.0, 1.0), predicted=predicted, **same
        )


class JoinPlaceRow(Row):
    """A place where two passes meet, mostly a join, and a piece there."""

    at: Place
    """Where it is, blank frame, mm."""
    blank: Number
    """Number of the blank."""
    board: Text
    """Name of the board."""
    copy_number: Annotated[Number, key("copy")]
    """Number of the copy."""
    piece: Text
    """Id of the copper piece."""

    @classmethod
    def on(cls, layout: Layout, limit: Limit) -> JoinPlaceRow:
        """The place that limits a misalignment."""
        placement = layout.placements[limit.placement]
        return cls.taken(limit, board=placement.board.name, copy_number=placement.copy)


class LimitRow(Row):
    """A misalignment that is proved harmless."""

    misalignment: Annotated[Length, key("mismatch")]
    """Largest misalignment in any direction that is proved harmless, mm."""
    at_least: bool
    """Whether all that was examined is harmless, so that more may be harmless as well."""
    limited_by: JoinPlaceRow
    """Where a larger misalignment does harm first."""

    @classmethod
    def on(cls, layout: Layout, limit: Limit, *, at_least: bool) -> LimitRow:
        """One limit of the certificate."""
        place = JoinPlaceRow.on(layout, limit)
        return cls(misalignment=limit.misalignment, at_least=at_least, limited_by=place)


class GapLimitRow(Row):
    """A misalignment that is proved to keep the gap."""

    required: Annotated[Figure, key("asked")]
    """The gap that must remain: the nominal one less the tolerances of two edges, mm."""
    misalignment: Annotated[Length, key("mismatch")]
    """Largest misalignment in any direction that is proved harmless, mm."""
    at_least: bool
    """Whether all that was examined is harmless, so that more may be harmless as well."""
    limited_by: JoinPlaceRow
    """Where a larger misalignment does harm first."""


class CertificateRow(LimitRow):
    """The misalignment between passes that the whole set tolerates, proved."""

    misalignment: Annotated[Length, key("mismatch")]
    """Largest misalignment in any direction that is proved to make neither short nor open, mm."""
    turn: Length
    """Turn of a pass about the holes it is found by that, without any shift, is proved to make
    neither short nor open, degrees. With a shift and a turn together, the sum of what both move a
    join by stays below `mismatch`."""
    short: LimitRow
    """Before any short."""
    open: LimitRow
    """Before any open."""
    gap: GapLimitRow
    """Before the gap is too narrow; examined up to one and a half times the expected misalignment,
    so mostly at least so much."""

    @classmethod
    def of_certificate(cls, layout: Layout, certificate: Certificate) -> CertificateRow:
        """The certificate of a set on its layout."""

        def limit(kind: Kind, of: Limit) -> LimitRow:
            return LimitRow.on(layout, of, at_least=kind in certificate.at_least)

        short, open_ = limit("short", certificate.short), limit("open", certificate.open)
        least = short if certificate.least is certificate.short else open_
        gap = GapLimitRow.taken(limit("gap", certificate.gap), required=certificate.required)
        return cls.taken(least, turn=certificate.turn, short=short, open=open_, gap=gap)
