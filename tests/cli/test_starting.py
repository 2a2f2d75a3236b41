"""What a starter job is written from: answers by options, and what the files say of themselves."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from ezdxf.layouts.layout import Modelspace

from millprep.cli.starting import shown
from millprep.job import load
from millprep.model.job.board import BoardPlan
from tests.helpers import small_job
from tests.helpers.small_job import run


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def new(*words: str) -> str:
    """What `new` leaves open in a job for a drawing."""
    Path("job.toml").unlink(missing_ok=True)
    done = run("new", *words, "--out", "job.toml")
    assert done.exit_code == 0, done.output
    head, _, left = done.stdout.strip().partition("left to fill in: ")
    return left if left else head.partition(";")[0]


def board() -> BoardPlan:
    """The board of the job, which loads as it is."""
    return load(Path("job.toml")).boards[0]


LAMP = ("lamp.dxf", "--drawn-from", "copper")
SHEEN = (*LAMP, "--copper-layer", "sheen")


def bare(space: Modelspace) -> None:
    """A track and an outline of no width in an edge."""
    small_job.edge(space)
    words = {"layer": "sheen"}
    space.add_lwpolyline([(8, 6), (22, 6)], dxfattribs=words)
    space.add_lwpolyline([(8, 14), (12, 14), (12, 17), (8, 17)], close=True, dxfattribs=words)


def track(space: Modelspace) -> None:
    """Tracks of no width alone."""
    small_job.edge(space)
    space.add_lwpolyline([(8, 6), (22, 6)], dxfattribs={"layer": "sheen"})


def bold(space: Modelspace) -> None:
    """The same with a track that has its width."""
    bare(space)
    small_job.track(space, [(20, 14), (24, 14)], width=1.0)


def test_a_layer_named_as_copper_leaves_open_what_its_readings_do() -> None:
    for draw, left in ((bare, "layers.modes"), (bold, "layers.modes"), (track, "layers.widths")):
        small_job.draw(Path("lamp.dxf"), draw)
        assert new(*SHEEN) == left


def test_a_layer_of_texts_named_as_copper_is_refused_by_name() -> None:
    def draw(space: Modelspace) -> None:
        small_job.whole(space)
        space.add_text("R1", dxfattribs={"layer": "scrawl"}).set_placement((15.0, 7.0))

    small_job.draw(Path("lamp.dxf"), draw)
    done = run("new", *LAMP, "--copper-layer", "scrawl")
    assert done.exit_code == 3
    assert "the copper layers hold no copper; name the layer that holds tracks" in done.stderr


def test_a_width_is_for_layers_whose_lines_have_none() -> None:
    strokes = ("--mode", "strokes", "--track-width", "0.6")
    small_job.draw(Path("lamp.dxf"), bare)
    assert new(*SHEEN, *strokes) == "wrote job.toml"
    assert board().roles.line_widths == (("sheen", 0.6),)
    small_job.draw(Path("lamp.dxf"), bold)
    assert new(*SHEEN, *strokes) == "wrote job.toml"
    assert board().roles.copper_modes == (("sheen", "strokes"),)
    assert board().roles.line_widths == ()
    small_job.draw(Path("lamp.dxf"), track)
    assert new(*SHEEN, "--track-width", "0.6") == "wrote job.toml"
    assert board().roles.line_widths == (("sheen", 0.6),)


def test_of_two_layers_of_holes_none_is_taken_unasked() -> None:
    def draw(space: Modelspace) -> None:
        small_job.whole(space)
        for x in (4.0, 26.0):
            space.add_circle((x, 17.0), 1.6, dxfattribs={"layer": "bolts"})

    small_job.draw(Path("lamp.dxf"), draw)
    assert new(*SHEEN) == "layers.holes"
    text = Path("job.toml").read_text("utf-8")
    assert "bolts: 2 circles" in text
    assert "wells: 3 circles" in text


def test_a_layer_of_the_drawing_of_the_edge_may_be_named() -> None:
    def edges(space: Modelspace) -> None:
        small_job.edge(space)
        corners = [(1, 1), (29, 1), (29, 19), (1, 19)]
        space.add_lwpolyline(corners, close=True, dxfattribs={"layer": "rim"})

    small_job.draw(Path("edge.dxf"), edges)
    small_job.draw(Path("lamp.dxf"), small_job.copper)
    words = (*LAMP, "--outline-drawing", "edge.dxf", "--outline-layer")
    assert new(*words, "RIM") == "wrote job.toml"
    assert board().roles.outline == ("rim",)
    done = run("new", *words, "rims")
    assert done.exit_code == 3
    assert 'Nothing is drawn on a layer "rims"; nearest spelling: "rim"' in done.stderr


@pytest.mark.parametrize(
    ("function", "side"),
    [
        ("Copper,L1,Top", "copper"),
        ("Copper,L2,Bot", "components"),
        ("Copper,L2,Bot,Signal", "components"),
        ("Copper,L2,Inr", None),
        ("Copper", None),
        ("Other,L2,Bot", None),
        ("Profile,NP", None),
    ],
)
def test_a_gerber_file_says_which_side_it_draws(function: str, side: str | None) -> None:
    Path("copper.gbr").write_text(
        f"%TF.FileFunction,{function}*%%FSLAX34Y34*%%MOMM*%%ADD10C,2.0*%"
        "D10*X50000Y50000D03*X150000Y50000D03*M02*"
    )
    left = new("copper.gbr", "--margin", "1")
    assert left == ("wrote job.toml" if side else "drawn_from")
    if side:
        assert board().drawn_from == side


def test_a_box_is_the_size_of_a_board_that_cannot_be_read_yet() -> None:
    small_job.draw(Path("lamp.dxf"), bare)
    assert new(*SHEEN, "--outline", "0,0,31,22") == "layers.modes"
    # and 10 mm around it
    assert "size = [51, 42]" in Path("job.toml").read_text("utf-8")


def test_a_drawing_on_another_drive_is_named_in_full(monkeypatch: pytest.MonkeyPatch) -> None:
    file = Path("drawings") / "lamp.dxf"
    assert shown(file, Path("jobs")) == "../drawings/lamp.dxf"

    def apart(*_: object) -> str:
        raise ValueError("path is on mount 'D:', start on mount 'C:'")

    monkeypatch.setattr(os.path, "relpath", apart)
    assert shown(file, Path("jobs")) == file.resolve().as_posix()
