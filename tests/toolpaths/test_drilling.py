"""Holes: which cutter makes which, and how deep it goes."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely

from millprep.geometry.path import Path
from millprep.geometry.pose import Pose
from millprep.model.board import Hole
from millprep.model.cut import HoleCut, Profile
from millprep.model.cutter import Cutter, Drill, EndMill
from millprep.model.job.setup import RegistrationPlan
from millprep.model.milling_pass import RegistrationHole
from millprep.toolpaths.checks import check_board
from millprep.toolpaths.drilling import (
    REGISTRATION_FIT,
    choose,
    choose_mill,
    depth_of,
    drill,
    pin_cutter,
    register,
    without_change,
)
from tests.helpers import workshop
from tests.helpers.rules_scene import placed

BOARD = shapely.box(0, 0, 50, 40)
PROFILE = workshop.mill(2.0, "profile")


@pytest.mark.parametrize(
    ("diameter", "tolerance", "chosen"),
    [
        (0.98, 0.05, "drill1"),
        (1.04, 0.05, "drill1"),
        (1.05, 0.05, "drill1.1"),  # equally near: the larger, so that the pin goes in
        (1.05, 0.049, "mill"),
        (1.15, 0.05, "drill1.1"),
        (1.16, 0.05, "mill"),
        (3.2, 0.05, "mill"),
        (0.5, 0.05, None),  # no drill, and the mill is thicker than the hole
        (0.8, 0.05, None),  # a mill as wide as the hole cannot wind down in it
    ],
)
def test_the_nearest_drill_or_the_borer(
    diameter: float, tolerance: float, chosen: str | None
) -> None:
    cutters: list[Cutter] = [workshop.drill(1.1), workshop.drill(1.0), workshop.mill(0.8)]
    found = choose(diameter, cutters, tolerance)
    assert (found.name if found else None) == chosen


def test_of_two_borers_the_wider() -> None:
    cutters: list[Cutter] = [workshop.mill(0.8, "thin"), workshop.mill(2.0, "wide")]
    found = choose(3.0, cutters, 0.05)
    assert found is not None
    assert found.name == "wide"


def test_the_full_diameter_leaves_the_blank() -> None:
    """A 118° point is d / 2 / tan(59°) long, plane geometry: 0.3004 mm for 1 mm."""
    deep = depth_of(workshop.drill(1.0), workshop.BLANK, 0.2)
    assert deep == pytest.approx(1.8 + 0.30043, abs=1e-5)
    assert depth_of(workshop.mill(1.0), workshop.BLANK, 0.2) == pytest.approx(1.8)


def test_holes_are_placed_by_the_pose() -> None:
    holes = [Hole("h1", (10.0, 5.0), 1.0, "c1"), Hole("h2", (20.0, 5.0), 3.2)]
    placement = workshop.placed(BOARD, holes, pose=Pose.mirror_y(40.0).then(Pose.shift(7.0, 3.0)))
    plan = workshop.drilling(workshop.drill(0.97), borer=workshop.mill(2.0))
    cuts, findings = drill([placement], workshop.BLANK, plan, PROFILE)
    assert not findings
    one, two = cuts
    assert (one.at, one.work, one.diameter, one.piece) == ((17.0, 38.0), "drill", 0.97, "c1")
    assert (two.at, two.work, two.diameter, two.piece) == ((27.0, 38.0), "bore", 3.2, None)
    assert {one.hole, two.hole} == {"h1", "h2"}


def test_wide_holes_are_bored_by_the_end_mill_that_cuts_the_boards_out() -> None:
    """From 3 mm, where the mill winds down in them, and where no other cutter makes them."""
    sizes = (3.0, 2.99, 3.2)
    holes = [Hole(f"h{n}", (5.0 + 9 * n, 5.0), d) for n, d in enumerate(sizes)]
    placement = workshop.placed(BOARD, holes)
    bare = workshop.drilling(workshop.drill(1.0))
    cuts, (finding,) = drill([placement], workshop.BLANK, bare, PROFILE)
    assert [(c.hole, c.cutter, c.work) for c in cuts] == [
        ("h0", "profile", "bore"), ("h2", "profile", "bore"),
    ]  # fmt: skip
    assert "1 hole(s) of 2.990 mm" in finding.message
    wide = workshop.mill(2.5, "wide")
    assert [c.hole for c in drill([placement], workshop.BLANK, bare, wide)[0]] == ["h2"]


def test_a_borer_that_bores_nothing_else_is_not_fitted() -> None:
    borer = workshop.mill(1.0, "bore")
    edge = Profile(Path.circle((20.0, 20.0), 9.0), "profile", 1.9, 1.1, (), 0, inner=False)
    screws = [HoleCut((9.0 * n, 5.0), 3.2, "bore", 1.9, "bore", 0, f"h{n}") for n in range(2)]
    done = without_change((*screws, edge), PROFILE)
    assert [cut.cutter for cut in done] == ["profile"] * 3
    assert done[0] == replace(screws[0], cutter="profile")
    # without an edge to cut nothing is saved, and a narrow hole or a register hole needs the borer
    assert without_change(screws, PROFILE) == tuple(screws)
    for other in (
        replace(screws[0], diameter=2.0),
        replace(screws[0], work="register"),
        replace(screws[0], end=(12.0, 5.0)),
    ):
        kept = without_change((*screws, other, edge), PROFILE)
        assert {cut.cutter for cut in kept} == {borer.name, "profile"}
        assert kept[:2] == tuple(screws)


def test_holes_without_a_cutter_stop_once_for_each_size() -> None:
    holes = [Hole(f"h{n}", (5.0 + n, 5.0), d) for n, d in enumerate((0.6, 0.6, 2.0, 1.0))]
    cuts, findings = drill(
        [workshop.placed(BOARD, holes)],
        workshop.BLANK,
        workshop.drilling(workshop.drill(1.0)),
        PROFILE,
    )
    assert [c.hole for c in cuts] == ["h3"]
    assert [(f.code, f.severity) for f in findings] == [("hole-without-drill", "stop")] * 2
    assert findings[0].message.startswith("No drill for 2 hole(s) of 0.600 mm")
    assert findings[0].at == (5.0, 5.0)


def test_no_cutter_goes_through_the_spoilboard() -> None:
    holes = [Hole("h1", (5.0, 5.0), 3.0), Hole("h2", (9.0, 5.0), 3.0)]
    deep = 0.2
    for spoilboard, expected in ((deep + 0.001, []), (deep - 0.001, ["through-spoilboard"])):
        plan = workshop.drilling(borer=workshop.mill(2.0), spoilboard=spoilboard)
        _, findings = drill([workshop.placed(BOARD, holes)], workshop.BLANK, plan, PROFILE)
        assert [f.code for f in findings] == expected


def locating(*cutters: Drill | EndMill) -> RegistrationPlan:
    return RegistrationPlan(
        method="pins", hole=3.0, key=4.0, wall=2.0, cutters=cutters, pin=2.98, pin_depth=4.0,
        pin_diameter=2.99, overrun=0.4,
    )  # fmt: skip


def holes_of(*diameters: float) -> list[RegistrationHole]:
    return [
        RegistrationHole(f"r{n}", (10.0 * n, 5.0), (10.0 * n - 200, 5.0), d, "locate", 1, 2)
        for n, d in enumerate(diameters, 1)
    ]


def test_registration_holes_want_their_exact_size() -> None:
    plan = locating(workshop.drill(3.0 + 2 * REGISTRATION_FIT), workshop.mill(2.0))
    by_pass, findings = register(holes_of(3.0, 4.0), workshop.BLANK, plan, workshop.drilling())
    assert not findings
    assert [(c.cutter, c.work, c.diameter) for c in by_pass[1]] == [
        ("mill", "register", 3.0),
        ("mill", "register", 4.0),
    ]
    plan = locating(workshop.drill(3.0), workshop.mill(2.0))
    by_pass, _ = register(holes_of(3.0, 4.0), workshop.BLANK, plan, workshop.drilling())
    assert [c.cutter for c in by_pass[1]] == ["drill3", "mill"]


def test_a_registration_hole_no_cutter_makes() -> None:
    by_pass, findings = register(
        holes_of(3.0), workshop.BLANK, locating(workshop.drill(2.5)), workshop.drilling()
    )
    assert not by_pass
    assert [(f.code, f.severity, f.at) for f in findings] == [
        ("registration-without-cutter", "stop", (10.0, 5.0))
    ]


def test_a_registration_hole_does_not_go_through_the_spoilboard_either() -> None:
    plan = locating(workshop.drill(3.0))
    drilling = workshop.drilling(spoilboard=1.0)
    _, findings = register(holes_of(3.0, 3.0), workshop.BLANK, plan, drilling)
    assert [f.code for f in findings] == ["through-spoilboard"]


def slot(name: str, width: float) -> Hole:
    return Hole(name, (10.0, 5.0), width, "c1", (16.0, 7.0))


@pytest.mark.parametrize(
    ("width", "chosen"),
    [
        (0.7, None),
        (0.8, "thin"),  # as wide as the slot: along its centre line
        (0.799, "thin"),  # drawn to a micrometre
        (0.797, None),
        (1.0, "thin"),  # never the drill, though it has the width
        (1.99, "thin"),
        (5.0, "wide"),
    ],
)
def test_a_slot_takes_the_widest_end_mill_that_is_no_wider(
    width: float, chosen: str | None
) -> None:
    mills = (workshop.mill(2.0, "wide"), workshop.mill(0.8, "thin"))
    cutters: list[Cutter] = [workshop.drill(1.0), *mills]
    found = choose_mill(width, cutters)
    assert (found.name if found else None) == chosen


def test_slots_are_placed_by_the_pose_with_both_ends() -> None:
    pose = Pose.mirror_y(40.0).then(Pose.shift(7.0, 3.0))
    placement = workshop.placed(BOARD, [slot("h1", 1.5)], pose=pose)
    plan = workshop.drilling(workshop.drill(1.5), borer=workshop.mill(1.0))
    (cut,), findings = drill([placement], workshop.BLANK, plan, PROFILE)
    assert not findings
    assert (cut.at, cut.end) == ((17.0, 38.0), (23.0, 36.0))
    assert (cut.work, cut.cutter, cut.diameter, cut.depth) == ("bore", "mill", 1.5, 1.8)


def test_slots_without_a_mill_stop_once_for_each_width() -> None:
    holes = [slot("h1", 0.9), slot("h2", 0.9), Hole("h3", (30.0, 5.0), 0.9)]
    borer = workshop.mill(1.0, "fine")
    plan = workshop.drilling(workshop.drill(0.9), borer=borer)
    cuts, (finding,) = drill([workshop.placed(BOARD, holes)], workshop.BLANK, plan, PROFILE)
    assert [c.hole for c in cuts] == ["h3"]
    assert (finding.code, finding.severity) == ("slot-without-mill", "stop")
    assert (finding.at, finding.board) == ((10.0, 5.0), "panel")
    assert finding.message.startswith(
        "No end mill for 2 slot(s) 0.900 mm wide: those for holes are 1 mm."
    )
    _, (finding,) = drill(
        [workshop.placed(BOARD, holes)],
        workshop.BLANK,
        workshop.drilling(workshop.drill(0.9)),
        PROFILE,
    )
    assert "those for holes are none" in finding.message


def test_a_registration_slot_is_milled_end_to_end() -> None:
    slot = RegistrationHole(
        "r2", (40.0, 30.0), (40.0, 30.0), 3.0, "locate", 1, 2, (0.6, 0.8), 1.0
    )  # fmt: skip
    plan = locating(workshop.drill(3.0), workshop.mill(2.0), workshop.mill(1.0))
    by_pass, findings = register([slot], workshop.BLANK, plan, workshop.drilling())
    assert not findings
    (cut,) = by_pass[1]
    assert (cut.cutter, cut.work, cut.diameter) == ("mill", "register", 3.0)
    assert cut.at == pytest.approx((39.7, 29.6))
    assert cut.end == pytest.approx((40.3, 30.4))


def test_a_registration_slot_that_no_end_mill_makes() -> None:
    slot = RegistrationHole(
        "r2", (40.0, 30.0), (40.0, 30.0), 3.0, "locate", 1, 2, (0.6, 0.8), 1.0
    )  # fmt: skip
    plan = locating(workshop.drill(3.0))
    by_pass, (finding,) = register([slot], workshop.BLANK, plan, workshop.drilling())
    assert not by_pass
    assert (finding.code, finding.severity) == ("registration-without-cutter", "stop")
    assert 'set second_hole = "relieved pin"' in finding.message


@pytest.mark.parametrize(("hole", "gone"), [(3.4, True), (3.3, False)])
def test_a_pad_that_its_hole_takes_away_is_named_before_anything_is_cut(
    hole: float, gone: bool
) -> None:
    """A square pad of 2.4 mm has corners 1.697 mm from its middle."""
    pads = [shapely.box(8.8, 8.8, 11.2, 11.2), shapely.box(28.8, 8.8, 31.2, 11.2)]
    holes = [Hole("h1", (10, 10), 1.0, "c1"), Hole("h2", (30, 10), hole, "c2")]
    stops = [f for f in check_board(placed(pads, holes)) if f.severity == "stop"]
    assert [(stop.code, stop.at) for stop in stops] == (
        [("copper-drilled-away", (30, 10))] if gone else []
    )
    for stop in stops:
        assert stop.message.startswith("Hole h2 of 3.40 mm leaves nothing of piece c2. Draw the ")


@pytest.mark.parametrize(
    ("tolerance", "diameters", "words"),
    [
        (0.2, (1.19,), None),
        (0.3, (1.1,), "0.3 mm too wide or too narrow. Set tolerance to 0.05 to 0.1"),
        (
            0.3,
            (1.1, 1.25, 0.72, 1.21),
            "0.3 mm too wide or too narrow: 3 holes are off by more than 0.2 mm, the most a hole "
            "of 0.72 mm drilled 1.00 mm. Set tolerance to 0.05 to 0.1",
        ),
    ],
)
def test_a_tolerance_that_takes_drills_of_another_size_is_a_warning(
    tolerance: float, diameters: tuple[float, ...], words: str | None
) -> None:
    holes = [Hole(f"h{n}", (5.0 + 2 * n, 5.0), d) for n, d in enumerate(diameters)]
    plan = workshop.drilling(workshop.drill(1.0), tolerance=tolerance)
    _, findings = drill([workshop.placed(BOARD, holes)], workshop.BLANK, plan, PROFILE)
    if words is None:
        assert findings == ()
        return
    (warning,) = findings
    assert (warning.code, warning.severity) == ("drill-tolerance-wide", "warn")
    assert words in warning.message
    assert warning.at == (holes[2].at if len(holes) > 1 else None)


def test_holes_for_pins_need_their_exact_size() -> None:
    fitting = locating(workshop.drill(3.0), workshop.drill(2.98))
    cutter, findings = pin_cutter(replace(fitting, pin=2.98))
    assert cutter is not None
    assert (cutter.name, findings) == ("drill2.98", ())
    cutter, (stop,) = pin_cutter(replace(locating(workshop.drill(3.0)), pin=2.98))
    assert cutter is None
    assert (stop.code, stop.severity) == ("pin-hole-without-cutter", "stop")
    assert stop.message.startswith("No cutter fits the 2.98 mm pin holes in the spoilboard. ")
