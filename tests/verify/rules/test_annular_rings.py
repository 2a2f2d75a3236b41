"""What copper is left around holes, as asked and at worst."""

from __future__ import annotations

import pytest
import shapely

from millprep.model.as_cut import AsCut
from millprep.model.board import Hole
from millprep.model.cut import HoleMade
from millprep.model.job.rules import RulesPlan
from millprep.standards.holes import ANNULAR_RING_FLOOR, WANDER, least_pad
from millprep.verify.rules.holes import annular_rings, check_small_pads
from tests.helpers.rules_scene import cut, placed

PAD = shapely.Point(20, 20).buffer(1.2, quad_segs=64)
HOLE = Hole("h1", (20.0, 20.0), 1.0, "c1")
STILL = RulesPlan(drill_wander=0.0)


def test_the_ring_is_what_the_hole_leaves_and_at_worst_what_its_wander_leaves() -> None:
    placement = placed([PAD], [HOLE])
    (one,), faults = annular_rings(placement, cut(placement))
    assert one.hole == "h1"
    assert one.ring == pytest.approx(1.2 - 0.5, abs=1e-3)
    assert one.worst == pytest.approx(1.2 - 0.5 - WANDER, abs=1e-3)
    assert faults == ()


@pytest.mark.parametrize(
    ("off", "codes"), [(0.0, []), (0.4, ["annular-rings-slim"]), (0.6, ["annular-ring-thin"])]
)
def test_a_hole_off_the_middle_of_its_pad(off: float, codes: list[str]) -> None:
    placement = placed([PAD], [Hole("h1", (20 + off, 20), 1.0, "c1")])
    (one,), faults = annular_rings(placement, cut(placement))
    assert one.worst == pytest.approx(0.65 - off, abs=1e-3)
    assert [fault.code for fault in faults] == codes
    if off:
        assert one.at == pytest.approx((21.2, 20), abs=1e-2)


@pytest.mark.parametrize(
    ("made", "asked", "taken"),
    [
        (HoleMade(1.0, 1.0), RulesPlan(), 0.05),
        # 0.05 · 0.8 / 0.5
        (HoleMade(1.0, 0.5), RulesPlan(), 0.08),
        (HoleMade(1.0, None), RulesPlan(), 0.05),
        (HoleMade(1.0, 0.5), RulesPlan(drill_wander=0.02), 0.02),
        (HoleMade(1.0, 1.0, 0.01), STILL, 0.01),
        (HoleMade(1.0, 1.0, 0.0, 0.12), STILL, 0.12),
        (HoleMade(1.0, 1.0, 0.0, 0.12), RulesPlan(drill_wander=0.03, pass_error=0.2), 0.23),
        # one pass cuts both: nothing to be off by
        (HoleMade(1.0, 1.0), RulesPlan(drill_wander=0.03, pass_error=0.2), 0.03),
    ],
)
def test_everything_that_may_be_off_is_taken_from_the_ring(
    made: HoleMade, asked: RulesPlan, taken: float
) -> None:
    placement = placed([PAD], [HOLE])
    (one,), _ = annular_rings(placement, cut(placement), asked, {"h1": made}, 0.01)
    assert one.ring == pytest.approx(0.7, abs=1e-3)
    assert one.worst == pytest.approx(0.7 - taken - 0.01, abs=1e-3)


def test_a_ring_that_another_pass_spoils_is_reported_with_both_figures() -> None:
    placement = placed([PAD], [HOLE])
    made = {"h1": HoleMade(1.0, 1.0, 0.0, 0.55)}
    (one,), (result,) = annular_rings(placement, cut(placement), RulesPlan(), made)
    assert one.worst < ANNULAR_RING_FLOOR < one.ring
    assert (result.code, result.severity, result.at) == ("annular-ring-thin", "warn", one.at)
    assert (
        "0.70 mm of copper on its thinnest side, worst case 0.10 (0.60 mm off its" in result.message
    )
    assert "drilled in another pass than its copper is cut in" in result.message


def test_a_wider_drill_leaves_less() -> None:
    placement = placed([PAD], [HOLE])
    (one,), _ = annular_rings(placement, cut(placement), STILL, {"h1": HoleMade(1.1, 1.1)})
    assert one.ring == pytest.approx(0.65, abs=1e-3)


def test_a_neighbouring_hole_is_an_edge_of_the_ring() -> None:
    land = shapely.box(10, 10, 30, 30)
    holes = [Hole("h1", (20, 20), 1.0, "c1"), Hole("h2", (21.3, 20), 1.0, "c1")]
    placement = placed([land], holes)
    found, _ = annular_rings(placement, cut(placement), STILL)
    assert [one.ring for one in found] == pytest.approx([0.3, 0.3], abs=1e-2)


def test_lands_narrower_than_a_level_asks_are_reported_by_kind() -> None:
    pads = [shapely.Point(x, 20).buffer(0.9, quad_segs=64) for x in (10, 20, 30)]
    holes = [Hole(f"h{n}", (10.0 * n, 20.0), 1.0, f"c{n}") for n in (1, 2, 3)]
    placement = placed(pads, holes)
    assert least_pad(1.0, "B") == pytest.approx(1.8)
    assert check_small_pads(placement, "B") == ()
    (findings,) = check_small_pads(placement, "A")
    assert (findings.code, findings.severity) == ("pads-small", "note")
    assert "3 pads of 1.80 mm around holes of 1.00 mm" in findings.message
    assert "than the 1.90 mm of level A" in findings.message
    assert "level B 1.80, C 1.70" in findings.message


def test_copper_that_is_wide_around_a_hole_has_no_ring_to_speak_of() -> None:
    plane = shapely.box(5, 5, 45, 45)
    holes = [Hole("h1", (25.0, 25.0), 1.0, "c1"), Hole("h2", (40.0, 25.0), 1.0, "c1")]
    placement = placed([plane], holes, outline=shapely.box(0, 0, 50, 50))
    (ring,), faults = annular_rings(placement, cut(placement), STILL)
    assert ring.hole == "h2"
    assert ring.ring == pytest.approx(4.5, abs=1e-3)
    assert faults == ()


def test_without_holes_on_copper_there_is_no_ring() -> None:
    loose = Hole("h1", (50.0, 5.0), 3.0)
    placement = placed([PAD], [loose])
    assert annular_rings(placement, cut(placement)) == ((), ())
    gone = AsCut(1, (), (), ())
    assert annular_rings(placed([PAD], [HOLE]), gone) == ((), ())
