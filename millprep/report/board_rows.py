"""Rows of report.json about boards: where each copy lies, what is left of its copper, its joins."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from millprep.geometry.pose import Pose
from millprep.model.as_cut import BoardProof, Certificate, Kind, Limit, Neck, PadGap
from millprep.model.blank import Layout, Placement
from millprep.model.board import Board, CopperPiece
from millprep.model.milling_pass import Join
from millprep.model.set_of_programs import BoardCopy
from millprep.report.report_row import (
    Affine,
    Count,
    Figure,
    Length,
    Number,
    Passes,
    Place,
    Row,
    Text,
    key,
    places,
)
from millprep.report.rules_rows import RulesRow

MOST_CORNERS = 20


class PieceRow(Row):
    """One connected copper area."""

    id: Text
    """Id of the piece within its board."""
    net: Text | None
    """Name of its net: pieces joined by jumper wires are one net; null when not known."""
    at: Place
    """A point on the piece, drawing frame, mm."""
    narrowest_copper: Length | None
    """Width of its narrowest neck as cut, at the surface, mm; null when not computed."""
    copper_at: Place | None
    """Where that neck is, blank frame, mm."""
    pins: tuple[Text, ...] = ()
    """Parts and pins that netlist or texts put on it."""

    @classmethod
    def of_piece(
        cls, piece: CopperPiece, net: str | None, neck: Neck | None, pins: tuple[str, ...]
    ) -> PieceRow:
        """A piece of the design with its net, its narrowest copper and the pins on it."""
        return cls.taken(
            piece,
            net=net,
            pins=pins,
            narrowest_copper=neck.width if neck else None,
            copper_at=neck.at if neck else None,
        )


class GapRow(Row):
    """The gap between two pieces."""

    pieces: tuple[Text, Text]
    """Ids of both pieces."""
    gap: Length
    """Smallest distance between their copper at the foot, mm."""
    at: Place
    """Centre of the gap, blank frame, mm."""


class WorstCaseRow(Row):
    """A copy if the surface is off by the flatness and cutters run out of true."""

    shorts: Count
    """Pieces too many that still touch."""
    short_at: Place | None
    """Place of the first short, blank frame, mm."""
    opens: Count
    """Pieces that may be cut in two."""
    narrowest_gap: Length | None
    """Smallest distance between two pieces at the foot, mm."""
    gap_at: Place | None
    """Where that gap is, blank frame, mm."""
    narrowest_copper: Length | None
    """Narrowest copper that is left of a piece, mm."""
    copper_at: Place | None
    """Where that copper is, blank frame, mm."""


class PadRow(Row):
    """The gap around the pad of a hole."""

    hole: Text
    """Id of the hole."""
    gap: Length | None
    """To the nearest copper of another net or of none, mm; null when farther than required."""
    at: Place
    """Centre of that gap, or the hole where there is no gap, blank frame, mm."""
    piece: Text | None
    """Id of the piece on the other side of the gap; null for floating copper."""

    @classmethod
    def of(cls, pad: PadGap) -> PadRow:
        """The gap around one pad."""
        return cls.taken(pad, piece=pad.other)


class CornerRow(Row):
    """An inner corner that no cutter reaches."""

    piece: Text
    """Id of the piece that keeps the copper."""
    out: Length
    """How far the copper reaches beyond the drawn edge, mm."""
    at: Place
    """Where the corner is, blank frame, mm."""


class ProofRow(Row):
    """What the programs, read back, leave of a copy."""

    pieces: Count
    """Pieces of the design that are one part of copper of their own."""
    shorts: Count
    """Pairs or groups of pieces that still touch."""
    opens: Count
    """Pieces that are cut in two or gone."""
    narrowest_gap: Length | None
    """Smallest distance between two pieces at the foot of the copper, mm."""
    narrowest_copper: Length | None
    """Narrowest copper that is left of a piece, mm."""
    gap_at: Place | None
    """Where the narrowest gap is, blank frame, mm."""
    copper_at: Place | None
    """Where the narrowest copper is, blank frame, mm."""
    gaps: tuple[GapRow, ...]
    """The narrowest gaps, each between another two pieces, the narrowest first."""
    worst_case: Annotated[WorstCaseRow | None, key("worst")]
    """The worst case of surface and cutters; null when not computed."""
    bridges: Count
    """Pairs of pieces of one net that copper joins: no short, but not as drawn."""
    pads: Annotated[tuple[PadRow, ...] | None, key("lands")]
    """The gap around the pad of every hole at the foot of the copper, the narrowest first; null
    where pads get no gap of their own."""
    corners_unreached: Count
    """Inner corners that keep copper because the cutter does not fit into them."""
    corners: Annotated[tuple[CornerRow, ...], Field(max_length=MOST_CORNERS)]
    """The inner corners that keep most copper, the farthest out first, 20 at most."""
    too_much: Length | None = None
    """Copper of pieces that lies beyond their drawn edges by more than the tolerance, mm²; null
    where it is meant to stay."""
    too_little: Length | None = None
    """Drawn copper that is cut away by more than the tolerance, holes excepted, mm²; null where
    `too_much` is."""

    @classmethod
    def of(cls, proof: BoardProof) -> ProofRow:
        """What was proved of a copy."""
        return cls.taken(
            proof,
            worst_case=proof.worst,
            pads=proof.pad_gaps,
            corners_unreached=len(proof.corners),
            corners=proof.corners[:MOST_CORNERS],
            too_much=None if proof.differences is None else proof.differences.too_much.area,
            too_little=None if proof.differences is None else proof.differences.too_little.area,
        )


class BoardRow(Row):
    """One copy of a board."""

    name: Text
    """Name of the board in the job."""
    copy_number: Annotated[Number, key("copy")]
    """Number of the copy, from 1 for each board."""
    input: Count
    """Place of its drawing in `inputs`, counted from 0; 0 is the job file."""
    blank: Number
    """Number of the blank it lies on."""
    outline: Annotated[tuple[Place, ...], Field(min_length=3)]
    """Corners of the outline in order, without cut-outs, arcs as chords, drawing frame, mm."""
    drawing_to_blank: Affine
    """From drawing coordinates in mm to the blank frame; the determinant is -1 when the artwork
    is mirrored."""
    pieces: tuple[PieceRow, ...]
    """The copper pieces of the design, in reading order."""
    proof: ProofRow | None
    """What the programs, read back, leave of this copy; null when that was not computed."""
    rules: RulesRow | None
    """How this copy fares by the electrical rules; null when not judged."""
    tabs: tuple[Place, ...] | None = None
    """The middle of every tab that holds it, blank frame, mm; null when not known."""

    @classmethod
    def of(cls, copy: BoardCopy) -> BoardRow:
        """One copy with all that is known of it."""
        placement, proof = copy.placement, copy.proof
        board = placement.board
        necks = {} if proof is None else {neck.piece: neck for neck in proof.necks}
        return cls.taken(
            copy,
            name=board.name,
            copy_number=placement.copy,
            blank=placement.blank,
            outline=places(board.outline.exterior.coords[:-1]),
            drawing_to_blank=tuple(placement.pose.affine),
            pieces=tuple(
                PieceRow.of_piece(
                    piece,
                    copy.nets.get(piece.id),
                    necks.get(piece.id),
                    copy.pins.get(piece.id, ()),
                )
                for piece in board.pieces
            ),
            rules=copy.judged,
        )

    @property
    def pose(self) -> Pose:
        """Drawing to blank."""
        return Pose(*self.drawing_to_blank)

    def placement(self, index: int, board: Board) -> Placement:
        """The copy, of a board of the job."""
        return Placement(index, board, self.copy_number, self.blank, self.pose)


class OnCopyRow(Row):
    """A place on the copy of a board where two passes meet."""

    at: Place
    """Where it is, blank frame, mm."""
    blank: Number
    """Number of the blank."""
    board: Text
    """Name of the board."""
    copy_number: Annotated[Number, key("copy")]
    """Number of the copy."""


class JoinPlaceRow(OnCopyRow):
    """A place where two passes meet, mostly a join, and a piece there."""

    piece: Text
    """Id of the copper piece."""


class JoinRow(OnCopyRow):
    """One join."""

    piece: Text | None
    """Id of the copper piece the path goes around; null on the edge of a board."""
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
        on = layout.placements[limit.placement]
        place = JoinPlaceRow.taken(limit, board=on.board.name, copy_number=on.copy)
        return cls(misalignment=limit.misalignment, at_least=at_least, limited_by=place)


class GapLimitRow(LimitRow):
    """A misalignment that is proved to keep the gap."""

    required: Annotated[Figure, key("asked")]
    """The gap that must remain: the nominal one less the tolerances of two edges, mm."""


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
