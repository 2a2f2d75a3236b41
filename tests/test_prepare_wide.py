"""Blanks that are too long both ways, or turned: from the job to the proof of what is on disk."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from fixtures.wide_boards import wide_board, write_job
from millprep.workflow.prepare import prepare

CASES: dict[str, tuple[tuple[float, float], dict[str, Any], int]] = {
    "grid": ((230.0, 170.0), {"travel": (155.0, 120.0), "size": (270.0, 210.0)}, 4),
    "turned": (
        (230.0, 90.0),
        {"travel": (160.0, 130.0), "size": (270.0, 126.0), "setup": "turn = true\n"},
        2,
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_the_copper_that_is_left_is_the_design(case: str, tmp_path: Path) -> None:
    size, words, passes = CASES[case]
    board = wide_board(1, size)
    out = tmp_path / "out"
    cut_set = prepare(write_job(board, tmp_path, margin=18.0, **words), out)
    told = json.loads((out / "report.json").read_text("utf-8"))
    assert [p["number"] for p in told["passes"]] == list(range(1, passes + 1))
    (one,) = told["boards"]
    assert (one["proof"]["shorts"], one["proof"]["opens"]) == (0, 0)
    assert one["proof"]["pieces"] == len(board.pieces)
    assert [f for f in told["findings"] if f["severity"] == "stop"] == []
    assert {tuple(j["passes"]) for j in told["joins"]}
    for number in range(1, passes + 1):
        assert (out / "previews" / f"blank-1-pass-{number}.png").stat().st_size > 1000
    holes = [h for p in told["passes"] for h in p["registration"]]
    assert {h["role"] for h in holes} == {"locate", "key", "witness"}
    dry = [p["file"] for one in told["passes"] for p in one["programs"] if p["work"] == "dry-run"]
    assert len(dry) == passes
    words_of_turn = "turned end for end by half a turn" in (out / "sheet.html").read_text("utf-8")
    assert words_of_turn == (case == "turned")
    assert len(cut_set.proofs) == 1
