"""The proof of a layout, and that it can fail in every way it knows."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely

from millprep.model.blank import Spot
from millprep.model.finding import Finding
from millprep.nesting.check import Written, check_layout
from millprep.nesting.wanted import StockSheet, Wanted

FRAME = shapely.box(0, 0, 40, 40).difference(shapely.box(10, 10, 30, 30))
assert isinstance(FRAME, shapely.Polygon)
BOARDS = [
    Wanted("frame", FRAME, (1,)),
    Wanted("plate", shapely.box(-3, -3, 7, 17), (1, 2), turns=(0.0, 90.0)),
]
SHEET = StockSheet(shapely.box(0, 0, 100, 50), 5.0, 3.0, 1, (shapely.box(90, 0, 100, 12),))
SOUND = (
    Spot("frame", 1, 1, 5.0, 5.0),
    Spot("plate", 1, 1, 48.0, 5.0),
    Spot("plate", 2, 1, 61.0, 5.0, 90.0),
)


def judged(*spots: Spot, blanks: tuple[int, ...] = (0,), complete: bool = True) -> list[Finding]:
    lines = {(spot.board, spot.copy): 10 + n for n, spot in enumerate(spots)}
    written = Written("layout.toml", lines)
    return check_layout(spots, BOARDS, [SHEET], blanks, written, complete)


def test_a_sound_layout_has_no_faults() -> None:
    assert judged(*SOUND) == []


@pytest.mark.parametrize(
    ("number", "change", "code", "line", "words"),
    [
        (1, {"x": 40.0}, "layout-overlap", 11, "overlaps board frame copy 1 (line 10)"),
        (1, {"x": 47.9999}, "layout-spacing", 11, "is 2.9999 mm from board frame copy 1"),
        (2, {"x": 60.9999}, "layout-spacing", 12, "is 2.9999 mm from board plate copy 1"),
        (1, {"y": 33.0}, "layout-off-blank", 11, "leaves blank 1"),
        (1, {"y": 27.0}, "layout-margin", 11, "Move it inward by 2.0000 mm"),
        (1, {"y": 4.9999}, "layout-margin", 11, "4.9999 mm from the blank's edge"),
        (2, {"x": 75.0}, "layout-keep-out", 12, "kept free for a clamp"),
        (1, {"turn": 45.0}, "layout-turn", 11, "allows 0, 90"),
        (1, {"board": "other"}, "layout-unknown-board", 11, "no such board"),
        (1, {"copy": 3}, "layout-unknown-copy", 11, "The job has no board plate copy 3"),
        (1, {"copy": 2}, "layout-twice", 12, "has 2 places"),
        (1, {"blank": 2}, "layout-no-blank", 11, "the last blank is 1"),
    ],
)
def test_a_spoilt_layout_is_refused_with_the_place(
    number: int, change: dict[str, object], code: str, line: int, words: str
) -> None:
    spots = list(SOUND)
    spots[number] = replace(spots[number], **change)  # type: ignore[arg-type]
    found = {finding.code: finding for finding in judged(*spots)}
    assert code in found
    assert (found[code].file, found[code].line) == ("layout.toml", line)
    assert words in found[code].message
    assert found[code].severity == "stop"


def test_what_is_missing_is_reported_unless_the_layout_may_be_partial() -> None:
    (finding,) = judged(*SOUND[:2])
    assert (finding.code, finding.board, finding.copy) == ("layout-count", "plate", 2)
    assert judged(*SOUND[:2], complete=False) == []


def test_more_blanks_than_in_stock() -> None:
    (finding,) = judged(*SOUND, blanks=(0, 0))
    assert finding.code == "layout-blanks"


def test_a_board_in_a_cut_out_keeps_the_spacing_to_its_rim() -> None:
    boards = [BOARDS[0], Wanted("core", shapely.box(0, 0, 14, 14), (1,))]
    inside = [SOUND[0], Spot("core", 1, 1, 18.0, 18.0)]
    assert check_layout(inside, boards, [SHEET], (0,)) == []
    inside[1] = replace(inside[1], x=18.0001)
    (finding,) = check_layout(inside, boards, [SHEET], (0,))
    assert finding.code == "layout-spacing"


def test_without_spacing_boards_may_touch_and_not_overlap() -> None:
    tight = replace(SHEET, spacing=0.0)
    spots = [SOUND[0], replace(SOUND[1], x=45.0), SOUND[2]]
    assert check_layout(spots, BOARDS, [tight], (0,)) == []
    spots[1] = replace(spots[1], x=44.9999)
    (finding,) = check_layout(spots, BOARDS, [tight], (0,))
    assert finding.code == "layout-overlap"


def test_margin_along_an_irregular_outline() -> None:
    triangle = shapely.Polygon([(0, 0), (100, 0), (0, 100)])
    board = [Wanted("plate", shapely.box(0, 0, 10, 10), (1,))]
    sheet = StockSheet(triangle, 5.0, 3.0)
    assert check_layout([Spot("plate", 1, 1, 36.0, 36.0)], board, [sheet], (0,)) == []
    (finding,) = check_layout([Spot("plate", 1, 1, 37.0, 37.0)], board, [sheet], (0,))
    assert finding.code == "layout-margin"
