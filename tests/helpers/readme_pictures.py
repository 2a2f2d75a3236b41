"""The README's two pictures: `python -m tests.helpers.readme_pictures` takes them anew.

They show the demo's sheet: the review in a browser, and the printed plan of the second pass. That
needs Debian's chromium, as the tests in `tests/browser/` do.
"""

from __future__ import annotations

import io
import sys
import tempfile
from pathlib import Path

from PIL import Image, ImageOps

from millprep.workflow.prepare import prepare
from tests.helpers.chromium import browser, open_sheet

ROOT = Path(__file__).parents[2]
PICTURES = ROOT / "examples" / "pictures"
JOB = ROOT / "examples" / "lighthouse" / "memory-board.toml"
A4 = (794, 1123)
"""Pixels of a page at 96 for an inch."""
MARGIN = 45
COLOURS = 48
HALF_WAY = """(slider) => {
  slider.value = 0.4 * Number(slider.max);
  slider.dispatchEvent(new Event("input"));
}"""
"""The cutter in the middle of its work."""


def keep(png: bytes, file: Path, border: int = 0) -> None:
    """Write a picture with few colours, so that it is small."""
    picture = ImageOps.expand(Image.open(io.BytesIO(png)).convert("RGB"), border, "white")
    few = picture.quantize(COLOURS, dither=Image.Dither.NONE)
    few.save(file, optimize=True)


def take(sheet: Path, folder: Path) -> None:
    """Take both pictures from a sheet with two passes."""
    with browser() as started:
        review = open_sheet(started, sheet, size=(1200, 720))
        review.page.eval_on_selector("#review-time", HALF_WAY)
        review.settle()
        keep(review.page.screenshot(), folder / "review.png")
        review.page.context.close()
        plan = open_sheet(started, sheet, size=(A4[0] - 2 * MARGIN, A4[1]))
        plan.page.emulate_media(media="print")
        section = plan.page.locator(".plan .page").nth(1)
        keep(section.screenshot(), folder / "plan.png", MARGIN)
        plan.page.context.close()


def main() -> None:
    """Take the pictures anew, from the set in the folder that is named or from a new one."""
    PICTURES.mkdir(exist_ok=True)
    if len(sys.argv) > 1:
        take(Path(sys.argv[1]) / "sheet.html", PICTURES)
        return
    with tempfile.TemporaryDirectory() as folder:
        prepare(JOB, Path(folder) / "set")
        take(Path(folder) / "set" / "sheet.html", PICTURES)


if __name__ == "__main__":
    main()
