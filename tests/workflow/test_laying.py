"""A place for every board of a job: found, pinned, stored; the others never move."""

from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from millprep import job
from millprep.model.blank import Box, Clamp, Layout
from millprep.model.board import Board, CopperPiece
from millprep.model.finding import Refusal
from millprep.model.job.board import BoardPlan, PlacePlan
from millprep.model.job.job import BlankPlan, JobPlan
from millprep.nesting import file
from millprep.workflow.laying import Choice, Laid, Stored, kept_out, lay
from tests.helpers import small_job
from tests.helpers.chance import examples


def board(width: float, height: float, name: str = "panel") -> Board:
    """Drawn away from the origin, as drawings are; its copper stands in the low corner."""
    copper = shapely.box(101.0, -49.0, 103.0, -48.0)
    outline = shapely.box(100, -50, 100 + width, -50 + height)
    return Board(name, outline, (CopperPiece("c1", copper),), ())


def blank(width: float, height: float, count: int = 1, margin: float = 8.0) -> BlankPlan:
    return BlankPlan(
        size=(width, height),
        thickness=1.6,
        copper=0.035,
        margin=margin,
        spacing=3.0,
        count=count,
        modulus=22.0,
    )


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> JobPlan:
    return job.load(small_job.put(tmp_path_factory.mktemp("laying")))


def asked(
    plan: JobPlan, blanks: list[BlankPlan], *boards: tuple[Board, int], mirrored: bool = False
) -> tuple[JobPlan, list[Board]]:
    """A job for these boards and blanks."""
    (one,) = plan.boards
    plans: list[BoardPlan] = [
        replace(
            one,
            name=drawn.name,
            count=count,
            drawn_from="components" if mirrored else "copper",
        )
        for drawn, count in boards
    ]
    drawn = [one for one, _ in boards]
    return replace(plan, boards=tuple(plans), blanks=tuple(blanks)), drawn


def made_of(layout: Layout, skipped: int) -> Layout:
    """A layout without the copies at its end that are skipped, and without blanks left empty."""
    kept = layout.placements[: len(layout.placements) - skipped]
    used = {placement.blank for placement in kept}
    return Layout(tuple(blank for blank in layout.blanks if blank.number in used), kept)


def laid_out(asked_for: tuple[JobPlan, list[Board]], choice: Choice | None = None) -> Layout:
    plan, boards = asked_for
    laid = lay(plan, boards, choice)
    assert laid.findings == ()
    return made_of(laid.layout(boards, plan.blanks), laid.skipped)


def text_of(asked_for: tuple[JobPlan, list[Board]]) -> tuple[Laid, str]:
    plan, boards = asked_for
    laid = lay(plan, boards)
    return laid, file.text_of(laid.spots, laid.blanks, laid.sheets)


def areas(layout: Layout, number: int) -> list[shapely.Polygon]:
    return [p.pose.shape(p.board.outline) for p in layout.on(number)]


def where(layout: Layout) -> dict[tuple[str, int], tuple[int, list[float]]]:
    return {(p.board.name, p.copy): (p.blank, p.pose.as_list()) for p in layout.placements}


sizes = st.tuples(st.integers(8, 60), st.integers(8, 60), st.integers(1, 4))


@pytest.mark.law
@examples(8)
@given(st.lists(sizes, min_size=1, max_size=3), st.booleans(), st.booleans())
def test_every_copy_has_its_place(
    plan: JobPlan, boards: list[tuple[int, int, int]], large: bool, mirrored: bool
) -> None:
    size = blank(300.0, 180.0, 3) if large else blank(120.0, 80.0, 30)
    drawn = [(board(w, h, f"b{n}"), count) for n, (w, h, count) in enumerate(boards)]
    layout = laid_out(asked(plan, [size], *drawn, mirrored=mirrored), Choice("low"))
    wanted = sorted((one.name, copy) for one, count in drawn for copy in range(1, count + 1))
    assert sorted((p.board.name, p.copy) for p in layout.placements) == wanted
    assert [p.index for p in layout.placements] == list(range(len(wanted)))
    inside = shapely.box(8, 8, size.size[0] - 8, size.size[1] - 8).buffer(1e-6)
    for one in layout.blanks:
        here = areas(layout, one.number)
        assert here
        assert all(inside.contains(area) for area in here)
        assert all(a.distance(b) >= 3.0 - 1e-6 for a, b in itertools.combinations(here, 2))
    assert all(p.pose.mirrored == mirrored for p in layout.placements)


def test_a_jobs_only_board_lies_in_the_middle(plan: JobPlan) -> None:
    layout = laid_out(asked(plan, [blank(200.0, 100.0)], (board(100, 40), 1)))
    assert areas(layout, 1)[0].bounds == pytest.approx((50, 30, 150, 70))


@pytest.mark.parametrize(("width", "height", "flips"), [(80, 40, "y"), (40, 80, "x")])
def test_a_board_is_mirrored_about_its_long_axis(
    plan: JobPlan, width: float, height: float, flips: str
) -> None:
    """So the long direction keeps its sense, and with it the meaning of the passes."""
    layout = laid_out(asked(plan, [blank(200.0, 100.0)], (board(width, height), 1), mirrored=True))
    (placement,) = layout.placements
    x0, y0, x1, y1 = placement.pose.shape(placement.board.outline).bounds
    x, y = placement.pose.point((102.0, -48.5))
    assert (x - x0 < (x1 - x0) / 2) == (flips == "y")
    assert (y - y0 < (y1 - y0) / 2) == (flips == "x")


def test_what_never_fits_is_reported_with_the_size_that_would_do(plan: JobPlan) -> None:
    long, tall = board(300, 40, "long"), board(20, 200, "tall")
    laid = lay(*asked(plan, [blank(200.0, 100.0)], (long, 1), (tall, 1)))
    assert [f.code for f in laid.findings] == ["board-larger-than-blank"] * 2
    assert "316.00 × 56.00 mm" in laid.findings[0].message
    assert "36.00 × 216.00 mm" in laid.findings[1].message
    layout = laid_out(asked(plan, [blank(200, 100), blank(316.0, 56.0)], (long, 1)))
    assert [one.size for one in layout.blanks] == [(316.0, 56.0)]


def test_too_few_blanks(plan: JobPlan) -> None:
    laid = lay(*asked(plan, [blank(200.0, 100.0, 2)], (board(100, 60), 4)), Choice("low"))
    assert [f.code for f in laid.findings] == ["blanks-used-up"]
    assert "2 × panel" in laid.findings[0].message


def test_boards_keep_off_the_clamps_of_pass_1(plan: JobPlan) -> None:
    clamps = (Clamp(Box(0, 0, 30, 30), 4.0), Clamp(Box(100, 0, 130, 30), 4.0, passes=(2,)))
    held = replace(plan, setup=replace(plan.setup, clamps=clamps))
    layout = laid_out(asked(held, [blank(200.0, 100.0)], (board(40, 20), 6)))
    room = held.machine.collet / 2 + held.profile.cutter.width(0.0) / 2
    clamp = shapely.box(0, 0, 30, 30)
    assert all(area.distance(clamp) >= room for area in areas(layout, 1))


@pytest.mark.parametrize(
    ("width", "x"),
    [
        (108.0, 17.0),  # the collet nut, 16 mm wide, keeps 2 mm off, and the mill is 2 mm wide
        (107.9, 10.5875),  # only the shank of 3.175 mm and clamp_clearance of 2 mm do
        (101.5875, 10.5875),
        (101.58, None),
    ],
)
def test_where_the_collet_has_no_room_boards_lie_as_near_to_a_clamp_as_cutters_may(
    plan: JobPlan, width: float, x: float | None
) -> None:
    """Two boards of 40 mm, 3 mm apart, and a margin of 8 mm, next to a clamp that ends at 6 mm."""
    held = replace(plan, setup=replace(plan.setup, clamps=(Clamp(Box(0, 0, 6, 60), 4.0),)))
    laid = lay(*asked(held, [blank(width, 60.0)], (board(40, 40), 2)), Choice("low"))
    if x is None:
        assert [finding.code for finding in laid.findings] == ["blanks-used-up"]
        return
    assert laid.findings == ()
    assert sorted(spot.x for spot in laid.spots) == pytest.approx([x, x + 43.0])


def test_a_blank_that_is_moved_keeps_no_place_free(plan: JobPlan) -> None:
    held = replace(plan, setup=replace(plan.setup, clamps=(Clamp(Box(0, 0, 30, 30), 4.0),)))
    # 300 mm of travel less its margins
    assert kept_out(held, blank(290.0, 100.0), collet=True)
    assert not kept_out(held, blank(500.0, 100.0), collet=True)


def test_a_stored_layout_moves_nothing_and_takes_what_is_new(plan: JobPlan) -> None:
    two = asked(plan, [blank(200.0, 100.0)], (board(40, 30), 2), (board(30, 25, "lid"), 1))
    _, text = text_of(two)
    again = Choice(stored=Stored("layout.toml", text))
    assert where(laid_out(two, again)) == where(laid_out(two))
    more = asked(plan, [blank(200.0, 100.0)], (board(40, 30), 3), (board(30, 25, "lid"), 1))
    grown = where(laid_out(more, again))
    assert len(grown) == 4
    assert {key: grown[key] for key in where(laid_out(two))} == where(laid_out(two))


def test_an_edited_layout_that_overlaps_is_refused_with_its_line(plan: JobPlan) -> None:
    two = asked(plan, [blank(200.0, 100.0)], (board(40, 30), 2))
    laid, text = text_of(two)
    first, second = laid.spots
    lines = text.splitlines()
    (row,) = [n for n, line in enumerate(lines) if "copy =   2" in line]
    lines[row] = lines[row].replace(f"x = {second.x:9.4f}", f"x = {first.x + 1:9.4f}")
    lines[row] = lines[row].replace(f"y = {second.y:9.4f}", f"y = {first.y + 1:9.4f}")
    with pytest.raises(Refusal) as refused:
        lay(*two, Choice(stored=Stored("layout.toml", "\n".join(lines))))
    assert [(f.code, f.file, f.line) for f in refused.value.findings] == [
        ("layout-overlap", "layout.toml", row + 1)
    ]


def test_an_edited_layout_that_leaves_the_blank_is_refused_with_its_line(plan: JobPlan) -> None:
    two = asked(plan, [blank(200.0, 100.0)], (board(40, 30), 2))
    laid, text = text_of(two)
    moved = text.replace(f"y = {laid.spots[1].y:9.4f}", f"y = {90.0:9.4f}")
    with pytest.raises(Refusal) as refused:
        lay(*two, Choice(stored=Stored("layout.toml", moved)))
    (fault,) = refused.value.findings
    assert fault.code == "layout-off-blank"
    assert "copy =   2" in moved.splitlines()[(fault.line or 0) - 1]


def test_a_place_by_hand_is_kept_and_the_others_go_round_it(plan: JobPlan) -> None:
    job_, boards = asked(plan, [blank(200.0, 100.0)], (board(40, 30), 3))
    places = (PlacePlan((80.0, 40.0), 90.0),)
    pinned = replace(job_, boards=(replace(job_.boards[0], places=places),))
    layout = laid_out((pinned, boards))
    first = next(p for p in layout.placements if p.copy == 1)
    assert first.pose.shape(first.board.outline).bounds == pytest.approx((80, 40, 110, 80))
    assert len(layout.placements) == 3
    places = (PlacePlan((180.0, 40.0)),)
    pinned = replace(job_, boards=(replace(job_.boards[0], places=places),))
    with pytest.raises(Refusal, match="leaves blank 1"):
        lay(pinned, boards)


def test_what_is_skipped_leaves_the_others_where_they_are(plan: JobPlan) -> None:
    all_ = asked(plan, [blank(120.0, 80.0, 3)], (board(40, 30), 5), (board(30, 25, "lid"), 2))
    whole = where(laid_out(all_))
    less = where(laid_out(all_, Choice(skip=(("panel", 2), ("lid", 1)))))
    assert set(whole) - set(less) == {("panel", 2), ("lid", 1)}
    assert less == {key: whole[key] for key in less}


def test_a_blank_of_which_all_is_skipped_is_not_cut(plan: JobPlan) -> None:
    two = asked(plan, [blank(60.0, 50.0, 2)], (board(40, 30), 2))
    layout = laid_out(two, Choice(skip=(("panel", 1),)))
    assert [(one.number, len(layout.on(one.number))) for one in layout.blanks] == [(2, 1)]


def test_only_some_copies_are_made_again(plan: JobPlan) -> None:
    all_ = asked(plan, [blank(120.0, 80.0, 3)], (board(40, 30), 5), (board(30, 25, "lid"), 2))
    assert set(where(laid_out(all_, Choice(only=(("panel", 4),))))) == {("panel", 4)}
    _, text = text_of(all_)
    kept = where(laid_out(all_, Choice(stored=Stored("l.toml", text), only=(("panel", 4),))))
    assert kept == {("panel", 4): where(laid_out(all_))["panel", 4]}
    with pytest.raises(Refusal, match="no board panel copy 9"):
        lay(*all_, Choice(only=(("panel", 9),)))
    with pytest.raises(Refusal, match="no board lamp copy 1"):
        lay(*all_, Choice(skip=(("lamp", 1),)))


def test_an_offcut_is_filled_within_its_outline(plan: JobPlan) -> None:
    corners = ((0.0, 0.0), (200.0, 0.0), (200.0, 40.0), (100.0, 40.0), (100.0, 100.0), (0.0, 100.0))
    offcut = replace(blank(200.0, 100.0), outline=corners, margin=2.0)
    layout = laid_out(asked(plan, [offcut], (board(40, 30), 5)))
    inside = shapely.Polygon(corners).buffer(-2.0 + 1e-6)
    assert all(inside.contains(area) for area in areas(layout, 1))


def test_the_choice_is_part_of_a_sets_id(tmp_path: Path) -> None:
    assert Choice().words == ()
    ways = [
        Choice("high"),
        Choice(skip=(("a", 1),)),
        Choice(only=(("a", 1),)),
        Choice(stored=Stored(str(tmp_path), "text")),
    ]
    assert len({one.words for one in ways}) == 4
    assert [Choice.of(one.words) for one in ways] == [*ways[:3], None]
    assert [Choice.of(one.words, ways[3].stored) for one in ways] == ways
