"""Cutters for a drawing: what is offered can cut what is drawn."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from millprep.job.presets import COPPER, FLATNESS, NOTES, TRIED, _vee, drilling, isolation, presets
from millprep.model.cutter import Drill


@given(st.floats(0.13, 5.0))
def test_the_vee_passes_the_narrowest_gap_and_opens_it(narrowest: float) -> None:
    cut = isolation(narrowest)
    vee = _vee(cut.preset)
    assert cut.fits
    assert vee.width(cut.depth + FLATNESS) <= narrowest
    assert 0 < cut.gap <= min(0.3, narrowest)
    # opened at the foot, the groove is wider at the surface and must not gouge there
    skirts = vee.width(cut.depth) - vee.width(cut.depth, COPPER)
    assert cut.gap + skirts <= narrowest + 1e-9 or cut.gap <= vee.width(cut.depth, COPPER)
    # at its shallowest the groove still goes through the copper
    assert cut.depth - FLATNESS > COPPER


def test_the_sturdiest_vee_that_passes_is_taken() -> None:
    assert isolation(None).preset == isolation(1.0).preset == TRIED[0][0]
    assert isolation(0.14).preset != TRIED[0][0]


@pytest.mark.parametrize(
    ("narrowest", "gap"), [(None, 0.3), (0.196, 0.15), (0.508, 0.3), (0.3, 0.25), (0.14, 0.12)]
)
def test_gaps_are_rounded_down(narrowest: float | None, gap: float) -> None:
    assert isolation(narrowest).gap == pytest.approx(gap)


@given(st.floats(0.0, 0.12))
def test_a_gap_that_none_passes_is_reported(narrowest: float) -> None:
    assert not isolation(narrowest).fits


@given(st.lists(st.floats(0.2, 6.0)), st.lists(st.floats(0.3, 4.0)))
def test_every_hole_has_a_cutter(diameters: list[float], slots: list[float]) -> None:
    found = drilling(diameters, slots)
    cutters = presets()["cutters"]
    sizes = {
        t.name: float(cutters[t.preset]["diameter"] if t.preset else dict(t.keys)["diameter"])  # type: ignore[arg-type]
        for t in found.cutters
    } | {"mill": 2.0}
    borer = sizes[found.borer]
    for diameter in diameters:
        drilled = any(abs(sizes[name] - diameter) <= 0.05 for name in found.drills)
        assert drilled or borer < diameter
    assert all(borer <= width + 0.002 for width in slots)
    assert len(sizes) == len(found.cutters) + 1


def test_preset_drills_come_before_tables_in_full() -> None:
    found = drilling([0.8, 1.0, 0.94], [])
    assert [(t.name, t.preset) for t in found.cutters] == [
        ("drill-08", "drill-0.8"),
        ("drill-094", None),
        ("drill-10", "drill-1.0"),
    ]


def test_a_slot_too_narrow_for_every_preset_has_a_mill_of_its_own_to_check() -> None:
    found = drilling([0.8], [0.25])
    (borer,) = (cutter for cutter in found.cutters if cutter.name == found.borer)
    keys = dict(borer.keys)
    assert (borer.preset, keys["kind"], keys["diameter"]) == (None, "endmill", 0.25)
    assert (keys["feed"], keys["plunge"]) == (80.0, 40.0)
    assert borer.note == "no preset of this size; assumed feed, speed and lengths: check"
    assert "0.25" in borer.table


def test_a_cutter_cuts_nothing_below_its_tip() -> None:
    vee = _vee("vee-30-0.1")
    assert [vee.width(0.05, level) for level in (0.05, 0.051)] == [0.1, 0.0]
    keys = {k: v for k, v in presets()["cutters"]["drill-1.0"].items() if k not in NOTES}
    drill = Drill(name="drill", feed=1.0, **keys)
    assert [drill.width(0.05, level) for level in (0.05, 0.051)] == [0.0, 0.0]
    assert drill.width(5.0, 1.0) == 1.0
