"""Fingers on the drawing: one moves it, two zoom and move it, and the page itself stays put."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tests.helpers.chromium import Opened, open_sheet

if TYPE_CHECKING:
    from playwright.sync_api import Browser

Point = tuple[float, float]
STEPS = 12


@pytest.fixture(params=[(320, 568), (390, 844)], ids=["320", "390"])
def phone(started: Browser, two_passes: Path, request: pytest.FixtureRequest) -> Iterator[Opened]:
    one = open_sheet(
        started, two_passes, size=request.param, has_touch=True, is_mobile=True,
        device_scale_factor=2,
    )  # fmt: skip
    yield one
    one.page.context.close()
    assert one.said == []
    assert one.asked == []


class Fingers:
    """Touches sent to the browser as a touch screen sends them."""

    def __init__(self, opened: Opened) -> None:
        self.opened = opened
        self.wire = opened.page.context.new_cdp_session(opened.page)

    def send(self, kind: str, points: list[Point], first: int = 0) -> None:
        """An event with fingers numbered from `first` on; at the end of a touch, those lifted."""
        touches = [{"x": x, "y": y, "id": n} for n, (x, y) in enumerate(points, first)]
        self.wire.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": touches})

    def move(self, first: list[Point], last: list[Point]) -> None:
        """All fingers from their first to their last places, down and up again."""
        self.send("touchStart", first)
        for k in range(1, STEPS + 1):
            share = k / STEPS
            self.send(
                "touchMove",
                [(a[0] + (b[0] - a[0]) * share, a[1] + (b[1] - a[1]) * share)
                 for a, b in zip(first, last, strict=True)],
            )  # fmt: skip
        self.send("touchEnd", [])
        self.opened.settle()


def middle(opened: Opened) -> Point:
    box = opened.canvas.bounding_box()
    assert box is not None
    return (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)


def place(opened: Opened, at: Point) -> Point:
    """What place of the blank stands at a point of the window."""
    x, y, scale, up, width, height = opened.view()
    box = opened.canvas.bounding_box()
    assert box is not None
    dx, dy = at[0] - box["x"] - width / 2, at[1] - box["y"] - height / 2
    return (x + dx / scale, y + up * dy / scale)


def scrolled(opened: Opened) -> Any:
    return opened.page.evaluate("[scrollX, scrollY, visualViewport.scale]")


def test_two_fingers_apart_bring_what_is_between_them_nearer(phone: Opened) -> None:
    x, y = middle(phone)
    aside = (x + 40, y + 25)
    held, was = place(phone, aside), phone.view()[2]
    before = scrolled(phone)
    Fingers(phone).move(
        [(aside[0] - 20, aside[1]), (aside[0] + 20, aside[1])],
        [(aside[0] - 60, aside[1]), (aside[0] + 60, aside[1])],
    )
    assert phone.view()[2] / was == pytest.approx(3.0, rel=0.02)
    # the place between the fingers stays there, to a pixel
    assert place(phone, aside) == pytest.approx(held, abs=1.0 / phone.view()[2])
    assert scrolled(phone) == before


def test_two_fingers_together_and_aside_zoom_out_and_move(phone: Opened) -> None:
    x, y = middle(phone)
    fingers = Fingers(phone)
    fingers.move([(x - 15, y), (x + 15, y)], [(x - 75, y), (x + 75, y)])
    held, was = place(phone, (x, y)), phone.view()[2]
    fingers.move([(x - 60, y - 30), (x + 60, y + 30)], [(x, y - 5), (x + 60, y + 25)])
    there = (x + 30, y + 10)
    assert phone.view()[2] / was == pytest.approx(0.5, rel=0.02)
    assert place(phone, there) == pytest.approx(held, abs=1.5 / phone.view()[2])


def test_one_finger_moves_the_drawing_and_not_the_page(phone: Opened) -> None:
    x, y = middle(phone)
    fingers = Fingers(phone)
    fingers.move([(x - 15, y), (x + 15, y)], [(x - 75, y), (x + 75, y)])
    held, before = place(phone, (x, y)), scrolled(phone)
    fingers.move([(x, y)], [(x - 50, y - 40)])
    assert place(phone, (x - 50, y - 40)) == pytest.approx(held, abs=8 / phone.view()[2])
    assert scrolled(phone) == before


def test_a_finger_that_stays_after_a_pinch_goes_on_moving(phone: Opened) -> None:
    x, y = middle(phone)
    fingers = Fingers(phone)
    fingers.send("touchStart", [(x - 20, y), (x + 20, y)])
    fingers.send("touchMove", [(x - 60, y), (x + 60, y)])
    fingers.send("touchEnd", [(x + 60, y)], first=1)
    held, scale = place(phone, (x - 60, y)), phone.view()[2]
    for k in range(1, 11):
        fingers.send("touchMove", [(x - 60 + 3 * k, y)])
    fingers.send("touchEnd", [])
    phone.settle()
    assert phone.view()[2] == scale
    assert place(phone, (x - 30, y)) == pytest.approx(held, abs=1.0 / scale)
    # and no tap comes of it
    assert phone.page.locator("#review-here dl").count() == 0


def test_a_tap_tells_what_is_there(phone: Opened) -> None:
    x, y = middle(phone)
    fingers = Fingers(phone)
    fingers.send("touchStart", [(x, y)])
    fingers.send("touchEnd", [])
    phone.settle()
    assert phone.fact("On the blank")


def test_fingers_that_were_taken_away_by_the_system_are_forgotten(phone: Opened) -> None:
    x, y = middle(phone)
    fingers = Fingers(phone)
    fingers.send("touchStart", [(x - 20, y), (x + 20, y)])
    fingers.send("touchCancel", [])
    was = phone.view()
    fingers.move([(x, y)], [(x + 30, y)])
    assert phone.view()[2] == was[2]
    assert phone.view()[0] != was[0] or phone.view()[2] < 1.2
