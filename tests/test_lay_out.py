"""`millprep layout`: places, figures and files; a stored layout is kept, an edited one proved."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest
import shapely

from millprep import job
from millprep.workflow.lay_out import lay_out, offcut_text, row, texts
from millprep.workflow.laying import Choice
from tests.helpers import long_and_small
from tests.helpers.small_job import changed, put, run

SIX = changed("drawn_from", "count = 6\ndrawn_from", changed("60.0, 50.0", "200.0, 120.0"))


@pytest.fixture
def job_file(tmp_path: Path) -> Path:
    return put(tmp_path, SIX)


def test_it_writes_the_layout_a_picture_and_the_offcut(job_file: Path) -> None:
    out = job_file.parent / "lay" / "six.toml"
    result = run("layout", job_file, "--out", out, "--effort", "low")
    assert result.exit_code == 0, result.output
    assert "blank 1: 6 boards fill" in result.stdout
    assert "1 blank; the minimum is 1" in result.stdout
    names = ["six-blank-1.png", "six-offcut-1.toml", "six.toml"]
    assert sorted(path.name for path in out.parent.iterdir()) == names
    said = tomllib.loads(out.read_text("utf-8"))
    assert [one["copy"] for one in said["blank"][0]["boards"]] == [1, 2, 3, 4, 5, 6]


def test_a_later_job_takes_the_offcut_as_its_blank(job_file: Path) -> None:
    out = job_file.parent / "six.toml"
    run("layout", job_file, "--out", out, "--effort", "low")
    left = (job_file.parent / "six-offcut-1.toml").read_text("utf-8")
    text = changed('[blank]\npreset = "fr4-1.6-35"\nsize = [60.0, 50.0]\nmargin = 10.0\n', left)
    folder = job_file.parent / "later"
    folder.mkdir()
    (blank,) = job.load(put(folder, text)).blanks
    report = json.loads(run("layout", job_file, "--json", "--effort", "low").stdout)
    (one,) = report["blanks"]
    x0, y0, x1, y1 = shapely.Polygon(one["offcut"]).bounds
    assert blank.size == pytest.approx((x1 - x0, y1 - y0))
    assert blank.grade == "FR-4"
    assert x0 == pytest.approx(one["used_length"] + job.load(job_file).blanks[0].spacing)


def test_a_blank_on_which_nothing_lies_has_no_figures_and_no_offcut(tmp_path: Path) -> None:
    """The only board is put on the second of two blanks by hand."""
    text = changed("size = [60.0, 50.0]", "size = [100.0, 50.0]\ncount = 2")
    place = "[[board.place]]\nat = [10.0, 15.0]\nblank = 2\n\n[cutters.vee]"
    made = lay_out(put(tmp_path, changed("[cutters.vee]", place, text)), Choice("low"))
    assert [(blank.number, [name for name, _ in blank.boards]) for blank in made.blanks] == [
        (2, ["lamp 1"])
    ]
    assert [blank["number"] for blank in row(made)["blanks"]] == [2]
    assert made.used == (40.0,)
    said = run("layout", tmp_path / "job.toml").stdout
    assert "blank 2: 1 board fills 25.0 % of the usable area (the best possible)" in said
    assert "\n1 blank; the minimum is 1\n" in said
    assert set(texts(made.laid, made.plan)) == {"layout.toml", "layout-offcut-2.toml"}


def test_an_offcut_that_is_no_rectangle_is_the_blank_of_a_later_job(tmp_path: Path) -> None:
    """Of an offcut itself, sawn off at X 30: a step of 20 mm is left in its corner."""
    (blank,) = job.load(put(tmp_path)).blanks
    corners = [(30.0, 0.0), (60.0, 0.0), (60.0, 30.0), (50.0, 30.0), (50.0, 50.0), (30.0, 50.0)]
    text = offcut_text(shapely.Polygon(corners), 2, "lamp", blank)
    assert text.startswith("# What is left of blank 2 of the job 'lamp'")
    old = '[blank]\npreset = "fr4-1.6-35"\nsize = [60.0, 50.0]\nmargin = 10.0\n'
    (left,) = job.load(put(tmp_path, changed(old, text))).blanks
    assert left.outline is not None
    assert shapely.Polygon(left.outline).equals(
        shapely.Polygon([(x - 30.0, y) for x, y in corners])
    )
    same = (left.size, left.thickness, left.copper, left.margin, left.grade)
    assert same == ((30.0, 50.0), 1.6, 0.035, 10.0, "FR-4")


def test_the_figures_as_json(job_file: Path) -> None:
    report = json.loads(run("layout", job_file, "--json", "--effort", "low").stdout)
    (one,) = report["blanks"]
    assert one["covered"] == pytest.approx(6 * 30 * 20 / (180 * 100), abs=1e-4)
    assert one["covered"] <= one["most_covered"] <= 1
    assert (report["least_blanks"], len(report["boards"]), report["files"]) == (1, 6, [])


def test_what_does_not_fit_is_reported_and_the_rest_is_laid_out(job_file: Path) -> None:
    small = put(job_file.parent, changed("200.0, 120.0", "90.0, 80.0", SIX))
    result = run("layout", small, "--json", "--effort", "low")
    assert result.exit_code == 1
    report = json.loads(result.stdout)
    assert [f["code"] for f in report["findings"]] == ["blanks-used-up"]
    assert 1 <= len(report["boards"]) < 6


def test_a_layout_that_may_have_been_edited_is_not_replaced(job_file: Path) -> None:
    out = job_file.parent / "six.toml"
    assert run("layout", job_file, "--out", out, "--effort", "low").exit_code == 0
    before = out.read_text("utf-8")
    result = run("layout", job_file, "--out", out)
    assert result.exit_code == 2
    assert "may have been edited by hand" in result.stderr
    # its own places may be written again, in this file or in another
    assert run("layout", job_file, "--out", out, "--layout", out).exit_code == 0
    assert out.read_text("utf-8") == before


def test_an_edited_layout_is_refused_with_its_line(job_file: Path) -> None:
    out = job_file.parent / "six.toml"
    run("layout", job_file, "--out", out, "--effort", "low")
    lines = out.read_text("utf-8").splitlines()
    (row,) = [n for n, line in enumerate(lines) if "copy =   3" in line]
    lines[row] = '  {board = "lamp", copy = 3, x = 175, y = 60},'
    out.write_text("\n".join(lines), "utf-8")
    stored = put(job_file.parent, changed("[setup]", '[layout]\nfile = "six.toml"\n\n[setup]', SIX))
    for command, target in (("layout", "new.toml"), ("prepare", "set")):
        result = run(command, stored, "--out", job_file.parent / target)
        assert result.exit_code == 1
        assert "lamp copy 3 leaves blank 1" in result.stderr
        assert f"six.toml line {row + 1}" in result.stderr


def test_a_picture_is_the_same_each_time(job_file: Path) -> None:
    for name in ("one", "two"):
        run("layout", job_file, "--out", job_file.parent / f"{name}.toml", "--effort", "low")
    one, two = ((job_file.parent / f"{n}-blank-1.png").read_bytes() for n in ("one", "two"))
    assert one == two


def test_the_picture_of_a_blank_that_is_moved_shows_where_passes_meet(tmp_path: Path) -> None:
    clamp = "[[setup.clamp]]\nbox = [270, 170, 295, 200]\nheight = 5\n"
    (one,) = lay_out(long_and_small.put(tmp_path, setup=clamp), Choice("low")).blanks
    (line,) = one.join_lines
    # across the whole blank, whose width of 200 mm the machine reaches
    assert line.length == pytest.approx(200.0)
    crossed = {name for name, area in one.boards if area.crosses(line)}
    assert crossed == {"long 1"}
    # the clamp is on the blank in both passes, at two places
    assert len(one.keep_outs) == 2
    # a blank that is not moved has none
    (still,) = lay_out(put(tmp_path, SIX), Choice("low")).blanks
    assert still.join_lines == ()
