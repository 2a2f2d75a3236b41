"""Laws of a blank cut in a grid of passes, and of one that is turned, on wide boards from seeds."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from pathlib import Path as File

import numpy as np
import pytest
import shapely

from millprep.model.blank import Box
from millprep.model.cut import Profile
from millprep.model.finding import Refusal
from millprep.passes import cuts_by_pass, turn
from millprep.passes.blank_cuts import extent
from millprep.passes.error_budget import QUANTILE, HoleErrors
from millprep.passes.labels import CLEAR
from millprep.passes.regions import Regions, profile_overrun
from millprep.passes.windows import joined_by, windows
from tests.helpers.pass_grids import CASES, Walked, walk
from tests.helpers.workshop import MACHINE


@pytest.fixture(scope="module", params=CASES)
def walked(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Walked:
    return walk(tmp_path_factory.mktemp("wide"), *CASES[request.param])


def test_every_move_lies_in_the_travel_and_in_the_window_of_its_pass(walked: Walked) -> None:
    t = walked.job.machine.travel
    windows = {p.number: p.window.buffer(1e-6) for p in walked.done.passes}
    poses = {p.number: p.pose.inverse() for p in walked.done.passes}
    for program in walked.done.programs:
        xy = np.array([(move.x, move.y) for move in program.moves])
        assert (xy >= (t.x0 - 1e-6, t.y0 - 1e-6)).all()
        assert (xy <= (t.x1 + 1e-6, t.y1 + 1e-6)).all()
        if program.mill_pass:
            points = shapely.points(poses[program.mill_pass].points(xy))
            assert shapely.covers(windows[program.mill_pass], points).all()


def test_every_ring_is_cut_by_all_passes_together(walked: Walked) -> None:
    """What the passes cut, back on the blank, covers every ring that was to be cut."""
    cut = defaultdict(list)
    poses = {p.number: p.pose.inverse() for p in walked.done.passes}
    for program in walked.done.programs:
        if "isolate" not in program.works:
            continue
        x, y, z = program.start
        for move in program.moves:
            if z < 0 and move.z < 0 and move.i is None and (move.x, move.y) != (x, y):
                ends = poses[program.mill_pass].points([(x, y), (move.x, move.y)])
                cut[program.mill_pass].append(shapely.LineString(ends))
            x, y, z = move.x, move.y, move.z
    assert len(cut) == len(walked.done.passes)
    every = np.array([line for lines in cut.values() for line in lines], dtype=object)
    wide = shapely.buffer(every, 0.006)
    tree = shapely.STRtree(every)
    for lap in walked.cuts.laps:
        # arcs are left out: straight stretches only
        n = np.flatnonzero(lap.path.bulge == 0)
        ends = np.stack((lap.path.xy[n], lap.path.xy[n + 1]), axis=1)
        lines = np.asarray(shapely.linestrings(ends))
        for line in lines[shapely.length(lines) > 0.5]:
            near = wide[tree.query(line, predicate="dwithin", distance=0.006)]
            assert shapely.union_all(near).covers(line)


def test_joins_lie_in_the_windows_of_both_passes_with_the_overrun_to_spare(
    walked: Walked,
) -> None:
    windows = {p.number: p.window for p in walked.done.passes}
    # four boards of which each lies in a region of its own are not joined at all
    assert bool(walked.done.joins) == (len(walked.placements) < 4)
    for join in walked.done.joins:
        assert join.passes[0] < join.passes[1]
        for number in join.passes:
            reach = shapely.Point(join.at).buffer(join.overrun * 0.99)
            assert windows[number].covers(reach)


def test_the_predicted_mismatch_is_that_of_the_right_pair(walked: Walked) -> None:
    wanted = walked.job.registration
    holes = [h for p in walked.done.passes for h in p.registration if h.role != "witness"]
    hole_errors = HoleErrors.of(holes, len(walked.done.passes), keys=wanted.method == "measure")
    for join in walked.done.joins:
        a, b = join.passes[0] - 1, join.passes[1] - 1
        expected = QUANTILE * hole_errors.sigma_across(a, b, join.at, join.across, wanted.sigma)
        assert join.predicted == pytest.approx(expected)


def test_engravings_stand_on_laminate_that_is_no_boards(walked: Walked) -> None:
    """Off boards and their kerf, off every hole, on the blank, in the window."""
    width = walked.job.profile.cutter.width(walked.blank.thickness)
    boards = shapely.union_all(
        [p.pose.shape(p.board.outline).buffer(width) for p in walked.placements]
    )
    holes = shapely.union_all(
        [
            shapely.Point(h.blank).buffer(h.diameter / 2)
            for p in walked.done.passes
            for h in p.registration
            if h.role != "witness"
        ]
    )
    sheet = shapely.box(0, 0, *walked.blank.size)
    inverse = {p.number: p.pose.inverse() for p in walked.done.passes}
    found = 0
    for program in walked.done.programs:
        if "engrave" not in program.works:
            continue
        x, y, z = program.start
        for move in program.moves:
            if z < 0 and move.z < 0 and move.i is None and (move.x, move.y) != (x, y):
                ends = inverse[program.mill_pass].points([(x, y), (move.x, move.y)])
                line = shapely.LineString(ends)
                if not boards.intersects(line):
                    found += 1
                    assert line.distance(boards) >= CLEAR - 1e-6
                    assert line.distance(holes) >= CLEAR - 1e-6
                    assert line.distance(sheet.exterior) >= CLEAR - 1e-6
            x, y, z = move.x, move.y, move.z
    # a digit and a cross for every pass but the first
    assert found >= 4 * (len(walked.done.passes) - 1)


def test_a_dry_run_leads_to_the_cross_and_every_hole_above_the_copper(walked: Walked) -> None:
    for one in walked.done.passes:
        programs = [p for p in walked.done.programs if p.mill_pass == one.number]
        dry = [p for p in programs if "dry-run" in p.works]
        (run,) = dry
        assert run is programs[0]
        assert run.cutter == programs[1].cutter
        assert not run.spins
        if one.number == 1:
            # nothing to lead to yet: it only goes around
            assert {move.z for move in run.moves} == {run.start[2]}
            continue
        assert min(move.z for move in run.moves) > 0
        stops = [(move.x, move.y) for move in run.moves if move.wait > 0]
        meant = [hole.machine for hole in one.registration]
        assert np.array(sorted(stops)) == pytest.approx(np.array(sorted(meant)))
        (cross,) = (hole for hole in one.registration if hole.role == "witness")
        assert stops[0] == pytest.approx(cross.machine)


def test_profiles_are_cut_whole_and_by_the_last_pass_that_reaches(walked: Walked) -> None:
    untabbed = walked.cuts.profiles
    plan = windows(joined_by(walked.job, walked.blank), walked.blank, extent(walked.cuts))
    shared = cuts_by_pass.share_profiles(untabbed, plan, 1.0, 1)
    parts = [c for cuts in shared.by_pass for c in cuts if isinstance(c, Profile)]
    for profile in untabbed:
        mine = [p.path.line() for p in parts if p.placement == profile.placement]
        together = shapely.union_all(mine).buffer(0.005)
        assert together.covers(profile.path.line())
    regions = Regions.of(plan, profile_overrun(1.0))
    for k, cuts in enumerate(shared.by_pass):
        for part in cuts:
            assert isinstance(part, Profile)
            assert plan.polygon(k).buffer(1e-6).covers(part.path.line())
            middle = part.path.point_at(part.path.length / 2)
            later = [n for n in range(k + 1, len(plan.poses)) if regions.inner[n].contains(*middle)]
            assert later == []


# The turned blank.


def test_a_turned_blank_is_reported_and_its_far_end_lies_where_the_near_one_lay(
    tmp_path: File,
) -> None:
    one = walk(tmp_path, *CASES["turned"])
    first, second = one.done.passes
    assert second.pose.point((370.0, 136.0)) == pytest.approx(first.pose.point((0.0, 0.0)))
    assert (second.pose.a, second.pose.e) == (-1.0, -1.0)
    (note,) = [f for f in one.findings if f.code == "blank-turned"]
    for hole in second.registration:
        if hole.role != "witness":
            assert f"{hole.id} at {hole.machine[0]:.3f}, {hole.machine[1]:.3f}" in note.message


@pytest.mark.parametrize("size", [(370.0, 136.0), (401.5, 120.0)])
def test_a_turned_blank_names_the_least_travel_that_would_do(size: tuple[float, float]) -> None:
    need = Box(17.0, 17.0, size[0] - 17.0, size[1] - 17.0)

    def made(travel: float) -> int:
        machine = replace(MACHINE, travel_size=(travel, 160.0))
        return len(turn.plan(need, machine, (5.0, 0.0), 20.0, size, 1).poses)

    with pytest.raises(Refusal) as refusal:
        made(150.0)
    (finding,) = refusal.value.findings
    words = finding.message.split("at least ")[1].split(" mm")[0]
    enough = float(words)
    assert made(enough) == 2
    with pytest.raises(Refusal):
        made(enough - 0.1)


def test_what_fits_is_not_turned() -> None:
    machine = replace(MACHINE, travel_size=(220.0, 160.0))
    one = turn.plan(Box(5.0, 5.0, 195.0, 95.0), machine, (5.0, 0.0), 20.0, (200.0, 100.0), 1)
    assert (len(one.poses), one.turned) == (1, False)


def test_a_turned_blank_whose_far_end_begins_before_the_travel_is_refused() -> None:
    machine = replace(MACHINE, travel_size=(220.0, 160.0))

    def made(x: float) -> int:
        need, size = Box(6.0, 5.0, 367.0, 95.0), (370.0, 100.0)
        return len(turn.plan(need, machine, (x, 0.0), 20.0, size, 1).poses)

    with pytest.raises(Refusal, match=r"begins before the travel in x\. .* at least -3\.000\.$"):
        made(-5.0)
    assert made(-3.0) == 2


def test_a_turned_blank_too_wide_is_refused() -> None:
    machine = replace(MACHINE, travel_size=(220.0, 100.0))
    need = Box(17.0, 17.0, 353.0, 119.0)
    with pytest.raises(Refusal, match=r"in y: .* at least 119\.0 mm"):
        turn.plan(need, machine, (0.0, 0.0), 20.0, (370.0, 136.0), 1)
