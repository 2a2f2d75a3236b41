"""Which outlines are slots: every stadium, and nothing that only looks like one."""

from __future__ import annotations

import itertools
import math
from pathlib import Path as File

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from millprep.drawing.marks.stroke import Slot, slot_of
from millprep.geometry.path import FloatArray, Path
from millprep.model.job.layers import LayerRoles
from tests.helpers.chance import examples
from tests.helpers.sheet import BORES, FOIL, ROLES, Sheet, codes

QUICK = examples(80)
BULGED = [(10, 9, 0), (14, 9, 1), (14, 11, 0), (10, 11, 1)]


def rim(
    length: float, width: float, at: tuple[float, float] = (0.0, 0.0), degrees: float = 0.0
) -> FloatArray:
    """Outline of a slot whose centre line leads from `at` in this direction, flattened."""
    r, turn = width / 2, math.radians(degrees)
    corners = np.array([(0, -r), (length, -r), (length, r), (0, r), (0, -r)])
    cos, sin = math.cos(turn), math.sin(turn)
    turned = corners @ np.array([[cos, sin], [-sin, cos]]) + at
    return Path(turned, np.array([0.0, 1.0, 0.0, 1.0])).flattened()[:-1]


@pytest.mark.law
@QUICK
@given(
    st.floats(0.05, 60), st.floats(0.1, 12), st.floats(-300, 300), st.floats(-300, 300),
    st.floats(0, 360), st.integers(0, 1000), st.booleans(),
)  # fmt: skip
def test_every_stadium_is_found_whatever_its_place_and_start(
    length: float, width: float, x: float, y: float, degrees: float, start: int, back: bool
) -> None:
    points = np.roll(rim(length, width, (x, y), degrees), start, axis=0)
    found = slot_of(points[::-1] if back else points)
    assert found is not None
    turn = math.radians(degrees)
    far = (x + length * math.cos(turn), y + length * math.sin(turn))
    assert found.diameter == pytest.approx(width, abs=1e-6)
    ends = {found.at, found.end}
    for meant in ((x, y), far):
        assert min(math.dist(meant, end) for end in ends) < 1e-6
    first, last = (tuple(round(v, 6) for v in end) for end in (found.at, found.end))
    assert first < last


@QUICK
@given(st.floats(1, 30), st.floats(0.5, 6), st.floats(0.02, 0.3))
def test_a_stadium_bent_out_of_shape_is_none(length: float, width: float, share: float) -> None:
    """One side moved outward, or one end flattened, by a share of the width."""
    points = rim(length, width)
    aside = points.copy()
    aside[aside[:, 1] > width / 2 * 0.999, 1] += share * width
    flat = points.copy()
    flat[:, 0] = np.minimum(flat[:, 0], length + width / 2 * (1 - share))
    for wrong in (aside, flat):
        assert slot_of(wrong) is None


def test_circles_boxes_ellipses_and_clumsy_ends_are_none() -> None:
    turn = np.arange(400) * (math.tau / 400)
    circle = np.column_stack((np.cos(turn), np.sin(turn)))
    assert slot_of(circle) is None
    assert slot_of(circle * (3, 1)) is None
    t = np.linspace(0, 1, 20, endpoint=False)[:, None]
    corners = np.array([(0, 0), (4, 0), (4, 2), (0, 2), (0, 0)], dtype=float)
    box = np.vstack([a + t * (b - a) for a, b in itertools.pairwise(corners)])
    assert slot_of(box) is None
    # every end a half of a polygon of twelve: its corners lie on the slot's rim
    k = np.arange(7) * math.pi / 6 - math.pi / 2
    end = np.column_stack((np.cos(k), np.sin(k)))
    assert slot_of(np.vstack((end + np.array([4, 0]), -end))) is None


def test_drawn_to_a_micrometre_it_is_still_a_slot() -> None:
    found = slot_of(np.round(rim(7.3, 1.7, (20, 30), 33), 3))
    assert found is not None
    assert found.diameter == pytest.approx(1.7, abs=1e-3)


def test_a_wide_line_on_a_hole_layer_stands_on_its_pad(tmp_path: File) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_lwpolyline([(10, 10), (16, 10)], dxfattribs={**FOIL, "const_width": 3.0})
    sheet.space.add_lwpolyline([(15, 10), (11, 10)], dxfattribs={**BORES, "const_width": 1.0})
    slot, _ = sheet.read().holes
    assert (slot.at, slot.end, slot.diameter, slot.piece) == ((11, 10), (15, 10), 1.0, "c1")


def test_an_opening_that_a_slot_takes_away_is_filled(tmp_path: File) -> None:
    """A long pad drawn as a closed stroke is open in its middle; the slot cuts that."""
    sheet = Sheet(tmp_path)
    for up, r in ((0, 1.0), (10, 0.9)):
        sheet.space.add_lwpolyline(
            [(x, y + up, b) for x, y, b in BULGED], format="xyb", close=True,
            dxfattribs={**FOIL, "const_width": 0.2},
        )  # fmt: skip
        sheet.space.add_lwpolyline(
            [(10, 10 + up), (14, 10 + up)], dxfattribs={**BORES, "const_width": 2 * r - 0.2}
        )
    whole, ring = sheet.read().pieces
    assert not whole.shape.interiors
    assert len(ring.shape.interiors) == 1


@pytest.mark.parametrize(("diameter", "expected"), [(2.0, []), (1.0, ["hole-doubtful"])])
def test_a_circle_in_a_slot_is_the_slots_end_or_doubtful(
    tmp_path: File, diameter: float, expected: list[str]
) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(40, 5)
    sheet.space.add_lwpolyline(BULGED, format="xyb", close=True, dxfattribs=BORES)
    sheet.space.add_circle((14, 10), diameter / 2, dxfattribs=BORES)
    if expected:
        (finding,) = sheet.refusal()
        assert [finding.code] == expected
        assert finding.at == pytest.approx((14, 10))
        assert "within a slot 2.000 mm wide" in finding.message
    else:
        assert [hole.end is None for hole in sheet.read().holes] == [False, True]


def test_what_is_no_slot_says_how_to_draw_one(tmp_path: File) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(40, 5)
    sheet.box(10, 10, 14, 12, "bores")
    (finding,) = sheet.refusal()
    assert finding.code == "hole-not-round"
    assert "slots as two parallel lines closed by two half circles" in finding.message
    assert "layer 'bores', LWPOLYLINE" in finding.message


def test_an_outline_of_a_track_is_no_slot_where_another_crosses_it(tmp_path: File) -> None:
    """On one layer of copper and holes, tracks are drawn as overlapping outlines."""
    sheet = Sheet(tmp_path, rim=True)
    sheet.space.add_lwpolyline(BULGED, format="xyb", close=True, dxfattribs=FOIL)
    sheet.box(13, 5, 16, 12, "foil")
    roles = LayerRoles(copper=("foil",), outline=("rim",), holes=("foil",))
    board = sheet.read(roles)
    assert board.holes == ()
    assert len(board.pieces) == 1


def test_a_slot_within_a_pad_of_other_shape_on_the_shared_layer(tmp_path: File) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_lwpolyline(BULGED, format="xyb", close=True, dxfattribs=FOIL)
    sheet.box(7, 7, 17, 13, "foil")
    roles = LayerRoles(copper=("foil",), outline=("rim",), holes=("foil",))
    (slot,) = sheet.read(roles).holes
    assert slot.end == pytest.approx((14, 10))
    assert slot.piece == "c1"
    # half on the pad it may be copper too
    other = Sheet(tmp_path)
    other.space.add_lwpolyline(BULGED, format="xyb", close=True, dxfattribs=FOIL)
    other.space.add_lwpolyline([(14, 5), (14, 15)], dxfattribs={**FOIL, "const_width": 1.0})
    assert codes(other.refusal(roles)) == ["hole-doubtful"]


def test_of_the_two_layers_the_same_slot_counts_once(tmp_path: File) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(40, 5)
    sheet.doc.layers.add("more")
    for layer in ("bores", "more"):
        sheet.space.add_lwpolyline(BULGED, format="xyb", close=True, dxfattribs={"layer": layer})
    roles = LayerRoles(copper=("foil",), outline=("rim",), holes=("bores", "more"))
    assert len(sheet.read(roles).holes) == 2
    assert len(sheet.read(ROLES).holes) == 2


def test_a_slot_reads_from_its_left_end() -> None:
    assert Slot.between((3.0, 1.0), (1.0, 2.0), 0.5) == ((1.0, 2.0), 0.5, (3.0, 1.0))
    assert Slot.between((1.0, 2.0), (1.0, 1.0), 0.5).at == (1.0, 1.0)
