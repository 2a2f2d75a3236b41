"""Rows of report.json about joins: how well two passes meet, and how much they may miss by."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from millprep.model.milling_pass import Join
from millprep.report.report_row import Figure, Length, Number, Passes, Place, Row, Text, key

if TYPE_CHECKING:
    from millprep.model.as_cut import Certificate, Kind, Limit
    from millprep.model.layout import Layout


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
    def of(cls, layout: Layout, join: Join) -> JoinRow:
        """One join of the set."""
        placement = layout.placements[join.placement]
        return cls(
            blank=join.blank,
            board=placement.board.name,
            copy_number=placement.copy,
            piece=join.piece,
            at=join.at,
            passes=join.passes,
            predicted_rms=join.predicted_rms,
            predicted_997=join.predicted,
            tolerance_electrical=join.tolerance_electrical,
            tolerance_gap=join.tolerance_gap,
            tick=join.tick,
        )

    def join(self, placement: int, overrun: float) -> Join:
        """The join on a copy of a layout.

        The report holds neither `overrun`, which the registration of the blank gives, nor the
        direction of the path, for which up is taken.
        """
        return Join(
            blank=self.blank,
            placement=placement,
            piece=self.piece,
            at=self.at,
            passes=self.passes,
            overrun=overrun,
            across=(0.0, 1.0),
            predicted=self.predicted_997,
            tolerance_electrical=self.tolerance_electrical,
            tolerance_gap=self.tolerance_gap,
            predicted_rms=self.predicted_rms,
            tick=self.tick,
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
    def of(cls, layout: Layout, limit: Limit) -> JoinPlaceRow:
        """The place that limits a misalignment."""
        placement = layout.placements[limit.placement]
        return cls(
            at=limit.at,
            blank=limit.blank,
            board=placement.board.name,
            copy_number=placement.copy,
            piece=limit.piece,
        )


class LimitRow(Row):
    """A misalignment that is proved harmless."""

    misalignment: Annotated[Length, key("mismatch")]
    """Largest misalignment in any direction that is proved harmless, mm."""
    at_least: bool
    """Whether all that was examined is harmless, so that more may be harmless as well."""
    limited_by: JoinPlaceRow
    """Where a larger misalignment does harm first."""

    @classmethod
    def of(cls, layout: Layout, limit: Limit, *, at_least: bool) -> LimitRow:
        """One limit of the certificate."""
        return cls(
            misalignment=limit.misalignment,
            at_least=at_least,
            limited_by=JoinPlaceRow.of(layout, limit),
        )


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


class CertificateRow(Row):
    """The misalignment between passes that the whole set tolerates, proved."""

    misalignment: Annotated[Length, key("mismatch")]
    """Largest misalignment in any direction that is proved to make neither short nor open, mm."""
    at_least: bool
    """Whether all that was examined is harmless, so that more may be harmless as well."""
    limited_by: JoinPlaceRow
    """Where a larger misalignment does harm first."""
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
    def of(cls, layout: Layout, certificate: Certificate) -> CertificateRow:
        """The certificate of a set on its layout."""

        def limit(kind: Kind, of: Limit) -> LimitRow:
            return LimitRow.of(layout, of, at_least=kind in certificate.at_least)

        short, open_ = limit("short", certificate.short), limit("open", certificate.open)
        least = short if certificate.least is certificate.short else open_
        gap = limit("gap", certificate.gap)
        return cls(
            misalignment=least.misalignment,
            at_least=least.at_least,
            limited_by=least.limited_by,
            turn=certificate.turn,
            short=short,
            open=open_,
            gap=GapLimitRow(
                required=certificate.required,
                misalignment=gap.misalignment,
                at_least=gap.at_least,
                limited_by=gap.limited_by,
            ),
        )
