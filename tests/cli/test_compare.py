"""What `compare` and `watch` say of changes, word for word."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
import shapely

from millprep.cli.compare import described, draw, lines_of
from millprep.model.board import Board, Hole
from millprep.workflow.compare import Amount, Compared, PathChange, TaskCompared
from millprep.workflow.drawing_changes import (
    BoardChange,
    CopperChange,
    DrawingsCompared,
    EdgeChange,
    HoleChange,
)
from tests.helpers.programs import board as drawn

LAMP: Board = drawn([shapely.box(1, 1, 5, 5), shapely.box(10, 1, 15, 5)])
OLD, NEW = Path("old.toml"), Path("new.toml")


def words(*boards: BoardChange) -> list[str]:
    """What is said of two jobs without copies on a blank."""
    return described(DrawingsCompared(boards, (), ()), (OLD, NEW))


def test_a_board_moved_as_a_whole_is_the_same() -> None:
    assert words(BoardChange("lamp", LAMP, LAMP, (5.0, -3.0))) == [
        "lamp: the same, 5.000, -3.000 mm from where it was drawn before",
        "no board needs to be cut again for its drawing",
    ]


def test_boards_of_one_job_alone_are_named_by_its_file() -> None:
    assert words(BoardChange("lamp", LAMP, None), BoardChange("bell", None, LAMP))[:2] == [
        "lamp: only in old.toml",
        "bell: only in new.toml",
    ]


@pytest.mark.parametrize(
    ("after", "size"), [((33.0, 20.0), "33.00 × 20.00 mm, before 30.00 × 20.00"),
                        ((30.0, 20.0), "30.00 × 20.00 mm")],
)  # fmt: skip
def test_another_edge_is_said_with_its_sizes(after: tuple[float, float], size: str) -> None:
    edge = EdgeChange((30.0, 20.0), after, 60.0, 1.5)
    assert words(BoardChange("lamp", LAMP, LAMP, edge=edge))[:2] == [
        "lamp: changed",
        f"  1  edge changed  {size}    60.00 mm² added, 1.50 mm² removed",
    ]


def test_another_edge_is_drawn_with_the_one_before(tmp_path: Path) -> None:
    longer = replace(LAMP, outline=shapely.box(2, 2, 61, 38))
    edge = EdgeChange((56.0, 36.0), (59.0, 36.0), 108.0, 0.0)
    changes = DrawingsCompared((BoardChange("lamp", LAMP, longer, edge=edge),), (), ())
    files = draw(changes, tmp_path)
    assert files == {"lamp": "board-01-lamp-changes.png"}
    svg = (tmp_path / "board-01-lamp-changes.svg").read_text("utf-8")
    assert "1 × edge changed" in svg
    assert "edge before" in svg
    # nothing else has changed, so nothing else is explained
    assert "hole" not in svg


def test_copper_says_what_it_joins_and_what_it_separated() -> None:
    bridge = shapely.box(5, 2, 10, 3)
    board = BoardChange(
        "lamp", LAMP, LAMP,
        added=(CopperChange(bridge, ("c1",), ("c1", "c2")), CopperChange(bridge, ("c3",), ())),
        removed=(CopperChange(bridge, ("c4",), ("c4", "c5")),),
    )  # fmt: skip
    assert [line.split("  ")[-1] for line in words(board)[1:4]] == [
        "on c1: joins c1 and c2 of before",
        "on c3",
        "on c4: c4 and c5 are separate now",
    ]


def test_holes_and_slots_say_what_became_of_them() -> None:
    small, large = Hole("h1", (1.0, 2.0), 0.8, "c1"), Hole("h1", (1.0, 2.0), 1.0, "c1")
    aside = Hole("h1", (4.0, 2.0), 1.0)
    slot = Hole("h1", (1.0, 2.0), 1.0, end=(4.0, 2.0))
    changes = (
        HoleChange("moved", large, aside),
        HoleChange("resized", small, large),
        HoleChange("added", None, slot),
        HoleChange("removed", small, None),
    )
    lines = words(BoardChange("lamp", LAMP, LAMP, holes=changes))[1:5]
    assert [" ".join(line.split()) for line in lines] == [
        "1 hole moved 1.00 mm at 4.00, 2.00 on no copper, from 1.00, 2.00",
        "2 hole resized 1.00 mm at 1.00, 2.00 on c1, 0.80 mm before",
        # 3 mm between the middles of its ends
        "3 slot added 4.00 × 1.00 mm at 1.00, 2.00 on no copper",
        "4 hole removed 0.80 mm at 1.00, 2.00 on c1",
    ]


def test_sets_say_cuts_depths_and_feeds_that_differ() -> None:
    task = TaskCompared(
        ("isolate", "clear"), "vee",
        removed=Amount(0, 0.0),
        added=Amount(3, 12.34),
        depth=PathChange(Amount(1, 5.0), -0.06, -0.1),
        feed=PathChange(Amount(8, 0.0, holes=2), 200.0, 150.5),
        at=(1.0, 2.0),
    )  # fmt: skip
    copies = (Compared("lamp", 1, works=(task,)), Compared("lamp", 2, only_in=1))
    assert lines_of(copies) == [
        "lamp copy 1: isolation and clearing of copper with vee: "
        "3 moves (12.3 mm) added, at 1.00, 2.00 mm in the drawing; "
        "1 move (5.0 mm) at Z-0.100 instead of Z-0.060; "
        "2 holes at 150.5 mm/min instead of 200",
        "lamp copy 2: only in the set before",
    ]
    assert lines_of(copies[1:], ("a", "b")) == ["lamp copy 2: only in a"]
