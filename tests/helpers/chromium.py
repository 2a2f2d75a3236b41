"""A real browser, Debian's chromium, driven by Playwright and cut off from every network.

It is found as `chromium` on PATH; `.ci/run` installs it. Tests skip when it is not there.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Locator, Page

PAINTED = "() => Number(document.getElementById('review-canvas').dataset.painted) > 0"
SETTLED = """() => new Promise((done) => {
  const canvas = document.getElementById("review-canvas");
  let last = null;
  let same = 0;
  const look = () => {
    const now = `${canvas.dataset.painted} ${canvas.dataset.view} ${canvas.dataset.busy}`;
    same = now === last && canvas.dataset.busy === "false" ? same + 1 : 0;
    last = now;
    if (same > 2) done(true);
    else requestAnimationFrame(look);
  };
  look();
})"""


def executable() -> str | None:
    """The browser's file, or None; with MILLPREP_REQUIRE_BROWSER set, None is an error."""
    found = shutil.which("chromium")
    if found is None and os.environ.get("MILLPREP_REQUIRE_BROWSER"):
        raise FileNotFoundError("MILLPREP_REQUIRE_BROWSER is set and there is no chromium")
    return found


@contextmanager
def browser() -> Iterator[Browser]:
    """The browser, started and ended."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        # Containers run as root, where the browser's own sandbox cannot be set up.
        started = driver.chromium.launch(executable_path=executable(), args=["--no-sandbox"])
        try:
            yield started
        finally:
            started.close()


USUAL_FONTS = ("Arial", "Liberation Sans", "Helvetica")
"""The plan is set in the first of these that there is."""
HAS_FONT = """(name) => {
  const on = document.createElement("canvas").getContext("2d");
  const width = (font) => {
    on.font = `100px ${font}`;
    return on.measureText("millprep").width;
  };
  return width(`"${name}", monospace`) !== width("monospace");
}"""


def has_usual_font(started: Browser) -> bool:
    """Whether there is a font that the plan is meant for; without one a wide one is made narrow.

    With MILLPREP_REQUIRE_BROWSER set it must be there.
    """
    page = started.new_page()
    found = any(page.evaluate(HAS_FONT, name) for name in USUAL_FONTS)
    page.close()
    if not found and os.environ.get("MILLPREP_REQUIRE_BROWSER"):
        raise FileNotFoundError("MILLPREP_REQUIRE_BROWSER is set and there is no usual font")
    return found


@dataclass
class Opened:
    """A sheet in the browser, and what it did beside showing itself.

    Attributes:
        said: messages on the console, and errors nobody caught.
        asked: requests for anything but the page itself and data within it.
    """

    page: Page
    said: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    @property
    def canvas(self) -> Locator:
        return self.page.locator("#review-canvas")

    def settle(self) -> None:
        """Wait until nothing is painted any more."""
        self.page.evaluate(SETTLED)

    def view(self) -> tuple[float, float, float, float, float, float]:
        """Middle in mm, pixels for a mm, 1 when y grows downward else -1, width, height."""
        view = self.canvas.get_attribute("data-view")
        assert view is not None
        x, y, scale, up, width, height = map(float, view.split())
        return x, y, scale, up, width, height

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Where a place of the blank stands in the window, pixels."""
        mx, my, scale, up, width, height = self.view()
        box = self.canvas.bounding_box()
        assert box is not None
        return (
            box["x"] + width / 2 + (x - mx) * scale,
            box["y"] + height / 2 + up * (y - my) * scale,
        )

    def colour(self, x: float, y: float) -> tuple[int, int, int]:
        """The colour that the canvas shows at a place of the blank."""
        px, py = self.at(x, y)
        found: list[int] = self.page.evaluate(
            """([px, py]) => {
              const canvas = document.getElementById("review-canvas");
              const box = canvas.getBoundingClientRect();
              const k = canvas.width / box.width;
              const copy = document.createElement("canvas");
              copy.width = copy.height = 1;
              const c = copy.getContext("2d", { willReadFrequently: true });
              const [x, y] = [(px - box.left) * k, (py - box.top) * k].map(Math.floor);
              c.drawImage(canvas, -x, -y);
              return [...c.getImageData(0, 0, 1, 1).data];
            }""",
            [px, py],
        )
        return (found[0], found[1], found[2])

    def zoom_to(self, x: float, y: float, scale: float) -> None:
        """Show all, then bring a place near by wheel, at this scale or a little more."""
        self.page.locator("#review-fit").click()
        self.settle()
        for _ in range(60):
            px, py = self.at(x, y)
            if self.view()[2] >= scale:
                break
            self.page.mouse.move(px, py)
            self.page.mouse.wheel(0, -120)
            self.settle()
        self.settle()

    def fact(self, name: str) -> list[str]:
        """What the page says under a name about the place that is pointed at."""
        rows: list[list[str]] = self.page.evaluate(
            """() => [...document.querySelectorAll("#review-here dt")].map(
              (dt) => [dt.textContent, dt.nextElementSibling.textContent])"""
        )
        return [value for key, value in rows if key == name]


def open_sheet(
    started: Browser,
    file: Path,
    *,
    size: tuple[int, int] = (1280, 800),
    light: Literal["light", "dark"] = "light",
    **more: Any,
) -> Opened:
    """The sheet in a window of its own, without any network, once it is painted."""
    width, height = size
    context = started.new_context(
        viewport={"width": width, "height": height}, color_scheme=light, offline=True, **more
    )
    opened = Opened(context.new_page())
    page = opened.page
    address = file.resolve().as_uri()

    def dismissed(dialog: Any) -> None:
        opened.said.append(f"dialog: {dialog.message}")
        dialog.dismiss()

    def asked(request: Any) -> None:
        if request.url != address and not request.url.startswith("data:"):
            opened.asked.append(request.url)

    def said(message: Any) -> None:
        # a driver that draws without a graphics card remarks on how fast it is
        if "GL Driver Message (OpenGL, Performance" not in message.text:
            opened.said.append(f"{message.type}: {message.text}")

    page.on("console", said)
    page.on("pageerror", lambda error: opened.said.append(f"error: {error}"))
    page.on("dialog", dismissed)
    page.on("request", asked)
    page.goto(address)
    page.wait_for_function(PAINTED)
    opened.settle()
    return opened
