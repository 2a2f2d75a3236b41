"""Blanks that are too long both ways, or turned: from the job to the proof of what is on disk."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from shapely import LineString, box

from fixtures.valve_boards import round_
from fixtures.wide_boards import wide_board, write_job
from millprep.model.board import Board, CopperPiece, Hole
from millprep.workflow.prepare import prepare
from millprep.workflow.verify import verify
from tests.helpers import small_job

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
    report = json.loads((out / "report.json").read_text("utf-8"))
    assert [p["number"] for p in report["passes"]] == list(range(1, passes + 1))
    (one,) = report["boards"]
    assert (one["proof"]["shorts"], one["proof"]["opens"]) == (0, 0)
    assert one["proof"]["pieces"] == len(board.pieces)
    assert [f for f in report["findings"] if f["severity"] == "stop"] == []
    assert {tuple(j["passes"]) for j in report["joins"]}
    for number in range(1, passes + 1):
        assert (out / "previews" / f"blank-1-pass-{number}.png").stat().st_size > 1000
    holes = [h for p in report["passes"] for h in p["registration"]]
    assert {h["role"] for h in holes} == {"locate", "key", "witness"}
    dry = [p["file"] for one in report["passes"] for p in one["programs"] if p["work"] == "dry-run"]
    assert len(dry) == passes
    words_of_turn = "turned end for end by half a turn" in (out / "sheet.html").read_text("utf-8")
    assert words_of_turn == (case == "turned")
    assert len(cut_set.proofs) == 1


def test_laps_in_the_middle_of_gaps_change_over_wherever_they_run(tmp_path: Path) -> None:
    """A rail beside the edge leaves laps no room there, so those around the rim have no lap
    nearer to copper beside them; every move must stay within the travel all the same."""
    edge = LineString([(0.6, 4), (0.6, 20), (4, 24), (4, 40), (0.6, 44), (0.6, 76)])
    ways = [edge, *(LineString([(x, 4), (x, 76)]) for x in (8, 12, 43.4))]
    ways += [LineString([(x, 30), (x, 50)]) for x in (18, 24, 30, 36)]
    copper = [CopperPiece(f"c{n}", round_(way, 0.8)) for n, way in enumerate(ways)]
    holes = (Hole("h1", (8.0, 10.0), 0.8, "c1"),)
    board = Board("rails", box(0, 0, 44, 80), tuple(copper), holes)
    job = write_job(board, tmp_path, travel=(110, 70), size=(84, 120), gap=0.6)
    text = small_job.changed(
        "[isolation]", '[isolation]\ncourse = "middle"', job.read_text("utf-8")
    )
    job.write_text(text, "utf-8")
    prepare(job, tmp_path / "out")
    done = verify(tmp_path / "out", job)
    assert done.good, done.findings
    assert [(p.shorts, p.opens) for p in done.proofs] == [(0, 0)]
