"""Words beside marks hide nothing, lie near, and have a line where they lie off."""

from __future__ import annotations

import itertools

import pytest
import shapely
from fontTools.ttLib import TTFont

from millprep.model.blank import Box
from millprep.report import captions, scene
from millprep.report.canvas import Canvas, canvas
from millprep.report.captions import LINE_FROM, Caption, arrange, extent

NOTHING = shapely.Polygon()


@pytest.fixture
def on() -> Canvas:
    return canvas(Box(-20.0, -20.0, 320.0, 200.0), "a picture", "")


def crowd(count: int) -> list[Caption]:
    """Marks so near each other that words on their right would lie over one another."""
    return [Caption((100.0 + 9.0 * (n % 4), 80.0 + 7.0 * (n // 4)), f"r{n} locates")
            for n in range(count)]  # fmt: skip


def test_words_of_a_crowd_hide_neither_each_other_nor_any_mark(on: Canvas) -> None:
    said = crowd(10)
    done = arrange(on, said, [], NOTHING)
    assert [one.caption for one in done] == said
    for one, other in itertools.combinations(done, 2):
        assert not one.box.intersects(other.box)
        assert one.line is None or not one.line.intersects(other.box)
    for one in done:
        for caption in said:
            mark = shapely.Point(caption.at).buffer(caption.radius / on.per_mm - 1e-9)
            assert not one.box.intersects(mark)


def test_a_lone_mark_has_its_words_beside_it_and_no_line(on: Canvas) -> None:
    (one,) = arrange(on, [Caption((50.0, 50.0), "r1 locates")], [], NOTHING)
    assert one.line is None
    assert one.box.distance(shapely.Point(50.0, 50.0)) * on.per_mm < 12


def test_what_is_engraved_stays_to_be_seen_and_words_that_lie_off_have_a_line(on: Canvas) -> None:
    around = (
        shapely.Point(50.0, 50.0).buffer(12.0).difference(shapely.Point(50.0, 50.0).buffer(2.0))
    )
    (one,) = arrange(on, [Caption((50.0, 50.0), "r1 locates")], [around], NOTHING)
    assert not one.box.intersects(around)
    assert one.line is not None
    assert one.line.length * on.per_mm >= LINE_FROM - 1e-6
    assert one.line.distance(one.box) < 1e-6
    # the same place without it is nearer: the check can fail
    (free,) = arrange(on, [Caption((50.0, 50.0), "r1 locates")], [], NOTHING)
    assert free.box.intersects(around)


def test_words_stay_within_the_picture_and_off_the_boards(on: Canvas) -> None:
    board = shapely.box(-15.0, -10.0, 310.0, 150.0)
    corners = [(x, y) for x in (-18.0, 318.0) for y in (-18.0, 198.0)]
    done = arrange(on, [Caption(at, "w2 look here") for at in corners], [], board)
    view = shapely.box(on.view.x0, on.view.y0, on.view.x1, on.view.y1)
    assert all(view.covers(one.box) for one in done)
    (neighbour,) = arrange(on, [Caption((100.0, 152.0), "r1 locates")], [], board)
    assert not neighbour.box.intersects(board)


def test_words_are_nearer_to_their_own_mark_than_to_another(on: Canvas) -> None:
    one, other = Caption((100.0, 100.0), "X0 Y0"), Caption((104.0, 100.0), "Z touch")
    for placed, mine, not_mine in zip(
        arrange(on, [one, other], [], NOTHING), (one, other), (other, one), strict=True
    ):
        if placed.line is None:
            assert placed.box.distance(shapely.Point(mine.at)) < placed.box.distance(
                shapely.Point(not_mine.at)
            )


def test_longer_words_are_wider() -> None:
    assert extent("r1 drilled now")[0] > extent("r1")[0] > captions.SIZE / 2


@pytest.mark.parametrize("name", [scene.REGULAR, scene.BOLD])
def test_letters_are_as_wide_as_another_reader_of_the_font_says(name: str) -> None:
    with TTFont(scene.font_file(name), lazy=True) as font:
        widths, glyphs = font["hmtx"].metrics, font.getBestCmap()
        em = font["head"].unitsPerEm
    bold = name == scene.BOLD
    for letter in "A·iW–…Ω→ 0":
        wide = scene.width_of(letter, 10.0, bold=bold)
        assert wide == pytest.approx(10.0 * widths[glyphs[ord(letter)]][0] / em)
    # no font has a letter for a place that Unicode keeps for private use
    assert scene.width_of("\uf8fe", 10.0, bold=bold) == 10.0 * widths[".notdef"][0] / em


def test_a_name_is_on_its_board_and_off_signs_and_copper(on: Canvas) -> None:
    edges = [shapely.box(10, 10, 90, 60), shapely.box(110, 10, 190, 60)]
    # copper under all of the upper edge of the first board, a sign where the second's begins
    copper = shapely.box(10, 50, 90, 70)
    sign = shapely.box(108, 55, 125, 65)
    boards = [("one 1", edges[0]), ("two 1", edges[1])]
    first, second = captions.on_boards(on, boards, [sign], [copper])
    for placed, edge in ((first, edges[0]), (second, edges[1])):
        assert placed.line is None
        assert placed.box.distance(edge) < 1.0
        assert not placed.box.intersects(edge.boundary)
    assert first.box.within(edges[0])
    assert not first.box.intersects(copper)
    assert not second.box.intersects(sign)
    assert second.box.bounds[1] > 60
