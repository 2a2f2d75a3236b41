"""Signs and their legend, earlier passes, facts next to the finger, and what a point snaps to."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from millprep.report.palette import scheme
from tests.helpers.chromium import Opened, open_sheet
from tests.helpers.invented_set import invented

if TYPE_CHECKING:
    from playwright.sync_api import Browser

SET = invented(4)


def rgb(name: str) -> tuple[int, int, int]:
    colour = scheme("light")[name]
    return (int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16))


def switch(opened: Opened, layer: str, on: bool) -> None:
    opened.page.locator(f'[data-layer="{layer}"]').set_checked(on)
    opened.settle()


@pytest.fixture
def phone(started: Browser, two_passes: Path) -> Iterator[Opened]:
    one = open_sheet(started, two_passes, size=(390, 844), has_touch=True, is_mobile=True)
    yield one
    one.page.context.close()
    assert one.said == []
    assert one.asked == []


def test_the_legend_names_each_sign_of_the_set(memory: Opened) -> None:
    words = memory.page.locator("#review-signs").inner_text()
    for sign in (
        "work zero", "Z touch point", "locating hole with its pin", "slot: fixes the turn",
        "key: fits one way only", "check cross", "vernier", "clamp",
    ):  # fmt: skip
        assert sign in words
    assert memory.page.locator("#review-signs canvas").count() == len(words.splitlines())


def test_work_zero_of_the_pass_is_marked(opened: Opened) -> None:
    opened.page.select_option("#review-pass", "1")
    for layer in ("clamps", "windows"):
        switch(opened, layer, False)
    zero = SET.passes[0].pose.inverse().point((0.0, 0.0))
    opened.page.locator("#review-fit").click()
    opened.settle()
    scale = opened.view()[2]
    # on the arrow along X, clear of the ring
    on_axis = (zero[0] + 20 / scale, zero[1])
    assert max(opened.colour(*on_axis)) < 128  # the rim of a line is half as dark
    switch(opened, "zero", False)
    assert min(opened.colour(*on_axis)) > 128


def test_what_earlier_passes_cut_is_grey(opened: Opened) -> None:
    program = SET.programs[0]
    pose = SET.passes[0].pose.inverse()
    index = max(
        (i for i in range(3, 400) if program.moves[i].motion == "feed"),
        key=lambda i: math.dist(program.moves[i][1:3], program.moves[i - 1][1:3]),
    )
    a, b = (pose.point(program.moves[i][1:3]) for i in (index - 1, index))
    middle = ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
    opened.page.select_option("#review-pass", "2")
    switch(opened, "paths", True)
    opened.zoom_to(*middle, 25)
    assert opened.colour(*middle) == rgb("earlier_pass")


def test_the_panel_stands_still_under_the_pointer(opened: Opened) -> None:
    def below() -> float:
        box = opened.page.locator("#review-findings").bounding_box()
        assert box is not None
        return box["y"]

    before = below()
    for hole in SET.blanks[0].cuts.holes[:3]:
        opened.page.mouse.move(*opened.at(*hole.at))
        opened.settle()
        assert opened.fact("Diameter")
        assert below() == before


def test_on_a_phone_facts_are_next_to_the_finger(phone: Opened) -> None:
    hole = SET.blanks[0].cuts.holes[0].at
    pop = phone.page.locator("#review-pop")
    assert not pop.is_visible()
    x, y = phone.at(*hole)
    phone.page.touchscreen.tap(x, y)
    phone.settle()
    assert "Hole h" in pop.inner_text()
    box, drawing = pop.bounding_box(), phone.canvas.bounding_box()
    assert box is not None
    assert drawing is not None
    assert drawing["x"] <= box["x"]
    assert box["x"] + box["width"] <= drawing["x"] + drawing["width"]
    assert min(abs(box["y"] - y), abs(box["y"] + box["height"] - y)) < 20
    phone.page.locator("#review-unpin").tap()
    assert not pop.is_visible()


def test_a_line_leads_to_the_pointer_while_measuring(opened: Opened) -> None:
    opened.zoom_to(100.0, 60.0, 10)
    opened.page.locator("#review-measure").click()
    x, y = opened.at(100.0, 60.0)
    opened.page.keyboard.down("Shift")
    opened.page.mouse.click(x, y)
    opened.page.mouse.move(x + 120, y)
    opened.settle()

    def dark() -> int:
        scale = opened.view()[2]
        along = [opened.colour(100.0 + k / scale, 60.0) for k in range(30, 60)]
        return sum(max(colour) < 128 for colour in along)

    # the line is dashed, 6 pixels and 4 between
    assert dark() >= 15
    opened.page.keyboard.up("Shift")
    opened.page.keyboard.press("Escape")
    opened.settle()
    assert dark() < 10


def test_the_edge_of_the_blank_is_a_target(opened: Opened) -> None:
    for layer in ("clamps", "windows"):
        switch(opened, layer, False)
    opened.zoom_to(0.0, 70.0, 10)
    opened.page.locator("#review-measure").click()
    x, y = opened.at(0.0, 70.0)
    opened.page.mouse.click(x + 5, y)
    assert opened.page.locator("#review-x0").input_value() == "0.000"
