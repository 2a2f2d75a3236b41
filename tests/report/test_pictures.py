from __future__ import annotations

import math
import re
import struct
import xml.etree.ElementTree as ET
from dataclasses import replace
from itertools import pairwise
from pathlib import Path as File
from typing import Any

import matplotlib
import matplotlib.image
import numpy as np
import pytest
import shapely

from millprep.model.as_cut import AsCut, CopperPart
from millprep.model.blank import Box
from millprep.model.board import Hole
from millprep.model.program import Move
from millprep.model.set_of_programs import CutSet
from millprep.report import marks
from millprep.report.blank_views import as_cut_view, copper_view, paths_view
from millprep.report.canvas import canvas, drawing_settings, save
from millprep.report.pass_view import contacts, pass_view
from millprep.report.pictures import draw, draw_refused, gallery
from millprep.report.scene import scene
from tests.helpers.changed_set import with_blank
from tests.helpers.invented_set import invented, refused


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> tuple[CutSet, File]:
    folder = tmp_path_factory.mktemp("set") / "previews"
    whole = invented(4)
    draw(whole, folder)
    return whole, folder


def words_of(figure: Any) -> str:
    from matplotlib.text import Text

    return "\n".join(text.get_text() for text in figure.findobj(Text))


def test_the_folder_holds_what_the_gallery_lists(drawn: tuple[CutSet, File]) -> None:
    whole, folder = drawn
    pictures = gallery(whole)
    listed = {f"{p.stem}.png" for p in pictures} | {f"{p.stem}.svg" for p in pictures if p.svg}
    assert {file.name for file in folder.iterdir()} == listed
    assert {"blank-1-copper.svg", "blank-1-pass-2.png", "close-up-2.png"} <= listed


def test_a_refused_set_has_pictures_of_what_is_known(tmp_path: File) -> None:
    names = {p.stem for p in draw_refused(refused(), tmp_path)}
    assert names == {"blank-1-copper", "blank-1-components", "close-up-1"}
    assert (tmp_path / "close-up-1.png").stat().st_size > 10_000


def test_same_bytes_whatever_the_settings_of_the_machine(tmp_path: File) -> None:
    draw(invented(1), tmp_path / "a")
    with matplotlib.rc_context({"font.size": 19, "lines.linewidth": 7, "savefig.dpi": 33}):
        draw(invented(1), tmp_path / "b")
        assert matplotlib.rcParams["font.size"] == 19
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
    here = scene(whole, whole.layout.blanks[0])
    with drawing_settings():
        copper = copper_view(here, whole.job, whole.id, ())
        other = copper_view(here, whole.job, whole.id, (), components=True)
    assert "seen from the copper: as it lies on the mill" in words_of(copper.figure)
    assert "seen from the components" in words_of(other.figure)
    bottom, top = copper.axes.get_ylim()
    assert bottom < top
    assert other.axes.get_ylim() == (top, bottom)
    assert copper.axes.get_xlim() == other.axes.get_xlim()


@pytest.mark.parametrize("turned_over", [False, True])
def test_a_stroke_has_its_true_width_and_place(tmp_path: File, turned_over: bool) -> None:
    with drawing_settings():
        on = canvas(Box(0, 0, 50, 20), "t", "w", "s", turned_over=turned_over)
        marks.stroke(on, [np.array([(10.0, 15.0), (40.0, 15.0)])], 3.0, "#0000ff")
        save(on, tmp_path / "p", svg=False)
    pixels = matplotlib.image.imread(tmp_path / "p.png")
    blue = (pixels[..., 2] > 0.9) & (pixels[..., 0] < 0.1)
    rows, columns = np.nonzero(blue)
    per_mm = on.per_mm * on.dpi / 72
    assert (rows.max() - rows.min() + 1) / per_mm == pytest.approx(3.0, abs=2 / per_mm)
    # round ends: half the width beyond each end
    assert (columns.max() - columns.min() + 1) / per_mm == pytest.approx(33.0, abs=2 / per_mm)
    box = on.axes.get_position()
    y = (pixels.shape[0] * (1 - box.y0) - rows.mean()) / per_mm
    assert y == pytest.approx(5.0 if turned_over else 15.0, abs=2 / per_mm)


def test_holes_of_an_area_stay_empty(tmp_path: File) -> None:
    ring = shapely.Polygon(
        [(5, 5), (45, 5), (45, 15), (5, 15)], [[(20, 8), (20, 12), (30, 12), (30, 8)]]
    )
    with drawing_settings():
        on = canvas(Box(0, 0, 50, 20), "t", "w", "s")
        marks.fill(on, [ring, ring.reverse()], "#0000ff")
        save(on, tmp_path / "p", svg=False)
    pixels = matplotlib.image.imread(tmp_path / "p.png")
    blue = (pixels[..., 2] > 0.9) & (pixels[..., 0] < 0.1)
    assert blue.sum() / (on.per_mm * on.dpi / 72) ** 2 == pytest.approx(400 - 40, rel=0.01)


def test_holes_and_slots_are_drawn_true_to_size(tmp_path: File) -> None:
    round_one = Hole("h1", (42.0, 10.0), 6.0)
    slot = Hole("h2", (10.0, 5.0), 4.0, None, (28.0, 15.0))
    with drawing_settings():
        on = canvas(Box(0, 0, 50, 20), "t", "w", "s")
        marks.holes(on, [round_one, slot], "#0000ff", edge="none")
        save(on, tmp_path / "p", svg=False)
    pixels = matplotlib.image.imread(tmp_path / "p.png")
    blue = (pixels[..., 2] > 0.9) & (pixels[..., 0] < 0.1)
    area = 9 * math.pi + 4 * math.hypot(18, 10) + 4 * math.pi
    assert blue.sum() / (on.per_mm * on.dpi / 72) ** 2 == pytest.approx(area, rel=0.02)


def test_a_pass_shows_machine_clamps_zero_and_touch() -> None:
    whole = invented(4)
    here = scene(whole, whole.layout.blanks[0])
    with drawing_settings():
        first, second = (words_of(pass_view(here, whole, p).figure) for p in whole.passes)
    for said in ("pass 1 of 2", "r1 drilled now", "X0 Y0", "Z touch", "12 mm", "01 isolation"):
        assert said in first
    assert "8 mm" not in first
    for said in ("pass 2 of 2", "r1 locates", "8 mm", "cut in an earlier pass"):
        assert said in second


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
    with drawing_settings():
        said = words_of(as_cut_view(scene(spoilt, whole.layout.blanks[0]), "j", "s").figure)
        fine = words_of(as_cut_view(scene(whole, whole.layout.blanks[0]), "j", "s").figure)
    assert "SHORT c3 + c7" in said
    assert said.count("OPEN c9") == 2
    assert "SHORT" not in fine
    assert "OPEN" not in fine


def test_paths_are_named_by_cutter_and_width() -> None:
    whole = invented(4)
    with drawing_settings():
        said = words_of(paths_view(scene(whole, whole.layout.blanks[0]), "j", "s").figure)
    # tip 0.1 + 2 · 0.12 · tan 15° = 0.1643
    assert "vee30: vee, 30° included, tip 0.1 mm, cuts 0.164 mm wide" in said
    assert "tab that holds the board (3)" in said
    assert "join: two passes meet on a path (5)" in said


def test_names_are_no_formulas(tmp_path: File) -> None:
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
    lines, plunges = contacts(program, 0.001)
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
