"""Hostile files end in a refusal, not in hours or gigabytes."""

from __future__ import annotations

import random
import struct
from collections import Counter
from pathlib import Path

import ezdxf.filemanagement
import ezdxf.recover
import numpy as np
import pytest
import shapely

from millprep.drawing import copper, read, reading
from millprep.drawing.dxf import entities, opening, tags
from millprep.drawing.marks import neighbours
from millprep.drawing.survey.survey import survey_file
from millprep.model.finding import Refusal
from tests.helpers.sheet import FOIL, RIM, ROLES, Sheet, codes


def test_a_file_beyond_the_limit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    assert sheet.read().pieces
    monkeypatch.setattr(opening, "MOST_BYTES", 1000)
    assert codes(sheet.refusal()) == ["drawing-too-large"]


def test_blocks_that_multiply(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # twelve levels of ten inserts: a million million circles from a small file
    sheet = Sheet(tmp_path)
    lowest = sheet.doc.blocks.new("b0")
    lowest.add_circle((0, 0), 1, dxfattribs={"layer": "0"})
    for level in range(1, 13):
        block = sheet.doc.blocks.new(f"b{level}")
        for k in range(10):
            block.add_blockref(f"b{level - 1}", (k, 0), dxfattribs={"layer": "0"})
    sheet.space.add_blockref("b12", (5, 5), dxfattribs=FOIL)
    monkeypatch.setattr(entities, "MOST_MARKS", 2000)
    (finding,) = sheet.refusal()
    assert finding.code == "drawing-too-large"
    assert "2000" in finding.message


def test_a_block_of_many_shapes_in_an_array(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # few blocks are opened, and each draws much
    sheet = Sheet(tmp_path)
    block = sheet.doc.blocks.new("row")
    for k in range(20):
        block.add_circle((2 * k, 0), 0.5, dxfattribs=FOIL)
    sheet.space.add_blockref("row", (5, 5), dxfattribs={**FOIL, "row_count": 6, "row_spacing": 2})
    assert len(sheet.read().pieces) == 120
    monkeypatch.setattr(entities, "MOST_MARKS", 100)
    (finding,) = sheet.refusal()
    assert finding.code == "drawing-too-large"
    assert "its inserts unfold to more than 100 shapes" in finding.message


def test_blocks_nested_too_deep(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.doc.blocks.new("b0").add_circle((0, 0), 1)
    for level in range(1, 40):
        sheet.doc.blocks.new(f"b{level}").add_blockref(f"b{level - 1}", (0, 0))
    sheet.space.add_blockref("b39", (5, 5), dxfattribs=FOIL)
    (finding,) = sheet.refusal()
    assert finding.code == "drawing-too-large"
    assert "nested" in finding.message


def test_an_array_of_a_thousand_million(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.doc.blocks.new("dot").add_circle((0, 0), 1)
    many = {"column_count": 30000, "row_count": 30000, "column_spacing": 1, "row_spacing": 1}
    sheet.space.add_blockref("dot", (5, 5), dxfattribs={**FOIL, **many})
    assert codes(sheet.refusal()) == ["drawing-too-large"]


def test_shapes_all_on_one_spot(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sheet = Sheet(tmp_path)
    for k in range(60):
        sheet.box(5 + k / 100, 5, 15 + k / 50, 15, layer="foil")
    monkeypatch.setattr(neighbours, "MOST_PAIRS", 1000)
    assert codes(sheet.refusal()) == ["drawing-too-large"]


def test_thousands_of_lines_on_one_spot_cost_nothing(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    for _ in range(3000):
        sheet.space.add_line((5, 5), (6, 5), dxfattribs=FOIL)
    findings = sheet.refusal()
    assert set(codes(findings)) == {"copper-zero-width"}
    assert len(findings) < 20


def test_thousands_of_circles_on_one_spot_are_one_hole(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    for _ in range(3000):
        sheet.space.add_circle((10, 10), 0.4, dxfattribs={"layer": "bores"})
    assert len(sheet.read().holes) == 2


def test_a_curve_too_large_for_any_board(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, rim=False)
    sheet.space.add_circle((0, 0), 1e8, dxfattribs=RIM)
    sheet.pad(10, 10)
    assert codes(sheet.refusal()) == ["entity-damaged"]


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 1e300])
def test_numbers_that_are_none(tmp_path: Path, value: float) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    sheet.space.add_lwpolyline([(5, 5), (value, 5)], dxfattribs={**FOIL, "const_width": 1})
    assert codes(sheet.refusal()) == ["entity-damaged"]


def test_more_findings_than_anyone_reads_are_counted(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    for k in range(50):
        sheet.space.add_line((5, k / 4), (9, k / 4), dxfattribs=FOIL)
    findings = sheet.refusal()
    assert [finding.more for finding in findings] == [0, 0, 0, 0, 45]
    assert findings[-1].words.endswith("And 45 more.")


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    sheet = Sheet(tmp_path_factory.mktemp("sound"))
    sheet.space.add_lwpolyline([(5, 5), (9, 5, 0, 0, 0.5), (9, 9)], format="xyseb",
                               dxfattribs={**FOIL, "const_width": 1})  # fmt: skip
    fill = sheet.space.add_hatch(dxfattribs=FOIL)
    fill.paths.add_polyline_path([(12, 5), (15, 5), (15, 9)])
    sheet.doc.blocks.new("land").add_circle((0, 0), 1)
    sheet.space.add_blockref("land", (20, 20), dxfattribs=FOIL)
    sheet.space.add_spline([(30, 5, 0), (35, 6, 0), (33, 9, 0)], dxfattribs={"layer": "legend"})
    sheet.read()
    return sheet.file.read_bytes()


def test_a_changed_byte_never_makes_a_traceback(tmp_path: Path, sound: bytes) -> None:
    rng = random.Random(1886)
    start, end = sound.index(b"BLOCKS"), sound.rindex(b"OBJECTS")
    outcomes = Counter[str]()
    for _ in range(120):
        content = bytearray(sound)
        for _ in range(rng.randint(1, 4)):
            content[rng.randrange(start, end)] = rng.choice(b"\n 019-.eExA\0\xff")
        file = tmp_path / "changed.dxf"
        file.write_bytes(bytes(content))
        try:
            board = read(file, name="b", shown_as="x.dxf", layers=ROLES, unit=None)
        except Refusal as refusal:
            outcomes["refused" if refusal.exit_code == 3 else "wrongly"] += 1
        else:
            assert all(np.isfinite(piece.shape.bounds).all() for piece in board.pieces)
            outcomes["read"] += 1
    assert set(outcomes) == {"read", "refused"}


def test_a_binary_file_cut_short(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    sheet.doc.saveas(sheet.file, fmt="bin")
    whole = sheet.file.read_bytes()
    for end in (20, 23, 100, len(whole) // 2, len(whole) - 3):
        sheet.file.write_bytes(whole[:end])
        with pytest.raises(Refusal):
            read(sheet.file, name="b", shown_as="x.dxf", layers=ROLES, unit=None)
    # cut between two tags, nothing but the end mark is missing
    sheet.file.write_bytes(whole[: -len(b"\0\0EOF\0")])
    with pytest.raises(Refusal):
        read(sheet.file, name="b", shown_as="x.dxf", layers=ROLES, unit=None)
    assert not tags.scan(whole[: -len(b"\0\0EOF\0")]).ended
    assert tags.scan(whole).ended
    sheet.file.write_bytes(whole[:22] + struct.pack("<h", 0) + b"SECTION")
    with pytest.raises(Refusal):
        survey_file(sheet.file)


def scribble(n: int) -> list[tuple[float, float]]:
    rng = random.Random(n)
    return [(5 + 20 * rng.random(), 5 + 20 * rng.random()) for _ in range(n)]


def test_a_scribble_of_crossing_lines_is_not_sorted_out(tmp_path: Path) -> None:
    # 1000 lines cross each other about a hundred thousand times
    sheet = Sheet(tmp_path)
    sheet.space.add_lwpolyline(scribble(1000), close=True, dxfattribs=FOIL)
    (finding,) = sheet.refusal()
    assert finding.code == "copper-crosses-itself"
    assert "many times" in finding.message


def test_a_long_line_that_crosses_itself_everywhere_is_known_by_its_first_segments(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(neighbours, "MOST_PAIRS", 200_000)  # fewer than in all of it
    angle = np.linspace(0, 6.28, 12_000)
    noise = np.random.default_rng(1).uniform(0, 0.3, (12_000, 2))
    sheet = Sheet(tmp_path)
    points = noise + 15 + 10 * np.column_stack((np.cos(angle), np.sin(angle)))
    sheet.space.add_lwpolyline(points.tolist(), close=True, dxfattribs=FOIL)
    (finding,) = sheet.refusal()
    assert finding.code == "copper-crosses-itself"
    assert "many times" in finding.message


def test_a_filled_scribble(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    fill = sheet.space.add_hatch(dxfattribs=FOIL)
    fill.paths.add_polyline_path(scribble(1000))
    assert codes(sheet.refusal()) == ["fill-crosses-itself"]


def test_a_scribble_with_a_broad_pen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_lwpolyline(scribble(200), dxfattribs={**FOIL, "const_width": 0.02})
    monkeypatch.setattr(copper, "MOST_TOUCHING", 5000)
    (finding,) = sheet.refusal()
    assert finding.code == "drawing-too-large"
    assert "draw every shape once" in finding.message


def test_an_outline_that_encloses_nothing(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path, rim=False)
    sheet.pad(10, 10)
    sheet.space.add_lwpolyline([(0, 0), (50, 0)], close=True, dxfattribs=RIM)
    assert codes(sheet.refusal()) == ["outline-empty"]


def test_blocks_that_hold_each_other_in_too_many_ways_are_not_mended(tmp_path: Path) -> None:
    # two blocks a level, each in both of the next: 2^20 ways, all of which an audit would walk
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    for side in "ab":
        sheet.doc.blocks.new(f"{side}0").add_circle((0, 0), 1)
    for level in range(1, 20):
        for side in "ab":
            block = sheet.doc.blocks.new(f"{side}{level}")
            for inner in "ab":
                block.add_blockref(f"{inner}{level - 1}", (0, 0))
    sheet.doc.saveas(sheet.file)
    whole = sheet.file.read_bytes()
    sheet.file.write_bytes(whole[: whole.rindex(b"  0\nEOF")])
    with pytest.raises(Refusal) as caught:
        read(sheet.file, name="b", shown_as="x", layers=ROLES, unit=None, repair=True)
    (finding,) = caught.value.findings
    assert finding.code == "drawing-too-large"
    assert "too many ways" in finding.message


def test_blocks_that_draw_nothing_are_not_opened_for_ever(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # each level opens the next twice, and the last is empty: no mark is ever made
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    sheet.doc.blocks.new("b0")
    for level in range(1, 24):
        block = sheet.doc.blocks.new(f"b{level}")
        for x in (0, 1):
            block.add_blockref(f"b{level - 1}", (x, 0), dxfattribs={"layer": "0"})
    sheet.space.add_blockref("b23", (5, 5), dxfattribs={"layer": "legend"})
    monkeypatch.setattr(entities, "MOST_MARKS", 2000)
    (finding,) = sheet.refusal()
    assert finding.code == "drawing-too-large"


@pytest.mark.parametrize("bulge", [1e-309, 1e-300, 1e-12, 1e-7])
def test_an_arc_that_is_as_good_as_straight(tmp_path: Path, bulge: float) -> None:
    sheet = Sheet(tmp_path)
    sheet.space.add_lwpolyline(
        [(5, 5, bulge), (15, 5, 0)], format="xyb", dxfattribs={**FOIL, "const_width": 1}
    )
    (piece,) = sheet.read().pieces
    assert piece.shape.bounds == pytest.approx((4.5, 4.5, 15.5, 5.5), abs=1e-5)


def test_many_curves_of_many_points(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # 20 circles of 20 m, some 7000 points each
    sheet = Sheet(tmp_path, rim=False)
    sheet.pad(10, 10)
    for k in range(20):
        sheet.space.add_circle((k, 0), 2e4, dxfattribs=RIM)
    monkeypatch.setattr(entities, "MOST_POINTS", 50_000)
    (finding,) = sheet.refusal()
    assert finding.code == "drawing-too-large"
    assert "50000 vertices" in finding.message


def out_of_memory(*_: object, **__: object) -> None:
    raise MemoryError


def broken(*_: object, **__: object) -> None:
    raise ValueError("damaged")


def endless(*_: object, **__: object) -> None:
    raise RecursionError


def test_a_drawing_that_does_not_fit_into_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    with monkeypatch.context() as patch:
        patch.setattr(ezdxf.filemanagement, "readfile", out_of_memory)
        (finding,) = sheet.refusal()
    assert finding.code == "drawing-too-large"
    assert "sheet.dxf does not fit into memory; export less" in finding.message
    with monkeypatch.context() as patch:
        patch.setattr(ezdxf.filemanagement, "readfile", broken)
        patch.setattr(ezdxf.recover, "read", out_of_memory)
        with pytest.raises(Refusal) as caught:
            read(sheet.file, name="b", shown_as="x.dxf", layers=ROLES, unit=None, repair=True)
    assert "x.dxf does not fit into memory; export less" in caught.value.findings[0].message
    with monkeypatch.context() as patch:
        patch.setattr(ezdxf.filemanagement, "readfile", endless)
        (finding,) = sheet.refusal()
    assert finding.code == "drawing-unreadable"
    assert "the structure of sheet.dxf is nested without end" in finding.message


@pytest.mark.parametrize("fault", [MemoryError(), shapely.GEOSException("std::bad_alloc")])
def test_shapes_that_do_not_fit_into_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fault: Exception
) -> None:
    def fails(*_: object) -> None:
        raise fault

    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    monkeypatch.setattr(copper, "pieces", fails)
    (finding,) = sheet.refusal()
    assert finding.code == "drawing-too-large"
    assert "its shapes do not fit into memory; draw less" in finding.message


def test_marks_that_do_not_fit_into_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    monkeypatch.setattr(reading, "gather", out_of_memory)
    (finding,) = sheet.refusal()
    assert finding.code == "drawing-too-large"


def test_a_track_around_the_earth(tmp_path: Path) -> None:
    # its middle can be read, its outer edge needs more chords than any curve of a board
    sheet = Sheet(tmp_path)
    ring = [(0, 0, 1), (8.1056e6, 0, 1)]
    sheet.space.add_lwpolyline(
        ring, format="xyb", close=True, dxfattribs={**FOIL, "const_width": 900}
    )
    (finding,) = sheet.refusal()
    assert finding.code == "entity-damaged"
    assert "a track cannot be read (a curve of radius 4.05325e+06 is too large" in finding.message


def test_a_boundary_that_does_not_say_how_long_it_is() -> None:
    path = [(91, b"1"), (92, b"2"), (93, b"3"), (10, b"5"), (20, b"5"), (97, b"0"), (75, b"0")]
    codes_of, values = zip(*path, strict=True)
    assert tags.lacks(b"HATCH", codes_of, values) == (
        "a boundary path says it has 3 parts, but has 1"
    )
    codes_of, values = zip(*(tag for tag in path if tag[0] != 93), strict=True)
    assert tags.lacks(b"HATCH", codes_of, values) == ("a boundary path does not say how long it is")
