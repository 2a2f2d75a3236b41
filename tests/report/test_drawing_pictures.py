from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from PIL import Image

from millprep.report.drawing_pictures import (
    LaidBlank,
    LayerPicture,
    ReadingPicture,
    _coloured,
    _layer,
    _reading,
    _view,
    draw_drawing,
    layout_view,
    stem,
)
from millprep.report.palette import PIECES

PIECE = shapely.box(0, 0, 10, 4)
OTHER = shapely.box(0, 5, 10, 9)
READING = ReadingPicture(
    "layer-01-foil-copper", "lamp.dxf · layer foil · copper", "2 pieces", (PIECE, OTHER),
    ((shapely.Point(2, 2), 1.0), (shapely.LineString([(5, 7), (7, 7)]), 1.0)), (0, 0, 10, 9),
    gap_at=(5, 4.5), gap_words="narrowest gap 1", below=("mm: 10 × 9 mm",),
)  # fmt: skip
LAYER = LayerPicture(
    "layer-01-foil", "lamp.dxf · layer foil", "as drawn",
    (np.array([(0.0, 0.0), (10.0, 9.0)]),), (PIECE,), (0, 0, 10, 9),
)  # fmt: skip


def pixels(file: Path) -> np.ndarray:
    return np.asarray(Image.open(file).convert("RGB")).astype(int)


def has(image: np.ndarray, colour: str, least: int) -> bool:
    wanted = [int(colour[i : i + 2], 16) for i in (1, 3, 5)]
    return int((np.abs(image - wanted).max(axis=-1) <= 2).sum()) >= least


def test_pictures_are_drawn_and_show_what_they_should(tmp_path: Path) -> None:
    names = draw_drawing([LAYER, READING], tmp_path / "new" / "folder")
    assert names == ("layer-01-foil.png", "layer-01-foil-copper.png")
    image = pixels(tmp_path / "new" / "folder" / names[1])
    # both pieces, each in a colour of its own, and the flag at the gap
    colours = _coloured(READING.pieces, 1.0)
    assert len(set(colours)) == 2
    for k in colours:
        assert has(image, PIECES[k], 20_000)
    assert READING.gap_words in _reading(READING).words().splitlines()
    plain = pixels(tmp_path / "new" / "folder" / names[0])
    assert has(plain, PIECES[0], 20_000)
    assert READING.gap_words not in _layer(LAYER).words().splitlines()


def test_the_same_drawing_gives_the_same_bytes(tmp_path: Path) -> None:
    for folder in ("a", "b"):
        draw_drawing([LAYER, READING], tmp_path / folder)
    for name in ("layer-01-foil.png", "layer-01-foil-copper.png"):
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


def test_other_files_in_the_folder_stay(tmp_path: Path) -> None:
    (tmp_path / "mine.png").write_bytes(b"mine")
    draw_drawing([LAYER], tmp_path)
    assert (tmp_path / "mine.png").read_bytes() == b"mine"


@pytest.mark.parametrize(
    ("layer", "name"),
    [
        ("TRACKS", "layer-03-TRACKS"),
        ("../../etc/x", "layer-03-etc-x"),
        ("Leiterzüge $0", "layer-03-Leiterz-ge-0"),
        ("···", "layer-03"),
        ("x" * 300, "layer-03-" + "x" * 40),
    ],
)
def test_names_are_safe_for_every_layer(layer: str, name: str) -> None:
    assert stem(3, layer) == name


def test_neighbours_differ_in_colour_as_far_as_colours_go() -> None:
    grid = [shapely.box(x, y, x + 0.9, y + 0.9) for x in range(6) for y in range(6)]
    colours = _coloured(grid, 0.15)
    a, b = shapely.STRtree(grid).query(np.array(grid), predicate="dwithin", distance=0.12)
    assert all(
        colours[i] != colours[j] for i, j in zip(a.tolist(), b.tolist(), strict=True) if i != j
    )
    assert len(set(colours)) > 2


def test_room_for_clamps_is_in_the_layout_and_its_key() -> None:
    blank = LaidBlank(
        1, shapely.box(0, 0, 60, 50), shapely.box(8, 8, 52, 42),
        (("lamp 1", shapely.box(15, 15, 45, 35)),), (shapely.box(0, 0, 10, 10),), None, 0.4,
    )  # fmt: skip
    shown, bare = (layout_view(b, "job") for b in (blank, replace(blank, keep_outs=())))
    words = [canvas.words().splitlines() for canvas in (shown, bare)]
    assert ["kept free for clamps" in lines for lines in words] == [True, False]
    assert "1 board, 40 % of the usable area" in words[0]
    assert len(shown.inside) > len(bare.inside)


@pytest.mark.parametrize("box", [(0, 0, 100, 0), (3, 3, 3, 3), (0, 0, 1e-3, 5e5)])
def test_the_view_is_never_a_sliver(box: tuple[float, float, float, float]) -> None:
    view = _view(box)
    wide, high = view.x1 - view.x0, view.y1 - view.y0
    assert min(wide, high) >= 0.15 * max(wide, high)
    assert view.contains(box[0], box[1])
    assert view.contains(box[2], box[3])
