"""Forty mistakes that people make in a job: each answer names the place and the remedy, shortly."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.helpers.small_job import changed, put, run

LONGEST = 300
"""Three lines of a terminal."""
CLAMP = "tape = true\n[[setup.clamp]]\nbox = {}\nheight = {}"
MISTAKES = {
    "decimal comma": ("gap = 0.3", "gap = 0,3", 2, "a number has a point"),
    "unit in a text": ("gap = 0.3", 'gap = "0.3 mm"', 2, "must be a plain number in mm"),
    "mils taken for mm": ("gap = 0.3", "gap = 8", 0, "draw them farther apart, or set a smaller"),
    "negative gap": ("gap = 0.3", "gap = -0.3", 2, "above 0 and at most 20"),
    "no gap": ("gap = 0.3", "gap = 0", 2, "above 0 and at most 20"),
    "truth for a number": ("gap = 0.3", "gap = true", 2, "must be a plain number in mm"),
    "key misspelt": ("gap = 0.3", "gap = 0.3\nflatnes = 0.1", 2, "nearest spelling: flatness"),
    "key with a capital": ("tape = true", "tape = true\nClamp = 1", 2, "nearest spelling: clamp"),
    "table misspelt": ("[profile]", "[profil]", 2, "nearest spelling: profile"),
    "key twice": ("gap = 0.3", "gap = 0.3\ngap = 0.4", 2, "keep one of them"),
    "blank in inches": ("[60.0, 50.0]", "[2.4, 2.0]", 2, "(mm, not inches)"),
    "blank turned": ("[60.0, 50.0]", "[45.0, 60.0]", 1, "swap the two numbers of [[blank]] size"),
    "blank of one number": ("[60.0, 50.0]", "[60.0]", 2, "two plain numbers in mm"),
    "blank in words": ("[60.0, 50.0]", '"60 x 50"', 2, "two plain numbers in mm"),
    "margin eats the blank": ("margin = 10.0", "margin = 30.0", 2, "be below 25 mm"),
    "drawing that is not there": ('"lamp.dxf"', '"lampe.dxf"', 2, 'nearest spelling: "lamp.dxf"'),
    "path with backslashes": ('"lamp.dxf"', '"C:\\boards\\lamp.dxf"', 2, "write a path with /"),
    "text without quotes": ('"copper"\n', "copper\n", 2, "a text is between quotes"),
    "quote that does not end": ('"lamp.dxf"', '"lamp.dxf', 2, "no quote at its end"),
    "a wrong side": ('"copper"\n', '"top"\n', 2, 'must be "components" or "copper"'),
    "no side": ('drawn_from = "copper"\n', "", 2, 'needed: "components" or "copper"'),
    "layer misspelt": ('["sheen"]', '["sheet"]', 3, "did you mean 'sheen'?"),
    "layer as a text": ('["sheen"]', '"sheen"', 2, "must be a list of layer names"),
    "layers swapped": (
        'copper = ["sheen"], outline = ["shore"]', 'copper = ["shore"], outline = ["sheen"]',
        3, "check whether the layers of copper and outline are swapped",
    ),
    "copper named as holes": ('["wells"]', '["sheen"]', 0, "name the layer in layers.holes"),
    "no outline": ('outline = ["shore"], ', "", 2, "give its layers as layers.outline"),
    "unit misspelt": ('"copper"\n', '"copper"\nunit = "milimeter"\n', 2, 'must be "mm", "inch"'),
    "unit against the file": ('"copper"\n', '"copper"\nunit = "inch"\n', 3, "take the unit out"),
    "preset misspelt": ('"drill-1.0"', '"drill-9.9"', 2, "millprep schema lists all"),
    "machine misspelt": ('"small-mill-300"', '"small-mil-300"', 2, 'spelling: "small-mill-300"'),
    "cutter misspelt": ('cutter = "mill"', 'cutter = "mil"', 2, 'nearest spelling: "mill"'),
    "drill that isolates": ('cutters = ["vee"]', 'cutters = ["drill"]', 2, "vee or endmill"),
    "vee that drills": ('cutters = ["drill"]', 'cutters = ["vee"]', 2, "must be of kind drill"),
    "cutter wider than the gap": ('["vee"]', '["mill"]', 0, "use a narrower or shallower groove"),
    "groove too shallow": ("gap = 0.3", "gap = 0.3\ndepth = 0.03", 1, "Set depth above 0.055"),
    "groove too deep": ("gap = 0.3", "gap = 0.3\ndepth = 3", 1, "set depth below 1.5"),
    "depth with a minus": ("gap = 0.3", "gap = 0.3\ndepth = -0.1", 2, "above 0 and at most 5"),
    "clamp on the board": ("tape = true", CLAMP.format("[20, 10, 40, 30]", 5), 1, "Move the clamp"),
    "clamp corners swapped": ("tape = true", CLAMP.format("[8, 8, 0, 0]", 5), 2, "with x0 < x1"),
    "nothing holds the blank": ("tape = true", "tape = false", 2, "or say tape = true"),
    "spoilboard too thin": ("spoilboard = 6.0", "spoilboard = 0.2", 2, "use a thicker board"),
    "no copies": ('name = "lamp"', 'name = "lamp"\ncount = 0', 2, "at least 1"),
    "copies in words": ('name = "lamp"', 'name = "lamp"\ncount = "two"', 2, "a whole number"),
    "origin off the machine": ("tape = true", "tape = true\norigin = [400, 0]", 2, "lie below"),
}  # fmt: skip


def test_there_are_forty() -> None:
    assert len(MISTAKES) >= 40


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_has_its_place_and_remedy_in_three_lines(mistake: str, tmp_path: Path) -> None:
    old, new, code, remedy = MISTAKES[mistake]
    file = put(tmp_path, changed(old, new))
    done = run("prepare", file, "--out", tmp_path / "set")
    assert done.exit_code == code, done.stderr
    said = [line for line in done.stderr.splitlines() if line.startswith(("stop", "warning"))]
    lines = [line.replace(f"{tmp_path}/", "") for line in said]
    assert 1 <= len(lines) <= 3
    (line,) = [line for line in lines if remedy in line]
    # where: a line of the job, or what it is about
    assert "job.toml" in line or "lamp" in line or "[isolation]" in line or "blank 1" in line
    # what a pair of brackets at the end adds is for the place alone
    assert all(len(line.rsplit(" [", 1)[0]) <= LONGEST for line in lines)
    assert (tmp_path / "set").exists() == (code == 0)
