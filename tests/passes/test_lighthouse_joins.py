"""The figures on joins that the example's README states, made again."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pytest

from millprep import drawing, job
from millprep.geometry.path import Point
from millprep.model.set_of_programs import BoardCopy, MilledBlank
from millprep.passes import blank_cuts, blank_passes, regions
from millprep.toolpaths import least_time
from millprep.workflow import laying

EXAMPLE = Path(__file__).parents[2] / "examples" / "lighthouse"


def test_the_joins_are_as_the_example_says() -> None:
    plan = job.load(EXAMPLE / "memory-board.toml")
    (one,) = plan.boards
    board = drawing.read(
        one.drawing.copper.file,
        name=one.name,
        shown_as=one.drawing.copper.name,
        layers=one.roles,
        unit=one.unit,
    )
    plan = least_time.chosen(plan, [board])
    layout = laying.lay(plan, [board]).layout([board], plan.blanks)
    cuts, _ = blank_cuts.cuts(plan, layout.blanks[0], layout.placements)
    blank = MilledBlank(layout.blanks[0], tuple(map(BoardCopy, layout.placements)), cuts)
    done, _ = blank_passes.passes(plan, blank, "0" * 12)
    joins = [join for join in done.joins if join.piece is not None]

    first = [ring.path for ring in cuts.laps if ring.number == 0]
    low, high = done.passes[1].window.bounds[0], done.passes[0].window.bounds[2]

    pose = layout.placements[0].pose
    holes = np.array([pose.point(hole.at) for hole in board.holes])

    def away(places: Iterable[Point]) -> float:
        """From the nearest hole's middle."""
        return min(float(np.hypot(*(holes - at).T).min()) for at in places)

    def straight(x: float) -> list[Point]:
        return [path.point_at(s) for path in first for s in regions.crossings(path, 0, x)]

    lines = [straight(x) for x in np.arange(low + 2, high - 2, 0.5).tolist()]
    fewest = min(map(len, lines))
    best = max(away(places) for places in lines if len(places) == fewest)
    middle = straight((low + high) / 2)
    counts = (len(joins), fewest, len(middle))
    nearest = (away(join.at for join in joins), best, away(middle))

    assert counts == (18, 18, 24)
    assert len(joins) <= fewest
    # pads there are 2.2 mm across, so joins are more than 1 mm from any of them
    assert nearest == pytest.approx((2.9, 1.3, 1.2), abs=0.05)
    for join in joins:
        assert join.predicted is not None
        assert join.predicted_rms is not None
        assert join.tolerance_electrical is not None
        assert 0.0255 <= join.predicted_rms <= 0.0275
        assert join.predicted <= 0.082
        assert join.tolerance_electrical == pytest.approx(0.451, abs=0.0005)
        assert join.tick == 0
    weakest = min((join.tolerance_electrical or 0) / (join.predicted or 1) for join in joins)
    assert weakest == pytest.approx(5.5, abs=0.05)

    text = " ".join((EXAMPLE / "README.md").read_text("utf-8").split())
    for words in (
        "| change-overs on copper | 18 | 18 | 24 |",
        "| nearest to the middle of a hole | 2.9 mm | 1.3 mm, next to its pad |",
        "0.026 to 0.027 mm rms", "less than 0.082 mm", "tolerates 0.451 mm", "5.5 times",
        "no join needs ticks",
    ):  # fmt: skip
        assert words in text
