"""Keys of a board: how its layers are read, where its outline is, what is selected."""

from __future__ import annotations

from pathlib import Path

import pytest

from millprep.job import load
from millprep.model.job.layers import LayerRoles, Selection
from tests.helpers.sample_job import JOB, changed, messages, write

LAYERS = 'layers = { copper = ["TRACKS"], outline = ["EDGE"], holes = ["PINS"] }\n'
BARE = 'layers = { copper = ["TRACKS"], holes = [] }\n'


def board(text: str) -> str:
    return changed(LAYERS, text, JOB)


def roles(folder: Path, text: str) -> LayerRoles:
    return load(write(folder, board(text))).boards[0].roles


def test_modes_and_widths_are_for_each_layer(tmp_path: Path) -> None:
    found = roles(
        tmp_path,
        """\
layers.copper = ["FOIL", "TRACKS"]
layers.outline = ["EDGE"]
layers.holes = []
layers.modes = { FOIL = "nested outlines", TRACKS = ["strokes", "fills"] }
layers.widths = { TRACKS = 0.5 }
close_gaps = 0.02
""",
    )
    assert found.copper_modes == (
        ("FOIL", "nested outlines"), ("TRACKS", "strokes"), ("TRACKS", "fills"),
    )  # fmt: skip
    assert found.line_widths == (("TRACKS", 0.5),)
    assert found.close_gaps == 0.02


def test_the_outline_may_be_a_size(tmp_path: Path) -> None:
    boxed = roles(tmp_path, BARE + "outline_box = [0, -1.5, 100, 60]\n")
    assert boxed.outline_box == (0.0, -1.5, 100.0, 60.0)
    assert boxed.outline == ()
    assert roles(tmp_path, BARE + "outline_margin = 1.5\n").outline_margin == 1.5


def test_selections(tmp_path: Path) -> None:
    found = roles(
        tmp_path,
        """\
layers = { copper = ["foil"], outline = ["rim"], holes = [] }
[[board.selection]]
name = "foil"
layer = "0"
colour = 1
region = [0, 0, 10, 20]
[[board.selection]]
name = "rim"
line_type = "PHANTOM"
block = "B"
shape = "closed"
""",
    )
    assert found.selections == (
        Selection("foil", layer="0", colour=1, region=(0.0, 0.0, 10.0, 20.0)),
        Selection("rim", line_type="PHANTOM", block="B", shape="closed"),
    )


def test_further_drawings_and_accepted_repairs(tmp_path: Path) -> None:
    (tmp_path / "edge.dxf").touch()
    files = '{ copper = "memory.dxf", outline = "edge.dxf", holes = "memory.dxf" }'
    text = changed('drawing = "memory.dxf"', f"drawing = {files}", JOB)
    text = changed(LAYERS, LAYERS + 'accept_repairs = ["x"]\n', text)
    plan = load(write(tmp_path, text)).boards[0]
    assert [name for _, name in plan.files] == ["memory.dxf", "edge.dxf", "memory.dxf"]
    assert all(file.is_file() for file, _ in plan.files)
    assert plan.accepted == ("x",)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (BARE, [
            "job.toml:17:1: [[board]] 1 layers names no outline: give its layers as "
            "layers.outline, its file as drawing.outline, or outline_box = [x0, y0, x1, y1], or "
            "outline_margin around the copper"
        ]),
        (LAYERS + "outline_margin = 1\n", [
            "job.toml:18:1: [[board]] 1 outline_margin gives the outline that layers.outline "
            "gives too; keep one of them"
        ]),
        (BARE + "outline_margin = 1\noutline_box = [0, 0, 1, 1]\n", [
            "job.toml:18:1: [[board]] 1 outline_margin gives the outline that outline_box "
            "gives too; keep one of them"
        ]),
        (BARE + "outline_box = [0, 0, 0, 1]\n", [
            "job.toml:18:1: [[board]] 1 outline_box must be four plain numbers in mm, [x0, y0, "
            "x1, y1] with x0 < x1 and y0 < y1; got [0, 0, 0, 1]"
        ]),
        (LAYERS + 'outline_drawing = "memory.dxf"\n', [
            "job.toml:18:1: [[board]] 1 outline_drawing is written drawing = { copper = FILE, "
            "outline = FILE } now"
        ]),
        (LAYERS + 'holes_unit = "mm"\n', [
            "job.toml:18:1: [[board]] 1 holes_unit is for drawing.holes, which is not given"
        ]),
        ('layers = { copper = ["T"], outline = ["E"] }\n', [
            "job.toml:17:1: [[board]] 1 layers.holes is missing (layers that hold the holes; [] "
            'for none); needed: a list of layer names, such as ["TRACKS"]'
        ]),
        ('layers = { copper = ["TRACKS"], outline = [], holes = [], modes = { TRACK = "fills" } }'
         "\noutline_margin = 1\n", [
            "job.toml:17:69: [[board]] 1 layers.modes.TRACK is for a layer that layers.copper "
            "does not name; nearest spelling: \"TRACKS\""
        ]),
        ('layers = { copper = ["T"], outline = ["E"], holes = [], modes = { T = "fill" } }\n', [
            'job.toml:17:67: [[board]] 1 layers.modes.T item 1 is "fill"; it must be one of '
            '"strokes", "fills", "nested outlines", "overlapping outlines"; nearest spelling: '
            '"fills"'
        ]),
        ('layers = { copper = ["T"], outline = ["E"], holes = [], modes = { T = "fills" }, '
         "widths = { T = 0.5 } }\n", [
            "job.toml:17:93: [[board]] 1 layers.widths.T gives tracks a width, so layers.modes "
            "must name \"strokes\" too"
        ]),
        (LAYERS + '[[board.selection]]\nname = "a"\n', [
            "job.toml:18:9: [[board.selection]] 1 of board 1 has no condition; give one of "
            "layer, colour, line_type, block, shape, region"
        ]),
        (LAYERS + '[[board.selection]]\nname = "a"\ncolour = 256\n', [
            "job.toml:20:1: [[board.selection]] 1 of board 1 colour must be a whole number, "
            "at least 1 and at most 255; got 256"
        ]),
        (LAYERS + '[[board.selection]]\nname = "a"\nlayer = "b"\n'
         '[[board.selection]]\nname = "A"\nlayer = "b"\n', [
            "job.toml:22:1: [[board.selection]] 2 of board 1 name is there twice: \"A\" "
            "(capitals do not count); choose another"
        ]),
    ],
)  # fmt: skip
def test_contradictions(tmp_path: Path, text: str, said: list[str]) -> None:
    found = messages(tmp_path, board(text))
    assert len(found) == len(said), found
    for message, start in zip(found, said, strict=True):
        assert message.startswith(start), message


@pytest.mark.parametrize(
    ("files", "said"),
    [
        ('"memry.dxf"', [
            'job.toml:15:1: [[board]] 1 drawing is no file: "memry.dxf", seen from the job '
            'file\'s folder; nearest spelling: "memory.dxf"'
        ]),
        ('{ copper = "memory.dxf", outline = "memry.dxf", holes = ["memry.dxf"] }', [
            'job.toml:15:36: [[board]] 1 drawing.outline is no file: "memry.dxf", seen from the '
            'job file\'s folder; nearest spelling: "memory.dxf"',
            'job.toml:15:68: [[board]] 1 drawing.holes item 1 is no file: "memry.dxf", seen from '
            'the job file\'s folder; nearest spelling: "memory.dxf"',
        ]),
        ('{ outline = "memory.dxf", holes = [] }', [
            "job.toml:15:1: [[board]] 1 drawing.copper is missing (the file that draws the "
            "copper); needed: the path of a DXF, Gerber or drill file"
        ]),
        ("3", [
            "job.toml:15:1: [[board]] 1 drawing must be the path of a DXF, Gerber or drill file, "
            'or a table such as { copper = "a.gbr", outline = "b.gbr", holes = ["c"] }; got 3'
        ]),
    ],
)  # fmt: skip
def test_mistakes_in_the_files_of_a_drawing(tmp_path: Path, files: str, said: list[str]) -> None:
    text = changed('drawing = "memory.dxf"', f"drawing = {files}", JOB)
    assert messages(tmp_path, text) == said


def test_files_without_layers_need_no_layers(tmp_path: Path) -> None:
    text = changed(LAYERS, "", JOB)
    files = '{ copper = "memory.dxf", outline = "memory.dxf", holes = [] }'
    text = changed('drawing = "memory.dxf"', f"drawing = {files}", text)
    assert load(write(tmp_path, text)).boards[0].roles == LayerRoles((), (), ())
