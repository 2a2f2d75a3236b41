"""Restart points on the drawing, and the commands that the review offers for a place."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from millprep.geometry.pose import Pose
from tests.helpers.chromium import Opened

PASS = 2


def restart_points(file: Path) -> dict[int, tuple[int, float, float]]:
    """Line of the first move that feeds, x and y of every restart point, by number."""
    found: dict[int, tuple[int, float, float]] = {}
    here = {"X": 0.0, "Y": 0.0}
    number = None
    for line, words in enumerate(file.read_text("ascii").splitlines(), 1):
        said = re.fullmatch(r"\(restart point (\d+)\)", words)
        if said:
            number = int(said[1])
        elif number is not None and words.startswith("G1"):
            found[number] = (line, here["X"], here["Y"])
            number = None
        if not words.startswith("("):
            here |= {axis: float(value) for axis, value in re.findall(r"([XY])(-?[\d.]+)", words)}
    return found


@pytest.mark.parametrize("program", ["*-isolate-vee.ngc", "*-drill-1.1.ngc", "*-profile-2.0.ngc"])
def test_a_restart_point_says_its_line_and_its_command(
    memory: Opened, memory_board: Path, program: str
) -> None:
    (file,) = memory_board.glob(f"blank-1/pass-{PASS}/{program}")
    name = file.relative_to(memory_board).as_posix()
    report = json.loads((memory_board / "report.json").read_text("utf-8"))
    (row,) = [each for each in report["passes"] if each["number"] == PASS]
    pose = Pose(*row["blank_to_machine"]).inverse()
    memory.page.select_option("#review-pass", str(PASS))
    memory.page.select_option("#review-program", label=name)
    memory.page.locator('[data-layer="restarts"]').check()
    points = restart_points(file)
    assert sorted(points) == list(range(1, len(points) + 1))
    for number in (1, len(points) // 2, len(points)):
        line, x, y = points[number]
        place = pose.point((x, y))
        memory.zoom_to(*place, 30)
        memory.page.mouse.click(*memory.at(*place))
        memory.settle()
        assert str(line) in memory.fact("Line")
        commands = [words.removesuffix(" Copy") for words in memory.fact("Make it again")]
        folder = memory_board.name
        assert f"millprep resume {folder} {name} --after {number} --out NEW" in commands


def test_a_command_is_copied(memory: Opened) -> None:
    memory.page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    memory.page.select_option("#review-pass", "1")
    memory.page.mouse.click(*memory.at(10.0, 10.0))
    memory.settle()
    memory.page.get_by_role("button", name="Copy").first.click()
    memory.page.get_by_role("button", name="Copied").wait_for()
    text = memory.page.evaluate("navigator.clipboard.readText()")
    assert text == "millprep begin memory-board --pass 1"


def test_a_registration_hole_offers_the_refit(memory: Opened, memory_board: Path) -> None:
    report = json.loads((memory_board / "report.json").read_text("utf-8"))
    hole = next(hole for row in report["passes"] for hole in row["registration"])
    x, y = hole["blank"]
    memory.zoom_to(x, y, 20)
    memory.page.mouse.move(*memory.at(x, y))
    memory.settle()
    (words,) = memory.fact("Once measured")
    assert words.startswith("millprep refit memory-board READINGS.toml --pass 2 --out NEW")


def test_a_restart_point_is_found_by_its_number(memory: Opened, memory_board: Path) -> None:
    (file,) = memory_board.glob(f"blank-1/pass-{PASS}/*-drill-1.1.ngc")
    name = file.relative_to(memory_board).as_posix()
    memory.page.locator("#review-find").fill("restart point 3 drill-1.1")
    memory.page.locator(".hit", has_text=name).first.click()
    memory.settle()
    _, x, y = restart_points(file)[3]
    report = json.loads((memory_board / "report.json").read_text("utf-8"))
    (stage,) = (p for p in report["passes"] if p["number"] == PASS)
    here = Pose(*stage["blank_to_machine"]).inverse().point((x, y))
    assert memory.view()[:2] == pytest.approx(here, abs=0.01)
    assert "Restart point 3" in memory.page.locator("#review-here").inner_text()
