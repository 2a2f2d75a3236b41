"""Layouts of blanks that are moved: whole boards where they can be, clamps and holes kept free."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
import shapely

from millprep import job
from millprep.model.blank import Box, Clamp, Spot
from millprep.model.board import Board
from millprep.model.job.board import PlacePlan
from millprep.model.job.job import JobPlan
from millprep.nesting import file
from millprep.nesting.nest import Effort, Nested
from millprep.nesting.wanted import StockSheet, Wanted, areas_on
from millprep.passes import layout_for_passes
from millprep.passes.layout_for_passes import BlankWithPasses, settled
from millprep.workflow.inputs import read_boards
from millprep.workflow.laying import Choice, Laid, Stored, lay
from millprep.workflow.prepare import prepare
from tests.helpers.long_and_small import passes_of, put

LOW = Choice("low")


@pytest.fixture(scope="module")
def asked(tmp_path_factory: pytest.TempPathFactory) -> tuple[JobPlan, tuple[Board, ...]]:
    plan = job.load(put(tmp_path_factory.mktemp("long")))
    return plan, read_boards(plan)


def on_blanks(plan: JobPlan, laid: Laid) -> list[BlankWithPasses]:
    assert laid.findings == ()
    found = [
        layout_for_passes.of(plan, n, index, areas_on(n, laid.spots, laid.wanted))
        for n, index in enumerate(laid.blanks, start=1)
    ]
    return [one for one in found if one is not None]


def lamps(plan: JobPlan, boards: tuple[Board, ...], count: int) -> tuple[JobPlan, list[Board]]:
    """The job with small boards alone."""
    return replace(plan, boards=(replace(plan.boards[1], count=count),)), [boards[1]]


def without_passes(
    monkeypatch: pytest.MonkeyPatch, plan: JobPlan, boards: list[Board] | tuple[Board, ...]
) -> Laid:
    """A layout that was made without regard to passes."""
    with monkeypatch.context() as patch:
        patch.setattr(layout_for_passes, "settled", lambda *words: words[3])
        return lay(plan, boards, LOW)


def test_small_boards_beside_a_long_one_are_cut_whole(tmp_path: Path) -> None:
    """A board of 480 mm is joined, 24 small ones are not: as the programs on disk tell."""
    out = tmp_path / "out"
    cut_set = prepare(put(tmp_path), out, choice=LOW)
    assert not [f for f in cut_set.findings if f.severity == "stop"]
    assert {proof.shorts + proof.opens for proof in cut_set.proofs} == {0}
    cut_in = passes_of(out)
    assert len(cut_in) == 25
    assert cut_in["long", 1] == {1, 2}
    assert {copy for copy, passes in cut_in.items() if len(passes) > 1} == {("long", 1)}
    assert "boards-across-passes" not in {f.code for f in cut_set.findings}


@pytest.mark.parametrize(
    ("count", "size", "travel"),
    [(50, (900.0, 120.0), (210.0, 130.0)), (30, (270.0, 210.0), (155.0, 120.0))],
    ids=["row", "grid"],
)
def test_a_full_blank_is_laid_out_anew_off_its_seams(
    asked: tuple[JobPlan, tuple[Board, ...]],
    monkeypatch: pytest.MonkeyPatch,
    count: int,
    size: tuple[float, float],
    travel: tuple[float, float],
) -> None:
    plan, boards = lamps(*asked, count)
    plan = replace(
        plan,
        blanks=(replace(plan.blanks[0], size=size),),
        machine=replace(plan.machine, travel_size=travel, travel_margin=0.0),
    )
    (before,) = on_blanks(plan, without_passes(monkeypatch, plan, boards))
    laid = lay(plan, boards, LOW)
    (after,) = on_blanks(plan, laid)
    assert len(before.across) >= 4
    assert after.across == ()
    assert len(after.shift.poses) == len(before.shift.poses)
    assert laid.notes == ()


def test_boards_keep_off_the_clamps_of_every_pass(
    asked: tuple[JobPlan, tuple[Board, ...]], monkeypatch: pytest.MonkeyPatch
) -> None:
    plan, boards = asked
    clamps = (
        Clamp(Box(0, 170, 25, 200), 5.0),
        Clamp(Box(140, 170, 165, 200), 5.0),
        Clamp(Box(270, 170, 295, 200), 5.0, passes=(2,)),
    )
    plan = replace(plan, setup=replace(plan.setup, clamps=clamps))
    for laid, met in (
        (without_passes(monkeypatch, plan, boards), True),
        (lay(plan, boards, LOW), False),
    ):
        (one,) = on_blanks(plan, laid)
        assert len(one.clamped) == 5
        kept = shapely.union_all(one.clamped)
        assert any(area.intersection(kept).area > 1e-3 for _, area in one.here) == met


def test_a_long_blank_whose_boards_one_window_holds_keeps_the_clamps_free(
    asked: tuple[JobPlan, tuple[Board, ...]],
) -> None:
    plan, boards = lamps(*asked, 20)
    plan = replace(plan, setup=replace(plan.setup, clamps=(Clamp(Box(0, 170, 25, 200), 5.0),)))
    (one,) = on_blanks(plan, lay(plan, boards, LOW))
    assert len(one.shift.poses) == 1
    assert all(area.distance(shapely.box(0, 170, 25, 200)) > 5.0 for _, area in one.here)


def test_where_the_margin_is_narrow_boards_leave_room_for_registration_holes(
    asked: tuple[JobPlan, tuple[Board, ...]],
) -> None:
    plan, boards = lamps(*asked, 36)
    narrow = replace(plan, blanks=(replace(plan.blanks[0], size=(560.0, 86.0), margin=4.0),))
    (one,) = on_blanks(narrow, lay(narrow, boards, LOW))
    drilled = one.drilled(shapely.box(4, 4, 556, 82))
    assert len(drilled) == 3
    kept = shapely.union_all(drilled)
    assert all(area.intersection(kept).area < 1e-3 for _, area in one.here)
    # a wide margin has room for them, and nothing is asked of the boards
    (one,) = on_blanks(plan, lay(plan, boards, LOW))
    assert one.drilled(shapely.box(12, 12, 588, 188)) == ()


def test_a_board_that_lies_across_by_a_place_given_is_named(
    asked: tuple[JobPlan, tuple[Board, ...]],
) -> None:
    plan, boards = asked
    # two rows, each before the gaps of the other: there is no seam beside all of them
    rows = [(120.0 + 36.0 * n, 110.0) for n in range(8)]
    rows += [(102.0 + 36.0 * n, 140.0) for n in range(8)]
    places = tuple(PlacePlan(at) for at in rows)
    pinned = replace(plan, boards=(plan.boards[0], replace(plan.boards[1], places=places)))
    laid = lay(pinned, boards, LOW)
    (one,) = on_blanks(pinned, laid)
    (note,) = laid.notes
    assert (note.code, note.severity, note.blank) == ("boards-across-passes", "note", 1)
    (spot,) = one.across
    assert spot.copy <= 16
    assert f"{spot.words} lies there by the place it was given" in note.message


def test_what_finds_no_room_off_a_seam_is_named(
    asked: tuple[JobPlan, tuple[Board, ...]],
) -> None:
    plan, boards = asked
    tight = replace(
        plan,
        boards=(replace(plan.boards[0], count=2), replace(plan.boards[1], count=50)),
        blanks=(replace(plan.blanks[0], size=(600.0, 160.0), count=2),),
        machine=replace(plan.machine, travel_margin=0.0),
    )
    laid = lay(tight, boards, LOW)
    across = [spot for one in on_blanks(tight, laid) for spot in one.across]
    assert across
    message = " ".join(note.message for note in laid.notes)
    assert all(spot.words in message for spot in across)
    assert "found no room next to it on as few blanks and in as few passes" in message


def test_a_stored_layout_stays_and_is_judged(asked: tuple[JobPlan, tuple[Board, ...]]) -> None:
    plan, boards = asked
    laid = lay(plan, boards, LOW)
    text = file.text_of(laid.spots, laid.blanks, laid.sheets)
    again = lay(plan, boards, Choice("low", Stored("l.toml", text)))
    assert again.spots == laid.spots
    assert again.notes == laid.notes == ()


def laid(names: str, *places: tuple[float, float]) -> tuple[Spot, ...]:
    return tuple(Spot(names, copy, 1, x, y) for copy, (x, y) in enumerate(places, 1))


def test_a_blank_without_boards_or_passes_has_none(
    asked: tuple[JobPlan, tuple[Board, ...]],
) -> None:
    plan, (lamp,) = lamps(*asked, 1)
    assert layout_for_passes.of(plan, 1, 0, []) is None
    short = replace(plan, machine=replace(plan.machine, travel_size=(20.0, 20.0)))
    wanted = [Wanted(lamp.name, lamp.outline, (1,))]
    nested = Nested(laid(lamp.name, (100.0, 50.0)), (0,))
    assert layout_for_passes.of(short, 1, 0, areas_on(1, nested.spots, wanted)) is None
    # such a layout stays: no other would have passes either
    sheets = [StockSheet(shapely.box(0, 0, 600, 200), 10.0, 4.0)]
    assert settled(short, wanted, sheets, nested, (), Effort(100, 1)) is nested


def test_after_so_many_rounds_the_best_layout_stays(
    asked: tuple[JobPlan, tuple[Board, ...]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A board that finds no place off the join lines is put on one, as if there were none."""
    plan, (lamp,) = lamps(*asked, 17)
    # two rows, each before the gaps of the other: no shift of the blank splits none of them
    rows = [(102.0 + 18.0 * n, 100.0 + 40.0 * (n % 2)) for n in range(16)]
    nested, other = (Nested(laid(lamp.name, *rows, (x, 40.0)), (0,)) for x in (540.0, 541.0))
    wanted = [Wanted(lamp.name, lamp.outline, tuple(range(1, 18)))]
    sheets = [StockSheet(shapely.box(0, 0, *plan.blanks[0].size), 12.0, 4.0)]
    answers = [replace(nested, unplaced=((lamp.name, 17),)), other]
    avoided = []

    def search(wanted: object, sheets: list[StockSheet], *rest: object) -> Nested:
        avoided.append([len(sheet.avoided) for sheet in sheets])
        return answers.pop(0)

    monkeypatch.setattr(layout_for_passes, "nest", search)
    monkeypatch.setattr(layout_for_passes, "ROUNDS", 1)
    assert settled(plan, wanted, sheets, nested, (), Effort(100, 1)) == nested
    assert avoided == [[1], [0]]


def test_holes_keep_off_what_an_offcut_lacks(
    asked: tuple[JobPlan, tuple[Board, ...]],
) -> None:
    plan, (lamp,) = lamps(*asked, 2)
    size, corners = (560.0, 86.0), ((0.0, 0.0), (560.0, 0.0), (560.0, 40.0), (0.0, 86.0))
    here = areas_on(
        1, laid(lamp.name, (20.0, 20.0), (500.0, 20.0)), [Wanted(lamp.name, lamp.outline, (1, 2))]
    )
    whole = replace(plan.blanks[0], size=size, margin=4.0)
    for stock, most in ((whole, 86.0), (replace(whole, outline=corners), 70.0)):
        passes = layout_for_passes.of(replace(plan, blanks=(stock,)), 1, 0, here)
        assert passes is not None
        holes = passes.drilled(shapely.box(4, 4, 556, 82))
        assert len(holes) == 3
        assert most - 18.0 < max(area.centroid.y for area in holes) < most
