"""Ways to isolate: their minutes against those of programs that are really made."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
import shapely
from ezdxf.layouts.layout import Modelspace

from millprep import job
from millprep.model.cutter import EndMill
from millprep.model.job.isolation import LEAST_TIME
from millprep.model.machine_time import TimePlan
from millprep.toolpaths.copper_edges import CopperEdges
from millprep.toolpaths.least_time import ways
from millprep.workflow.times import times
from tests.helpers.programs import board as drawn
from tests.helpers.small_job import changed, put, run, track, whole
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


def test_the_ways_are_listed_with_the_line_that_makes_the_first_the_job_s(tmp_path: Path) -> None:
    file = put(tmp_path)
    words = run("times", file).stdout
    rows = json.loads(run("times", file, "--json").stdout)
    own = [row for row in rows if row["preset"] is None]
    assert own[0]["job_line"] == 'cutters = [{ cutter = "vee", depth = 0.151 }]'
    assert f"For the first way write in [isolation]:\n  {own[0]['job_line']}\n" in words
    assert "Faster with a cutter that the job does not have:\nrunning" in words
    first = own[0]["minutes"] + own[0]["by_hand"]
    assert all(r["fits"] and r["minutes"] + r["by_hand"] <= first for r in rows[len(own) :])
    (written,) = (row for row in own if row["as_written"])
    assert (written["uses"][0]["cutter"], written["uses"][0]["depth"]) == ("vee", 0.08)
    (line,) = (line for line in words.splitlines() if line.endswith("<- the job"))
    assert "vee 0.08 deep" in line
    # two tracks and a pad, each lap outside the one before
    assert written["uses"][0]["length"] == pytest.approx(
        written["uses"][0]["laps"] * 55.6, rel=0.02
    )
    # once that line is in the job, the first way is the job's, and there is nothing to write
    file.write_text(changed('cutters = ["vee"]', own[0]["job_line"]), "utf-8")
    again = run("times", file).stdout
    assert again.splitlines()[1].endswith("vee 0.151 deep, 0.1 m   <- the job")
    assert again.count("vee 0.151 deep") == 1
    assert "For the first way" not in again


def test_of_a_job_with_the_fastest_cutter_no_other_is_listed(tmp_path: Path) -> None:
    words = run("times", put(tmp_path, changed("vee-30-0.1", "vee-60-0.1"))).stdout
    assert "1       0.341" in words.splitlines()[1]
    assert "a cutter that the job does not have" not in words


def close(space: Modelspace) -> None:
    """A track 0.15 mm from another."""
    whole(space)
    track(space, [(12.0, 7.15), (18.0, 7.15)], width=1.0)


@pytest.mark.parametrize("depth", ["0.08", '"least time"'])
def test_where_no_way_of_the_job_fits_that_is_said(tmp_path: Path, depth: str) -> None:
    text = changed("gap = 0.3", f"gap = 0.3\ndepth = {depth}")
    file = put(tmp_path, changed("vee-30-0.1", "vee-60-0.1", text), close)
    rows = json.loads(run("times", file, "--json").stdout)
    assert {row["fits"] for row in rows if row["preset"] is None} == {False}
    assert {row["preset"]: row["fits"] for row in rows if row["preset"] is not None} == {
        "vee-30-0.1": True,
        "vee-20-0.1": True,
    }
    words = run("times", file).stdout
    assert "does not fit everywhere" in words.splitlines()[1]
    assert "Ways that fit, with a cutter that the job does not have:" in words
    assert "For the first way" not in words
    # what it says is what a preparation finds
    refused = run("check", file)
    assert refused.exit_code == 1
    assert "[gap-too-narrow]" in refused.stderr
