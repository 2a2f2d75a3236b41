"""The proof finds what is wrong, and nothing where nothing is: zero faults prove nothing else."""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Sequence

import pytest
import shapely

from millprep.geometry.pose import Pose
from millprep.model.as_cut import AsCut, BoardProof
from millprep.model.blank import Layout, Placement
from millprep.model.board import Board, Hole
from millprep.model.cutter import Cutter
from millprep.model.finding import Finding
from millprep.verify.as_cut import as_cut
from millprep.verify.compare import bridges, compare
from millprep.verify.reader import read
from tests.helpers.programs import (
    BLANK,
    DEPTH,
    HEAD,
    PASS,
    TAIL,
    around,
    board,
    cut,
    drill,
    end_mill,
    layout,
    plunge,
    vee,
)
from tests.helpers.workshop import one

VEE = vee()
SURFACE = VEE.width(DEPTH)
FOOT = VEE.width(DEPTH, BLANK.copper)


def track(*points: tuple[float, float], width: float = 1.0) -> shapely.Polygon:
    return shapely.LineString(points).buffer(width / 2, quad_segs=32)


# Four tracks side by side, 0.8 mm apart, a bent one and a pad.
PIECES = [
    *(track((8, y), (30, y)) for y in (8.0, 9.8, 11.6, 13.4)),
    track((10, 20), (20, 20), (26, 26)),
    shapely.Point(40, 20).buffer(2.0, quad_segs=32),
]
LAPS = [around(piece, SURFACE / 2) for piece in PIECES]


def prove(
    of: Board, jobs: Sequence[tuple[str, Cutter]], where: Layout | None = None
) -> tuple[AsCut, tuple[BoardProof, ...], tuple[Finding, ...]]:
    where = where or layout(of)
    cuts = [(read(HEAD + text + TAIL, file="a"), cutter, PASS) for text, cutter in jobs]
    copper = as_cut(BLANK, cuts, where.placements)
    return copper, *compare([copper], where)


def faults(findings: Sequence[Finding]) -> list[str]:
    return sorted(finding.code for finding in findings)


def test_a_clean_board() -> None:
    copper, (proof,), findings = prove(board(PIECES), [("".join(LAPS), VEE)])
    assert findings == ()
    assert (proof.pieces, proof.shorts, proof.opens) == (6, 0, 0)
    assert sum(len(part.pieces) for part in copper.parts) == 6
    # Tracks 0.8 apart, both laps at half the surface width: at the foot each edge stands
    # further out by half of what the groove is narrower there.
    assert proof.narrowest_gap == pytest.approx(0.8 - (SURFACE - FOOT), abs=0.003)


def test_a_wider_cutter_widens_the_gap_by_as_much() -> None:
    laps = "".join(around(piece, 0.2) for piece in PIECES)
    gaps = []
    for width in (0.30, 0.32):
        _, (proof,), _ = prove(board(PIECES), [(laps, end_mill(width))])
        assert proof.narrowest_gap is not None
        gaps.append(proof.narrowest_gap)
    assert gaps[1] - gaps[0] == pytest.approx(0.02, abs=1e-6)


def bridged(i: int) -> tuple[Board, str]:
    """Lap i and its neighbour's stop short at one place, so that a bridge stays between."""
    x = 12.0 + 2.3 * i
    one, other = PIECES[i % 3], PIECES[i % 3 + 1]
    middle = 8.9 + 1.8 * (i % 3)
    keep = shapely.box(x - 0.35, middle - 0.6, x + 0.35, middle + 0.6)
    text = "".join(
        lap for piece, lap in zip(PIECES, LAPS, strict=True) if piece not in (one, other)
    )
    for piece in (one, other):
        ring = piece.buffer(SURFACE / 2, quad_segs=64).exterior
        left = shapely.line_merge(shapely.difference(ring, keep))
        parts = [left] if isinstance(left, shapely.LineString) else left.geoms
        text += "".join(cut(list(part.coords)) for part in parts)
    return board(PIECES), text


@pytest.mark.parametrize("i", range(8))
def test_every_seeded_bridge_is_a_short(i: int) -> None:
    of, text = bridged(i)
    _, (proof,), findings = prove(of, [(text, VEE)])
    assert (proof.shorts, proof.opens, proof.pieces) == (1, 0, 4)
    (short,) = [finding for finding in findings if finding.code == "copper-short"]
    assert short.severity == "stop"
    assert short.at is not None
    assert math.dist(short.at, (12.0 + 2.3 * i, 8.9 + 1.8 * (i % 3))) < 1.0


@pytest.mark.parametrize("i", range(6))
def test_every_seeded_cut_is_an_open(i: int) -> None:
    piece = PIECES[i]
    x, y = piece.centroid.coords[0] if i != 4 else (15.0, 20.0)
    across = cut([(x, y - 3), (x, y + 3)]) if i in (4, 5) else cut([(x, y - 0.9), (x, y + 0.9)])
    _, (proof,), findings = prove(board(PIECES), [("".join(LAPS) + across, VEE)])
    opens = [finding for finding in findings if finding.code == "copper-open"]
    assert proof.opens == len(opens) == 1
    assert f"c{i + 1} " in opens[0].message
    assert opens[0].at is not None
    assert abs(opens[0].at[0] - x) < 0.2
    assert proof.pieces == 5


def test_a_cut_that_parts_the_surface_and_not_the_foot_is_an_open() -> None:
    """Tip 0.03 deep: the copper is parted above and whole below, and no one would trust it."""
    scratch = cut([(15, 7), (15, 9)], -0.03)
    copper, (proof,), _ = prove(board(PIECES), [("".join(LAPS) + scratch, VEE)])
    assert sum(("c1" in dict(part.pieces).values()) for part in copper.parts) == 1
    assert proof.opens == 1


def test_a_piece_cut_away() -> None:
    sweep = "".join(cut([(36, y / 10), (44, y / 10)]) for y in range(170, 232, 2))
    _, (proof,), findings = prove(board(PIECES), [("".join(LAPS) + sweep, VEE)])
    assert proof.opens == 1
    (gone,) = [finding for finding in findings if finding.code == "copper-open"]
    assert "cut away completely" in gone.message


def test_a_depth_that_stays_in_the_copper_shorts_everything() -> None:
    laps = "".join(around(piece, SURFACE / 2, -0.034) for piece in PIECES)
    _, (proof,), _ = prove(board(PIECES), [(laps, VEE)])
    assert (proof.shorts, proof.pieces) == (5, 0)


def test_a_missing_ring() -> None:
    """The pad keeps the whole background: no short, and still not what was drawn."""
    _, (proof,), findings = prove(board(PIECES), [("".join(LAPS[:-1]), VEE)])
    assert proof.shorts == 0
    assert faults(findings) == ["copper-not-isolated"]
    assert findings[0].severity == "stop"
    assert "c6" in findings[0].message


def test_a_ring_that_does_not_close() -> None:
    ring = PIECES[5].buffer(SURFACE / 2, quad_segs=64).exterior.coords
    _, _, findings = prove(board(PIECES), [("".join(LAPS[:-1]) + cut(list(ring)[:-9]), VEE)])
    assert faults(findings) == ["copper-not-isolated"]


def test_two_missing_rings_are_a_short() -> None:
    _, (proof,), findings = prove(board(PIECES), [("".join(LAPS[:-2]), VEE)])
    assert proof.shorts == 1
    assert faults(findings) == ["copper-short"]


@pytest.mark.parametrize(("bite", "seen"), [(0.013, False), (0.017, True)])
def test_a_bite_deeper_than_the_tolerances(bite: float, seen: bool) -> None:
    nearer = around(PIECES[5], SURFACE / 2 - bite)
    _, _, findings = prove(board(PIECES), [("".join(LAPS) + nearer, VEE)])
    assert ("copper-gouged" in faults(findings)) == seen


def test_where_corners_are_cut_short_less_is_left_for_a_bite() -> None:
    """What the controller cuts short counts as gouged, and is no difference in itself."""
    nearer = around(PIECES[5], SURFACE / 2 - 0.0135)
    copper, _, clean = prove(board(PIECES), [("".join(LAPS) + nearer, VEE)])
    assert "copper-gouged" not in faults(clean)
    (proof,), findings = compare([copper], layout(board(PIECES)), cut_short=0.002)
    assert "copper-gouged" in faults(findings)
    assert proof.differences is not None
    assert proof.differences.too_little.is_empty


def test_a_bite_is_measured() -> None:
    stab = plunge(10, 8.5 + 0.05, -DEPTH)
    _, _, (finding,) = prove(board(PIECES), [("".join(LAPS) + stab, VEE)])
    assert finding.code == "copper-gouged"
    assert finding.severity == "warn"
    assert f"by {SURFACE / 2 - 0.05:.3f} mm" in finding.message


def test_a_mirrored_board() -> None:
    crooked = [track((8, 8), (20, 8)), track((8, 12), (12, 20)), track((30, 8), (30, 20))]
    laps = "".join(around(piece, SURFACE / 2) for piece in crooked)
    turned = layout(board(crooked), Pose.mirror_y(40))
    _, (proof,), _ = prove(board(crooked), [(laps, VEE)], turned)
    assert proof.pieces < 3
    _, (proof,), _ = prove(board(crooked), [(laps, VEE)])
    assert proof.pieces == 3


@pytest.mark.parametrize(("off", "code"), [(0.1, "copper-gouged"), (0.5, "copper-open")])
def test_a_shifted_pass(off: float, code: str) -> None:
    """A second pass that lies off cuts into the copper it should go around."""
    away = dataclasses.replace(PASS, pose=Pose.shift(0.0, off))
    texts = ["".join(LAPS[:3]), "".join(LAPS[3:])]
    where = layout(board(PIECES))
    cuts = [
        (read(HEAD + text + TAIL, file="a"), VEE, mill_pass)
        for text, mill_pass in zip(texts, (PASS, away), strict=True)
    ]
    _, findings = compare([as_cut(BLANK, cuts, where.placements)], where)
    assert code in faults(findings)


def test_passes_are_brought_together_in_the_blank_frame() -> None:
    """Half the laps cut after the blank was moved by (-7, 3): as one pass."""
    moved = dataclasses.replace(PASS, number=2, pose=Pose.shift(-7.0, 3.0))
    shifted = [moved.pose.shape(piece) for piece in PIECES[3:]]
    second = "".join(around(piece, SURFACE / 2) for piece in shifted)
    where = layout(board(PIECES))
    cuts = [
        (read(HEAD + "".join(LAPS[:3]) + TAIL, file="a"), VEE, PASS),
        (read(HEAD + second + TAIL, file="b"), VEE, moved),
    ]
    (proof,), findings = compare([as_cut(BLANK, cuts, where.placements)], where)
    assert findings == ()
    assert proof.pieces == 6


def test_a_short_between_two_copies_is_reported_once() -> None:
    pad = board([shapely.Point(10, 10).buffer(2)])
    where = Layout(
        (BLANK,), (Placement(0, pad, 1, 1, Pose()), Placement(1, pad, 2, 1, Pose.shift(10, 0)))
    )
    _, proofs, findings = prove(pad, [(plunge(50, 30), VEE)], where)
    assert [proof.shorts for proof in proofs] == [1, 0]
    assert faults(findings) == ["copper-short"]


class TestHoles:
    def with_hole(self, diameter: float = 1.0, at: tuple[float, float] = (40, 20)) -> Board:
        return board(PIECES, [Hole("h1", at, diameter, "c6")])

    def test_a_drilled_hole_leaves_a_ring(self) -> None:
        jobs = [("".join(LAPS), VEE), (plunge(40, 20), drill(1.0))]
        _, (proof,), findings = prove(self.with_hole(), jobs)
        assert findings == ()
        assert proof.pieces == 6

    @pytest.mark.parametrize(
        ("off", "code"), [(1.34, None), (1.36, "annular-ring-thin"), (1.51, "hole-breaks-out")]
    )
    def test_rings(self, off: float, code: str | None) -> None:
        """A pad of 2 mm radius, a hole of 0.5: the ring is 1.5 less the offset."""
        jobs = [("".join(LAPS), VEE), (plunge(40 + off, 20), drill(1.0))]
        _, _, findings = prove(self.with_hole(at=(40 + off, 20)), jobs)
        assert faults(findings) == ([code] if code else [])
        if code == "annular-ring-thin":
            assert "0.140 mm" in findings[0].message

    def test_a_missing_hole(self) -> None:
        _, _, findings = prove(self.with_hole(), [("".join(LAPS), VEE)])
        assert faults(findings) == ["hole-missing"]

    def test_a_swapped_drill(self) -> None:
        jobs = [("".join(LAPS), VEE), (plunge(40, 20), drill(1.3))]
        _, _, findings = prove(self.with_hole(), jobs)
        assert faults(findings) == ["hole-size"]
        assert "1.30 mm" in findings[0].message

    def test_a_bored_hole_whose_core_stays_is_no_open(self) -> None:
        """An end mill of 0.8 around a hole of 3: the core in the middle falls out."""
        circle = "G0 X41.1 Y20.\nG1 Z-2. F60.\nG3 X41.1 Y20. I-1.1 J0. F300.\nG0 Z2.\n"
        jobs = [("".join(LAPS), VEE), (circle, end_mill(0.8))]
        _, (proof,), findings = prove(self.with_hole(3.0), jobs)
        assert findings == ()
        assert (proof.pieces, proof.opens) == (6, 0)

    def test_a_drill_where_no_hole_is(self) -> None:
        jobs = [("".join(LAPS), VEE), (plunge(40, 20) + plunge(20, 9.8), drill(0.8))]
        _, _, findings = prove(self.with_hole(0.8), jobs)
        assert "copper-gouged" in faults(findings)


def test_slivers_are_no_opens() -> None:
    """Two cuts that run side by side into the edge leave a sliver between them."""
    nicks = "".join(cut([(x, 8.5 + SURFACE / 2), (x, 8.4)]) for x in (15.0, 15.0 + SURFACE + 0.01))
    _, (proof,), _ = prove(board(PIECES), [("".join(LAPS) + nicks, VEE)])
    assert proof.opens == 0


def test_all_pairs_are_measured() -> None:
    """The narrowest gap is the least distance of any two carrying parts, by every pair."""
    copper, (proof,), _ = prove(board(PIECES), [("".join(LAPS), VEE)])
    shapes = [part.shape for part in copper.parts if part.pieces]
    least = min(shapely.distance(a, b) for a, b in itertools.combinations(shapes, 2))
    assert proof.narrowest_gap == pytest.approx(least, abs=1e-12)
    assert proof.gap_at is not None
    near = sorted(shapely.distance(shape, shapely.Point(proof.gap_at)) for shape in shapes)
    assert near[0] == pytest.approx(least / 2, abs=1e-9)
    assert near[1] == pytest.approx(least / 2, abs=1e-9)


def test_no_copper_for_a_blank() -> None:
    with pytest.raises(ValueError, match="no as-cut copper for blank 1"):
        compare([], layout(board(PIECES)))


@pytest.mark.parametrize(("off", "told"), [(0.005, []), (0.03, ["hole-off"])])
def test_a_hole_off_its_place_is_reported(off: float, told: list[str]) -> None:
    of = board(PIECES, [Hole("h1", (40.0, 20.0), 1.0, "c6")])
    jobs = [("".join(LAPS), VEE), (plunge(40.0 + off, 20.0), drill(1.0))]
    assert faults(prove(of, jobs)[2]) == told


def test_a_lap_that_leaves_the_foot_uncut_is_reported_when_the_foot_is_asked_for() -> None:
    """Shallower than the copper, a lap beside another leaves a skirt of copper at the foot."""
    pad = PIECES[5]
    outer = around(pad, SURFACE / 2 + 0.1)
    for depth, result in ((DEPTH, []), (0.03, ["copper-uncut"])):
        text = around(pad, SURFACE / 2, -depth) + outer
        where = layout(board([pad]))
        trace = read(HEAD + text + TAIL, file="a")
        copper = as_cut(BLANK, [(trace, VEE, PASS)], where.placements)
        slope = (SURFACE - FOOT) / 2
        found = compare([copper], where, reach=SURFACE / 2, slope=slope)[1]
        assert [f.code for f in found if f.severity != "note"] == result


class TestNets:
    """Two pads, the lap between them missing: a short, or a bridge when a link joins them."""

    PADS = (shapely.Point(10, 20).buffer(2), shapely.Point(16, 20).buffer(2))
    OTHER = shapely.Point(40, 20).buffer(2)

    def prove(
        self, laps: str, nets: dict[tuple[int, str], str]
    ) -> tuple[BoardProof, tuple[Finding, ...]]:
        where = layout(board([*self.PADS, self.OTHER]))
        cuts = [(read(HEAD + laps + TAIL, file="a"), VEE, PASS)]
        copper = as_cut(BLANK, cuts, where.placements)
        (proof,), findings = compare([copper], where, reach=SURFACE / 2, nets=nets)
        return proof, findings

    def bridged(self, width: float) -> str:
        """A lap around both pads that leaves a bar of this width between them."""
        bar = shapely.box(10, 20 - width / 2, 16, 20 + width / 2)
        joined = shapely.union_all([*self.PADS, bar])
        assert isinstance(joined, shapely.Polygon)
        return around(joined, SURFACE / 2) + around(self.OTHER, SURFACE / 2)

    def test_pieces_of_two_nets_are_a_short(self) -> None:
        for nets in ({}, {(0, "c1"): "c1", (0, "c3"): "c1"}, {(1, "c1"): "n", (0, "c2"): "n"}):
            proof, findings = self.prove(self.bridged(0.3), nets)
            assert (proof.shorts, proof.bridges, proof.pieces) == (1, 0, 1)
            assert faults(findings) == ["copper-short"]

    def test_pieces_of_one_net_are_a_bridge(self) -> None:
        proof, findings = self.prove(self.bridged(0.3), {(0, "c1"): "c1", (0, "c2"): "c1"})
        assert (proof.shorts, proof.bridges, proof.pieces) == (0, 1, 1)
        (result,) = [f for f in findings if f.severity != "note"]
        assert (result.code, result.severity) == ("net-bridged", "warn")
        assert result.at is not None
        assert shapely.box(12, 19.8, 14, 20.2).contains(shapely.Point(result.at))

    def test_background_that_stays_joined_to_a_net_is_no_mere_bridge(self) -> None:
        """Both pads within the background: the net would run all over the board."""
        nets = {(0, "c1"): "c1", (0, "c2"): "c1"}
        proof, findings = self.prove(around(self.OTHER, SURFACE / 2), nets)
        assert proof.shorts == 0
        assert faults(findings) == ["copper-not-isolated", "net-bridged"]
        assert [f.code for f in findings if f.severity == "stop"] == ["copper-not-isolated"]


def test_inner_corners_that_the_cutter_does_not_fit_into_are_reported_with_their_places() -> None:
    """A comb: in each of its 2 n inner corners a disc of radius r keeps (sqrt 2 - 1) r of copper
    off the corner, measured to both edges r (1 - 1 / sqrt 2)."""
    wide = end_mill(0.8)
    teeth = [shapely.box(10 + 4 * k, 10, 12 + 4 * k, 20) for k in range(5)]
    comb = shapely.union_all([shapely.box(10, 10, 28, 12), *teeth])
    assert isinstance(comb, shapely.Polygon)
    where = layout(board([comb]))
    text = HEAD + around(comb, 0.4) + TAIL
    copper = as_cut(BLANK, [(read(text, file="a"), wide, PASS)], where.placements)
    (proof,), findings = compare([copper], where, reach=0.4)
    assert len(proof.corners) == 8
    corners = [(12 + 4 * k, 12) for k in range(4)] + [(14 + 4 * k, 12) for k in range(4)]
    found = sorted(proof.corners, key=lambda corner: corner.at)
    for seen, corner in zip(found, sorted(corners), strict=True):
        assert seen.piece == "c1"
        assert math.dist(seen.at, corner) < 0.3
        assert seen.out == pytest.approx(0.4 * (1 - 1 / math.sqrt(2)), abs=0.002)
    result = [f for f in findings if f.code == "corner-unreached"]
    assert [f.severity for f in result] == ["note"]
    assert "8 inner corners" in result[0].message
    finer = as_cut(
        BLANK,
        [(read(HEAD + around(comb, 0.1) + TAIL, file="a"), end_mill(0.2), PASS)],
        where.placements,
    )
    assert compare([finer], where, reach=0.1)[0][0].corners == ()


class TestBridges:
    """Which pieces one part of copper joins, and where."""

    A, B = shapely.box(0, 0, 2, 2), shapely.box(6, 0, 8, 2)

    def test_a_narrow_bar_is_the_place(self) -> None:
        part = one(shapely.union_all([self.A, self.B, shapely.box(1, 0.9, 7, 1.0)]))
        ((first, second, (x, y)),) = bridges(part, {"a": self.A, "b": self.B})
        assert (first, second) == ("a", "b")
        assert 2.0 < x < 6.0
        assert 0.9 < y < 1.0

    def test_two_bars_between_two_pieces_are_one_short(self) -> None:
        thin, wide = shapely.box(1, 1.5, 7, 1.6), shapely.box(1, 0.4, 7, 0.9)
        part = one(shapely.union_all([self.A, self.B, wide, thin]))
        ((first, second, (_, y)),) = bridges(part, {"a": self.A, "b": self.B})
        assert (first, second) == ("a", "b")
        assert 1.5 < y < 1.6, "the smaller bar is the place"

    def test_a_large_area_joins_where_it_touches_least(self) -> None:
        part = shapely.box(0, 0, 8, 10)
        ((first, second, (x, y)),) = bridges(part, {"a": self.A, "b": self.B})
        assert (first, second) == ("a", "b")
        skin = shapely.Point(x, y).buffer(0.05)
        assert skin.intersects(self.A) or skin.intersects(self.B)

    def test_pieces_that_nearly_touch_join_between_them(self) -> None:
        near = shapely.box(2.04, 0, 4, 2)
        part = shapely.box(0, 0, 4, 2)
        ((_, _, at),) = bridges(part, {"a": self.A, "b": near})
        assert at == pytest.approx((2.02, 1.0), abs=1.0)
        assert 2.0 <= at[0] <= 2.04

    def test_pieces_that_no_copper_joins_are_still_on_one_part(self) -> None:
        """So says the part; the place is between them."""
        ((_, _, at),) = bridges(self.A, {"a": self.A, "b": self.B})
        assert at[0] == pytest.approx(4.0)
