"""A job with a netlist, from its files to its set: names, refusals, and what the job may say."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from ezdxf.layouts.layout import Modelspace

from millprep.job import load
from millprep.workflow.inputs import read_boards
from millprep.workflow.nets import facts
from tests.helpers.small_job import JOB, Draw, changed, put, run, whole

NETS = "net,x,y,part,pin\nGLOW,8,6,R1,1\nGLOW,22,6,R1,2\nFREE,15,14,J1,\n"
BOARD = 'drawing = "lamp.dxf"\n'


def named(folder: Path, what: Draw, *given: str) -> tuple[list[tuple[str, ...]], list[str]]:
    """The pieces of every net that a job names in a drawing, and what is wrong with the others."""
    rows = "".join(f'[[board.net]]\nname = "n{n}"\n{key}\n' for n, key in enumerate(given))
    plan = load(put(folder, changed("[cutters.vee]", f"{rows}\n[cutters.vee]"), what))
    by_board, misfits = facts(plan.boards, read_boards(plan), 20.0)
    return [net.pieces for net in by_board["lamp"]], [misfit.words for misfit in misfits]


def scrawled(*texts: tuple[str, float, float]) -> Draw:
    def draw(space: Modelspace) -> None:
        whole(space)
        for words, x, y in texts:
            space.add_text(words, dxfattribs={"layer": "scrawl"}).set_placement((x, y))

    return draw


def test_a_point_in_a_hole_is_on_the_copper_around_it(tmp_path: Path) -> None:

    def ringed(space: Modelspace) -> None:
        """The lamp with a pad that is drawn as a ring, with nothing where its hole is."""
        whole(space)
        ring = [(23.0, 14.0, 0.8, 0.8, 1.0), (25.0, 14.0, 0.8, 0.8, 1.0)]
        space.add_lwpolyline(ring, close=True, dxfattribs={"layer": "sheen"})
        space.add_circle((24.0, 14.0), 0.5, dxfattribs={"layer": "wells"})

    pieces, wrong = named(tmp_path, ringed, "at = [8.0, 6.0]", "at = [24.2, 14.0]")
    assert (pieces, wrong) == ([("c1",), ("c3",)], [])
    _, (words,) = named(tmp_path, ringed, "at = [28.0, 14.0]")
    assert words.startswith("is 28, 14 mm, where there is no copper")


def test_a_text_on_two_nets_is_said_where_it_is_on_copper(tmp_path: Path) -> None:
    """The first of its places is on no copper, so it is none of the two."""
    draw = scrawled(("B+", 3.0, 18.0), ("B+", 16.0, 14.9), ("B+", 9.0, 6.9))
    pieces, (words,) = named(tmp_path, draw, 'text = "B+"')
    assert pieces == []
    assert "which is on different nets, at 16, 14.9 mm and 9, 6.9 mm; give a point" in words


def test_a_text_that_is_not_there_is_answered_with_those_that_are(tmp_path: Path) -> None:
    texts = [(f"T{n:02}", 2.0 + n, 18.0) for n in range(14)]
    pieces, (words,) = named(tmp_path, scrawled(*texts), 'text = "B+"')
    assert pieces == []
    assert words.endswith("; it says 'T00', " + ", ".join(f"'T{n:02}'" for n in range(1, 12))
                          + " and 2 more")  # fmt: skip


def job(folder: Path, nets: str = NETS, keys: str = "", more: str = "") -> Path:
    (folder / "lamp.csv").write_text(nets, "utf-8")
    text = changed(BOARD, f'{BOARD}netlist = "lamp.csv"\nnetlist_offset = [0, 0]\n{keys}')
    return put(folder, changed("[cutters.vee]\n", f"{more}[cutters.vee]\n", text))


def codes(path: Path) -> dict[str, str]:
    rows = json.loads(path.read_text("utf-8"))["findings"]
    return {row["code"]: row["message"] for row in rows}


def test_a_set_names_nets_parts_and_pins(tmp_path: Path) -> None:
    result = run("prepare", job(tmp_path), "--out", tmp_path / "set")
    assert result.exit_code == 0, result.output
    report = json.loads((tmp_path / "set" / "report.json").read_text("utf-8"))
    assert [row["file"] for row in report["inputs"]] == ["job.toml", "lamp.dxf", "lamp.csv"]
    pieces = {row["net"]: row["pins"] for row in report["boards"][0]["pieces"]}
    assert pieces == {"GLOW": ["R1 pin 1", "R1 pin 2"], "FREE": ["J1"]}
    found = codes(tmp_path / "set" / "report.json")
    assert "3 of 3 drilled points hit holes" in found["netlist-placed"]
    with (tmp_path / "set" / "buzz-out.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    (row,) = [row for row in rows if row["expect"] == "continuity"]
    assert {row["pin_1"], row["pin_2"]} == {"R1 pin 1", "R1 pin 2"}
    assert row["net_1"] == "GLOW"
    assert run("verify", tmp_path / "set").exit_code == 0


def lettered(space: Modelspace) -> None:
    """The lamp with a text between two pads, one beside the third, and one far away."""
    whole(space)
    for words, x, y in (("R1", 14.2, 6.5), ("J1", 15.0, 16.0), ("X9", 70.0, 6.0)):
        space.add_text(words, dxfattribs={"layer": "scrawl"}).set_placement((x, y))


def test_texts_of_the_drawing_name_parts_where_no_netlist_does(tmp_path: Path) -> None:
    text = changed('outline = ["shore"]', 'outline = ["shore"], parts = ["scrawl"]')
    result = run("prepare", put(tmp_path, text, lettered), "--out", tmp_path / "set")
    assert result.exit_code == 0, result.output
    report = json.loads((tmp_path / "set" / "report.json").read_text("utf-8"))
    assert [row["pins"] for row in report["boards"][0]["pieces"]] == [["R1"], ["J1"]]
    assert [row["net"] for row in report["boards"][0]["pieces"]] == ["c1", "c2"]
    found = codes(tmp_path / "set" / "report.json")
    assert "'X9' names no part" in found["part-name-far"]
    assert "drawing-left-out" not in found
    assert "R1 8, 6 – R1 22, 6" in (tmp_path / "set" / "sheet.html").read_text("utf-8")
    with (tmp_path / "set" / "buzz-out.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert {(row["pin_1"], row["pin_2"]) for row in rows} == {("R1", "R1"), ("R1", "J1")}
    assert run("verify", tmp_path / "set").exit_code == 0


def test_an_open_net_refuses_the_set_unless_it_is_ignored(tmp_path: Path) -> None:
    open_net = NETS.replace("FREE", "GLOW")
    result = run("prepare", job(tmp_path, open_net), "--out", tmp_path / "set")
    assert result.exit_code == 1
    assert "Net GLOW is open" in result.output
    assert "J1" in result.output
    assert not (tmp_path / "set").exists()
    ignored = job(tmp_path, open_net, 'ignore_nets = ["GLOW"]\n')
    assert run("check", ignored).exit_code == 0
    wired = job(tmp_path, open_net, "links = [[[8, 6], [15, 14]]]\n")
    assert run("check", wired).exit_code == 0


@pytest.mark.parametrize(
    ("keys", "more", "words"),
    [
        ('ignore_nets = ["GLOWW"]\n', "", "ignore_nets item 1 names 'GLOWW', which is no net"),
        (
            "",
            '[[board.net]]\nname = "free"\nat = [8, 6]\n',
            "at is on the copper of 'GLOW' of the netlist",
        ),
        ("netlist_mirrored = 1\n", "", "netlist_mirrored must be true or false"),
    ],
)
def test_a_job_that_contradicts_its_netlist(
    keys: str, more: str, words: str, tmp_path: Path
) -> None:
    result = run("check", job(tmp_path, keys=keys, more=more))
    assert result.exit_code == 2
    assert words in result.output


def test_the_job_names_a_net_as_it_likes(tmp_path: Path) -> None:
    more = '[[board.net]]\nname = "heater"\nat = [8, 6]\n'
    assert run("prepare", job(tmp_path, more=more), "--out", tmp_path / "set").exit_code == 0
    report = json.loads((tmp_path / "set" / "report.json").read_text("utf-8"))
    assert {row["net"] for row in report["boards"][0]["pieces"]} == {"heater", "FREE"}


def test_the_job_may_name_a_net_as_the_netlist_does_and_give_no_place(tmp_path: Path) -> None:
    volts = '[[board.net]]\nname = "GLOW"\nvolts = 6.3\n'
    assert run("prepare", job(tmp_path, more=volts), "--out", tmp_path / "set").exit_code == 0
    report = json.loads((tmp_path / "set" / "report.json").read_text("utf-8"))
    assert {row["net"] for row in report["boards"][0]["pieces"]} == {"GLOW", "FREE"}
    assert report["boards"][0]["rules"] is not None
    result = run("check", job(tmp_path, more=volts.replace("GLOW", "GLOWW")))
    assert result.exit_code == 2
    assert "name is 'GLOWW', which is no net of the netlist" in result.output


def test_a_net_that_is_called_like_a_piece_gets_a_longer_name(tmp_path: Path) -> None:
    """Otherwise the piece of that name would count as one net with it."""
    nets = NETS.replace("GLOW", "c2")
    assert run("prepare", job(tmp_path, nets), "--out", tmp_path / "set").exit_code == 0
    report = json.loads((tmp_path / "set" / "report.json").read_text("utf-8"))
    assert {row["net"] for row in report["boards"][0]["pieces"]} == {"net c2", "FREE"}


@pytest.mark.parametrize("at", ["8", "[8]", "[]"])
def test_a_place_with_a_mistake_is_not_called_missing(at: str, tmp_path: Path) -> None:
    bad = changed("[cutters.vee]\n", f'[[board.net]]\nname = "A"\nat = {at}\n[cutters.vee]\n')
    result = run("check", put(tmp_path, bad))
    assert result.exit_code == 2
    assert "names no place" not in result.output
    assert result.output.count("stop:") == 1


def test_keys_of_a_netlist_need_one(tmp_path: Path) -> None:
    path = put(tmp_path, changed(BOARD, f"{BOARD}netlist_offset = [0, 0]\n", JOB))
    result = run("check", path)
    assert result.exit_code == 2
    assert "netlist_offset is for a netlist, and the board has none" in result.output
    (tmp_path / "lamp.csv").unlink(missing_ok=True)
    path = put(tmp_path, changed(BOARD, f'{BOARD}netlist = "lamp.csv"\n'))
    result = run("check", path)
    assert result.exit_code == 2
    assert 'netlist is no file: "lamp.csv"' in result.output
