"""The sets that are frozen: how each is made, by the command line alone."""

from __future__ import annotations

import json
import math
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "examples"
SHARED = os.environ.get("MILLPREP_SHARED")

Make = Callable[[Path], Path]
"""Makes a set within an empty folder and gives back where it lies."""


def run(*words: object, cwd: Path, exits: int = 0) -> None:
    """A command of the tool, which must end as is said."""
    done = subprocess.run(
        [sys.executable, "-c", "from millprep.cli import main; main()", *map(str, words)],
        cwd=cwd,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == exits, done.stderr


def example(job: str, *, exits: int = 0) -> Make:
    """An example's job; the refused one leaves its findings beside where the set would be."""

    def make(folder: Path) -> Path:
        run("prepare", EXAMPLES / f"{job}.toml", "--out", "set", cwd=folder, exits=exits)
        return folder / ("set-refused" if exits else "set")

    return make


def real(name: str, unit: str, *, more: str = "") -> Make:
    """A drawing by somebody else, through `new` and `prepare`; `more` goes into [isolation]."""

    def make(folder: Path) -> Path:
        assert SHARED is not None
        shutil.copy(Path(SHARED) / "boards" / f"{name}.dxf", folder / "board.dxf")
        new = ("new", "board.dxf", "--unit", unit, "--drawn-from", "copper", "--margin", "1")
        run(*new, "--out", "job.toml", cwd=folder)
        job = folder / "job.toml"
        text = job.read_text("utf-8").replace("[isolation]\n", f"[isolation]\n{more}")
        job.write_text(text, "utf-8")
        run("prepare", "job.toml", "--out", "set", cwd=folder)
        return folder / "set"

    return make


def _long_board(folder: Path) -> dict[str, Any]:
    run("prepare", EXAMPLES / "lighthouse/memory-board.toml", "--out", "first", cwd=folder)
    report: dict[str, Any] = json.loads((folder / "first" / "report.json").read_text("utf-8"))
    return report


JOB = ("--job", EXAMPLES / "lighthouse/memory-board.toml")


def refitted(folder: Path) -> Path:
    """Pass 2 fitted to a blank that lies 0.15 mm off and turned by 0.02 degrees."""
    report = _long_board(folder)
    turn = math.radians(0.02)
    lines = []
    for hole in report["passes"][1]["registration"]:
        if hole["role"] == "locate":
            x, y = hole["machine"]
            x, y = x - turn * y + 0.15, y + turn * x - 0.1
            lines.append(f"{hole['id']} = [{x:.4f}, {y:.4f}]")
    text = "\n".join([f'set = "{report["set"]}"', 'unit = "mm"', "[holes]", *lines, ""])
    (folder / "readings.toml").write_text(text, "utf-8")
    run("refit", "first", "--pass", 2, "readings.toml", "--out", "set", *JOB, cwd=folder)
    return folder / "set"


def levelled(folder: Path) -> Path:
    """Pass 1 over the example's invented surface."""
    _long_board(folder)
    surface = EXAMPLES / "lighthouse/memory-board-surface.csv"
    run("level", "first", "--pass", 1, surface, "--out", "set", *JOB, cwd=folder)
    return folder / "set"


def resumed(folder: Path) -> Path:
    """Isolation of pass 2, taken up after its twelfth restart point."""
    _long_board(folder)
    words = ("resume", "first", "pass-2/03-isolate", "--after", 12, "--out", "set")
    run(*words, *JOB, cwd=folder)
    return folder / "set"


JOBS: dict[str, Make] = {
    "memory-board": example("lighthouse/memory-board"),
    "indicators": example("lighthouse/indicators"),
    "heaters": example("rules/heaters"),
    "socket": example("rules/socket"),
    "supply-by-voltage": example("rules/supply-by-voltage"),
    "supply-half-millimetre": example("rules/supply-half-millimetre", exits=1),
    "refitted": refitted,
    "levelled": levelled,
    "resumed": resumed,
}
REAL: dict[str, Make] = {
    "real-main": real("copper/lgh-main-B_Cu", "mm"),
    "real-facade": real("copper/lgh-facade-B_Cu-inch", "inch"),
    "real-main-middle": real("copper/lgh-main-B_Cu", "mm", more='course = "middle"\n'),
}
"""Sets from drawings that are no part of the project; MILLPREP_SHARED names their folder."""
