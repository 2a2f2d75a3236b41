"""Keys about where boards lie: turns, priority, places by hand, offcuts, a stored layout."""

from __future__ import annotations

from pathlib import Path

import pytest

from millprep import job
from millprep.model.finding import Refusal
from millprep.model.job.board import PlacePlan
from tests.helpers.small_job import changed, put

KEYS = """count = 2
turns = [0, 90]
priority = 3
place = [{ at = [12, 11.5], turn = 180, blank = 2 }]
drawn_from"""
OUTLINE = "outline = [[0, 0], [60, 0], [60, 20], [30, 50], [0, 50]]\nmargin = 10.0"


def test_they_are_read(tmp_path: Path) -> None:
    text = changed("drawn_from", KEYS, changed("margin = 10.0", OUTLINE))
    text = changed("[setup]", '[layout]\nfile = "stored.toml"\n\n[setup]', text)
    (tmp_path / "stored.toml").write_text("format = 1\n")
    plan = job.load(put(tmp_path, text))
    (board,), (blank,) = plan.boards, plan.blanks
    assert (board.turns, board.priority) == ((0.0, 90.0), 3)
    assert board.places == (PlacePlan((12.0, 11.5), 180.0, 2),)
    corners = ((0.0, 0.0), (60.0, 0.0), (60.0, 20.0), (30.0, 50.0), (0.0, 50.0))
    assert blank.outline == corners
    assert plan.layout.file == (tmp_path / "stored.toml", "stored.toml")


def test_without_them_nothing_is_turned_or_stored(tmp_path: Path) -> None:
    plan = job.load(put(tmp_path))
    assert (plan.boards[0].turns, plan.boards[0].places, plan.layout.file) == ((0.0,), (), None)
    assert plan.blanks[0].outline is None


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("drawn_from", "turns = []\ndrawn_from", "turns must be a list of plain numbers"),
        ("drawn_from", "place = [{ at = [1, 2] }, { at = [3, 4] }]\ndrawn_from",
         "gives 2 places and count is 1; raise the count"),
        ("drawn_from", "place = [{ at = [1] }]\ndrawn_from", "[[board.place]] 1 of board 1 at"),
        ("margin = 10.0", "outline = [[0, 0], [60, 50], [60, 0], [0, 50]]\nmargin = 10.0",
         "must go round an area without crossing itself"),
        ("margin = 10.0", "outline = [[0, 0], [50, 0], [0, 50]]\nmargin = 10.0",
         "must just fit the size, from [0, 0] to [60, 50]; it spans [0, 0, 50, 50]"),
        ("[setup]", '[layout]\nfile = "gone.toml"\n[setup]', '[layout] file is no file'),
    ],
)  # fmt: skip
def test_what_is_wrong_is_reported(tmp_path: Path, old: str, new: str, words: str) -> None:
    file = put(tmp_path, changed(old, new))
    with pytest.raises(Refusal) as refused:
        job.load(file)
    assert words in str(refused.value)
