"""Everything a person may get wrong: exit code, place, remedy, and nothing written."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result
from ezdxf.layouts.layout import Modelspace

from tests.helpers import small_job
from tests.helpers.small_job import changed, copper, edge, pad, put, run, track, whole


def refused(folder: Path, code: int) -> list[str]:
    """Prepare the job in a folder: the lines said on stderr; checks what was written."""
    before = sorted(folder.rglob("*"))
    result = run("prepare", folder / "job.toml", "--out", folder / "set")
    assert result.exit_code == code, result.output
    assert result.stdout == ""
    *said, last = result.stderr.replace(str(folder), "DIR").splitlines()
    after = [path for path in sorted(folder.rglob("*")) if path not in before]
    if code in (1, 3):
        assert last == "refused, nothing was written to DIR/set; see DIR/set-refused"
        assert all(path.is_relative_to(folder / "set-refused") for path in after)
        assert not [path for path in after if path.suffix == ".ngc"]
        report = json.loads((folder / "set-refused" / "report.json").read_text("utf-8"))
        assert any(finding["severity"] == "stop" for finding in report["findings"])
    else:
        assert last == "refused, nothing was written to DIR/set"
        assert after == []
    return said


def test_the_whole_job_is_taken(tmp_path: Path) -> None:
    put(tmp_path)
    result = run("prepare", tmp_path / "job.toml", "--out", tmp_path / "set")
    assert result.exit_code == 0, result.output
    (line,) = result.stderr.splitlines()
    assert "[nets-not-named]" in line
    assert "2 copper pieces, 0 shorts, 0 opens" in result.stdout


# Drawings.


def test_an_empty_file(tmp_path: Path) -> None:
    put(tmp_path)
    (tmp_path / "lamp.dxf").write_bytes(b"")
    assert refused(tmp_path, 3) == [
        "stop: lamp.dxf is an empty file; export it again [drawing-empty] (lamp, lamp.dxf)"
    ]


def test_a_drawing_without_entities(tmp_path: Path) -> None:
    put(tmp_path, what=lambda space: None)
    assert refused(tmp_path, 3) == [
        "stop: the model space of lamp.dxf holds no entities; export the board's layers into "
        "the model space [drawing-empty] (lamp, lamp.dxf)"
    ]


def test_a_file_that_is_no_drawing(tmp_path: Path) -> None:
    put(tmp_path)
    (tmp_path / "lamp.dxf").write_bytes(b"%PDF-1.7\n")
    (said,) = refused(tmp_path, 3)
    assert "lamp.dxf is no DXF, Gerber or drill file, but like a PDF file; export" in said


def test_a_drawing_that_breaks_off(tmp_path: Path) -> None:
    put(tmp_path)
    whole_file = (tmp_path / "lamp.dxf").read_bytes()
    (tmp_path / "lamp.dxf").write_bytes(whole_file[: len(whole_file) // 2])
    said = refused(tmp_path, 3)
    assert said
    assert all(line.startswith("stop: ") and "lamp.dxf" in line for line in said)


def test_a_drawing_without_unit(tmp_path: Path) -> None:
    put(tmp_path, unit=0)
    (said,) = refused(tmp_path, 3)
    assert "the drawing does not say its unit" in said
    assert "mm makes it 30.00 × 20.00 mm, inch makes it 762.00 × 508.00 mm" in said
    assert "say the unit of lamp.dxf in the job, as unit [drawing-no-unit] (lamp, lamp.dxf)" in said


def test_the_unit_said_in_the_job_mends_that(tmp_path: Path) -> None:
    put(tmp_path, changed("drawn_from", 'unit = "mm"\ndrawn_from'), unit=0)
    assert run("prepare", tmp_path / "job.toml", "--out", tmp_path / "set").exit_code == 0


def test_an_open_outline(tmp_path: Path) -> None:
    def gapped(space: Modelspace) -> None:
        edge(space, gap=0.4)
        copper(space)

    put(tmp_path, what=gapped)
    (said,) = refused(tmp_path, 3)
    assert "layer 'shore', LINE" in said
    assert "ends at (0.0000, 0.0000) and goes on at (0.0000, 0.4000) mm, 0.4000 mm away" in said
    assert "; close the gap in the drawing" in said
    assert "[outline-open]" in said
    assert said.endswith("(lamp, lamp.dxf, at 0.000, 0.000 mm, drawing frame)")


def test_copper_on_no_layer(tmp_path: Path) -> None:
    put(tmp_path, what=edge)
    said = refused(tmp_path, 3)
    assert said[0] == (
        "stop: layer 'sheen' (copper) is in the drawing, but nothing is drawn on it; name the "
        "layer that holds it, or leave this one out of the job [copper-empty] (lamp, lamp.dxf)"
    )


def test_a_layer_that_is_not_there(tmp_path: Path) -> None:
    put(tmp_path, changed('"sheen"', '"sheeen"'))
    (said,) = refused(tmp_path, 3)
    assert "the drawing has no layer 'sheeen' (copper); did you mean 'sheen'?" in said
    assert "[layer-absent] (lamp, lamp.dxf)" in said


def test_the_faults_of_all_drawings_at_once(tmp_path: Path) -> None:
    start = small_job.JOB.index("[[board]]")
    end = small_job.JOB.index("[cutters.vee]")
    second = small_job.JOB[start:end].replace('"lamp"', '"bell"').replace("lamp.dxf", "bell.dxf")
    put(tmp_path, small_job.JOB[:end] + second + small_job.JOB[end:], unit=0)
    small_job.draw(tmp_path / "bell.dxf", lambda space: None)
    said = refused(tmp_path, 3)
    assert ["[drawing-no-unit] (lamp, lamp.dxf)" in said[0], len(said)] == [True, 2]
    assert "[drawing-empty] (bell, bell.dxf)" in said[1]


# Job files.


def test_a_missing_drawing(tmp_path: Path) -> None:
    put(tmp_path)
    (tmp_path / "lamp.dxf").rename(tmp_path / "lampe.dxf")
    (said,) = refused(tmp_path, 2)
    assert "DIR/job.toml:16:1: [[board]] 1 drawing is no file" in said
    assert 'nearest spelling: "lampe.dxf" [job-missing-file]' in said


FIVE = (
    ("tape = true", 'tape = "yes"'),
    ('drawn_from = "copper"', 'drawn_from = "cooper"'),
    ('preset = "drill-1.0"', 'preset = "drill-9.9"'),
    ("gap = 0.3", "gap = -1"),
    ('cutter = "mill"', 'cutter = "mil"'),
)


def test_five_mistakes_in_a_job(tmp_path: Path) -> None:
    text = small_job.JOB
    for old, new in FIVE:
        text = changed(old, new, text)
    put(tmp_path, text)
    said = refused(tmp_path, 2)
    assert [line.split(" ")[1] for line in said] == [
        f"DIR/job.toml:{line}:1:" for line in (12, 17, 24, 30, 38)
    ]
    for line, words in zip(
        said,
        (
            "[setup] tape must be true, false or a list of areas in mm, [[x0, y0, x1, y1], …]; got",
            'got "cooper"; nearest spelling: "copper" [job-bad-value]',
            'no cutter preset: "drill-9.9"; nearest spelling: "drill-',
            '[isolation] gap must be a plain number in mm, above 0 and at most 20, or "by voltage"',
            '"mil"; nearest spelling: "mill"; defined: "vee", "drill", "mill"',
        ),
        strict=True,
    ):
        assert words in line


def test_a_job_that_is_not_toml(tmp_path: Path) -> None:
    put(tmp_path, changed("gap = 0.3", "gap = 0.3 mm"))
    (said,) = refused(tmp_path, 2)
    assert said.startswith("stop: DIR/job.toml:30:")
    assert "a number has no unit after it: lengths are in mm" in said


def test_a_missing_job(tmp_path: Path) -> None:
    (said,) = refused(tmp_path, 2)
    assert said == (
        "stop: DIR/job.toml:1:1: the job file cannot be read: No such file or directory "
        "[job-missing-file] (DIR/job.toml line 1)"
    )


def test_a_folder_for_a_job(tmp_path: Path) -> None:
    (tmp_path / "job.toml").mkdir()
    (said,) = refused(tmp_path, 2)
    assert "the job file cannot be read" in said


# What cannot be cut.


def large(space: Modelspace) -> None:
    """A board too long both ways for the machine."""
    edge(space, scale=12.0)
    copper(space)


LARGE = changed("size = [60.0, 50.0]", "size = [400.0, 300.0]")


def test_registration_holes_that_nothing_makes(tmp_path: Path) -> None:
    put(tmp_path, LARGE, large)
    said = refused(tmp_path, 1)
    sizes = [re.findall(r"[0-9.]+ mm", line)[0] for line in said]
    # the hole, the slot, the key, and their pins
    assert sizes == ["3.02 mm", "3.02 mm", "4 mm", "2.98 mm"]
    assert "Name a drill of that size or a thinner end mill in [registration] cutters." in said[0]


def test_a_board_beyond_every_plan_of_passes(tmp_path: Path) -> None:
    machine = 'preset = "small-mill-300"'
    put(tmp_path, changed(machine, f"{machine}\ntravel = [100, 100]", LARGE), large)
    (said,) = refused(tmp_path, 1)
    assert "no room for three registration holes of pass 7: its window reaches no edge" in said
    assert "several boards with a [[blank]] spacing of at least 12 mm" in said


def test_a_board_beyond_its_blank(tmp_path: Path) -> None:
    put(tmp_path, changed("size = [60.0, 50.0]", "size = [40.0, 40.0]"))
    (said,) = refused(tmp_path, 1)
    assert "Board lamp is 30.00 × 20.00 mm and fits no blank of the job." in said
    assert "Use a blank of at least 50.00 × 40.00 mm" in said


def test_a_groove_shallower_than_the_copper(tmp_path: Path) -> None:
    put(tmp_path, changed("gap = 0.3", "gap = 0.3\ndepth = 0.05"))
    (said,) = refused(tmp_path, 1)
    assert "which leaves 0.030 mm for 0.035 mm of copper" in said
    assert "Set depth above 0.055. [copper-not-cut-through]" in said


def test_the_depth_it_names_is_enough(tmp_path: Path) -> None:
    put(tmp_path, changed("gap = 0.3", "gap = 0.3\ndepth = 0.056"))
    assert run("prepare", tmp_path / "job.toml", "--out", tmp_path / "set").exit_code == 0


def test_a_gap_that_no_cutter_fits(tmp_path: Path) -> None:
    def narrow(space: Modelspace) -> None:
        whole(space)
        # the long track reaches up to y 6.5, this one down to 6.6
        track(space, [(12.0, 6.7), (18.0, 6.7)], width=0.2)

    put(tmp_path, what=narrow)
    (said,) = refused(tmp_path, 1)
    assert "Gap of 0.100 mm between " in said
    assert "the 0.143 mm groove of the finest cutter does not fit" in said
    assert "[gap-too-narrow] (lamp copy 1, blank 1, at " in said
    assert "Use a cutter" in said or "Set [isolation] depth" in said
    # place: between the tracks, which lie 15 mm further in on the blank
    x, y = said.split(" at ")[-1].split(" mm")[0].split(", ")
    assert 27.0 <= float(x) <= 33.0
    assert float(y) == pytest.approx(15.0 + 6.55, abs=0.06)


def test_a_hole_without_drill(tmp_path: Path) -> None:
    def odd(space: Modelspace) -> None:
        whole(space)
        pad(space, 22.0, 14.0, hole=1.7)

    put(tmp_path, what=odd)
    (said,) = refused(tmp_path, 1)
    assert "No drill for 1 hole(s) of 1.700 mm: the job lists 1 mm" in said
    assert "Add a drill to [drilling] cutters" in said
    assert said.endswith("(lamp copy 1, blank 1, at 22.000, 14.000 mm, drawing frame)")


CLAMP = "[[setup.clamp]]\nbox = [25.0, -10.0, 35.0, 16.0]\nheight = {}"


def test_a_clamp_in_the_way_of_a_cut(tmp_path: Path) -> None:
    put(tmp_path, changed("tape = true", CLAMP.format("4.0")))
    (line,) = refused(tmp_path, 1)
    assert "the clamp at X25 to 35, Y-10 to 16 is in the way of a cut" in line
    assert "Move the clamp. It is in the way of 2 programs. [clamp-hit]" in line
    assert "(blank 1, pass 1, blank-1/pass-1/" in line
    assert line.endswith("at 30.000, 3.000 mm, machine frame)")


def test_a_clamp_in_the_way_of_a_rapid(tmp_path: Path) -> None:
    """It says what to raise or to lower, and for which clamp only that serves."""
    neighbour = "touch = [4.0, 4.0]\n" + CLAMP.replace("16.0]", "9.0]")
    put(tmp_path, changed("tape = true", neighbour.format("6.0")))
    (line,) = refused(tmp_path, 1)
    assert "passes the clamp at X25 to 35, Y-10 to 9, 6 mm high, by less than" in line
    assert "Raise [machine] clearance to 8, use a lower clamp, or move it." in line
    assert "[rapid-over-clamp] (blank 1, pass 1, " in line
    put(tmp_path, changed("tape = true", neighbour.format("27.0")))
    line, warned = sorted(refused(tmp_path, 1))
    assert "the collet nut must stay 2 mm off it" in line
    assert "Move the clamp, or let the cutter stick out farther." in line
    assert "there is no dry run around the cuts" in warned


def test_a_link_that_ends_on_no_copper(tmp_path: Path) -> None:
    put(tmp_path, changed("drawn_from", "links = [[[8.0, 6.0], [15.0, 10.0]]]\ndrawn_from"))
    (said,) = refused(tmp_path, 1)
    assert "A jumper wire ends at 15, 10 mm of the drawing, where there is no copper" in said


# Usage.


@pytest.mark.parametrize(
    ("words", "remedy"),
    [
        (["prepare", "job"], "name a folder with --out"),
        (["prepare"], "Missing argument 'JOB.toml...'"),
        (["prepare", "job.toml", "--out", "set", "--sail"], "No such option '--sail'"),
        (["demo"], "Missing argument 'DIR'"),
        (["anchor"], "No such command 'anchor'"),
        (["schema", "--tabel"], "--table"),
    ],
)
def test_a_mistake_of_usage(words: list[str], remedy: str) -> None:
    result = run(*words)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert remedy in result.stderr
    assert result.stderr.startswith("Usage: millprep ")


def test_a_file_where_the_set_should_go(tmp_path: Path) -> None:
    put(tmp_path)
    (tmp_path / "set").write_text("mine")
    result = run("prepare", tmp_path / "job.toml", "--out", tmp_path / "set")
    assert result.exit_code == 2
    assert (tmp_path / "set").read_text() == "mine"


def test_a_place_where_nothing_can_be_written(tmp_path: Path) -> None:
    put(tmp_path)
    (tmp_path / "shelf").write_text("mine")
    result = run("prepare", tmp_path / "job.toml", "--out", tmp_path / "shelf" / "set")
    assert result.exit_code == 1
    assert "set cannot be written (Not a directory). What was there is as it was." in result.stderr
    assert "[output-not-writable]" in result.stderr


def as_json(folder: Path) -> tuple[Result, list[dict[str, object]]]:
    result = run("prepare", folder / "job.toml", "--out", folder / "set", "--json")
    return result, json.loads(result.stdout)["findings"]


@pytest.mark.parametrize(
    ("spoil", "code", "finding"),
    [
        (lambda text: changed("gap = 0.3", "gap = -1", text), 2, "job-bad-value"),
        (lambda text: changed('"sheen"', '"sheeen"', text), 3, "layer-absent"),
        (lambda text: changed("0.3", "0.3\ndepth = 0.05", text), 1, "copper-not-cut-through"),
    ],
)
def test_a_refusal_in_json(
    tmp_path: Path, spoil: Callable[[str], str], code: int, finding: str
) -> None:
    put(tmp_path, spoil(small_job.JOB))
    result, findings = as_json(tmp_path)
    assert result.exit_code == code
    assert [found["code"] for found in findings] == [finding]
    assert "stop: " in result.stderr


def test_a_set_in_json(tmp_path: Path) -> None:
    put(tmp_path)
    result, _ = as_json(tmp_path)
    assert result.exit_code == 0
    assert result.stdout == (tmp_path / "set" / "report.json").read_text("utf-8")


def test_what_is_left_out_of_a_used_layer_deserves_a_look(tmp_path: Path) -> None:
    def with_stray(space: Modelspace) -> None:
        small_job.whole(space)
        space.add_line((5, 5), (5, 5), dxfattribs={"layer": "sheen"})
        space.add_line((6, 5), (6, 5), dxfattribs={"layer": "remarks"})

    put(tmp_path, small_job.JOB, with_stray)
    result, _ = as_json(tmp_path)
    assert result.exit_code == 0
    said = result.stderr.splitlines()
    (warned,) = [
        line for line in said if line.startswith('warning: 1 LINE entity on layer "sheen" ignored')
    ]
    assert "look whether it is missing on the board" in warned
    assert any(line.startswith('note: 1 LINE entity on layer "remarks" ignored') for line in said)
