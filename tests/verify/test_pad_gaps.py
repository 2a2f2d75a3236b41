"""The gap around lands as cut: what is reached, and where drawn copper leaves less."""

from __future__ import annotations

import pytest
import shapely

from millprep.model.as_cut import AsCut
from millprep.model.board import Hole
from millprep.verify.clearances import check_gaps_opened, pad_gaps, pads_too_near
from millprep.verify.stray_cuts import lap_reach
from tests.helpers.programs import BLANK, DEPTH, vee
from tests.helpers.rules_scene import OUTLINE, cut, joined, less, placed

ASKED = 0.8
FAR = lap_reach(vee().width(DEPTH), vee().width(DEPTH, BLANK.copper), 0.3)


def disc(x: float, radius: float = 1.0) -> shapely.Polygon:
    return shapely.Point(x, 20.0).buffer(radius, quad_segs=64)


def background(*shapes: shapely.Polygon, gap: float) -> shapely.Polygon:
    return less(OUTLINE, *(shape.buffer(gap, quad_segs=64) for shape in shapes))


def test_floating_copper_and_other_pieces_are_measured_own_copper_is_not() -> None:
    pad = joined(disc(20.0), shapely.LineString([(20, 20), (10, 20)]).buffer(0.3))
    other = shapely.box(21.5, 15.0, 25.0, 25.0)
    placement = placed([pad, other], [Hole("h1", (20.0, 20.0), 1.0, "c1")])
    copper = cut(placement, [background(pad, other, gap=0.3)])
    (one,), result = pad_gaps(copper, placement, ASKED, 0.0)
    assert (one.hole, one.other) == ("h1", None)
    assert one.gap == pytest.approx(0.3, abs=0.01)
    assert [f.code for f in result] == ["gap-around-pads"]
    assert (
        "0 of 1 pads have a gap of 0.8 mm around them; the narrowest is 0.300 mm"
        in result[0].message
    )


@pytest.mark.parametrize(("gap", "codes"), [(0.5, ["pad-gap-narrow"]), (0.79, []), (0.9, [])])
def test_drawn_copper_that_stands_nearer_is_reported_with_its_place(
    gap: float, codes: list[str]
) -> None:
    other = shapely.box(21.0 + gap, 15.0, 25.0, 25.0)
    placement = placed([disc(20.0), other], [Hole("h1", (20.0, 20.0), 1.0, "c1")])
    (one,), (note,) = pad_gaps(cut(placement), placement, ASKED, 0.0)
    narrowest = {(0, piece.id): piece.shape.buffer(0.05) for piece in placement.board.pieces}
    result = pads_too_near((one,), placement, ASKED, narrowest)
    assert note.code == "gap-around-pads"
    assert [f.code for f in result] == codes
    if gap > ASKED:
        assert one.gap is None
        return
    assert one.other == "c2"
    assert one.gap == pytest.approx(gap, abs=1e-3)
    assert one.at == pytest.approx((21.0 + gap / 2, 20.0), abs=0.02)
    for finding in result:
        assert finding.at == one.at
        assert (
            f"gap of {one.gap:.3f} mm between the pad of hole h1 of 1.00 mm and piece c2 at the "
            f"foot of the copper, worst case {gap - 0.1:.3f}; [isolation] pad_gap requires 0.8. "
            f"They are drawn {gap:.3f} mm apart." in finding.message
        )
    for finding in pads_too_near((one,), placement, ASKED, {}):
        assert "worst case" not in finding.message


@pytest.mark.parametrize(
    ("edges", "words"),
    [
        ((5.0,), "1 of 1 pads have a gap of 0.8 mm around them."),
        ((5.0, 10.0), "1 of 1 pads have a gap of 0.8 mm around them; 1 hole on copper is not "
         "surrounded by it and has no pad."),
        ((10.0,), "0 of 0 pads have a gap of 0.8 mm around them; 1 hole on copper is not "
         "surrounded by it and has no pad."),
        ((10.0, 10.3), "0 of 0 pads have a gap of 0.8 mm around them; 2 holes on copper are not "
         "surrounded by it and have no pad."),
        ((), None),
    ],
)  # fmt: skip
def test_holes_that_copper_does_not_surround_have_no_pad(
    edges: tuple[float, ...], words: str | None
) -> None:
    """Copper from x = 0 to 10, and holes of 1 mm at its edge or away from it."""
    holes = [Hole(f"h{n}", (x, 10.0 + 5 * n), 1.0, "c1") for n, x in enumerate(edges)]
    placement = placed(
        [shapely.box(0.0, 0.0, 10.0, 30.0)], [*holes, Hole("h9", (40.0, 40.0), 1.0, None)]
    )
    pads, notes = pad_gaps(cut(placement), placement, ASKED, 0.0)
    assert len(pads) == edges.count(5.0)
    assert [note.message for note in notes] == ([] if words is None else [words])
    assert all(note.at == holes[0].at for note in notes)
    # and of a blank that nothing is left of nothing is near
    assert [pad.gap for pad in pad_gaps(AsCut(1, (), (), ()), placement, ASKED, 0.0)[0]] == [
        None for _ in pads
    ]


def test_copper_of_the_same_net_is_no_matter() -> None:
    placement = placed([disc(20.0), disc(22.5)], [Hole("h1", (20.0, 20.0), 1.0, "c1")])
    nets = {(0, "c1"): "n", (0, "c2"): "n"}
    (one,), result = pad_gaps(cut(placement), placement, ASKED, 0.0, nets)
    assert one.gap is None
    assert [f.code for f in result] == ["gap-around-pads"]


def test_a_gap_left_closed_around_a_land_is_reported() -> None:
    pad = disc(20.0)
    placement = placed([pad], [Hole("h1", (20.0, 20.0), 1.0, "c1")])

    def codes_at(gap: float) -> list[str]:
        floating = background(pad, gap=gap)
        copper: AsCut = cut(placement, [floating])
        return [f.message for f in check_gaps_opened(copper, placement, FAR, ASKED)]

    assert codes_at(0.82) == []
    (message,) = codes_at(0.6)
    assert "the pad of hole h1 of 1.00 mm, required 0.800" in message


@pytest.mark.parametrize(("wide", "gap"), [(0.02, None), (0.1, 0.4)])
def test_slivers_between_paths_are_no_copper_to_keep_from(wide: float, gap: float | None) -> None:
    crumb = shapely.box(21.4, 19.9, 21.4 + wide, 20.1)
    placement = placed([disc(20.0)], [Hole("h1", (20.0, 20.0), 1.0, "c1")])
    (one,), _ = pad_gaps(cut(placement, [crumb]), placement, ASKED, 0.0)
    assert (one.gap is None) if gap is None else one.gap == pytest.approx(gap, abs=1e-3)
