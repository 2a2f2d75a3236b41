"""Slots as cut: right ones pass; missing, short, shifted and hollow ones are told."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
import shapely

from millprep.geometry.pose import Pose
from millprep.model.as_cut import CopperPart
from millprep.model.board import Hole
from millprep.model.cutter import Cutter
from millprep.model.finding import Finding
from millprep.verify.as_cut import as_cut
from millprep.verify.compare import compare
from millprep.verify.holes_as_cut import check_holes, holes_cut
from millprep.verify.reader import read
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
from tests.helpers.rules_scene import less

SLOT = Hole("h1", (20.0, 20.0), 1.0, "c1", (26.0, 20.0))
WIDE = Hole("h1", (20.0, 20.0), 3.0, "c1", (26.0, 20.0))
PAD = shapely.LineString([(20, 20), (26, 20)]).buffer(3.0, quad_segs=64)
LAP = around(PAD, vee().width(DEPTH) / 2)
FULL = -1.8


def judged(
    hole: Hole, milled: str, width: float = 1.0, pad: shapely.Polygon = PAD, more: str = ""
) -> tuple[Finding, ...]:
    where = layout(board([pad], [hole]))
    jobs: Sequence[tuple[str, Cutter]] = [(LAP + more, vee()), (milled, end_mill(width, "bore"))]
    cuts = [(read(HEAD + text + TAIL, file="a"), cutter, PASS) for text, cutter in jobs]
    copper = as_cut(BLANK, cuts, where.placements)
    (proof,), findings = compare([copper], where)
    assert (proof.shorts, proof.opens) == (0, 0)
    return findings


def codes(findings: Sequence[Finding]) -> set[str]:
    return {finding.code for finding in findings}


def laps(*reaches: float) -> str:
    spine = SLOT.spine
    rims = [np.asarray(spine.buffer(r, quad_segs=64).exterior.coords).tolist() for r in reaches]
    return "".join(cut(rim, FULL) for rim in rims)


def test_a_slot_as_drawn_is_no_fault() -> None:
    assert judged(SLOT, cut([(20, 20), (26, 20)], FULL)) == ()
    assert judged(WIDE, laps(0.45, 1.0)) == ()


def test_a_slot_that_was_not_cut_is_missing() -> None:
    (finding,) = judged(SLOT, cut([(50, 35), (51, 35)], FULL))
    assert (finding.code, finding.severity, finding.at) == ("hole-missing", "stop", (20.0, 20.0))
    assert "slot h1 of 7.00 × 1.00 mm is not cut" in finding.message


def test_the_lap_around_its_pad_is_not_taken_for_it() -> None:
    """A pad hardly wider than the slot: the groove around it surrounds the slot's middle."""
    slim = shapely.LineString([(20, 20), (26, 20)]).buffer(0.6, quad_segs=64)
    lap = around(slim, vee().width(DEPTH) / 2)
    found = judged(SLOT, cut([(50, 35), (51, 35)], FULL), pad=slim, more=lap)
    assert "hole-missing" in codes(found)


@pytest.mark.parametrize(
    ("way", "expected"),
    [
        ([(20, 20), (24.5, 20)], {"slot-not-cleared"}),  # short
        ([(20, 20.3), (26, 20.3)], {"slot-not-cleared", "hole-size", "copper-gouged"}),  # beside
        ([(20, 21.6), (26, 21.6)], {"hole-missing", "copper-gouged"}),  # elsewhere
        ([(20, 20), (27, 20)], {"hole-size", "copper-gouged"}),  # long
        ([(20, 20), (26, 20.6)], {"slot-not-cleared", "hole-size", "copper-gouged"}),  # aslant
    ],
)
def test_a_slot_cut_elsewhere_is_reported(
    way: list[tuple[float, float]], expected: set[str]
) -> None:
    found = codes(judged(SLOT, cut(way, FULL)))
    assert expected <= found
    assert found <= expected | {"hole-breaks-out", "annular-ring-thin"}


def test_a_narrow_cutter_leaves_laminate_beside_its_way() -> None:
    found = judged(SLOT, cut([(20, 20), (26, 20)], FULL), width=0.7)
    assert "slot-not-cleared" in codes(found)


def test_a_core_that_comes_loose_is_reported() -> None:
    (finding,) = [f for f in judged(WIDE, laps(1.0)) if f.code == "slot-not-cleared"]
    assert finding.severity == "stop"
    assert finding.at is not None
    assert shapely.Point(finding.at).distance(SLOT.spine) < 0.5


def test_a_slot_may_be_a_little_off() -> None:
    """Within the tolerances of the paths nothing is said."""
    assert judged(SLOT, cut([(20.005, 19.99), (26.005, 19.99)], FULL)) == ()


def test_the_ring_of_a_slot_is_measured_at_its_narrowest() -> None:
    near = shapely.LineString([(20, 20), (25.4, 20)]).buffer(1.2, quad_segs=64)
    lap = around(near, vee().width(DEPTH) / 2)
    text = cut([(20, 20), (26, 20)], FULL)
    (finding,) = judged(SLOT, text, pad=near, more=lap)
    assert finding.code == "annular-ring-thin"
    assert "is 0.100 mm" in finding.message


def test_a_turned_copy_is_judged_in_its_place() -> None:
    where = layout(board([PAD], [SLOT]), Pose.turn(90).then(Pose.shift(45.0, 0.0)))
    jobs = [(around(shapely.transform(PAD, where.placements[0].pose.points),
                    vee().width(DEPTH) / 2), vee()),
            (cut([(25, 20), (25, 26)], FULL), end_mill(1.0, "bore"))]  # fmt: skip
    cuts = [(read(HEAD + text + TAIL, file="a"), cutter, PASS) for text, cutter in jobs]
    _, findings = compare([as_cut(BLANK, cuts, where.placements)], where)
    assert findings == ()


@pytest.mark.parametrize(
    ("depth", "told"), [(-0.8, True), (-1.5, True), (-1.59, False), (-1.8, False)]
)
def test_a_slot_must_go_through_the_laminate(depth: float, told: bool) -> None:
    found = judged(SLOT, cut([(20, 20), (26, 20)], depth))
    assert codes(found) == ({"hole-not-through"} if told else set())


def test_a_ramp_that_no_level_lap_follows_leaves_a_floor() -> None:
    ramp = "G0 X20. Y20.\nG1 Z0. F60.\nG1 X26. Z-1.8 F300.\nG0 Z2.\n"
    (finding,) = judged(SLOT, ramp)
    assert (finding.code, finding.severity) == ("hole-not-through", "stop")
    assert finding.at is not None
    assert finding.at[0] < 25.5


def test_a_drill_that_does_not_break_through_is_reported() -> None:
    pin = Hole("h1", (20.0, 20.0), 1.0, "c1")
    for depth, expected in ((-1.91, set()), (-1.2, {"hole-not-through"})):
        where = layout(board([PAD], [pin]))
        cuts = [
            (read(HEAD + text + TAIL, file="a"), cutter, PASS)
            for text, cutter in ((LAP, vee()), (plunge(20, 20, depth), drill(1.0)))
        ]
        _, findings = compare([as_cut(BLANK, cuts, where.placements)], where)
        assert codes(findings) == expected


PIN = Hole("h1", (20.0, 20.0), 1.0, "c1")


def taken(text: str, width: float, hole: Hole = PIN) -> dict[str, float]:
    """The area that each hole took from the copper, when this was milled."""
    where = layout(board([PAD], [hole]))
    copper = as_cut(
        BLANK, [(read(HEAD + text + TAIL, file="a"), end_mill(width), PASS)], where.placements
    )
    cut_holes = holes_cut(copper.grooves, where.placements[0])
    return {name: area.area for name, area in cut_holes.items()}


def test_a_hole_that_a_larger_cut_takes_with_it_is_taken_at_its_own_size() -> None:
    through = cut([(15, 20), (25, 20)], FULL)
    assert taken(through, 1.2) == pytest.approx({"h1": math.pi / 4}, rel=0.01)
    assert taken(around(PIN.spine.buffer(0.5), 1.0, FULL), 0.5) == {}, "only a lap around it"
    assert taken("", 1.0) == {}
    assert taken("", 1.0, SLOT) == {}


def test_a_blank_that_nothing_cuts_has_no_holes() -> None:
    where = layout(board([PAD], [PIN]))
    copper = as_cut(BLANK, (), where.placements)
    (placement,) = where.placements
    (fault,) = check_holes(copper.parts, placement, holes_cut((), placement), ())
    assert (fault.code, fault.message.split(". ")[0]) == (
        "hole-missing", "hole h1 of 1.00 mm is not cut"
    )  # fmt: skip


@pytest.mark.parametrize(("left", "faults"), [(0.149, 1), (0.15, 0), (0.151, 0)])
def test_an_annular_ring_of_just_the_least_is_wide_enough(left: float, faults: int) -> None:
    pad = shapely.box(0.0, 0.0, 10.0, 10.0)
    hole = Hole("h1", (left + 0.5, 5.0), 1.0, "c1")
    (placement,) = layout(board([pad], [hole])).placements
    area = shapely.box(left, 4.5, left + 1.0, 5.5)
    part = CopperPart(less(pad, area), ((0, "c1"),))
    codes_of = [f.code for f in check_holes([part], placement, {"h1": area}, ())]
    assert codes_of.count("annular-ring-thin") == faults
