"""Gerber and drill files of real boards, and small files of single features.

Source: boards/gerber/README.md in the folder that MILLPREP_SHARED names. It lists files and counts
taken in two ways that share no code: pieces of copper, areas, sizes, holes and slots. The tests
read these tables, so that no figure is written twice. Small files have a third count: their shapes
painted into a picture, whose components a general image library labels.
"""

from __future__ import annotations

import os
import re
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
import skimage.draw
import skimage.measure

from millprep.drawing import copper, read
from millprep.drawing.gerber.drill import read_drill
from millprep.drawing.gerber.layer import read_layer
from millprep.drawing.gerber.statements import UnreadableError
from millprep.drawing.kinds import kind_of
from millprep.job import load
from millprep.model.board import Board
from millprep.model.job.layers import LayerRoles, Unit
from tests.helpers.small_job import run

SHARED = os.environ.get("MILLPREP_SHARED")
FOLDER = Path(SHARED or "/nowhere") / "boards" / "gerber"

pytestmark = pytest.mark.skipif(
    SHARED is None, reason="MILLPREP_SHARED does not name the folder with the real boards"
)


@cache
def rows(columns: int, *starts: str) -> list[list[str]]:
    """Rows of the tables of this many columns that begin with a name in backticks or a folder."""
    if SHARED is None:
        return []
    out = []
    for line in (FOLDER / "README.md").read_text("utf-8").splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if len(cells) == columns and cells[0].startswith(starts):
            out.append([cell.strip("`") for cell in cells])
    return out


@cache
def files(board: str) -> dict[str, Path]:
    """The files of a board by their roles."""
    listed = [row for row in rows(5, "`") if "total" not in row[2]]
    return {role: FOLDER / board / name for name_of, role, name, *_ in listed if name_of == board}


FIGURES = {row[0]: row[1:] for row in rows(9, "`")}
HOLES = {(row[0], row[1]): row[2:4] for row in rows(5, "`") if "total" in row[2]}
GAPS = {"zvs-mm33": 0.23, "mixtape-macros": 0.28, "zxinet-macros": 0.06, "core-g70": 0.01}
"""Outlines whose lines end apart, and what the job says to close them, mm."""
NO_UNIT: dict[str, Unit] = {"rs232-n2": "inch"}
"""The unit of drill files that give none, as the README says it."""
TWICE = {"melodik-x2": 20}
"""Holes that a drill file lists twice at the same place."""
TO_AND_FRO = {"lasmo-no-dcodes": 9}
"""Slots that are cut to and fro: the README counts both ways."""


def read_board(name: str) -> Board:
    known = files(name)
    outline = known.get("outline")
    roles = LayerRoles(
        (), (), (),
        close_gaps=GAPS.get(name, 0.0),
        outline_margin=None if outline else 1.0,
        holes_unit=NO_UNIT.get(name),
    )  # fmt: skip
    bores = tuple(file for role, file in known.items() if role.startswith(("drill", "slots")))
    return read(
        known["copper_bottom"], name=name, shown_as="bottom", layers=roles, unit=None,
        outline_file=outline, holes_files=bores,
    )  # fmt: skip


def test_all_boards_are_listed() -> None:
    assert len(FIGURES) == 17
    assert set(FIGURES) == {path.name for path in FOLDER.iterdir() if path.is_dir()} - {"_features"}
    assert len(HOLES) == 27


@pytest.mark.parametrize("name", FIGURES)
def test_a_board_has_its_pieces_its_size_and_its_holes(name: str) -> None:
    pieces, _, _, area, gap, size, *_ = FIGURES[name]
    board = read_board(name)
    assert len(board.pieces) == int(pieces)
    if "outline" in files(name):
        x0, y0, x1, y1 = board.outline.bounds
        want = [float(side) for side in size.split(" x ")]
        assert [x1 - x0, y1 - y0] == pytest.approx(want, abs=0.001)
    listed = [figures for (of, _), figures in HOLES.items() if of == name]
    rounds = sum(int(total) for total, _ in (_holes(figures) for figures in listed))
    slots = sum(int(figures[1] or 0) for figures in listed) - TO_AND_FRO.get(name, 0)
    assert sum(hole.end is not None for hole in board.holes) == slots
    covered = rounds - TWICE.get(name, 0) - sum(hole.end is None for hole in board.holes)
    assert 0 <= covered <= 3  # holes of one centre are one
    drawn = copper_of("copper_bottom", name)
    edge = sum(shape.length for shape in drawn)  # chords lie within 2 µm of the curves
    assert sum(shape.area for shape in drawn) == pytest.approx(float(area), abs=0.002 * edge)
    away = [
        shapely.STRtree(drawn).query_nearest(drawn, exclusive=True, return_distance=True)[1].min()
    ]
    assert float(away[0]) == pytest.approx(float(gap.split(" at ")[0]), abs=0.002)


def _holes(figures: list[str]) -> tuple[int, str]:
    total = re.search(r"total (\d+)", figures[0])
    assert total is not None
    return int(total[1]), figures[1]


@cache
def copper_of(role: str, board: str) -> list[shapely.Polygon]:
    """The joined copper of a layer."""
    layer = read_layer(files(board)[role].read_bytes(), role)
    return copper.pieces([area for shape in layer.shapes for area in shape.areas])


@pytest.mark.parametrize("name", [n for n, row in FIGURES.items() if row[1] != "-"])
def test_the_top_has_its_pieces(name: str) -> None:
    assert len(copper_of("copper_top", name)) == int(FIGURES[name][1].split()[0])


@pytest.mark.parametrize("name", [key for key in HOLES if "slots" not in key[1]])
def test_a_drill_file_has_its_sizes(name: tuple[str, str]) -> None:
    content = files(name[0])[name[1]].read_bytes()
    if kind_of(content) == "Gerber":
        painted = read_layer(content, "drill").shapes
        sizes = [round(area.bounds[2] - area.bounds[0], 3) for s in painted for area in s.areas]
    else:
        strokes = read_drill(content, "drill", NO_UNIT.get(name[0])).strokes
        sizes = [round(float(s.widths[0]), 3) for s in strokes if s.source.kind == "hole"]
    want = re.findall(r"(\d+) x ([\d.]+)", HOLES[name][0])
    counted = {size: sizes.count(size) for size in sizes}
    # the README rounds to micrometres, half of them up or down
    assert sorted(counted.values()) == sorted(int(count) for count, _ in want)
    assert sorted(counted) == pytest.approx(sorted(float(size) for _, size in want), abs=0.0011)


FEATURES = sorted(path for path in (FOLDER / "_features").glob("*/*") if path.is_file())
REFUSED = {
    "test_syntax_error.gbr": (7, "D99 is not defined"),
    "test_syntax_error.exc": (12, "tool T99"),
    "example_cutin_multiple.gbr": (8, "more digits than the format gives"),
    "am-test_am-test.gbx": (21, "the outline is not closed"),
    "amacro-ref_full-ex.grb": (11, "gives the unit"),
    "amacro-ref_limit-ex.grb": (9, "gives the unit"),
    "ekf_l1.off": (1, "D12 is not defined"),
    "regions--region-with-lines.gbr": (7, "is open"),
}
"""Small files that the specification forbids, with the line and what is wrong there."""
NO_FILES = {"ekf_README", "ekf_ekf.gap"}
"""Neither Gerber nor drill files."""
LISTED = {
    row[0].split("/")[1]: row[1].split(", ")
    for row in rows(4, *{f"{path.parent.name}/" for path in FEATURES})
    if row[1][0].isdigit()
}
COUNTED_WRONG = {"example_level_holes.gbr": ("2", "162.78")}
"""The README says that its own count is wrong here, and which one is right."""


def test_all_small_files_are_there() -> None:
    assert len(FEATURES) == 113
    assert len(LISTED) == 32


@pytest.mark.parametrize("file", FEATURES, ids=lambda path: str(path.name))
def test_a_small_file_is_read_or_refused_with_its_line(file: Path) -> None:
    content = file.read_bytes()
    kind = kind_of(content)
    assert (kind == "") is (file.name in NO_FILES)
    if file.name in REFUSED:
        line, words = REFUSED[file.name]
        with pytest.raises(UnreadableError, match=words) as caught:
            (read_drill if kind == "drill" else read_layer)(content, file.name)
        assert caught.value.line == line
    elif kind == "drill":
        assert read_drill(content, file.name).strokes
    elif kind == "Gerber":
        _compared(file, content)


def _compared(file: Path, content: bytes) -> None:
    """Pieces by the table of the README where it lists the file, and by a picture."""
    painted = [area for s in read_layer(content, file.name).shapes for area in s.areas]
    pieces = copper.pieces(painted)
    if file.name in LISTED:
        count, area = COUNTED_WRONG.get(file.name, LISTED[file.name])
        assert len(pieces) == int(count)
        # the README's reader flattens circles to coarser chords
        total = sum(shape.area for shape in pieces)
        assert total == pytest.approx(float(area), rel=1.5e-3)
    if 0 < len(painted) <= 300 and len(pieces) <= 60:
        _labelled(painted, pieces)


def _labelled(painted: list[shapely.Polygon], pieces: list[shapely.Polygon]) -> None:
    """Each component of a picture of the shapes is one piece, where pixels are fine enough."""
    x0, y0, x1, y1 = shapely.MultiPolygon(painted).bounds if len(painted) == 1 else (
        shapely.total_bounds(np.array(painted, dtype=object)).tolist()
    )  # fmt: skip
    pixel = max(x1 - x0, y1 - y0) / 1200
    if len(pieces) > 1:
        array = np.array(pieces, dtype=object)
        gaps = shapely.STRtree(array).query_nearest(array, exclusive=True, return_distance=True)[1]
        if gaps.min() < 2.5 * pixel:
            return  # a picture of this size does not part them
    image = np.zeros((int((y1 - y0) / pixel) + 3, int((x1 - x0) / pixel) + 3), dtype=bool)
    fill: Any = skimage.draw.polygon
    for area in painted:
        own = np.zeros_like(image)
        for ring, value in ((area.exterior, True), *((ring, False) for ring in area.interiors)):
            xy = (np.asarray(ring.coords) - (x0, y0)) / pixel + 1
            own[fill(xy[:, 1], xy[:, 0], image.shape)] = value
        image |= own
    label: Any = skimage.measure.label
    assert label(image, connectivity=2).max() == len(pieces)


ANSWERS: dict[str, tuple[str, ...]] = {
    "keyboard-inch44": (),
    "mixtape-macros": ("--close-gaps", "0.28"),
    "zvs-mm33": ("--close-gaps", "0.24"),
    "rs232-n2": ("--margin", "1", "--holes-unit", "inch"),
}
"""What `new` asks of a board besides its files and the side that is drawn."""


@pytest.mark.parametrize("name", ANSWERS)
def test_two_answers_leave_nothing_to_fill_in(name: str, tmp_path: Path) -> None:
    """`prepare` makes cut files of these jobs, which takes too long to be tried here."""
    known = files(name)
    job = tmp_path / "job.toml"
    words: list[str | Path] = ["new", known["copper_bottom"], "--drawn-from", "components"]
    words += ["--outline-drawing", known["outline"]] if "outline" in known else []
    for role, file in known.items():
        words += ["--holes-drawing", file] if role.startswith(("drill", "slots")) else []
    done = run(*words, *ANSWERS[name], "--out", job)
    assert done.exit_code == 0, done.output
    assert "left to fill in" not in done.stdout
    plan = load(job)
    closing = {"mixtape-macros": 0.28, "zvs-mm33": 0.24}
    assert plan.boards[0].roles.close_gaps == closing.get(name, 0.0)
    # cut-outs 1.2 mm wide; a speck where the ends of an outline cross is none
    assert plan.profile.cutter.diameter == (1.0 if name == "mixtape-macros" else 2.0)
