"""Chips, edge speed and depth in one go of the cutters in use."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from millprep.job import load, presets
from millprep.job.presets import drilling
from millprep.model.cut import Work
from millprep.model.cutter import Cutter, Vee
from millprep.model.finding import Finding
from millprep.model.machine import Machine
from millprep.model.program import Program
from millprep.verify.rules.cutters import cutters, cutting, drill_steps
from tests.helpers.cutters_in_use import MACHINE, drill, mill, program
from tests.helpers.sample_job import changed, write

VEE = Vee(
    name="vee", shank=3.175, flute=4, stickout=20, spindle=12000, feed=300, plunge=100, tip=0.1,
    angle=30,
)  # fmt: skip


def judged(*programs: Program, machine: Machine = MACHINE, whole: bool = False) -> list[Finding]:
    return list(cutters(programs, {1: "FR-4"}, machine, whole=whole)[1])


def codes(*programs: Program) -> list[str]:
    return [finding.code for finding in judged(*programs)]


def test_what_common_cutters_do_is_worked_out_and_found_wise() -> None:
    vee = program(VEE, 0.08, work="isolate")
    made = (vee, program(mill(), 0.3), program(drill(), 1.9, work="drill"))
    found, findings = cutters(made, {1: "FR-4"}, MACHINE)
    assert findings == ()
    one, two, three = found
    assert one.chip_load == pytest.approx(0.025)
    assert one.width == VEE.width(0.08)
    assert one.plunge_load == pytest.approx(100 / 12000)
    assert two.chip_load == pytest.approx(0.00625)
    assert two.step == 0.3
    assert two.surface_speed == pytest.approx(30.159, abs=5e-4)
    assert three.chip_load is None
    assert three.plunge_load == pytest.approx(0.025)
    # 2.4 diameters: no withdrawing
    assert (three.step, three.steps) == (1.9, 1)


@pytest.mark.parametrize(
    ("cutter", "work", "code"),
    [
        (replace(VEE, feed=960), "isolate", "chip-load-high"),
        (replace(VEE, feed=40), "isolate", "chip-load-low"),
        (mill(feed=900), "profile", "chip-load-high"),
        (mill(plunge=550), "profile", "chip-load-high"),
        (mill(feed=30), "profile", "chip-load-low"),
        (drill(0.3), "drill", "chip-load-high"),
        (drill(plunge=30), "drill", "chip-load-low"),
    ],
)
def test_chips_too_thick_or_too_thin_are_reported(cutter: Cutter, work: Work, code: str) -> None:
    (finding,) = judged(program(cutter, 0.08, work=work))
    assert (finding.code, finding.severity) == (code, "warn")


def test_the_finding_says_figures_and_remedy() -> None:
    (finding,) = judged(program(mill(feed=900), 0.3))
    assert finding.message == (
        "mill takes 37.5 µm per tooth, 2 teeth (900 mm/min at 12000 rev/min), more than the 20 µm "
        "of common practice for 0.80 mm: a thin cutter breaks, and edges fray. Slow the feed to "
        "480 mm/min, or raise the spindle to 23000 rev/min."
    )
    (finding,) = judged(program(drill(plunge=30), 1.9, work="drill"))
    assert finding.message == (
        "drill takes 2.5 µm per rev (30 mm/min at 12000 rev/min), less than the 4 µm of common "
        "practice for 0.80 mm: it rubs instead of cutting, heats the resin and grows blunt. "
        "Raise the plunge to 48 mm/min, or slow the spindle to 7500 rev/min."
    )


def test_no_remedy_is_beyond_the_machine() -> None:
    slow = replace(MACHINE, max_spindle=12000, max_feed=40)
    (finding,) = judged(program(mill(feed=900), 0.3), machine=slow)
    assert "spindle to" not in finding.message
    (finding,) = judged(program(mill(feed=30), 0.3), machine=slow)
    assert "feed to" not in finding.message
    assert finding.message.endswith("Slow the spindle to 6200 rev/min.")


@given(
    st.sampled_from([0.2, 0.5, 0.8, 1.0, 2.0, 3.0, 6.0]),
    st.floats(1, 2000),
    st.floats(1000, 24000),
    st.integers(1, 4),
)
def test_who_does_as_the_finding_says_is_not_warned_again(
    diameter: float, feed: float, spindle: float, teeth: int
) -> None:
    cutter = mill(diameter, feed, plunge=1.0, spindle=spindle, step=0.1, teeth=teeth)
    for finding in judged(program(cutter, 0.1)):
        slower = re.search(r"feed to ([\d.e+]+) ", finding.message)
        if slower:
            assert codes(program(replace(cutter, feed=float(slower[1])), 0.1)) == []
        turned = re.search(r"spindle to ([\d.e+]+) ", finding.message)
        if turned:
            assert codes(program(replace(cutter, spindle=float(turned[1])), 0.1)) == []


def test_what_the_maker_of_a_cutter_says_goes_before_common_practice() -> None:
    cutter = replace(mill(feed=900), chip_load=(0.01, 0.05))
    assert codes(program(cutter, 0.3)) == []
    (finding,) = judged(program(replace(cutter, chip_load=(0.01, 0.03)), 0.3))
    assert "more than the 30 µm that the job sets for it" in finding.message


def test_paper_lets_a_tooth_take_more_than_glass() -> None:
    made = program(mill(feed=600), 0.3)
    assert [f.code for f in cutters([made], {1: "FR-4"}, MACHINE)[1]] == ["chip-load-high"]
    assert [f.code for f in cutters([made], {1: None}, MACHINE)[1]] == ["chip-load-high"]
    assert cutters([made], {1: "FR-1"}, MACHINE)[1] == ()


def test_a_lap_deeper_than_the_cutter_is_wide_is_reported() -> None:
    assert codes(program(mill(step=0.8), 1.8)) == []
    (finding,) = judged(program(mill(step=1.0), 1.8))
    assert (finding.code, finding.severity) == ("step-deep", "warn")
    assert "Set its step to 0.8 mm or less" in finding.message
    # a groove is cut in one go whatever the step
    assert codes(program(mill(0.2, feed=100, plunge=50), 0.3, work="isolate")) == ["step-deep"]


def test_a_drill_that_does_not_withdraw_in_time_is_reported() -> None:
    """Kennametal/Greenfield: two to three diameters in one step, two before the first retract."""
    thin = drill(0.5)
    assert codes(program(thin, 1.5, work="drill")) == []
    assert codes(program(thin, 1.9, work="drill")) == ["step-deep"]
    pecked = program(thin, 1.0, 1.5, 1.9, work="drill")
    (steps,) = drill_steps(pecked)
    assert steps == pytest.approx((1.0, 0.5, 0.4))
    assert codes(pecked) == []
    one = cutting(pecked)
    assert one is not None
    assert (one.step, one.steps) == (1.0, 3)


def test_each_cutter_is_reported_once_at_its_worst() -> None:
    made = [program(mill(feed=feed), 0.3) for feed in (700, 900, 800)]
    (finding,) = judged(*made)
    assert "900 mm/min" in finding.message


def test_what_does_not_turn_is_not_judged() -> None:
    still = replace(program(mill(feed=900), 0.3), spins=False, spindle=0.0)
    assert cutters([still], {}, MACHINE) == ((), ())
    assert cutting(replace(still, spins=True, spindle=1.0, moves=())) is None


def test_slow_drills_are_a_note_when_all_is_judged() -> None:
    made = program(drill(), 1.9, work="drill")
    assert judged(made) == []
    (finding,) = judged(made, whole=True)
    assert (finding.code, finding.severity) == ("spindle-slow", "note")
    fast = replace(made, spindle=40000.0, cutter=drill(plunge=1000))
    assert judged(fast, whole=True) == []


@pytest.mark.parametrize("name", list(presets()["cutters"]))
def test_presets_are_wise(tmp_path: Path, name: str) -> None:
    text = changed("[isolation]", f'[cutters.it]\npreset = "{name}"\n[isolation]')
    cutter = load(write(tmp_path, text)).cutters[-1]
    works: dict[str, tuple[Work, float]] = {
        "vee": ("isolate", 0.06), "endmill": ("profile", 1.9), "drill": ("drill", 2.4),
    }  # fmt: skip
    work, depth = works[cutter.kind]
    assert codes(program(cutter, depth, work=work)) == []


@pytest.mark.parametrize("diameter", [0.1, 0.2, 0.3, 0.5, 0.74, 0.76, 1.6])
def test_drills_that_the_starter_assumes_are_wise(diameter: float) -> None:
    (table,) = drilling([diameter], []).cutters[:1]
    keys = dict(table.keys)
    made = drill(diameter, float(str(keys.get("plunge", 300.0))))
    assert codes(program(made, 2 * diameter, work="drill")) == []
