"""Where the copper is probed: grids around cuts, shifted off what stands in the way."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Literal

import numpy as np
import pytest
import shapely

from millprep import job
from millprep.at_machine.probe_grid import PLAY, Denied, denied, grid
from millprep.geometry.pose import Pose
from millprep.model.finding import Refusal
from millprep.model.milling_pass import MillingPass
from tests.helpers.small_job import changed, put
from tests.helpers.workshop import vee

HULL = shapely.box(10.0, 10.0, 110.0, 70.0)
BESIDE = Denied(
    shapely.box(-500, -500, 500, 500) - shapely.box(0, 0, 120, 80), "the blank ends there."
)


def test_the_outer_lines_enclose_the_cuts_and_no_more() -> None:
    x, y = grid(HULL, 30.0, [BESIDE], (1, 1))
    assert x.tolist() == [10.0, 35.0, 60.0, 85.0, 110.0]
    assert y.tolist() == [10.0, 40.0, 70.0]


def test_digits_are_rounded_outward() -> None:
    x, y = grid(shapely.box(10.00049, 10.0, 109.99951, 70.0), 30.0, [BESIDE], (1, 1))
    assert (x[0], x[-1], y[0]) == (10.0, 110.0, 10.0)


def test_lines_are_shifted_off_what_is_cut_and_clamped() -> None:
    clamp = Denied(shapely.box(0, 30, 12, 50), "a clamp stands there.")
    groove = Denied(shapely.box(30, 20, 36, 60), "that copper is cut.")
    x, y = grid(HULL, 30.0, [BESIDE, clamp, groove], (1, 1))
    at = shapely.points(np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2))
    for one in (clamp, groove, BESIDE):
        assert not shapely.intersects(one.area, at).any()
    assert x[0] <= 10.0
    assert x[-1] >= 110.0
    assert np.abs(x[1:-1] - [35.0, 60.0, 85.0]).max() <= PLAY * 25.0


def test_what_cannot_be_reached_is_reported_with_place_and_remedy() -> None:
    clamp = Denied(shapely.box(0, 0, 30, 30), "a clamp stands there. Move it.")
    with pytest.raises(Refusal) as refused:
        grid(HULL, 30.0, [BESIDE, clamp], (1, 2))
    finding = refused.value.findings[0]
    assert finding.code == "probe-unreachable"
    assert finding.message.endswith("a clamp stands there. Move it.")
    assert finding.at is not None
    assert clamp.area.intersects(shapely.Point(finding.at))
    assert (finding.blank, finding.mill_pass, finding.frame) == (1, 2, "machine")


def test_a_spacing_that_nobody_waits_for_is_refused() -> None:
    with pytest.raises(Refusal) as refused:
        grid(HULL, 0.5, [BESIDE], (1, 1))
    assert [f.code for f in refused.value.findings] == ["probe-too-fine"]


def test_three_rows_at_least() -> None:
    x, y = grid(shapely.box(10, 10, 110, 14), 30.0, [BESIDE], (1, 1))
    assert len(y) == 3
    assert len(x) == 5


CLAMPS = """
[[setup.clamp]]
box = [0.0, 20.0, 8.0, 30.0]
height = 4.0
passes = [2]

[[setup.clamp]]
box = [52.0, 20.0, 60.0, 30.0]
height = 4.0

[[board]]"""
SHEET = shapely.box(0.0, 0.0, 60.0, 50.0)


@pytest.mark.parametrize(("number", "hindered"), [(1, [52.0]), (2, [0.0, 52.0])])
def test_only_clamps_of_the_pass_are_in_the_way(
    tmp_path: Path, number: int, hindered: list[float]
) -> None:
    plan = job.load(put(tmp_path, changed("\n[[board]]", CLAMPS)))
    lying = MillingPass(1, number, SHEET, Pose(), (), (5.0, 5.0))
    reasons = denied(SHEET, lying, plan, vee(), 1.0)
    at = [reason for reason in reasons if "the clamp at" in reason.words]
    said = [re.findall(r"clamp at X(\d+) to", reason.words) for reason in at]
    assert said == [[f"{x:g}"] for x in hindered]
    # shank of 3.175 mm and clamp_clearance around the clamp
    off = 3.175 / 2 + plan.machine.clamp_clearance
    assert at[-1].area.bounds == pytest.approx((52 - off, 20 - off, 60 + off, 30 + off))


@pytest.mark.parametrize(
    ("surface_probe", "words"),
    [
        ("switch", "the copper is cut there, or the blank ends. Give another --spacing."),
        ("electrical", "there is no copper connected with the touch point"),
    ],
)
def test_where_no_copper_is_left_the_words_fit_what_touches_it(
    tmp_path: Path, surface_probe: Literal["electrical", "switch"], words: str
) -> None:
    plan = job.load(put(tmp_path))
    machine = replace(plan.machine, surface_probe=surface_probe)
    lying = MillingPass(1, 1, SHEET, Pose(), (), (5.0, 5.0))
    cut = shapely.box(20, 0, 40, 50)
    reasons = denied(SHEET - cut, lying, replace(plan, machine=machine), vee(), 1.0)
    (why,) = (r.words for r in reasons if r.area.intersects(shapely.Point(30, 25)))
    assert why.startswith(words)
