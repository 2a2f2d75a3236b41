"""Offcuts: a set on one is proved again, its boards are held by what there is of it."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest
import shapely

from millprep.model.set_of_programs import CutSet
from millprep.workflow.lay_out import lay_out
from millprep.workflow.laying import Choice
from millprep.workflow.prepare import prepare
from millprep.workflow.verify import verify
from tests.helpers import small_job
from tests.helpers.laminate import left
from tests.helpers.small_job import changed, run

CORNERS = ((0.0, 0.0), (120.0, 0.0), (120.0, 25.0), (80.0, 25.0), (80.0, 84.0), (0.0, 84.0))
PLACES = """
[[board.place]]
at = [47.5, 40.0]
[[board.place]]
at = [84.0, 2.5]

[cutters.vee]"""
"""Both boards lie so near to the missing corner that their kerf leaves half a millimetre there."""
TEXT = changed(
    "[cutters.vee]",
    PLACES,
    changed(
        "size = [60.0, 50.0]\nmargin = 10.0",
        f"size = [120.0, 84.0]\nmargin = 2.5\noutline = {[list(c) for c in CORNERS]}",
        changed(
            "drawn_from",
            "count = 2\ndrawn_from",
            changed('preset = "small-mill-300"', 'preset = "small-mill-300"\ntravel_margin = 0.0'),
        ),
    ),
)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, CutSet]:
    folder = tmp_path_factory.mktemp("offcut")
    cut_set = prepare(small_job.put(folder, TEXT), folder / "out", choice=Choice("low"))
    return folder / "out", cut_set


@pytest.fixture(scope="module")
def offcut(made: tuple[Path, CutSet]) -> Path:
    return made[0]


def test_a_set_on_an_offcut_is_proved_again(offcut: Path) -> None:
    report = json.loads((offcut / "report.json").read_text("utf-8"))
    (blank,) = report["blanks"]
    assert [tuple(corner) for corner in blank["outline"]] == list(CORNERS)
    done = verify(offcut)
    assert done.good
    assert [f for f in done.findings if f.severity == "stop"] == []
    (known,) = done.layout.blanks
    assert known.outline is not None
    assert known.outline.equals(shapely.Polygon(CORNERS))


def test_tabs_end_in_laminate_that_there_is(offcut: Path) -> None:
    """Above the tabs both boards are free, where the tabs are they hang together with the rest."""
    laminate = shapely.Polygon(CORNERS)
    above = left(offcut, "mill", -1.18, laminate, 1.0)
    below = left(offcut, "mill", -1.22, laminate, 1.0)
    boards = [part for part in above if 550 < part.area < 601]
    assert len(boards) == 2
    firm = max(below, key=lambda part: part.area)
    assert all(firm.contains(board.representative_point()) for board in boards)


def test_no_tab_leads_to_the_missing_corner(made: tuple[Path, CutSet]) -> None:
    """A rim of half a millimetre is left there: as if the rectangle were whole, it would do."""
    _, cut_set = made
    boards = [p.pose.shape(p.board.outline) for p in cut_set.layout.placements]
    kerfs = shapely.union_all([board.buffer(2.0, join_style="mitre") for board in boards])
    firm = shapely.Polygon(CORNERS).difference(kerfs).buffer(-0.74).buffer(0.74)
    notch = shapely.box(80, 25, 120, 84)
    assert max(board.distance(notch) for board in boards) < 3.0
    for one in (p for blank in cut_set.blanks for p in blank.cuts.profiles):
        assert one.tabs
        for tab in one.tabs:
            middle = shapely.Point(one.path.point_at((tab.start + tab.end) / 2))
            assert firm.distance(middle) <= 1.0 + 0.05


def test_a_set_holds_its_layout_and_what_is_left_of_its_blanks(offcut: Path) -> None:
    said = tomllib.loads((offcut / "layout.toml").read_text("utf-8"))
    (blank,) = said["blank"]
    assert [tuple(corner) for corner in blank["outline"]] == list(CORNERS)
    assert len(blank["boards"]) == 2
    hashed = {one["file"] for one in json.loads((offcut / "report.json").read_text())["files"]}
    layouts = {path.name for path in offcut.glob("layout*.toml")}
    assert "layout.toml" in layouts
    assert layouts <= hashed
    # the same files as `millprep layout` writes
    job_file = offcut.parent / "job.toml"
    run("layout", job_file, "--out", offcut.parent / "layout.toml", "--effort", "low")
    for name in layouts:
        assert (offcut.parent / name).read_bytes() == (offcut / name).read_bytes()


def test_a_later_run_takes_the_places_of_a_set(offcut: Path, tmp_path: Path) -> None:
    job_file = small_job.put(tmp_path, TEXT)
    done = run("prepare", job_file, "--out", tmp_path / "out", "--layout", offcut / "layout.toml")
    assert done.exit_code == 0, done.output
    assert (tmp_path / "out" / "layout.toml").read_bytes() == (offcut / "layout.toml").read_bytes()
    # and replaces the whole set, layout and offcuts with it
    again = run("prepare", job_file, "--out", tmp_path / "out", "--effort", "low")
    assert again.exit_code == 0, again.output


def test_an_altered_layout_is_found_by_its_hash(offcut: Path, tmp_path: Path) -> None:
    job_file = small_job.put(tmp_path, TEXT)
    prepare(job_file, tmp_path / "out", choice=Choice("low"))
    file = tmp_path / "out" / "layout.toml"
    file.write_text(file.read_text("utf-8") + "# moved\n", "utf-8")
    assert "layout.toml" in {f.file for f in verify(tmp_path / "out").findings}


def test_an_offcut_file_is_there_for_every_blank_that_leaves_one(tmp_path: Path) -> None:
    text = changed("60.0, 50.0", "200.0, 60.0", changed("drawn_from", "count = 2\ndrawn_from"))
    job_file = small_job.put(tmp_path, text)
    prepare(job_file, tmp_path / "out", choice=Choice("low"))
    (one,) = lay_out(job_file, Choice("low")).blanks
    assert one.offcut is not None
    said = tomllib.loads((tmp_path / "out" / "layout-offcut-1.toml").read_text("utf-8"))
    x0, _, x1, _ = one.offcut.bounds
    assert said["blank"]["size"][0] == pytest.approx(x1 - x0)
