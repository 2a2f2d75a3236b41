"""The README's two pictures: `python -m tests.helpers.readme_pictures` takes them anew.

They show the demo's sheet: the review in a browser, and the printed plan of the second pass. That
needs Debian's chromium, as the tests in `tests/browser/` do, and pdftoppm.
"""

from __future__ import annotations

import io
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image
from pypdf import PdfReader

from millprep.workflow.prepare import prepare
from tests.helpers.chromium import browser, open_sheet

ROOT = Path(__file__).parents[2]
PICTURES = ROOT / "examples" / "pictures"
JOB = ROOT / "examples" / "lighthouse" / "memory-board.toml"
DOTS = "96"
"""Of an inch of the printed page."""
COLOURS = 48
HALF_WAY = """(slider) => {
  slider.value = 0.4 * Number(slider.max);
  slider.dispatchEvent(new Event("input"));
}"""
"""The cutter in the middle of its work."""


def keep(png: bytes, file: Path) -> None:
    """Write a picture with few colours, so that it is small."""
    picture = Image.open(io.BytesIO(png)).convert("RGB")
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
        plan = open_sheet(started, sheet)
        printed = plan.page.pdf(format="A4", print_background=True)
        plan.page.context.close()
    keep(page_of(printed, "Blank 1, pass 2 of 2", "Run in this order"), folder / "plan.png")


def page_of(printed: bytes, *words: str) -> bytes:
    """The first page of a PDF with all these words, as PNG."""
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(printed)).pages]
    number = str(next(n for n, text in enumerate(pages, 1) if all(each in text for each in words)))
    paint = ["pdftoppm", "-png", "-r", DOTS, "-f", number, "-l", number, "-"]
    return subprocess.run(paint, input=printed, capture_output=True, check=True).stdout


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
