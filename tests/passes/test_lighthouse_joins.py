"""The figures on joins that the example's README states, made again."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from millprep import drawing, job, one_blank
from millprep.layout import rows
from millprep.passes import split

EXAMPLE = Path(__file__).parents[2] / "examples" / "lighthouse"


def test_the_joins_are_as_the_example_says() -> None:
    plan = job.load(EXAMPLE / "memory-board.toml")
    (one,) = plan.boards
    board = drawing.read(
        one.drawing, name=one.name, shown_as=one.drawing_name, layers=one.layers, unit=one.unit
    )
    layout = rows.lay_out([rows.Order(board, 1, True)], plan.blanks)
    cuts = one_blank.cuts(plan, layout.blanks[0], layout.placements)
    done = one_blank.passes(plan, layout.blanks[0], cuts, layout.placements, {})
    joins = [join for join in done.joins if join.piece is not None]

    first = [ring.path for ring in cuts.rings if ring.lap == 0]
    low, high = done.passes[1].window.bounds[0], done.passes[0].window.bounds[2]

    def straight(x: float) -> int:
        return sum(len(split.crossings(path, 0, x)) for path in first)

    best = min(straight(x) for x in np.arange(low + 2, high - 2, 0.5).tolist())
    pose = layout.placements[0].pose
    holes = np.array([pose.point(hole.at) for hole in board.holes])
    away = min(float(np.hypot(*(holes - join.at).T).min()) for join in joins)

    assert (len(joins), best, straight((low + high) / 2)) == (18, 18, 24)
    assert away >= 3
    predicted = [join.predicted for join in joins if join.predicted is not None]
    tolerated = [join.tolerance_electrical for join in joins if join.tolerance_electrical]
    assert len(predicted) == len(tolerated) == len(joins)
    assert max(predicted) == pytest.approx(0.063, abs=0.0005)
    assert min(tolerated) == pytest.approx(0.450, abs=0.0005)

    text = " ".join((EXAMPLE / "README.md").read_text("utf-8").split())
    for words in ("18 change-overs", "would make 18 as well", "the overlap 24", "0.063", "0.450"):
        assert words in text
