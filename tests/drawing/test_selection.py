"""Selections: what each condition takes, what is refused, and that the ledger adds up."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from millprep.drawing import read
from millprep.drawing.marks.mark import Curve, Source
from millprep.drawing.marks.neighbours import in_circles
from millprep.drawing.reading import read_board
from millprep.drawing.selection import select, selections_by
from millprep.model.finding import Refusal
from millprep.model.job.layers import LayerRoles, Selection
from tests.helpers.sheet import FOIL, Sheet, codes

TRACK = {**FOIL, "const_width": 1.0}


def picked(*selections: Selection, **roles: Any) -> LayerRoles:
    return LayerRoles(
        **{"copper": ("tracks",), "outline": ("rim",), "holes": ("bores",), **roles},
        selections=selections,
    )


def places(sheet: Sheet, *selections: Selection) -> list[float]:
    """Lower edge of every piece that the selections leave."""
    return sorted(p.shape.bounds[1] for p in sheet.read(picked(*selections)).pieces)


@pytest.mark.parametrize(
    "wrong",
    [
        {"colour": 0}, {"colour": 256}, {"colour": -3},
        {"region": (0, 0, 0, 5)}, {"region": (5, 0, 0, 5)}, {"region": (0, 0, float("inf"), 5)},
    ],
)  # fmt: skip
def test_values_out_of_range_cannot_be(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match=next(iter(wrong))):
        Selection("tracks", **wrong)
    with pytest.raises(ValueError, match="at least 1 character"):
        Selection("", colour=1)


@pytest.mark.parametrize(
    ("layer", "entity", "shown"),
    [
        (1, {}, 1),
        (-1, {}, 1),  # switched off, the layer keeps its colour
        (1, {"color": 256}, 1),
        (1, {"color": 5}, 5),
        (1, {"color": 0}, 7),  # by block, but in none: the format's default
        (1, {"color": 5, "true_color": 0x102030}, None),
    ],
)
def test_a_colour_counts_as_shown(
    tmp_path: Path, layer: int, entity: dict[str, int], shown: int | None
) -> None:
    for colour in (1, 5, 7):
        sheet = Sheet(tmp_path)
        sheet.doc.layers.get("foil").dxf.color = layer
        sheet.space.add_circle((10, 10), 1, dxfattribs={**FOIL, **entity})
        roles = picked(Selection("tracks", layer="foil", colour=colour))
        if colour == shown:
            assert len(sheet.read(roles).pieces) == 1
        else:
            assert codes(sheet.refusal(roles)) == ["selection-empty"]


def test_a_true_colour_of_the_layer_has_no_number(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    layer = sheet.doc.layers.get("foil")
    layer.dxf.color, layer.dxf.true_color = 1, 0x102030
    sheet.pad(10, 10)
    (finding,) = sheet.refusal(picked(Selection("tracks", layer="foil", colour=1)))
    assert "1 shape, a colour of no number: 1" in finding.message


def test_content_on_layer_0_is_shown_like_its_inserts_layer(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.doc.layers.get("foil").dxf.color = 3
    sheet.doc.layers.get("0").dxf.color = 1
    inner = sheet.doc.blocks.new("INNER")
    inner.add_circle((0, 0), 1, dxfattribs={"layer": "0"})
    outer = sheet.doc.blocks.new("OUTER")
    outer.add_blockref("INNER", (0, 0), dxfattribs={"layer": "0"})
    sheet.space.add_blockref("OUTER", (10, 10), dxfattribs=FOIL)
    for block in ("outer", "INNER"):
        assert places(sheet, Selection("tracks", colour=3, block=block)) == [pytest.approx(9)]
    (finding,) = sheet.refusal(picked(Selection("tracks", layer="foil", colour=1)))
    assert finding.code == "selection-empty"


def test_what_a_layer_holds_is_reported_when_nothing_meets_a_selection(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.doc.linetypes.add("WAVES", [1.0, 0.5, -0.5])
    sheet.pad(10, 10)
    sheet.space.add_circle((20, 10), 1, dxfattribs={**FOIL, "color": 4, "linetype": "WAVES"})
    sheet.space.add_circle((30, 10), 1, dxfattribs={**FOIL, "linetype": "waves"})
    roles = picked(Selection("tracks", layer="FOIL", colour=9, block="LAND", region=(0, 0, 5, 5)))
    (finding,) = sheet.refusal(roles)
    assert finding.code == "selection-empty"
    assert finding.message == (
        "no shape meets selection 'tracks': layer 'FOIL' holds 3 shapes, colour 7: 2, colour 4: 1; "
        "line type WAVES: 2, Continuous: 1; no blocks; all within (9.000, 9.000) to "
        "(31.000, 11.000) mm; correct its conditions"
    )


def test_a_region_holds_a_track_with_its_pen(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_lwpolyline([(5, 5), (15, 5)], dxfattribs=TRACK)
    sheet.space.add_lwpolyline([(5, 20), (15, 20)], dxfattribs=TRACK)
    snug = Selection("tracks", layer="foil", region=(4.5, 4.5, 15.5, 5.5))
    assert places(sheet, snug) == [pytest.approx(4.5)]
    tight = Selection("tracks", layer="foil", region=(4.5, 4.51, 15.5, 5.5))
    assert codes(sheet.refusal(picked(tight))) == ["selection-empty"]


def test_a_region_is_in_mm_whatever_the_unit(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, insunits=1)
    sheet.pad(1, 1, 0.1)
    sheet.pad(2, 1, 0.1)
    found = sheet.read(picked(Selection("tracks", layer="foil", region=(20, 20, 30, 30))))
    assert [p.shape.centroid.x for p in found.pieces] == [pytest.approx(25.4)]


def test_without_a_unit_only_that_is_asked(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, insunits=None)
    sheet.pad(10, 10)
    roles = picked(Selection("tracks", layer="foil", region=(500, 500, 600, 600)))
    assert codes(sheet.refusal(roles)) == ["drawing-no-unit"]


def test_the_first_selection_has_a_shape(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    sheet.space.add_circle((20, 20), 1, dxfattribs={**FOIL, "color": 2})
    two = Selection("lettering", colour=2)
    every = Selection("tracks", layer="foil")
    assert places(sheet, two, every) == [pytest.approx(9)]
    (finding,) = sheet.refusal(picked(every, two))
    assert "selections before 'lettering' have taken 1 shape that meets it" in finding.message


def test_what_is_selected_counts_no_longer_on_its_layer(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    sheet.space.add_line((1, 1), (9, 1), dxfattribs={**FOIL, "color": 2})
    assert codes(sheet.refusal()) == ["copper-zero-width"]
    board = sheet.read(picked(Selection("lettering", colour=2), copper=("foil",)))
    (left,) = board.left_out
    assert (left.layer, left.kind, left.count) == ("lettering", "LINE", 1)
    assert left.reason == "it is selected as 'lettering', which the job does not use"


def test_what_no_selection_has_is_left_out_with_its_reason(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    sheet.space.add_circle((20, 20), 1, dxfattribs={**FOIL, "color": 2})
    sheet.space.add_circle((20, 20), 1, dxfattribs={"layer": "elsewhere"})
    board = sheet.read(picked(Selection("tracks", layer="foil", colour=7)))
    assert [(one.layer, one.reason) for one in board.left_out] == [
        ("elsewhere", "the job does not use that layer"),
        ("foil", "no selection takes it, and the job does not use that layer"),
    ]


def test_a_faulty_selection_is_refused(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    twice = picked(Selection("tracks", layer="foil"), Selection("TRACKS", layer="rim"))
    assert codes(sheet.refusal(twice)) == ["selection-name-twice"]
    with pytest.raises(ValueError, match="has no condition"):
        Selection("tracks")
    taken = picked(Selection("Bores", layer="foil"))
    assert "selection-name-taken" in codes(sheet.refusal(taken))
    (finding,) = sheet.refusal(picked(Selection("tracks", layer="foyl")))[:1]
    assert finding.code == "layer-absent"
    assert "did you mean 'foil'?" in finding.message


def test_a_fault_names_the_layer_of_the_drawing(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_line((1, 1), (9, 1), dxfattribs=FOIL)
    (finding,) = sheet.refusal(picked(Selection("tracks", shape="open")))
    assert finding.message.startswith("layer 'foil' (selected as 'tracks'), LINE ")


@pytest.mark.parametrize(
    ("selections", "stops"),
    [
        ((Selection("tracks", layer="foil"),), True),
        ((Selection("tracks", layer="foil", colour=7),), False),
        # its shape is not known: it may be one of them
        ((Selection("tracks", layer="foil", shape="closed"),), True),
        ((Selection("others", colour=2), Selection("tracks", "foil", shape="closed")), False),
    ],
)
def test_what_cannot_be_read_stops_where_it_may_be_selected(
    tmp_path: Path, selections: tuple[Selection, ...], stops: bool
) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    striped = sheet.space.add_hatch(dxfattribs=FOIL)
    striped.set_pattern_fill("ANSI31", color=2)
    striped.paths.add_polyline_path([(20, 5), (24, 5), (24, 9)])
    if stops:
        assert codes(sheet.refusal(picked(*selections))) == ["hatch-not-solid"]
    else:
        assert len(sheet.read(picked(*selections)).pieces) == 1


def test_the_ledger_adds_up_when_an_insert_is_parted(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    block = sheet.doc.blocks.new("PART")
    block.add_circle((0, 0), 1, dxfattribs={"layer": "0"})
    block.add_line((5, 0), (9, 0), dxfattribs={"layer": "0"})
    for x in (10, 30):
        sheet.space.add_blockref("PART", (x, 10), dxfattribs=FOIL)
    sheet.space.add_text("A", dxfattribs=FOIL)
    roles = picked(Selection("tracks", layer="foil", shape="closed"))
    sheet.doc.saveas(sheet.file)
    board, ledger = read_board(sheet.file, name="b", shown_as="x", layers=roles, job_unit=None)
    assert [(one.kind, one.count) for one in board.left_out] == [
        ("TEXT", 1), ("LINE in block PART", 2),
    ]  # fmt: skip
    whole = sum(one.count for one in board.left_out if " in block " not in one.kind)
    assert whole + len(ledger.used) == len(sheet.space)


def test_a_selection_is_made_in_the_file_whose_part_it_plays(tmp_path: Path) -> None:
    files = []
    for name in ("copper", "edge"):
        (tmp_path / name).mkdir()
        sheet = Sheet(tmp_path / name, rim=False)
        if name == "copper":
            sheet.pad(10, 10)
        else:
            sheet.box(0, 0, 50, 30, "foil")
            sheet.space.add_line((1, 1), (9, 1), dxfattribs=FOIL)
        sheet.doc.saveas(sheet.file)
        files.append(sheet.file)
    roles = picked(
        Selection("tracks", layer="foil"),
        Selection("edge", layer="foil", shape="closed"),
        Selection("lettering", layer="foil", shape="open"),
        outline=("edge",),
    )

    def attempt() -> Any:
        return read(
            files[0], name="b", shown_as="copper.dxf", layers=roles, unit=None,
            outline_file=files[1],
        )  # fmt: skip

    # without a role of its own, lettering is due where the copper is
    with pytest.raises(Refusal) as caught:
        attempt()
    assert [(f.code, f.file) for f in caught.value.findings] == [("selection-empty", "copper.dxf")]
    roles = picked(*roles.selections[:2], outline=("edge",))
    board = attempt()
    assert board.outline.area == pytest.approx(1500)
    assert len(board.pieces) == 1


def lines(*ends: tuple[float, float, float, float]) -> list[Any]:
    return [np.array([[x0, y0], [x1, y1]]) for x0, y0, x1, y1 in ends]


SQUARE = ((0, 0, 1, 0), (1, 0, 1, 1), (1, 1, 0, 1), (0, 1, 0, 0))


@pytest.mark.parametrize(
    ("ends", "closed"),
    [
        (SQUARE, {0, 1, 2, 3}),
        (SQUARE[:3], set()),
        # a dead end at a corner is open
        ((*SQUARE, (1, 1, 5, 5)), {0, 1, 2, 3}),
        # a line across: each way round is one, none is preferred
        ((*SQUARE, (0, 0, 1, 1)), {0, 1, 2, 3, 4}),
        # a line between two circles is on neither
        ((*SQUARE, (1, 1, 5, 5), (5, 5, 6, 5), (6, 5, 6, 6), (6, 6, 5, 5)),
         {0, 1, 2, 3, 5, 6, 7}),
        # one line drawn twice encloses nothing; a side drawn twice is a side
        (((0, 0, 1, 0), (1, 0, 0, 0)), set()),
        ((*SQUARE, (1, 1, 1, 0)), {0, 1, 2, 3, 4}),
        # a gap of 0.0005 closes, one of 0.01 does not
        (((0.0005, 0, 1, 0), *SQUARE[1:]), {0, 1, 2, 3}),
        (((0.01, 0, 1, 0), *SQUARE[1:]), set()),
        (((0, 0, 0.0005, 0),), set()),
        ((), set()),
    ],
)  # fmt: skip
def test_lines_that_run_in_circles(
    ends: tuple[tuple[float, float, float, float], ...], closed: set[int]
) -> None:
    assert in_circles(lines(*ends), 1e-3) == closed
    turned = [line[::-1] for line in reversed(lines(*ends))]
    assert in_circles(turned, 1e-3) == {len(ends) - 1 - k for k in closed}


def test_tracks_with_a_width_that_meet_are_no_circle(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    corners = [(5, 5), (15, 5), (15, 15), (5, 15)]
    for k in range(4):
        sheet.space.add_lwpolyline([corners[k - 1], corners[k]], dxfattribs=TRACK)
    board = sheet.read(picked(Selection("tracks", layer="foil", shape="open")))
    assert len(board.pieces[0].shape.interiors) == 1


def test_a_region_takes_fills_and_texts_by_their_place(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    for x in (5, 25):
        sheet.space.add_solid([(x, 5), (x + 4, 5), (x, 8), (x + 4, 8)], dxfattribs=FOIL)
        sheet.space.add_text(f"AT {x}", dxfattribs={**FOIL, "insert": (x, 10)})
    board = sheet.read(picked(Selection("tracks", layer="foil", region=(20, 0, 40, 20))))
    assert [piece.shape.bounds for piece in board.pieces] == [(25, 5, 29, 8)]
    assert [text.words for text in board.lettering] == ["AT 25"]


def test_of_a_layer_of_texts_no_box_is_named(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_text("HERE", dxfattribs={**FOIL, "insert": (5, 10)})
    roles = picked(Selection("tracks", layer="foil", region=(20, 0, 40, 20)))
    (finding,) = sheet.refusal(roles)
    assert finding.code == "selection-empty"
    assert "1 shape, colour 7: 1; line type Continuous: 1; correct" in finding.message


def test_what_cannot_be_read_counts_by_its_layer_where_its_place_is_not_known(
    tmp_path: Path,
) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(30, 10)
    sheet.pad(3, 3)
    sheet.space.add_3dface([(1, 1), (2, 1), (2, 2), (1, 2)], dxfattribs=FOIL)
    elsewhere = Selection("other", layer="foil", region=(0, 0, 5, 5))
    tracks = Selection("tracks", layer="foil", region=(20, 0, 40, 20))
    assert codes(sheet.refusal(picked(elsewhere, tracks))) == ["entity-unsupported"]


def circle(layer: str, block: str | None, closed: bool = True) -> Curve:
    """A line as its drawing has it, alone or in a block within another."""
    blocks = () if block is None else ("outer", block.casefold())
    source = Source(layer, "CIRCLE", "2A", 0, block=block, blocks=blocks)
    return Curve(source, np.array([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0)]), closed, False)


def test_a_layer_is_parted_by_the_blocks_that_its_shapes_lie_in() -> None:
    marks = [circle("foil", name) for name in ("LAND", "VIA", "LAND", None)]
    # a layer has the name that the first part would have
    marks.append(circle("FOIL, block land", None))
    made = selections_by(marks, None, ("block",))
    assert made == (
        Selection("foil, block LAND*", layer="foil", block="LAND"),
        Selection("foil, block VIA", layer="foil", block="VIA"),
    )
    layers = [mark.source.layer for mark in select(marks, made).marks]
    assert layers == [
        "foil, block LAND*", "foil, block VIA", "foil, block LAND*", "foil", "FOIL, block land",
    ]  # fmt: skip


def test_a_layer_is_parted_into_open_and_closed_lines() -> None:
    marks = [circle("foil", None), circle("foil", None, closed=False), circle("rim", None)]
    assert selections_by(marks, None, ("shape",)) == (
        Selection("foil, closed lines", layer="foil", shape="closed"),
        Selection("foil, open lines", layer="foil", shape="open"),
    )


def test_within_the_edge_needs_something_within_it() -> None:
    assert selections_by([circle("foil", None)], None, ("edge",)) == ()
    assert selections_by([circle("foil", None)] * 2, None, ("edge",)) == ()
