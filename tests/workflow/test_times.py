"""Ways to isolate: their minutes against those of programs that are really made."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
import shapely

from millprep import job
from millprep.model.cutter import EndMill
from millprep.model.job.isolation import LEAST_TIME
from millprep.model.machine_time import TimePlan
from millprep.toolpaths.copper_edges import CopperEdges
from millprep.toolpaths.least_time import ways
from millprep.workflow.times import times
from tests.helpers.programs import board as drawn
from tests.helpers.small_job import changed, put
from tests.helpers.workshop import MACHINE, isolation, mill

EXAMPLES = Path(__file__).parents[2] / "examples" / "lighthouse"
HEADS = 0.08
"""A way counts no heads of programs, joins and shallow corners: less than this share."""


def test_a_way_takes_what_its_programs_take(example_set: Path) -> None:
    rows = json.loads((example_set / "report.json").read_text("utf-8"))
    made = sum(
        program["seconds"] / 60
        for each in rows["passes"]
        for program in each["programs"]
        if program["work"] == "isolate"
    )
    first = times(EXAMPLES / rows["inputs"][0]["file"])[0]
    assert made * (1 - HEADS) < first.running < made


def two_cutters(*, change: float) -> tuple[float, float]:
    """Minutes of running and by hand of the best way with a wide and a narrow cutter."""
    cutters: tuple[EndMill, ...] = (mill(1.0, "wide"), mill(0.4, "fine"))
    plan = isolation(*cutters, gap=0.8, given_depth=LEAST_TIME)
    machine = replace(MACHINE, time=TimePlan(change=change))
    board = drawn([shapely.box(10, 10, 50, 12), shapely.box(10, 12.5, 50, 14.5)])
    table = ways(plan, 0.035, CopperEdges([(board, 1)], 3.0), machine)
    best = next(way for way in table if len(way.uses) == 2)
    assert best.minutes == best.running + best.by_hand
    return best.running, best.by_hand


def test_a_change_of_cutters_takes_what_the_job_says() -> None:
    quick, slow = two_cutters(change=0.5), two_cutters(change=7.0)
    assert (quick[1], slow[1]) == (0.5, 7.0)
    assert quick[0] == slow[0]


def test_ways_follow_the_log_of_the_machine(tmp_path: Path) -> None:
    preset = 'preset = "small-mill-300"'
    file = put(tmp_path, changed(preset, f'{preset}\ntime = {{ log = "mill.toml" }}'))
    before = times(file)
    name = job.load(file).machine.name
    (tmp_path / "mill.toml").write_text(
        f'[[run]]\nmachine = "{name}"\nset = "x"\nprogram = "x.ngc"\nestimate = 10\nminutes = 12\n'
    )
    after = times(file)
    assert [row.way for row in after] == [row.way for row in before]
    assert [row.running for row in after] == pytest.approx([1.2 * row.running for row in before])
