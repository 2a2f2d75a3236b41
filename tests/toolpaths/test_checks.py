"""Findings about boards, depths and gaps before any path is made: values by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from millprep.geometry.path import Path
from millprep.geometry.pose import Pose
from millprep.job import load
from millprep.model.blank import Blank, Placement
from millprep.model.board import Board, CopperPiece, Hole, Lettering
from millprep.model.cut import Lap
from millprep.model.finding import MOST_PER_CODE, Finding
from millprep.model.job.isolation import LEAST_TIME, GivenCutter, IsolationPlan
from millprep.model.job.nets import NetFacts
from millprep.model.job.work import ClearingPlan
from millprep.toolpaths.by_voltage import DrawnTooNear, Widened
from millprep.toolpaths.checks import (
    LEAST_RIM,
    check_board,
    check_cleared,
    check_depth,
    check_voltages,
    depth_notes,
    lap_notes,
    tight_gap_findings,
)
from millprep.toolpaths.isolation import Island, LapSpacing, TightGap
from tests.helpers import small_job
from tests.helpers.programs import end_mill

BLANK = Blank(1, (60.0, 50.0), 1.6, 0.035)
OUTLINE = shapely.box(0.0, 0.0, 30.0, 20.0)
PAD = shapely.box(5.0, 5.0, 9.0, 9.0)
BOARD = Board("lamp", OUTLINE, (CopperPiece("c1", PAD),), ())
HERE = Placement(0, BOARD, 1, 1, Pose.shift(10.0, 10.0))
MIRRORED = Placement(0, BOARD, 1, 1, Pose.mirror_y(20.0))


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> IsolationPlan:
    """One vee of 30 degrees and a tip of 0.1 mm, 0.08 deep; flatness 0.02, overlap 0.15."""
    return load(small_job.put(tmp_path_factory.mktemp("checks"))).isolation


def said(findings: tuple[Finding, ...]) -> list[tuple[str, str, str]]:
    return [(f.code, f.severity, f.message) for f in findings]


def test_a_groove_passes_through_the_copper_and_not_through_the_blank(plan: IsolationPlan) -> None:
    assert check_depth(plan, 0.035, 1.6) == ()
    assert said(check_depth(plan, 0.07, 1.6)) == [
        (
            "copper-not-cut-through",
            "stop",
            "[isolation] depth 0.08 is too shallow: the surface may be 0.02 mm off (flatness), "
            "which leaves 0.060 mm for 0.07 mm of copper. Set depth above 0.090.",
        )
    ]
    assert said(check_depth(plan, 0.035, 0.1)) == [
        (
            "groove-through-blank",
            "stop",
            "[isolation] depth 0.08 cuts through the blank, which is 0.1 mm thick. A groove only "
            "parts the copper: set depth below 0.080, 0.06 to 0.35 as a rule.",
        )
    ]


def test_what_least_time_chose_is_said(plan: IsolationPlan) -> None:
    (vee,) = plan.cutters
    chosen = replace(
        plan,
        given_depth=LEAST_TIME,
        given_cutters=(GivenCutter(end_mill(0.3), 0.08), GivenCutter(vee, 0.1)),
    )
    assert depth_notes(plan, BLANK) == ()
    assert said(depth_notes(chosen, BLANK)) == [
        (
            "depth-chosen",
            "note",
            "Least time chose mill 0.08 mm deep in 1 lap (0.300 mm wide at the surface, 0.300 at "
            "the foot); where that does not fit vee 0.1 mm deep in 3 laps (0.154 mm wide at the "
            "surface, 0.135 at the foot).",
        )
    ]


def laps(plan: IsolationPlan) -> list[Lap]:
    """Three laps of one piece, each 600 mm long."""
    path = Path(np.array([[0.0, 0.0], [600.0, 0.0]]), np.zeros(1))
    (use,) = plan.uses
    return [Lap(path, 0, "c1", n, use.cutter.name, use.depth) for n in range(3)]


def test_a_lap_that_opens_little_is_said_with_what_would_save_it(plan: IsolationPlan) -> None:
    wide = replace(plan, given_gap=0.235)
    (note,) = lap_notes(laps(wide), wide, BLANK)
    assert (note.code, note.severity) == ("lap-for-little", "note")
    assert note.message == (
        "The gap of 0.235 mm takes vee 3 laps; 2 open 0.229 mm. The last lap takes 2 min. Set "
        "[isolation] gap to that, or depth to 0.086, which opens 0.235 mm in 2 laps."
    )
    # and so they do
    for better in (replace(plan, given_gap=0.229), replace(wide, given_depth=0.086)):
        (use,) = better.uses
        assert len(LapSpacing.for_gap(use, better, BLANK.copper).distances) == 2
        assert lap_notes(laps(better), better, BLANK) == ()


def test_an_end_mill_is_as_wide_at_every_depth(plan: IsolationPlan) -> None:
    mills = replace(plan, given_gap=0.56, given_cutters=(GivenCutter(end_mill(0.3), None),))
    (note,) = lap_notes(laps(mills), mills, BLANK)
    assert note.message.endswith("2 open 0.555 mm. The last lap takes 2 min. Set [isolation] gap "
                                 "to that.")  # fmt: skip


@pytest.mark.parametrize("changes", [{"given_gap": 0.3}, {"given_gap": 0.12}, {"course": "middle"}])
def test_laps_that_open_much_are_not_mentioned(
    plan: IsolationPlan, changes: dict[str, object]
) -> None:
    other = replace(replace(plan, given_gap=0.235), **changes)  # type: ignore[arg-type]
    assert lap_notes(laps(other), other, BLANK) == ()


def test_copper_beyond_the_outline_is_said_with_its_area() -> None:
    assert check_board(HERE) == ()
    beyond = CopperPiece("c2", shapely.box(28.0, 5.0, 31.0, 7.0))
    (warning,) = check_board(replace(HERE, board=replace(BOARD, pieces=(*BOARD.pieces, beyond))))
    assert (warning.code, warning.severity) == ("copper-outside-outline", "warn")
    assert warning.message.startswith("2.00 mm² of piece c2 are outside the outline; ")
    assert warning.frame == "drawing"
    assert warning.at == pytest.approx((30.5, 6.0), abs=0.5)


@pytest.mark.parametrize("mirrored", [False, True])
def test_lettering_that_would_read_backwards_is_said(mirrored: bool) -> None:
    board = replace(BOARD, lettering=(Lettering("LAMP", (2.0, 2.0), mirrored),))
    for placement in (HERE, MIRRORED):
        notes = check_board(replace(placement, board=board))
        assert [note.code for note in notes] == (
            [] if mirrored == placement.pose.mirrored else ["lettering-backwards"]
        )
        assert all("“LAMP” on copper would read backwards" in note.message for note in notes)


@pytest.mark.parametrize(
    ("holes", "words"),
    [
        ([Hole("h1", (7.0, 7.0), 3.0, "c1")], None),
        ([Hole("h1", (7.0, 7.0), 6.0, "c1")], "Hole h1 of 6.00 mm leaves nothing of piece c1. "),
        (
            [Hole("h1", (6.0, 7.0), 5.0, "c1"), Hole("h2", (8.0, 7.0), 5.0, "c1")],
            "Hole h1 of 5.00 mm and 1 more leaves nothing of piece c1. ",
        ),
    ],
)
def test_a_piece_that_its_holes_take_away_stops_the_job(
    holes: list[Hole], words: str | None
) -> None:
    stops = check_board(replace(HERE, board=replace(BOARD, holes=tuple(holes))))
    assert [stop.code for stop in stops] == ([] if words is None else ["copper-drilled-away"])
    assert all(stop.severity == "stop" and stop.message.startswith(words or "") for stop in stops)


@pytest.mark.parametrize("seed", range(20))
def test_a_piece_is_drilled_away_where_no_disc_fits_into_what_is_left(seed: int) -> None:
    """Against what is left of frames, some of them thin, drawn out in full."""
    random = np.random.default_rng(seed)
    x, y, wide = random.uniform((3, 3, 0.3), (12, 8, 4))
    shape = shapely.box(x, y, x + wide, y + wide)
    if seed % 2:
        shape = shape.difference(shape.buffer(-random.uniform(0.02, 0.1) * wide))
    holes = [
        Hole(f"h{n}", (u, v), d, "c1", (u + 0.8, v) if n == 2 else None)
        for n, (u, v, d) in enumerate(
            random.uniform((x, y, 0.5 * wide), (x + wide, y + wide, 2.2 * wide), (3, 3))
        )
    ]
    board = replace(BOARD, pieces=(CopperPiece("c1", shape),), holes=tuple(holes))
    left = shape.difference(shapely.union_all([h.spine.buffer(h.diameter / 2) for h in holes]))
    gone = left.buffer(-LEAST_RIM).is_empty
    stops = check_board(replace(HERE, board=board))
    assert [s.code for s in stops] == (["copper-drilled-away"] if gone else [])


def tight(gap: float, x: float) -> TightGap:
    pieces = (Island(0, "c1", PAD), Island(0, "c2", PAD))
    return TightGap(pieces, (x, 5.0), gap, 0.143)


def test_a_gap_that_no_cutter_fits_into_says_what_would(plan: IsolationPlan) -> None:
    assert tight_gap_findings((), plan, 0.035, (HERE,)) == ()
    (vee,) = tight_gap_findings([tight(0.14, 3.0)], plan, 0.035, (HERE,))
    assert (vee.code, vee.severity, vee.at, vee.more) == ("gap-too-narrow", "stop", (3.0, 5.0), 0)
    assert vee.message == (
        "Gap of 0.140 mm between c1 and c2: the 0.143 mm groove of the finest cutter does not fit. "
        "Set [isolation] depth to 0.075 or less: then vee fits."
    )
    finer = "Use a cutter that cuts no wider than 0.120 mm at 0.055 mm depth."
    (too_shallow,) = tight_gap_findings([tight(0.12, 3.0)], plan, 0.035, (HERE,))
    assert too_shallow.message.endswith(finer)
    mills = replace(plan, given_cutters=(GivenCutter(end_mill(0.3), None),))
    (mill,) = tight_gap_findings([tight(0.12, 3.0)], mills, 0.035, (HERE,))
    assert mill.message.endswith(finer)


def test_of_many_tight_gaps_the_others_are_counted_and_shown(plan: IsolationPlan) -> None:
    gaps = [tight(0.14, 3.0 + n) for n in range(MOST_PER_CODE + 2)]
    findings = tight_gap_findings(gaps, plan, 0.035, (HERE,))
    assert [finding.more for finding in findings] == [0] * (MOST_PER_CODE - 1) + [2]
    assert findings[-1].places == tuple(gap.at for gap in gaps[-2:])


def test_copper_that_no_cutter_could_clear_is_said(plan: IsolationPlan) -> None:
    mills = tuple(end_mill(wide, f"mill{wide:g}") for wide in (0.8, 0.4))
    clearing = ClearingPlan(cutters=mills, depth=0.1)
    crumb = shapely.box(0.0, 0.0, 0.03, 0.03)
    assert check_cleared(crumb, HERE, clearing) == ()
    left = shapely.MultiPolygon([crumb, shapely.box(1, 1, 2, 1.3), shapely.box(5, 5, 6, 5.2)])
    (warning,) = check_cleared(left, HERE, clearing)
    assert (warning.code, warning.severity) == ("copper-not-cleared", "warn")
    assert warning.message.startswith(
        "No cutter clears 2 places (0.50 mm² in all). The finest, mill0.4, cuts 0.400 mm wide. "
    )
    assert warning.at == pytest.approx((1.5, 1.15), abs=0.5)


def test_what_voltages_widen_and_what_they_cannot() -> None:
    high = NetFacts("high", ("c1",), (300.0, 300.0))
    nothing = Widened(shapely.Polygon(), {}, ())
    (no_volts,) = check_voltages(nothing, [NetFacts("low", ("c1",))], HERE)
    assert (no_volts.code, no_volts.severity) == ("no-net-voltages", "warn")
    assert (no_volts.board, no_volts.copy) == ("lamp", 1)
    assert check_voltages(nothing, [high], HERE) == ()
    near = DrawnTooNear("high", "low", 300.0, 0.9, 1.25, (3.0, 4.0), "B2")
    stop, note = check_voltages(Widened(OUTLINE, {"low": 0.5, "high": 1.0}, (near,)), [high], HERE)
    assert (stop.code, stop.severity, stop.at) == ("drawn-too-near", "stop", (3.0, 4.0))
    assert stop.message.startswith(
        "high and low are drawn 0.900 mm from each other at the foot of the copper; 300 V require "
        "1.25 mm (IPC-2221 table 6-1, B2)."
    )
    assert said((note,)) == [
        (
            "gap-by-voltage",
            "note",
            "Floating copper is removed for the voltages; gaps in mm: high 1.00, low 0.50.",
        )
    ]
