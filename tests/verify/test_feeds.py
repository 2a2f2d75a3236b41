"""Feeds of programs against those of the job, written by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from millprep.job import load
from millprep.model.cut import Work
from millprep.model.job.job import JobPlan
from millprep.verify.feeds import check_feeds
from millprep.verify.reader import read
from tests.helpers import small_job
from tests.helpers.programs import HEAD, TAIL, run_of

DOWN = "G0 X10. Y10.\nG1 Z-.08 F100.\n"


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> JobPlan:
    """Its vee goes 300 mm/min along and 100 down, its probe 30."""
    return load(small_job.put(tmp_path_factory.mktemp("feeds")))


def said(
    job: JobPlan, words: str, work: Work = "isolate", *, uneven: bool = False
) -> list[tuple[str, str]]:
    run = run_of(words, job.isolation.cutters[0], work)
    findings = list(check_feeds(run.trace, run.program, job, uneven=uneven))
    assert {(f.severity, f.file, f.blank, f.mill_pass) for f in findings} <= {("stop", "a", 1, 1)}
    return [(f.code, f.message.split(". Do not")[0]) for f in findings]


def test_the_feeds_of_the_job_are_right(job: JobPlan) -> None:
    ramp = "G1 X20. F300.\nG1 X30. Z-.1\nG1 X30.1 Z-.2 F141.\n"
    assert said(job, DOWN + ramp) == []
    assert said(job, "G0 X10. Y10.\n") == []


@pytest.mark.parametrize(
    ("words", "code", "message"),
    [
        ("G1 X20. F310.", "feed-above-job",
         "the cutter goes along faster than the 300 mm/min that the job gives vee"),
        ("G1 X20. F290.", "feed-too-slow",
         "the cutter goes along slower than the 300 mm/min that the job gives vee"),
        ("G1 X10.1 Z-.3 F290.", "plunge-above-job",
         "the cutter goes down faster than the 100 mm/min that the job gives vee"),
        ("G1 Z-.1 F110.", "plunge-above-job",
         "the cutter goes down faster than the 100 mm/min that the job gives vee"),
        ("G1 Z-.1 F90.", "feed-too-slow",
         "the feed is lower than any that the job gives vee; the lowest is 100 mm/min"),
    ],
)  # fmt: skip
def test_a_feed_that_is_not_the_jobs_is_refused(
    job: JobPlan, words: str, code: str, message: str
) -> None:
    assert said(job, f"{DOWN}{words}\n") == [(code, message)]


def even(job: JobPlan, words: str, look: int, *, uneven: bool = False) -> list[str]:
    """The codes for a cutter that goes down as fast as along, after a look at this feed."""
    cutter = replace(job.isolation.cutters[0], plunge=300.0)
    program = run_of("", cutter, "isolate").program
    trace = read(HEAD.replace("F100.", f"F{look}.") + words + TAIL, file="a")
    return [finding.code for finding in check_feeds(trace, program, job, uneven=uneven)]


def test_a_look_at_zero_may_be_slow_and_nothing_else(job: JobPlan) -> None:
    assert even(job, "", 240) == []
    assert even(job, "", 230) == ["feed-too-slow"]
    stop = "M0 (look: 1 mm)\n"
    run = run_of("", replace(job.isolation.cutters[0], plunge=300.0), "isolate")
    no_look = read(HEAD.replace("F100.", "F240.").replace(stop, "") + TAIL, file="a")
    (fault,) = check_feeds(no_look, run.program, job, uneven=False)
    assert fault.code == "feed-too-slow"


def test_over_uneven_copper_a_ramp_is_a_little_slower_and_a_steep_fall_much(job: JobPlan) -> None:
    ramp = "G0 X10. Y10.\nG1 Z-.08 F97.5\n"
    assert said(job, ramp, uneven=True) == []
    assert said(job, ramp)[0][0] == "feed-too-slow"
    # as over flat copper a cut is level where the copper falls, and its fall is a plunge
    fall = f"{DOWN}G1 X20. F100.\n"
    assert said(job, fall, uneven=True) == []
    assert said(job, fall)[0][0] == "feed-too-slow"
    assert said(job, "G0 X10. Y10.\nG1 Z-.08 F90.\n", uneven=True) == [
        ("feed-too-slow",
         "the feed is lower than any that the job gives vee; the lowest is 97 mm/min"),
    ]  # fmt: skip


def test_where_a_plunge_is_as_fast_as_a_cut_none_is_slowed_down(job: JobPlan) -> None:
    words = "G0 X10. Y10.\nG1 Z-.08 F300.\nG1 X20. F{}.\n"
    assert even(job, words.format(292), 240, uneven=True) == []
    assert even(job, words.format(285), 240, uneven=True) == ["feed-too-slow"] * 2


def test_what_cuts_nothing_goes_no_faster_than_a_hand_on_the_stop(job: JobPlan) -> None:
    around = "G0 X10. Y10.\nG1 Z5. F600.\nG1 X20.\n"
    assert said(job, around, "dry-run") == []
    assert (
        said(job, around.replace("600", "610"), "dry-run")
        == [("feed-above-job", "the feed is above the 600 mm/min of a program that cuts nothing")]
        * 2
    )


def test_a_probe_goes_at_its_own_feed(job: JobPlan) -> None:
    touch = "G0 X10. Y10.\nG38.2 X12. F{}\nG0 X10.\n"
    assert said(job, touch.format("30."), "probe") == []
    assert said(job, touch.format("20."), "probe") == [
        ("feed-too-slow",
         "the feed is lower than any that the job gives vee; the lowest is 30 mm/min")
    ]  # fmt: skip
    assert said(job, touch.format("30."))[0][0] == "feed-too-slow"
