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
    text = LAYERS + 'outline_drawing = "edge.dxf"\nholes_drawing = "memory.dxf"\n'
    plan = load(write(tmp_path, board(text + 'accept_repairs = ["x"]\n'))).boards[0]
    assert [name for _, name in plan.files] == ["memory.dxf", "edge.dxf", "memory.dxf"]
    assert all(file.is_file() for file, _ in plan.files)
    assert plan.accepted == ("x",)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (BARE, [
            "job.toml:17:1: [[board]] 1 layers names no outline: give its layers as "
            "layers.outline, or outline_box = [x0, y0, x1, y1], or outline_margin around the copper"
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
        (BARE + 'outline_margin = 1\noutline_drawing = "memory.dxf"\n', [
            "job.toml:19:1: [[board]] 1 outline_drawing needs layers.outline, the layers in it "
            "that draw the outline"
        ]),
        (BARE + 'outline_margin = 1\nholes_drawing = "memory.dxf"\n', [
            "job.toml:19:1: [[board]] 1 holes_drawing needs layers.holes, the layers in it that "
            "draw the holes"
        ]),
        (LAYERS + 'outline_drawing = "memry.dxf"\n', [
            "job.toml:18:1: [[board]] 1 outline_drawing is no file: \"memry.dxf\", seen from the "
            "job file's folder; nearest spelling: \"memory.dxf\""
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
