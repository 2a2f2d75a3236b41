"""`new` and `prepare` on real boards by others: no editing in between.

Source: boards/README.md in the folder that MILLPREP_SHARED names (pieces, sizes and narrowest
gaps there are compared with the boards' own design files). The files are not part of this
project.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from millprep.job import load
from millprep.workflow.prepare import prepare
from tests.helpers.small_job import run

SHARED = os.environ.get("MILLPREP_SHARED")
COPPER = Path(SHARED or ".") / "boards" / "copper"
pytestmark = pytest.mark.skipif(
    SHARED is None, reason="MILLPREP_SHARED does not name the folder with the real drawings"
)


@pytest.mark.parametrize(
    ("name", "unit", "pieces", "size", "narrowest", "holes"),
    [
        ("lgh-main-B_Cu", "mm", 46, (142.24, 91.44), 0.196, 102),
        ("lgh-facade-B_Cu-inch", "inch", 11, (73.66, 52.07), 0.508, 36),
    ],
)
def test_what_new_writes_prepares(
    name: str,
    unit: str,
    pieces: int,
    size: tuple[float, float],
    narrowest: float,
    holes: int,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    shutil.copy(COPPER / f"{name}.dxf", ".")
    done = run(
        "new", f"{name}.dxf", "--unit", unit, "--drawn-from", "copper", "--margin", "1",
        "--out", "job.toml",
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    assert "left to fill in" not in done.stdout
    cut_set = prepare(Path("job.toml"), Path("out"))
    (proof,) = cut_set.proofs
    assert (proof.pieces, proof.shorts, proof.opens) == (pieces, 0, 0)
    board = cut_set.layout.placements[0].board
    x0, y0, x1, y1 = board.outline.bounds
    assert (x1 - x0 - 2, y1 - y0 - 2) == pytest.approx(size, abs=0.005)
    assert len(board.holes) == holes
    # what is cut keeps the gap that is asked, up to the narrowest that is drawn
    assert proof.narrowest_gap is not None
    assert min(0.3, narrowest) - 0.05 <= proof.narrowest_gap <= narrowest + 0.05
    assert {f.severity for f in cut_set.findings} <= {"warn", "note"}


def test_answers_take_a_badge_with_an_edge_that_only_its_pen_closes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Judged by eye: 7 pieces, narrowest gap 0.208 mm; `prepare` takes what is written."""
    monkeypatch.chdir(tmp_path)
    shutil.copy(COPPER / "meow-badge.dxf", ".")
    done = run(
        "new", "meow-badge.dxf", "--drawn-from", "components", "--copper-layer", "BottomLayer",
        "--copper-layer", "Multi-Layer", "--outline-pen", "outer", "--out", "job.toml",
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    assert "left to fill in" not in done.stdout
    text = Path("job.toml").read_text("utf-8")
    assert "The narrowest gap of the drawing is 0.208 mm" in text
    assert 'layers.holes = ["Multi-Layer"]' in text
    board = load(Path("job.toml")).boards[0]
    assert (board.roles.outline, board.roles.outline_pen) == (("BoardOutLine",), "outer")


@pytest.mark.parametrize(
    ("name", "open_lines", "crossed"), [("wifi-led-flat0", 223, 51), ("esp8266-flat0", 434, 150)]
)
def test_what_one_layer_does_not_say_is_refused_with_the_reason(
    name: str, open_lines: int, crossed: int
) -> None:
    done = run("new", COPPER / f"{name}.dxf", "--drawn-from", "components")
    assert done.exit_code == 3
    (stop,) = [line for line in done.stderr.splitlines() if line.startswith("stop:")]
    assert "[copper-mixed]" in stop
    assert f"{open_lines} open lines" in stop
    assert f"{crossed} pairs of open lines cross each other" in stop
    assert "export these on layers of their own" in stop
