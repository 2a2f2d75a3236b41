"""The review page with very many moves: the first picture, and steps of panning.

Run it from the project's folder: `python -m tests.bench.review`; `--moves` says how many moves
the set has at least, `--json` writes one object instead of words. The set is invented: rings
around the pieces of long boards, repeated until the moves suffice. Seconds to the first picture
count from the page's own start of loading, which holds reading the file, to the end of the first
complete painting; with them is the processor time of the page's thread, which a busy machine
changes little. A pan step is a frame of a drag across the drawing and back, three times, with
everything zoomed to fit and again at ten times that. Exit code 1 when the first picture takes more
than 1 s, half of the frames more than 17 ms, or one frame in twenty more than 25 ms.
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from millprep.model.set_of_programs import CutSet
from millprep.report.sheet import sheet
from tests.helpers import chromium
from tests.helpers.changed_set import running
from tests.helpers.chromium import Opened, open_sheet
from tests.helpers.invented_set import invented
from tests.helpers.trails import with_trails

if TYPE_CHECKING:
    from playwright.sync_api import Browser, CDPSession

FIRST = 1.0
MIDDLE, MOST = 17.0, 25.0
"""Seconds to the first picture; milliseconds of half of the frames and of 95 % of them, at most."""
DRAGS = 3
DRAG = """([x, y]) => new Promise((done) => {
  const canvas = document.getElementById("review-canvas");
  const send = (type, dx) => canvas.dispatchEvent(new PointerEvent(type, {
    pointerId: 1, clientX: x + dx, clientY: y + dx / 4, bubbles: true, isPrimary: true }));
  canvas.setPointerCapture = () => {};
  send("pointerdown", 0);
  const frames = [];
  let dx = 0;
  let last = null;
  const step = (now) => {
    if (last !== null) frames.push(now - last);
    last = now;
    if (frames.length >= 60) {
      send("pointerup", dx);
      done(frames);
      return;
    }
    dx += frames.length < 30 ? -9 : 9;
    send("pointermove", dx);
    requestAnimationFrame(step);
  };
  requestAnimationFrame(step);
})"""
LOADED = """() => new Promise((done) => {
  const canvas = document.getElementById("review-canvas");
  const look = () => canvas.dataset.painted ? done(performance.now()) : setTimeout(look, 1);
  look();
})"""


def large(moves: int) -> CutSet:
    """An invented set with at least so many moves: its programs, run again and again."""
    whole = with_trails(invented(6))
    count = sum(len(trail) for trail in [p.trail for p in whole.programs if p.trail is not None])
    times = -(-moves // count)
    programs = []
    for k in range(times):
        for program in whole.programs:
            trail = program.trail
            assert trail is not None
            file = program.file.replace(".ngc", f"-{k}.ngc")
            # every round a little aside, so that no two lie on one another
            aside = np.array([0.05 * k, 0.03 * k, 0.0])
            xyz, centre = trail.xyz + aside, trail.centre + aside[:2]
            aside_trail = replace(trail, file=file, xyz=xyz, centre=centre)
            programs.append(replace(program, file=file, trail=aside_trail))
    return running(whole, programs)


def panned(opened: Opened) -> list[float]:
    """Milliseconds of every frame of a drag."""
    box = opened.canvas.bounding_box()
    assert box is not None
    at = [box["x"] + box["width"] / 2, box["y"] + box["height"] / 2]
    frames: list[float] = opened.page.evaluate(DRAG, at)
    opened.settle()
    return frames


def _worked(counted: CDPSession) -> float:
    """Processor time of the page's thread so far, seconds."""
    rows: list[dict[str, Any]] = counted.send("Performance.getMetrics")["metrics"]
    return float(next(row["value"] for row in rows if row["name"] == "TaskDuration"))


def measured(moves: int, started: Browser) -> dict[str, Any]:
    """Size of the file, seconds to the first picture, milliseconds of frames while panning."""
    cut_set = large(moves)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "sheet.html"
        file.write_text(sheet(cut_set), "utf-8")
        opened = open_sheet(started, file)
        counted = opened.page.context.new_cdp_session(opened.page)
        counted.send("Performance.enable", {"timeDomain": "threadTicks"})
        before = _worked(counted)
        opened.page.reload(wait_until="commit")
        opened.page.wait_for_selector("#review-canvas", state="attached")
        first = float(opened.page.evaluate(LOADED)) / 1000
        opened.settle()
        found: dict[str, Any] = {
            "moves": sum(len(p.trail) for p in cut_set.programs if p.trail is not None),
            "megabytes": round(file.stat().st_size / 1e6, 2),
            "first picture, s": round(first, 2),
            "all painted, s of processor": round(_worked(counted) - before, 2),
        }
        for words in ("all of it", "near"):
            frames = [frame for _ in range(DRAGS) for frame in panned(opened)]
            found[f"{words}: middle frame, ms"] = round(statistics.median(frames), 1)
            found[f"{words}: 95 % of frames, ms"] = round(statistics.quantiles(frames, n=20)[-1], 1)
            found[f"{words}: longest frame, ms"] = round(max(frames), 1)
            for _ in range(7):
                opened.page.locator("#review-in").click()
            opened.settle()
        opened.page.context.close()
        return found


def main() -> int:
    """Measure and say."""
    parser = argparse.ArgumentParser(description="review page with very many moves")
    parser.add_argument("--moves", type=int, default=1_000_000)
    parser.add_argument("--json", action="store_true")
    rules = parser.parse_args()
    with chromium.browser() as started:
        found = measured(rules.moves, started)
    if rules.json:
        sys.stdout.write(json.dumps(found) + "\n")
    else:
        sys.stdout.writelines(f"{name:<28} {value}\n" for name, value in found.items())
    middle, most = (
        max(value for name, value in found.items() if words in name)
        for words in ("middle frame", "95 % of frames")
    )
    return 0 if found["first picture, s"] <= FIRST and middle <= MIDDLE and most <= MOST else 1


if __name__ == "__main__":
    sys.exit(main())
