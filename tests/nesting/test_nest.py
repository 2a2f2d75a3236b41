"""Nesting: places for irregular boards on few blanks, the same ones in every process."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
import shapely
import shapely.affinity
from hypothesis import given
from hypothesis import strategies as st

from millprep.model.blank import Spot
from millprep.nesting.check import check_layout
from millprep.nesting.figures import covered, offcut, used_length
from millprep.nesting.nest import Effort, Nested, nest
from millprep.nesting.wanted import StockSheet, Wanted, areas_on
from tests.bench.nesting import realistic, small_blank, small_boards, tiles
from tests.helpers.chance import examples

LOW = Effort(1500, 2)
QUARTERS = (0.0, 90.0, 180.0, 270.0)
BOX = shapely.box


def wanted(
    name: str, outline: shapely.Geometry, count: int = 1, turns: tuple[float, ...] = (0.0,)
) -> Wanted:
    assert isinstance(outline, shapely.Polygon)
    return Wanted(name, outline, tuple(range(1, count + 1)), turns=turns)


def sheet(width: float, height: float, count: int = 1, margin: float = 5.0) -> StockSheet:
    return StockSheet(BOX(0, 0, width, height), margin, 3.0, count)


def proved(
    boards: list[Wanted],
    sheets: list[StockSheet],
    effort: Effort = LOW,
    fixed: tuple[Spot, ...] = (),
    blanks: tuple[int, ...] = (),
) -> Nested:
    nested = nest(boards, sheets, effort, fixed, blanks)
    assert nested.findings == ()
    assert nested.unplaced == ()
    assert check_layout(nested.spots, boards, sheets, nested.blanks) == []
    return nested


def test_the_realistic_set() -> None:
    """Three blanks; little effort already covers what the long search must at least."""
    nested, share = realistic(Effort(7500, 1))
    assert len(nested.spots) == 32
    assert len(nested.blanks) == 3
    assert share >= 0.735


ell = BOX(0, 0, 40, 12).union(BOX(0, 0, 12, 40))
frame = BOX(0, 0, 60, 60).difference(BOX(10, 10, 50, 50))
shapes = st.sampled_from([ell, frame, BOX(0, 0, 30, 17), shapely.Point(0, 0).buffer(14)])


@pytest.mark.law
@examples(15)
@given(
    st.lists(st.tuples(shapes, st.integers(1, 4), st.booleans()), min_size=1, max_size=4),
    st.sampled_from([(0.0,), (0.0, 180.0), QUARTERS, (0.0, 30.0, 73.5)]),
    st.booleans(),
)
def test_whatever_is_found_is_sound(
    some: list[tuple[shapely.Polygon, int, bool]], turns: tuple[float, ...], offcuts: bool
) -> None:
    boards = [
        replace(
            wanted(f"b{n}", shapely.affinity.translate(shape, 101.23456789, -7.1), count, turns)
        )
        for n, (shape, count, _) in enumerate(some)
    ]
    boards = [replace(b, mirrored=s[2]) for b, s in zip(boards, some, strict=True)]
    odd = BOX(0, 0, 200, 150).difference(shapely.Polygon([(200, 150), (90, 150), (200, 60)]))
    assert isinstance(odd, shapely.Polygon)
    sheets = [
        replace(sheet(150, 100, 30), keep_outs=(BOX(0, 0, 22, 15), BOX(70, 40, 75, 45))),
        *([StockSheet(odd, 4.0, 2.0)] if offcuts else []),
    ]
    proved(boards, sheets, Effort(0, 1))


def test_the_same_in_every_process() -> None:
    program = (
        "from millprep.nesting.nest import Effort, nest;"
        "from tests.bench.nesting import small_blank, small_boards;"
        "print(nest(small_boards(), [small_blank()], Effort(3000, 2)).spots)"
    )
    runs = [
        subprocess.run(
            [sys.executable, "-c", program],
            env={**os.environ, "PYTHONHASHSEED": seed},
            cwd=Path(__file__).parents[2],
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    ]
    assert runs[0] == runs[1]
    assert runs[0].count("Spot(") == 32


def test_processes_share_the_work_and_change_nothing() -> None:
    boards, blank = small_boards()[1:4], small_blank()
    assert nest(boards, [blank], LOW, workers=2) == nest(boards, [blank], LOW)


def test_more_effort_is_never_worse() -> None:
    boards, blank = small_boards(), small_blank()

    def last(effort: Effort) -> tuple[int, float]:
        nested = nest(boards, [blank], effort)
        number = len(nested.blanks)
        return number, round(used_length(number, nested.spots, boards, blank), 3)

    assert last(Effort(10000, 1)) <= last(Effort(0, 1))


def test_a_board_lies_in_the_cut_out_of_another() -> None:
    nested = proved([wanted("frame", frame), wanted("core", BOX(0, 0, 34, 34))], [sheet(70, 70)])
    (_, outer), (_, inner) = areas_on(1, nested.spots, [*_boards(nested)])
    assert shapely.Polygon(outer.exterior).contains(inner)
    too_large = nest(
        [wanted("frame", frame), wanted("core", BOX(0, 0, 34.01, 34))], [sheet(70, 70)]
    )
    assert too_large.unplaced == (("core", 1),)


def _boards(nested: Nested) -> list[Wanted]:
    shapes = {"frame": frame, "core": BOX(0, 0, 34, 34)}
    return [wanted(name, shapes[name]) for name in dict.fromkeys(s.board for s in nested.spots)]


def test_what_fits_exactly_is_found() -> None:
    """An L of 40 and a plate in its bay, without a thousandth to spare."""
    tight = [wanted("ell", ell), wanted("plate", BOX(0, 0, 25, 25))]
    proved(tight, [sheet(50, 50)])
    tight[1] = wanted("plate", BOX(0, 0, 25, 25.0002))
    assert nest(tight, [sheet(50, 50)], LOW).unplaced == (("plate", 1),)


def test_rectangles_fill_a_blank_without_rest() -> None:
    boards = tiles(40, 30, 9, 3)
    nested = proved(boards, [StockSheet(BOX(0, 0, 40, 30), 0.0, 0.0)], Effort(15000, 2))
    assert covered(1, nested.spots, boards, StockSheet(BOX(0, 0, 40, 30), 0.0, 0.0)) == 1.0


def test_turns_only_as_allowed() -> None:
    long = BOX(0, 0, 80, 20)
    assert nest([wanted("long", long)], [sheet(40, 100)]).unplaced
    (spot,) = proved([wanted("long", long, 1, (0.0, 90.0))], [sheet(40, 100)]).spots
    assert spot.turn == 90.0


def test_high_priority_comes_first() -> None:
    """The small board would never be first by its size; the blank has room for one."""
    boards = [wanted("large", BOX(0, 0, 80, 80)), wanted("small", BOX(0, 0, 50, 50))]
    assert nest(boards, [sheet(90, 90)], LOW).unplaced == (("small", 1),)
    boards[1] = replace(boards[1], priority=1)
    assert nest(boards, [sheet(90, 90)], LOW).unplaced == (("large", 1),)


def test_what_has_a_place_never_moves() -> None:
    boards = [wanted("ell", ell, 3, QUARTERS), wanted("plate", BOX(0, 0, 30, 17), 2, QUARTERS)]
    fixed = (Spot("ell", 2, 1, 61.25, 33.5, 90.0), Spot("plate", 1, 1, 7.0, 8.0, 0.0))
    first = proved(boards, [sheet(150, 100, 2)], LOW, fixed)
    assert set(fixed) <= set(first.spots)
    more = [replace(boards[0], copies=tuple(range(1, 8))), boards[1], wanted("new", frame, 2)]
    second = proved(more, [sheet(150, 100, 4)], LOW, first.spots, first.blanks)
    assert set(first.spots) <= set(second.spots)
    assert second.blanks[: len(first.blanks)] == first.blanks


def test_a_pinned_board_may_have_a_turn_of_its_own() -> None:
    fixed = (Spot("plate", 1, 1, 40.0, 30.0, 45.0),)
    boards = [wanted("plate", BOX(0, 0, 30, 17), 4)]
    nested = nest(boards, [sheet(150, 100)], LOW, fixed)
    assert [spot.turn for spot in nested.spots] == [45.0, 0.0, 0.0, 0.0]
    # the proof reads the job: the turn has to be allowed
    codes = [f.code for f in check_layout(nested.spots, boards, [sheet(150, 100)], nested.blanks)]
    assert codes == ["layout-turn"]


def test_fixed_places_must_make_sense() -> None:
    boards = [wanted("plate", BOX(0, 0, 30, 17))]
    with pytest.raises(ValueError, match="unknown"):
        nest(boards, [sheet(150, 100)], LOW, (Spot("other", 1, 1, 8, 8),))
    with pytest.raises(ValueError, match="blank 2"):
        nest(boards, [sheet(150, 100)], LOW, (Spot("plate", 1, 2, 8, 8),))


def test_the_last_blank_is_the_smallest_that_will_do() -> None:
    sizes = [sheet(60, 50), sheet(200, 100, 2), sheet(60, 40)]
    boards = [wanted("plate", BOX(0, 0, 88, 90), 3)]
    assert proved(boards, sizes).blanks == (1, 1)
    boards.append(wanted("small", BOX(0, 0, 50, 30)))
    boards[0] = replace(boards[0], copies=(1, 2))
    assert proved(boards, sizes).blanks == (1, 2)


def test_a_board_goes_on_the_only_size_that_holds_it() -> None:
    sizes = [sheet(200, 200), sheet(320, 40)]
    boards = [wanted("long", BOX(0, 0, 300, 20)), wanted("plate", BOX(0, 0, 150, 150))]
    assert sorted(proved(boards, sizes).blanks) == [0, 1]


def test_a_board_larger_than_every_blank_is_reported_with_the_size_that_would_do() -> None:
    nested = nest([wanted("long", BOX(0, 0, 300, 20), 2)], [sheet(200, 100), sheet(100, 90)])
    (finding,) = nested.findings
    assert finding.code == "board-larger-than-blank"
    assert "310.00 × 30.00 mm" in finding.message
    assert nested.unplaced == (("long", 1), ("long", 2))


def test_no_room_beside_a_clamp_is_told_apart_from_no_stock() -> None:
    clamped = replace(sheet(100, 100), keep_outs=(BOX(45, 45, 55, 55),))
    (finding,) = nest([wanted("plate", BOX(0, 0, 70, 70))], [clamped]).findings
    assert finding.code == "board-finds-no-room"
    (finding,) = nest([wanted("plate", BOX(0, 0, 70, 70), 3)], [sheet(100, 100)]).findings
    assert finding.code == "blanks-used-up"
    assert "2 × plate" in finding.message


def test_the_offcut_serves_as_the_next_blank() -> None:
    boards, blank = [wanted("ell", ell, 2, QUARTERS)], sheet(200, 60)
    nested = proved(boards, [blank])
    left = offcut(1, nested.spots, boards, blank)
    assert left is not None
    length = used_length(1, nested.spots, boards, blank)
    assert left.bounds == pytest.approx((length + 3, 0, 200, 60), abs=1e-4)
    proved([wanted("plate", BOX(0, 0, 30, 17), 2, QUARTERS)], [StockSheet(left, 4.0, 3.0)])


def test_nothing_is_left_of_a_full_blank() -> None:
    boards, blank = [wanted("plate", BOX(0, 0, 50, 50))], StockSheet(BOX(0, 0, 50, 50), 0.0, 3.0)
    assert offcut(1, proved(boards, [blank]).spots, boards, blank) is None


@pytest.mark.parametrize(("length", "serves"), [(74.9, False), (75.1, True)])
def test_a_strip_of_which_no_board_can_be_cut_is_no_offcut(length: float, serves: bool) -> None:
    """Behind the board and the spacing of 3 mm, 10 mm must be left between margins of 4 mm."""
    boards = [wanted("plate", BOX(0, 0, 50, 50))]
    blank = StockSheet(BOX(0, 0, length, 58), 4.0, 3.0)
    left = offcut(1, proved(boards, [blank]).spots, boards, blank)
    assert (left is not None) == serves


@pytest.mark.parametrize("round_", [False, True])
def test_boards_keep_off_what_is_avoided_if_they_can(round_: bool) -> None:
    """Rectangles and no-fit polygons alike; a long board lies across, and the rest does not."""
    seam = BOX(98.0, -10.0, 102.0, 90.0)
    required = replace(sheet(200, 80), avoided=((seam,),))
    small = BOX(0, 0, 22, 12).buffer(1.0) if round_ else BOX(0, 0, 24, 14)
    boards = [wanted("long", BOX(0, 0, 150, 20)), wanted("small", small, 10, (0.0, 90.0))]
    nested = proved(boards, [required])
    areas = areas_on(1, nested.spots, boards)
    met = {spot.board for spot, area in areas if area.intersection(seam).area > 1e-6}
    assert met == {"long"}
    plain = proved(boards, [sheet(200, 80)])
    assert any(
        area.intersection(seam).area > 1e-6
        for spot, area in areas_on(1, plain.spots, boards)
        if spot.board == "small"
    )


def test_of_two_groups_the_first_is_avoided_where_both_cannot_be() -> None:
    first, second = BOX(0, 0, 60, 100), BOX(50, 0, 100, 100)
    required = replace(sheet(100, 50), avoided=((first,), (second,)))
    (spot,) = proved([wanted("one", BOX(0, 0, 30, 30))], [required]).spots
    assert spot.x >= 60.0 - 1e-6


def test_a_round_board_goes_past_a_size_that_is_too_small() -> None:
    disc = wanted("disc", shapely.Point(20, 20).buffer(20), 2)
    assert proved([disc], [sheet(40, 45), sheet(60, 60, 2)]).blanks == (1, 1)


def test_the_size_that_would_do_is_rounded_up() -> None:
    disc = wanted("disc", shapely.Point(10, 10).buffer(10))
    (finding,) = nest([disc], [sheet(30, 30, margin=5.001)]).findings
    assert "is 20.00 × 20.00 mm" in finding.message
    assert "a blank of at least 30.01 × 30.01 mm" in finding.message
    assert proved([disc], [sheet(30.01, 30.01, margin=5.001)]).unplaced == ()
    (finding,) = nest([disc], [sheet(29, 29)]).findings
    assert "a blank of at least 30.00 × 30.00 mm" in finding.message


def test_a_place_that_no_digits_can_write_is_none() -> None:
    disc = wanted("disc", shapely.Point(10, 10).buffer(10))
    # x = y = 5.00005 would fit, and four digits are written
    nested = nest([disc], [sheet(30.0001, 30.0001, margin=5.00005)])
    assert nested.unplaced == (("disc", 1),)
    assert [finding.code for finding in nested.findings] == ["board-finds-no-room"]
    assert proved([disc], [sheet(30.0002, 30.0002, margin=5.00005)]).spots[0].x == 5.0001


def test_what_fits_no_blank_keeps_off_nothing() -> None:
    large = wanted("large", shapely.Point(20, 20).buffer(20))
    small = wanted("small", shapely.Point(6, 6).buffer(6))
    off = replace(sheet(45, 45), avoided=((BOX(0, 0, 20, 45),),))
    nested = proved([large, small], [off, sheet(50, 50)])
    places = {spot.board: (nested.blanks[spot.blank - 1], spot.x) for spot in nested.spots}
    assert places["large"][0] == 1
    assert places["small"][0] == 1 or places["small"][1] >= 20
    # on that blank alone the small one lies off the place
    (spot,) = proved([small], [off]).spots
    assert spot.x >= 20
    nested = nest([large, small], [off])
    assert nested.unplaced == (("large", 1),)
    assert [spot.x >= 20 for spot in nested.spots] == [True]
