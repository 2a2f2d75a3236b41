"""Cuts where nothing asks for them are found, and those that are asked for are not."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
import shapely

from millprep.geometry.pose import Pose
from millprep.model.board import Hole
from millprep.model.cutter import Cutter
from millprep.model.finding import Finding
from millprep.model.milling_pass import Join, MillingPass, RegistrationHole
from millprep.verify.reader import read
from millprep.verify.stray_cuts import AllowedCuts, ProgramCuts, check_stray_cuts, lap_reach
from millprep.verify.sweep import PATH_TOLERANCE
from tests.helpers.programs import (
    BLANK,
    DEPTH,
    HEAD,
    PASS,
    TAIL,
    around,
    board,
    cut,
    drill,
    end_mill,
    layout,
    plunge,
    vee,
)

VEE = vee()
GAP = 0.4
BAND = lap_reach(VEE.width(DEPTH), VEE.width(DEPTH, BLANK.copper), GAP)
FOOT = VEE.width(DEPTH, BLANK.copper) / 2
PAD = shapely.box(20, 15, 24, 19)
BOARD = board(
    [PAD], [Hole("h1", (22.0, 17.0), 1.0, "c1"), Hole("h2", (40, 20), 1.2, None, (43, 20))]
)
"""Its edge is the box from (2, 2) to (58, 38)."""
MILL = end_mill(2.0, "edge")
ASKED = AllowedCuts("edge", {VEE.name: BAND})
NOT_BY_MUCH = 0.01
"""Within every tolerance, mm."""
ASTRAY = 0.02


def stray(
    text: str,
    cutter: Cutter = VEE,
    *,
    asked: AllowedCuts = ASKED,
    mill_pass: MillingPass = PASS,
    joins: tuple[Join, ...] = (),
) -> tuple[Finding, ...]:
    trace = read(HEAD + text + TAIL, file="a")
    where = layout(BOARD).placements
    one = ProgramCuts("a.ngc", trace, cutter, mill_pass)
    return check_stray_cuts(BLANK, [one], where, [mill_pass], joins, asked)


def test_the_band_is_the_asked_gap_from_where_the_groove_meets_the_foot() -> None:
    surface, foot = VEE.width(DEPTH), VEE.width(DEPTH, BLANK.copper)
    assert pytest.approx(GAP + (surface - foot) / 2) == BAND
    assert lap_reach(surface, foot, 0.1) == pytest.approx(foot + (surface - foot) / 2)


@pytest.mark.parametrize(("more", "told"), [(NOT_BY_MUCH, 0), (ASTRAY, 1)])
def test_laps_stay_within_the_band(more: float, told: int) -> None:
    found = stray(around(PAD, BAND - FOOT + more))
    assert [f.code for f in found] == ["stray-cut"] * told
    assert all((f.severity, f.file, f.board) == ("stop", "a.ngc", "lamp") for f in found)


@pytest.mark.parametrize(("more", "told"), [(NOT_BY_MUCH, 0), (ASTRAY, 1)])
def test_the_band_of_a_large_gap_is_round_at_corners(more: float, told: int) -> None:
    band = lap_reach(VEE.width(DEPTH), VEE.width(DEPTH, BLANK.copper), 12.0)
    wide = AllowedCuts("edge", {VEE.name: band})
    corner = shapely.box(20, 15, 36, 25)
    trace = read(HEAD + around(corner, band - FOOT + more) + TAIL, file="a")
    where = layout(board([corner], [])).placements
    runs = [ProgramCuts("a.ngc", trace, VEE, PASS)]
    found = check_stray_cuts(BLANK, runs, where, [PASS], (), wide)
    assert [f.code for f in found] == ["stray-cut"] * told


def test_a_cut_that_runs_on_over_background_is_reported_with_its_place_and_line() -> None:
    far = BAND - FOOT
    (found,) = stray(cut([(19 - 0.1, 15 - far), (24, 15 - far), (30, 15 - far)]))
    assert found.at == pytest.approx((30, 15 - far), abs=1e-4)
    assert found.line == 13, "nine lines of the head, then the third cut is the last"


@pytest.mark.parametrize(("more", "told"), [(-NOT_BY_MUCH, 0), (2 * ASTRAY, 1)])
def test_a_cutter_crosses_from_piece_to_piece_where_their_reaches_meet(
    more: float, told: int
) -> None:
    far = BAND - FOOT
    apart = 2 * BAND + more
    two = board([PAD, shapely.box(24 + apart, 15, 28 + apart, 19)], [])
    link = cut([(24 + far, 16), (24 + far, 17), (24 + apart - far, 17), (24 + apart - far, 18)])
    trace = read(HEAD + link + TAIL, file="a")
    cuts = [ProgramCuts("a.ngc", trace, VEE, PASS)]
    found = check_stray_cuts(BLANK, cuts, layout(two).placements, [PASS], (), ASKED)
    assert [f.code for f in found] == ["stray-cut"] * told
    # past the corners of both there is nothing to cross over
    beyond = cut([(24 + far, 19), (24 + far, 19.5), (24 + apart - far, 19.5)])
    trace = read(HEAD + beyond + TAIL, file="a")
    cuts = [ProgramCuts("a.ngc", trace, VEE, PASS)]
    assert check_stray_cuts(BLANK, cuts, layout(two).placements, [PASS], (), ASKED)


def test_what_stays_above_the_foot_cuts_nothing_through() -> None:
    assert stray(cut([(30, 30), (35, 30)], -BLANK.copper + 0.001)) == ()
    assert len(stray(cut([(30, 30), (35, 30)], -BLANK.copper - 0.001))) == 1


def test_marks_lie_outside_the_boards() -> None:
    assert stray(cut([(0.5, 1), (0.5, 30)])) == ()
    assert stray(cut([(1, 2 - FOOT), (5, 2 - FOOT)])) == ()
    assert len(stray(cut([(1, 2 - FOOT + ASTRAY), (5, 2 - FOOT + ASTRAY)]))) == 1


class TestHoles:
    @pytest.mark.parametrize(("off", "told"), [(NOT_BY_MUCH, 0), (ASTRAY, 1)])
    def test_a_drill_stands_where_a_hole_is_drawn(self, off: float, told: int) -> None:
        assert len(stray(plunge(22 + off, 17), drill(1.0))) == told

    @pytest.mark.parametrize(("off", "told"), [(NOT_BY_MUCH, 0), (ASTRAY, 1)])
    def test_a_mill_stays_in_its_slot(self, off: float, told: int) -> None:
        way = cut([(40 - 0.1 - off, 20), (43, 20.1), (43.1, 20), (43, 19.9)], -1.8)
        assert len(stray(way, end_mill(1.0, "slot"))) == told

    def test_what_finds_the_blank_again_is_asked_for(self) -> None:
        hole = RegistrationHole("r1", (30.0, 1.0), (30.0, 1.0), 1.0, "locate", 1, 2)
        found_by = MillingPass(1, 1, PASS.window, Pose(), (hole,), (1.0, 1.0))
        assert stray(plunge(30, 1), drill(1.0), mill_pass=found_by) == ()
        assert len(stray(plunge(30, 1), drill(1.0))) == 1


class TestProfile:
    @pytest.mark.parametrize(
        ("off", "told"), [(0.0, 0), (NOT_BY_MUCH, 0), (ASTRAY, 1), (-NOT_BY_MUCH, 0), (-ASTRAY, 1)]
    )
    def test_it_runs_in_its_kerf(self, off: float, told: int) -> None:
        edge = shapely.box(2, 2, 58, 38)
        assert len(stray(around(edge, 1.0 + off, -1.8), MILL)) == told

    def test_an_arc_around_the_wrong_centre_is_reported(self) -> None:
        around_it = "G0 X58 Y1\nG1 Z-1.8 F60.\nG3 X59 Y2 I0 J1 F300.\nG0 Z2.\n"
        assert stray(around_it, MILL) == ()
        (found,) = stray(around_it.replace("G3 X59 Y2 I0 J1", "G2 X59 Y2 I1 J0"), MILL)
        assert found.at is not None
        assert math.dist(found.at, (59, 1)) == pytest.approx(1, abs=PATH_TOLERANCE + 1e-9)

    def test_it_is_no_cutter_that_isolates(self) -> None:
        assert len(stray(around(PAD, 1.0, -1.8), MILL)) == 1


class TestClearing:
    AREA = shapely.box(30, 8, 40, 14)

    @pytest.mark.parametrize(("x", "told"), [(30.0, 0), (29.0, 1)])
    def test_it_stays_in_its_areas(self, x: float, told: int) -> None:
        mill = end_mill(0.8, "clear")
        required = AllowedCuts("edge", {}, frozenset(["clear"]), {0: self.AREA})
        assert len(stray(cut([(x, 10), (40, 10)]), mill, asked=required)) == told
        assert len(stray(cut([(x, 10), (40, 10)]), mill)) == 1


def test_ticks_go_out_where_two_passes_meet() -> None:
    far = BAND - FOOT
    tick = cut([(22.25, 15 - far - 0.6), (22.25, 15 - far), (23, 15 - far)])
    join = Join(1, 0, "c1", (22.0, 15 - far), (1, 2), 0.25, (0.0, -1.0), tick=0.6)
    assert len(stray(tick)) == 1
    assert stray(tick, joins=(join,)) == ()
    # a report does not say which way is across
    assert stray(tick, joins=(replace(join, across=(1.0, 0.0)),)) == ()
    assert len(stray(cut([(22.25, 13), (22.25, 15 - far)]), joins=(join,))) == 1
    elsewhere = cut([(23.5, 15 - far - 0.6), (23.5, 15 - far)])
    assert len(stray(elsewhere, joins=(join,))) == 1


def test_nothing_is_asked_of_laps_in_the_middle_of_gaps() -> None:
    middle = AllowedCuts("edge", unbound=frozenset([VEE.name]))
    assert stray(cut([(30, 30), (35, 30)]), asked=middle) == ()


def test_a_board_is_asked_where_it_lies() -> None:
    """The pass is turned by half a turn: what is right on the machine lies elsewhere there."""
    turned = MillingPass(1, 1, PASS.window, Pose(-1, 0, 60, 0, -1, 40), (), (1.0, 1.0))
    assert stray(plunge(60 - 22, 40 - 17), drill(1.0), mill_pass=turned) == ()
    (found,) = stray(plunge(22, 17), drill(1.0), mill_pass=turned)
    assert found.at == pytest.approx((38, 23))
    assert found.line == 11


def test_many_are_reported_as_a_few() -> None:
    found = stray("".join(plunge(5 + k, 30) for k in range(40)), drill(1.0))
    assert [finding.more for finding in found] == [0, 0, 0, 0, 35]
    assert found[-1].words.endswith("And 35 more.")


def test_where_nothing_may_be_cut_every_cut_is_reported() -> None:
    """A board without holes, and a drill: there is no place for it."""
    trace = read(HEAD + plunge(30, 30) + TAIL, file="a")
    cuts = [ProgramCuts("a.ngc", trace, drill(1.0), PASS)]
    where = layout(board([PAD])).placements
    (found,) = check_stray_cuts(BLANK, cuts, where, [PASS], (), ASKED)
    assert (found.code, found.at, found.line) == ("stray-cut", (30.0, 30.0), 11)


def test_a_cut_may_run_from_one_area_into_the_next() -> None:
    mill = end_mill(0.8, "clear")
    areas = {0: shapely.box(30, 8, 36, 14), 1: shapely.box(36, 8, 42, 14)}
    both = AllowedCuts("edge", {}, frozenset(["clear"]), areas)
    across = cut([(31, 10), (41, 10)])
    assert stray(across, mill, asked=both) == ()
    assert len(stray(across, mill, asked=replace(both, cleared={0: areas[0]}))) == 1
