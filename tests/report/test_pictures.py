from __future__ import annotations

import math
import re
import struct
import xml.etree.ElementTree as ET
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from itertools import pairwise
from pathlib import Path as File

import numpy as np
import pytest
import shapely
from PIL import Image

from millprep.model.as_cut import AsCut, BoardProof, CopperPart
from millprep.model.blank import Box
from millprep.model.board import Hole
from millprep.model.milling_pass import Join
from millprep.model.program import Move
from millprep.model.set_of_programs import CutSet
from millprep.report import marks
from millprep.report.blank_contents import DrawnProgram, contents_of
from millprep.report.blank_views import as_cut_view, copper_view, join_legend, paths_view
from millprep.report.canvas import Canvas, canvas, save
from millprep.report.insets import insets_of, worst_join
from millprep.report.pass_view import contacts, pass_view
from millprep.report.pictures import draw, gallery
from millprep.report.scene import Area, Flag, Line
from tests.helpers.changed_set import with_blank
from tests.helpers.invented_set import invented, refused

BLUE = "cutter 3"


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> tuple[CutSet, File]:
    folder = tmp_path_factory.mktemp("set") / "previews"
    whole = invented(4)
    draw(whole, folder)
    return whole, folder


def pixels(file: File) -> np.ndarray:
    """Red, green and blue from 0 to 1."""
    return np.asarray(Image.open(file).convert("RGB")) / 255.0


def blue(file: File) -> np.ndarray:
    shown = pixels(file)
    found: np.ndarray = (shown[..., 2] > 0.8) & (shown[..., 0] < 0.2)
    return found


def pixels_per_mm(on: Canvas) -> float:
    return on.pixels / on.size[0]


def test_the_folder_holds_what_the_gallery_lists(drawn: tuple[CutSet, File]) -> None:
    whole, folder = drawn
    pictures = gallery(whole)
    listed = {f"{p.stem}.png" for p in pictures} | {f"{p.stem}.svg" for p in pictures if p.svg}
    assert {file.name for file in folder.iterdir()} == listed
    assert {"blank-1-copper.svg", "blank-1-pass-2.png", "close-up-2.png"} <= listed


def test_a_refused_set_has_pictures_of_what_is_known(tmp_path: File) -> None:
    names = {p.stem for p in draw(refused(), tmp_path)}
    assert names == {"blank-1-copper", "blank-1-components", "close-up-1"}
    assert (tmp_path / "close-up-1.png").stat().st_size > 10_000


def test_the_same_set_gives_the_same_bytes(tmp_path: File) -> None:
    draw(invented(1), tmp_path / "a")
    draw(invented(1), tmp_path / "b")
    for file in sorted((tmp_path / "a").iterdir()):
        assert file.read_bytes() == (tmp_path / "b" / file.name).read_bytes(), file.name


def test_png_carries_no_clock_and_no_program_name(drawn: tuple[CutSet, File]) -> None:
    for file in drawn[1].glob("*.png"):
        data, kinds, at = file.read_bytes(), [], 8
        while at < len(data):
            (length,) = struct.unpack(">I", data[at : at + 4])
            kinds.append(data[at + 4 : at + 8])
            at += length + 12
        assert set(kinds) <= {b"IHDR", b"pHYs", b"IDAT", b"IEND"}, file.name


def test_svg_is_xml_with_no_clock_and_short_numbers(drawn: tuple[CutSet, File]) -> None:
    files = sorted(drawn[1].glob("*.svg"))
    assert len(files) == 4
    for file in files:
        text = file.read_text(encoding="utf-8")
        ET.fromstring(text)
        assert "<dc:" not in text
        assert not re.search(r"\d\.\d{4}", text), file.name
        assert not re.search(r'href="(?!#)', text), file.name


def test_both_faces_say_which_they_are() -> None:
    whole = invented(1)
    here = contents_of(whole, whole.blanks[0])
    copper = copper_view(here, whole.job, ())
    other = copper_view(here, whole.job, (), components=True)
    assert "copper side up, as it lies on the mill" in copper.words()
    assert "seen through the laminate" in other.words()
    assert copper.frame == other.frame
    low, high = (0.0, 0.0), (0.0, 50.0)
    assert copper.at(low)[1] > copper.at(high)[1]
    assert other.at(low)[1] < other.at(high)[1]
    assert copper.at((30.0, 0.0))[0] == other.at((30.0, 0.0))[0]


@pytest.mark.parametrize("turned_over", [False, True])
def test_a_stroke_has_its_true_width_and_place(tmp_path: File, turned_over: bool) -> None:
    on = canvas(Box(0, 0, 50, 20), "t", "w", turned_over=turned_over)
    marks.stroke(on, [np.array([(10.0, 15.0), (40.0, 15.0)])], 3.0, BLUE)
    save(on, tmp_path / "p", svg=False)
    rows, columns = np.nonzero(blue(tmp_path / "p.png"))
    per_mm = pixels_per_mm(on)
    assert (rows.max() - rows.min() + 1) / per_mm == pytest.approx(3.0, abs=2 / per_mm)
    # round ends: half the width beyond each end
    assert (columns.max() - columns.min() + 1) / per_mm == pytest.approx(33.0, abs=2 / per_mm)
    y = rows.mean() / per_mm - on.frame[1]
    assert y == pytest.approx(15.0 if turned_over else 5.0, abs=2 / per_mm)


def test_holes_of_an_area_stay_empty(tmp_path: File) -> None:
    ring = shapely.Polygon(
        [(5, 5), (45, 5), (45, 15), (5, 15)], [[(20, 8), (20, 12), (30, 12), (30, 8)]]
    )
    on = canvas(Box(0, 0, 50, 20), "t", "w")
    marks.fill(on, [ring], BLUE)
    save(on, tmp_path / "p", svg=False)
    shown = blue(tmp_path / "p.png").sum() / pixels_per_mm(on) ** 2
    assert shown == pytest.approx(400 - 40, rel=0.01)


def test_holes_and_slots_are_drawn_true_to_size(tmp_path: File) -> None:
    round_one = Hole("h1", (42.0, 10.0), 6.0)
    slot = Hole("h2", (10.0, 5.0), 4.0, None, (28.0, 15.0))
    on = canvas(Box(0, 0, 50, 20), "t", "w")
    marks.holes(on, [round_one, slot], BLUE, edge=BLUE, points=0.0)
    save(on, tmp_path / "p", svg=False)
    area = 9 * math.pi + 4 * math.hypot(18, 10) + 4 * math.pi
    assert blue(tmp_path / "p.png").sum() / pixels_per_mm(on) ** 2 == pytest.approx(area, rel=0.02)


def test_a_pass_shows_machine_clamps_zero_and_touch() -> None:
    whole = invented(4)
    here = contents_of(whole, whole.blanks[0])
    programs = [DrawnProgram.of(program) for p in whole.passes for program in p.programs]
    first, second = (pass_view(here, whole, p, programs).words() for p in whole.passes)
    for said in ("pass 1 of 2", "r1 drilled now", "X0 Y0", "Z touch", "12 mm", "01 isolation"):
        assert said in first
    assert "8 mm" not in first
    for said in ("pass 2 of 2", "r1 locates", "8 mm", "cut in an earlier pass"):
        assert said in second


def test_a_pass_keeps_its_number_where_one_before_it_is_left_out() -> None:
    whole = invented(4)
    first, second = whole.passes
    less = with_blank(whole, passes=(first, replace(second, number=3)))
    here = contents_of(less, less.blanks[0])
    assert "pass 3 of 3" in pass_view(here, less, less.passes[1], []).words()


def test_shorted_and_broken_copper_is_named() -> None:
    whole = invented(1)
    square = [shapely.box(x, 20, x + 8, 28) for x in (10, 30, 50, 70)]
    parts = (
        CopperPart(square[0], ((0, "c3"), (0, "c7"))),
        CopperPart(square[1], ((0, "c9"),)),
        CopperPart(square[2], ((0, "c9"),)),
        CopperPart(square[3], ()),
    )
    spoilt = with_blank(whole, as_cut=AsCut(1, (), parts))
    said = as_cut_view(contents_of(spoilt, spoilt.blanks[0]), "j").words()
    fine = as_cut_view(contents_of(whole, whole.blanks[0]), "j").words()
    assert "SHORT c3 + c7" in said
    assert said.count("OPEN c9") == 2
    assert "SHORT" not in fine
    assert "OPEN" not in fine


def test_paths_are_named_by_cutter_and_width() -> None:
    whole = invented(4)
    said = paths_view(contents_of(whole, whole.blanks[0]), "j").words()
    # tip 0.1 + 2 · 0.12 · tan 15° = 0.1643
    assert "vee30: vee, 30°, tip 0.1 mm, cuts 0.164 mm wide" in said
    assert "tab that holds the board (3)" in said
    assert "join of two passes (5)" in said


def test_every_thread_can_draw(tmp_path: File) -> None:
    on = canvas(Box(0.0, 0.0, 20.0, 10.0), "a picture", "")
    stems = [tmp_path / "here", tmp_path / "there", tmp_path / "elsewhere"]
    save(on, stems[0], svg=False)
    for stem in stems[1:]:
        with ThreadPoolExecutor(1) as thread:
            thread.submit(save, on, stem, svg=False).result()
    assert len({stem.with_suffix(".png").read_bytes() for stem in stems}) == 1


def test_any_name_can_be_drawn(tmp_path: File) -> None:
    odd = replace(invented(1), job="$\\frac{a}$ <b> \n\x07 灯台")
    draw(odd, tmp_path)
    assert len(list(tmp_path.glob("*.png"))) == len(gallery(odd))


def test_contacts_are_what_is_below_the_surface() -> None:
    program = replace(
        invented(1).programs[0],
        start=(0.0, 0.0, 3.0),
        moves=(
            Move("rapid", 5, 0, 3),
            Move("feed", 5, 0, -0.1),
            Move("arc_ccw", -5, 0, -0.1, -5.0, 0.0),
            Move("feed", -5, -2, -0.1),
            Move("rapid", -5, -2, 3),
            Move("rapid", 9, 9, 3),
            Move("feed", 9, 9, -1),
            Move("rapid", 9, 9, 1),
            Move("feed", 9, 9, -2),
            Move("rapid", 9, 9, 3),
            Move("feed", 1, 0, -0.1),
            Move("arc_cw", 1, 0, -0.1, -1.0, 0.0),
            Move("rapid", 1, 0, 3),
        ),
    )
    lines, plunges = contacts(DrawnProgram.of(program), 0.001)
    assert plunges == [(9, 9)]
    half, full = lines
    assert np.hypot(*half[:-1].T) == pytest.approx(5.0)
    assert half[:, 1].max() == pytest.approx(5.0, abs=0.01)
    assert half[-1] == pytest.approx((-5, -2))
    turn = full[1:]
    assert np.hypot(*turn.T) == pytest.approx(1.0)
    steps = [a[0] * b[1] - a[1] * b[0] for a, b in pairwise(turn.tolist())]
    assert max(steps) < 0, "clockwise"
    assert shapely.Polygon(turn).area == pytest.approx(np.pi, rel=2e-3)


JOIN = Join(1, 0, "c1", (250.0, 40.0), (1, 2), 0.4, (0.0, 1.0), 0.0631, 0.45, 0.45)
EDGE = replace(JOIN, piece=None, tolerance_electrical=None, tolerance_gap=None)


def test_joins_are_named_once_with_the_worst_figures() -> None:
    worse = replace(JOIN, at=(250.0, 80.0), predicted=0.07)
    assert worst_join([JOIN, worse, EDGE]) is worse
    words = join_legend([JOIN, worse, EDGE]).words
    assert words == "join of two passes (3), misaligned by up to 0.07 mm, 0.45 mm tolerated"
    assert join_legend([EDGE]).words == "join of two passes (1)"


def test_insets_show_the_narrowest_gap_and_the_worst_join_true_to_scale() -> None:
    whole = invented(4)
    (blank,) = whole.blanks
    copy = blank.copies[0]
    left, right = shapely.box(30, 30, 34, 40), shapely.box(34.4, 30, 38, 40)
    parts = (CopperPart(left, ((0, "c3"),)), CopperPart(right, ((0, "c4"),)))
    proof = BoardProof(0, 2, 0, 0, 0.4, (34.2, 35.0))
    made = with_blank(
        whole, as_cut=AsCut(1, (), parts), joins=(JOIN,), copies=(replace(copy, proof=proof),)
    )
    here = contents_of(made, made.blanks[0])
    gap, join = insets_of(here)
    assert (gap.name, gap.at, gap.size) == ("A", (34.2, 35.0), 0.4)
    assert (join.name, join.at, join.join) == ("B", JOIN.at, JOIN)
    on = paths_view(here, "j")
    assert "A, 20 : 1. Narrowest gap: 0.4 mm" in on.words()
    assert "B, 20 : 1. Join of passes 1 and 2" in on.words()
    bars = [line for line in on.around if isinstance(line, Line) and len(line.lines) == 3]
    long = {round(float(np.hypot(*(bar.lines[0][1] - bar.lines[0][0]))) / 20, 4) for bar in bars}
    assert long == {0.4, 0.0631, 0.45}
    areas = [shape for shape in on.around if isinstance(shape, Area) and shape.role == "copper"]
    copper = [part for area in areas for part in area.shapes]
    inside = [box for box in map(shapely.bounds, copper) if box[1] > on.inset_top]
    assert inside
    assert all(box[3] < on.size[1] for box in inside)


def test_names_are_on_no_copper_and_on_no_edge() -> None:
    whole = invented(4)
    here = contents_of(whole, whole.blanks[0])
    on = paths_view(here, "j")
    copper = shapely.union_all([shapely.transform(piece, on.points) for piece in here.pieces])
    edges = [shapely.transform(p.outline.exterior, on.points) for p in here.placed]
    names = [s for _, s in on.inside if isinstance(s, Flag)]
    assert {"r1", "r2"} <= {name.words for name in names}
    for name in names:
        box = shapely.box(*name.box)
        assert not box.intersects(copper), name.words
        assert not any(box.intersects(edge) for edge in edges), name.words
