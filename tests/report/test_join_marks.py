"""Every join in copper shows what to expect and what it stands, no words over others."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest

from millprep.model.blank import Box
from millprep.model.milling_pass import Join
from millprep.report import join_marks
from millprep.report.canvas import canvas, drawing_settings

JOIN = Join(1, 0, "c1", (250.0, 40.0), (1, 2), 0.4, (0.0, 1.0), 0.0631, 0.45, 0.45)
EDGE = replace(JOIN, piece=None, tolerance_electrical=None, tolerance_gap=None)


def words(joins: list[Join]) -> list[tuple[str, float]]:
    """Words and their heights in points."""
    with drawing_settings():
        on = canvas(Box(0.0, 0.0, 500.0, 100.0), "title", "words", "set", legend=())
        join_marks.joins(on, [(join.at, join) for join in joins])
        return [
            (text.get_text(), float(text.get_position()[1]) * on.per_mm) for text in on.axes.texts
        ]


def test_both_figures_stand_beside_every_join_in_copper() -> None:
    shown = words([JOIN, replace(JOIN, at=(250.0, 80.0), predicted=0.07), EDGE])
    assert [said for said, _ in shown] == ["0.063 / 0.450", "0.070 / 0.450"]


@pytest.mark.parametrize("low", [2.0, 50.0, 95.0])
def test_words_of_joins_close_together_stay_apart(low: float) -> None:
    shown = words([replace(JOIN, at=(250.0, low + 0.3 * n)) for n in range(12)])
    heights = sorted(height for _, height in shown)
    assert len(heights) == 12
    steps = [b - a for a, b in itertools.pairwise(heights)]
    assert min(steps) >= join_marks.APART - 1e-6


def test_too_many_for_the_picture_leave_only_their_signs() -> None:
    assert words([replace(JOIN, at=(250.0, 0.2 * n)) for n in range(300)]) == []


def test_the_legend_says_what_the_figures_are() -> None:
    assert "what it stands" in join_marks.legend([JOIN, EDGE]).get_label()
    assert join_marks.legend([EDGE]).get_label() == "join: two passes meet on a path (1)"
