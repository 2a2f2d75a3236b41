"""Steps and what is left of them, as a terminal shows them."""

from __future__ import annotations

import os
import shutil

import pytest

from millprep.cli import terminal


def somebody_watches(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is captured is a terminal of 40 columns."""
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    monkeypatch.setattr(shutil, "get_terminal_size", lambda: os.terminal_size((40, 24)))


SHARES = {"reading": 0.25, "cutting": 0.5, "writing": 0.25}


def test_a_step_says_what_is_left_by_the_shares_before_it(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    somebody_watches(monkeypatch)
    now = iter([0.0, 0.0, 10.0, 30.0, 40.0])
    say = terminal.steps(SHARES, lambda: next(now))
    for step in ("reading", "cutting", "writing", "sweeping"):
        say(step)
    # 25 of 100 took 10 s, 75 took 30 s; a step of no known share says nothing of what is left
    assert capsys.readouterr().err.splitlines() == [
        "reading …",
        "cutting … about 30 s left",
        "writing … about 10 s left",
        "sweeping …",
    ]


def test_a_job_prepared_again_an_hour_later_starts_the_clock_anew(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    somebody_watches(monkeypatch)
    now = iter([0.0, 0.0, 3600.0, 3604.0])
    say = terminal.steps(SHARES, lambda: next(now))
    for step in ("reading", "reading", "cutting"):
        say(step)
    assert capsys.readouterr().err.splitlines()[-1] == "cutting … about 12 s left"


def test_where_nobody_watches_nothing_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    terminal.steps(SHARES)("reading")
    view = terminal.SideBySide(["a"])
    view.step(0, "reading the job")
    view.done(0)
    view.clear()
    assert capsys.readouterr().err == ""


def test_one_line_for_several_jobs_is_cut_at_the_width_and_cleared(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    somebody_watches(monkeypatch)
    view = terminal.SideBySide(["lamp", "bell"], lambda: 0.0)
    view.step(0, "reading the job")
    view.step(1, "reading the drawings")
    view.done(0)
    view.clear()
    lines = capsys.readouterr().err.split("\r\x1b[K")
    assert lines == [
        "",
        "0 of 2 done; lamp: reading the job",
        "0 of 2 done; lamp: reading the job; bel",
        "1 of 2 done; bell: reading the drawings",
        "",
    ]
    # a full line would go on in the next one
    assert max(map(len, lines)) == 39
