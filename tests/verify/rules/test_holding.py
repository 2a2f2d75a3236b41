"""Whether a blank is held: what is judged, what is told, what would help."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely

from millprep.geometry.pose import Pose
from millprep.job import load
from millprep.model.blank import Blank, Box, Clamp
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import Holding, MillingPass
from millprep.model.program import ARC_CCW, ARC_CW, FEED, RAPID, Trail
from millprep.model.set_of_programs import CutSet, MilledBlank
from millprep.verify.rules.extra_support import (
    _strips,
    clamp_room,
    extra_supports,
    on_blank,
)
from millprep.verify.rules.holding import held
from millprep.verify.rules.plate import Plate
from millprep.workflow.prepare import prepare
from tests.helpers import small_job
from tests.helpers.programs import MACHINE

CLAMP = "[[setup.clamp]]\nbox = [{0}]\nheight = 3\n"
EDGES = ("-15, 18, 4, 33", "56, 18, 75, 33", "22, -15, 37, 4", "22, 46, 37, 65")
"""A clamp on each edge of the small blank."""


def on_clamps(*boxes: str) -> str:
    clamps = "".join(CLAMP.format(box) for box in boxes)
    return small_job.changed("[setup]\ntape = true\n", f"[setup]\n{clamps}")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[CutSet, JobPlan]:
    """The small job on four clamps, and its plan."""
    folder = tmp_path_factory.mktemp("held")
    file = small_job.put(folder, on_clamps(*EDGES))
    return prepare(file, folder / "out"), load(file)


def with_clamps(plan: JobPlan, *boxes: Box) -> JobPlan:
    clamps = tuple(Clamp(box=box, height=3.0) for box in boxes)
    return replace(plan, setup=replace(plan.setup, clamps=clamps, tape=False))


def of(blank: MilledBlank, plan: JobPlan) -> Holding:
    (holding,), _ = held(blank, plan)
    assert holding is not None
    return holding


def test_the_lift_is_reported_with_its_place_and_what_is_allowed(
    made: tuple[CutSet, JobPlan],
) -> None:
    cut_set, plan = made
    holding = of(cut_set.blanks[0], plan)
    assert cut_set.passes[0].holding == holding
    assert holding.force == 2.0
    # 0.08 deep, 0.02 lower at worst, 0.035 of copper
    assert holding.allowed == pytest.approx(0.025)
    lift, allowed = holding.places[:, 2], holding.places[:, 3]
    used = lift / allowed
    assert holding.lift == lift[np.argmax(used)]
    assert used.max() == pytest.approx(holding.lift / holding.allowed)
    # holes and the edge only have to go through
    assert set(allowed.round(6)) == {0.025, 0.3}


def test_twice_the_pull_lifts_twice_as_far(made: tuple[CutSet, JobPlan]) -> None:
    cut_set, plan = made
    stronger = replace(plan, machine=replace(plan.machine, lift_force=4.0))
    once, twice = of(cut_set.blanks[0], plan), of(cut_set.blanks[0], stronger)
    assert twice.lift == pytest.approx(2 * once.lift)
    assert twice.share >= once.share
    still = replace(plan, machine=replace(plan.machine, lift_force=0.0))
    assert held(cut_set.blanks[0], still) == ((None,), ())


def test_a_tiny_clamp_is_reported(made: tuple[CutSet, JobPlan]) -> None:
    cut_set, plan = made
    tiny = with_clamps(plan, Box(0.0, 20.0, 0.1, 21.0))
    _, (finding,) = held(cut_set.blanks[0], tiny)
    assert finding.code == "blank-not-held"
    assert finding.severity == "warn"
    assert finding.at == pytest.approx(of(cut_set.blanks[0], tiny).at, abs=1e-3)
    assert "lifts it by more than 5 mm" in finding.message
    assert "100 % of the cuts lift too much" in finding.message


def test_what_would_help_most_helps_as_much_as_is_said(made: tuple[CutSet, JobPlan]) -> None:
    cut_set, plan = made
    weak = with_clamps(plan, Box(-15.0, 18.0, 4.0, 33.0))
    before = of(cut_set.blanks[0], weak)
    assert {more.kind for more in before.better} == {"clamp", "tape"}
    for more in before.better:
        assert more.lift < before.lift
        if more.kind == "clamp":
            better = with_clamps(weak, weak.setup.clamps[0].box, more.box)
        else:
            better = replace(weak, setup=replace(weak.setup, tape=(more.box,)))
        after = of(cut_set.blanks[0], better)
        assert after.lift == pytest.approx(more.lift, rel=1e-6)
        assert after.share == pytest.approx(more.share)


def test_room_for_clamps_is_free_of_moves_and_clamps(made: tuple[CutSet, JobPlan]) -> None:
    cut_set, plan = made
    (mill_pass,) = cut_set.passes
    holding = of(cut_set.blanks[0], plan)
    assert holding.room
    low = np.array(
        [
            (m.x, m.y)
            for p in mill_pass.programs
            for m in p.moves
            if m.z < 3.0 + plan.machine.clamp_clearance
        ]
    )
    for box in holding.room:
        kept = box.grown(plan.machine.collet / 2 - 1e-9)
        assert not any(kept.contains(x, y, 0.0) for x, y in low.tolist())
        for clamp in plan.setup.clamps:
            assert not clamp.box.shape.intersects(box.shape)
        assert box.shape.intersects(Box(0, 0, 60, 50).shape)


def test_tape_and_vacuum_hold_where_they_are(made: tuple[CutSet, JobPlan]) -> None:
    cut_set, plan = made
    blank = cut_set.blanks[0]
    weak = with_clamps(plan, Box(-15.0, 18.0, 4.0, 33.0))
    loose = of(blank, weak)
    area, setup = (Box(10, 10, 50, 40),), weak.setup
    for under in (replace(setup, tape=area), replace(setup, vacuum=area)):
        assert of(blank, replace(weak, setup=under)).lift < 0.2 * loose.lift
    for everywhere in (replace(setup, tape=True), replace(setup, vacuum=True)):
        assert held(blank, replace(weak, setup=everywhere)) == ((None,), ())


def test_a_turned_blank_lifts_as_much(made: tuple[CutSet, JobPlan]) -> None:
    cut_set, plan = made
    blank = cut_set.blanks[0]
    weak = with_clamps(plan, Box(-15.0, 18.0, 4.0, 33.0))
    (mill_pass,) = blank.passes
    turn = Pose(-1.0, 0.0, 60.0, 0.0, -1.0, 52.0)
    programs = tuple(
        replace(
            p,
            trail=None
            if p.trail is None
            else replace(
                p.trail,
                xyz=np.column_stack((turn.points(p.trail.xyz[:, :2]), p.trail.xyz[:, 2])),
                centre=turn.points(p.trail.centre),
            ),
        )
        for p in mill_pass.programs
    )
    turned = replace(mill_pass, pose=mill_pass.pose.then(turn), programs=programs)
    other = with_clamps(plan, Box(56.0, 19.0, 75.0, 34.0))
    lying = of(blank, weak)
    there = of(replace(blank, passes=(turned,)), other)
    assert there.lift == pytest.approx(lying.lift, rel=0.05)
    assert there.share == pytest.approx(lying.share, abs=0.05)


def test_steps_follow_lines_and_arcs() -> None:
    xyz = np.array([(0, 0, 0), (4, 0, 0), (4, 4, 0), (4, 4, 0), (4, 0, 0)], dtype=float)
    nowhere = (np.nan, np.nan)
    trail = Trail(
        "a.ngc", xyz, np.array([FEED, ARC_CCW, ARC_CW, RAPID]),
        np.array([nowhere, (4, 2), (4, 3), nowhere]),
        np.full(4, 100.0), np.arange(1, 5), np.zeros(4),
    )  # fmt: skip

    def steps(move: int) -> np.ndarray:
        return trail.steps(np.arange(4) == move, 0.5)

    assert steps(0) == pytest.approx(np.column_stack((np.arange(1, 9) / 2, np.zeros(8))))
    # half a turn to the right of the line between its ends
    half = steps(1)
    assert len(half) == math.ceil(2 * math.pi / 0.5)
    assert np.hypot(half[:, 0] - 4, half[:, 1] - 2) == pytest.approx(2.0)
    assert half[:, 0].max() == pytest.approx(6.0, abs=0.05)
    assert half[-1] == pytest.approx((4.0, 4.0))
    # a full circle ends where it starts
    circle = steps(2)
    assert len(circle) == math.ceil(2 * math.pi / 0.5)
    assert circle[0, 0] > 4.0
    assert circle[-1] == pytest.approx((4.0, 4.0))
    assert len(trail.steps(np.zeros(4, dtype=bool), 0.5)) == 0


def test_the_examples_are_held(example_set: Path) -> None:
    report = json.loads((example_set / "report.json").read_text("utf-8"))
    assert "blank-not-held" not in {finding["code"] for finding in report["findings"]}
    for row in report["passes"]:
        if row["holding"] is not None:
            assert row["holding"]["lift"] <= row["holding"]["allowed"]
            assert row["holding"]["share"] == 0


def test_cuts_that_no_lift_is_allowed_to_are_not_judged(made: tuple[CutSet, JobPlan]) -> None:
    """At a surface lower by 0.045 mm a groove of 0.08 mm ends in the copper's foot."""
    cut_set, plan = made
    low = replace(plan, isolation=replace(plan.isolation, flatness=0.045))
    assert set(of(cut_set.blanks[0], low).places[:, 3].round(6)) == {0.3}
    (mill_pass,) = cut_set.blanks[0].passes
    engraved = tuple(p for p in mill_pass.programs if p.depth < 1.0)
    only = replace(cut_set.blanks[0], passes=(replace(mill_pass, programs=engraved),))
    assert engraved
    assert held(only, low) == ((None,), ())


def test_nothing_is_clamped_or_taped_where_an_offcut_has_no_laminate() -> None:
    """An L of 90 by 60 mm that lacks its upper right corner."""
    corner = shapely.box(50, 30, 90, 60)
    whole = Blank(1, (90.0, 60.0), 1.6, 0.035)
    ell = shapely.Polygon([(0, 0), (90, 0), (90, 30), (50, 30), (50, 60), (0, 60)])
    rest = replace(whole, outline=ell)
    mill_pass = MillingPass(1, 1, shapely.box(0, 0, 90, 60), Pose(), (), (1.0, 1.0))
    job: Any = SimpleNamespace(machine=MACHINE, setup=SimpleNamespace(clamps=(), tape=False))
    loose = Holding(
        force=2.0, lift=4.0, allowed=0.1, at=(80.0, 55.0), share=1.0,
        places=np.array([(80.0, 55.0, 4.0, 0.1)]),
    )  # fmt: skip
    for blank, met in ((whole, True), (rest, False)):
        room = clamp_room(blank, mill_pass, job)
        strips = list(_strips(blank, mill_pass, job, loose, np.ones(1)))
        assert any(box.shape.intersection(corner).area > 0 for box in room) == met
        assert any(box.shape.intersection(corner).area > 0 for box in strips) == met
    # what is left of these edges is offered
    assert Box(0.0, 56.0, 49.0, 75.0) in room
    assert Box(86.0, 0.0, 105.0, 29.0) in room


def test_on_a_blank_smaller_than_any_clamp_or_strip_nothing_would_help() -> None:
    blank = Blank(1, (9.0, 9.0), 1.6, 0.035)
    mill_pass = MillingPass(1, 1, shapely.box(0, 0, 9, 9), Pose(), (), (1.0, 1.0))
    loose = Holding(
        force=2.0, lift=4.0, allowed=0.1, at=(4.0, 4.0), share=1.0,
        places=np.array([(4.0, 4.0, 4.0, 0.1)]),
    )  # fmt: skip
    plate = Plate((9.0, 9.0), 7e3, 0.14, ())
    job: Any = SimpleNamespace(machine=MACHINE, setup=SimpleNamespace(tape=False))
    springs = {"clamp": 10.0, "tape": 1.0}
    assert extra_supports(plate, blank, mill_pass, job, loose, np.ones(1), springs) == ()


def test_a_box_of_the_machine_lies_sideways_on_a_blank_that_does() -> None:
    box = Box(10.0, 20.0, 16.0, 22.0)
    assert on_blank(box, Pose.shift(10.0, 20.0)) == Box(0.0, 0.0, 6.0, 2.0)
    turned = on_blank(box, Pose.turn(90))
    assert (turned.x1 - turned.x0, turned.y1 - turned.y0) == pytest.approx((2.0, 6.0))
