"""Touching holes, as a job asks for it: the tip, the error it gives, and contradictions."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from millprep.job import load
from millprep.model.finding import Refusal
from tests.helpers import small_job

TOUCHING = '\n[registration]\nmethod = "measure"\nprobe = "electrical"\n'


def put(folder: Path, more: str) -> Path:
    (folder / "lamp.dxf").touch()
    file = folder / "job.toml"
    file.write_text(small_job.JOB + more, encoding="utf-8")
    return file


def test_the_widest_end_mill_that_goes_into_the_holes_is_the_tip(tmp_path: Path) -> None:
    plan = load(put(tmp_path, TOUCHING)).registration
    assert plan.probe == "electrical"
    assert plan.probe_cutter is not None
    assert plan.probe_cutter.name == "mill"
    assert (plan.probe_depth, plan.probe_feed, plan.probe_error) == (0.4, 30.0, 0.01)


def test_without_the_word_nothing_is_touched(tmp_path: Path) -> None:
    plan = load(put(tmp_path, '\n[registration]\nmethod = "measure"\n')).registration
    assert (plan.probe, plan.sigma, plan.assumed) == ("none", 0.03, True)


def test_the_middle_of_two_touches_stands_for_the_error_of_locating(tmp_path: Path) -> None:
    assumed = load(put(tmp_path, TOUCHING)).registration
    # half of the assumed variance is the drill's, the rest of it the touch replaces
    assert assumed.sigma == pytest.approx(math.hypot(0.03 / math.sqrt(2), 0.01 / math.sqrt(2)))
    assert assumed.assumed
    stated = TOUCHING + "drill_error = 0.02\nprobe_error = 0.03\n"
    assert load(put(tmp_path, stated)).registration.sigma == pytest.approx(
        math.sqrt(0.02**2 + 0.03**2 / 2)
    )
    stated += "locate_error = 0.05\n"
    assert load(put(tmp_path, stated)).registration.sigma == pytest.approx(math.hypot(0.02, 0.05))


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ('[registration]\nprobe = "electrical"\n', 'needs method = "measure"'),
        (TOUCHING + "hole = 2.5\n", "finds no end mill up to 1.70 mm"),
        (TOUCHING + 'hole = 2.2\nprobe_cutter = "mill"\n', "must be at most 1.80 mm wide"),
        (TOUCHING + 'probe_cutter = "vee"\n', "must be of kind endmill"),
        (TOUCHING + 'probe_cutter = "pin"\n', "names a cutter that is not defined"),
        (TOUCHING + "probe_depth = 0.03\n", "must lie between the copper's 0.035 mm"),
        (TOUCHING + "probe_depth = 1.6\n", "and the laminate's 1.6 mm; got 1.6"),
    ],
)
def test_contradictions_are_reported(tmp_path: Path, more: str, words: str) -> None:
    with pytest.raises(Refusal) as refused:
        load(put(tmp_path, "\n" + more))
    assert any(words in finding.message for finding in refused.value.findings)


@pytest.mark.parametrize(
    ("pattern", "words"),
    [
        ("x=(?P<x>.*) y=(?P<y>.*)", "groups it lacks: (?P<z>…)"),
        ("(?P<x>", "is no regular expression"),
    ],
)
def test_a_pattern_of_a_log_that_picks_nothing(tmp_path: Path, pattern: str, words: str) -> None:
    job = put(tmp_path, "")
    text = job.read_text("utf-8")
    machine = 'preset = "small-mill-300"\n'
    job.write_text(text.replace(machine, f"{machine}probe_log = '{pattern}'\n"), "utf-8")
    with pytest.raises(Refusal) as refused:
        load(job)
    assert words in refused.value.findings[0].message
