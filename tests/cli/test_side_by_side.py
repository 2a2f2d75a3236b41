"""Several jobs at a time: each as it would be alone, and one that fails stops no other."""

from __future__ import annotations

import json
import os
import signal
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest

from millprep.cli import terminal
from millprep.cli.prepare import JobWish
from millprep.model.set_of_programs import CutSet
from millprep.workflow.prepare import prepare
from millprep.workflow.second_core import ProcessLostError, cores, side_by_side, workers
from tests.helpers import small_job
from tests.helpers.small_job import JOB, changed, run


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    small_job.draw(Path("lamp.dxf"))


def jobs() -> list[str]:
    """A job that is refused for a mistake, two good ones, and one that no groove fits."""
    texts = {
        "bad": changed("gap = 0.3", "gap = 0"),
        "a": JOB,
        "b": changed('name = "lamp test piece"', 'name = "another"'),
        "wide": changed("gap = 0.3", "gap = 0.3\ndepth = 2.0"),
    }
    for name, text in texts.items():
        Path(f"{name}.toml").write_text(text, "utf-8")
    return [f"{name}.toml" for name in texts]


def test_each_job_is_made_as_it_would_be_alone() -> None:
    done = run("prepare", *jobs())
    assert done.exit_code == 2
    lines = done.stdout.splitlines()
    assert [line.split(":")[0] for line in lines] == ["bad.toml", "a.toml", "b.toml", "wide.toml"]
    assert lines[0] == "bad.toml: refused"
    assert lines[3] == "wide.toml: refused; see wide-refused"
    assert "bad.toml:\nstop: bad.toml:30:1: [isolation] gap must be" in done.stderr
    for name, line in (("a", lines[1]), ("b", lines[2])):
        alone = prepare(Path(f"{name}.toml"), Path("alone"))
        assert line.startswith(
            f"{name}.toml: set {alone.id} in {name}, 1 board on 1 blank, 1 pass, "
        )
        files = [f.relative_to("alone") for f in Path("alone").rglob("*") if f.is_file()]
        assert len(files) > 10
        assert all((Path(name) / f).read_bytes() == ("alone" / f).read_bytes() for f in files)


def test_sets_of_several_jobs_lie_in_one_folder_and_json_lists_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("MILLPREP_CACHE", str(tmp_path / "kept"))
    names = jobs()[:2]
    done = run("prepare", *names, "--out", "sets", "--json")
    bad, good = json.loads(done.stdout)
    assert (bad["job"], bad["exit_code"], bad["set"]) == ("bad.toml", 2, None)
    assert [finding["code"] for finding in bad["findings"]] == ["job-bad-value"]
    report = json.loads(Path("sets/a/report.json").read_text("utf-8"))
    assert (good["out"], good["set"], good["exit_code"]) == ("sets/a", report["set"], 0)
    # what is as its job makes it already stays as it is, and the other is refused again
    before = {file: file.stat().st_mtime_ns for file in Path("sets/a").rglob("*")}
    again = run("prepare", *names, "--out", "sets")
    assert again.exit_code == 2
    first, second = again.stdout.splitlines()
    assert first == "bad.toml: refused"
    assert second.startswith(f"a.toml: nothing has changed: set {good['set']} in sets/a, 1 ")
    assert {file: file.stat().st_mtime_ns for file in Path("sets/a").rglob("*")} == before


def test_a_fault_in_one_job_is_shown_and_called_ours(monkeypatch: pytest.MonkeyPatch) -> None:
    def faulty(wish: JobWish, *_: object) -> CutSet:
        if wish.job_file.stem == "a":
            raise ZeroDivisionError("of ours")
        os.kill(os.getpid(), signal.SIGTERM if os.name == "nt" else signal.SIGKILL)
        raise AssertionError

    monkeypatch.setattr("millprep.cli.prepare._made", faulty)
    done = run("prepare", *jobs()[1:3])
    assert done.exit_code == 70
    assert done.stdout.splitlines() == [
        "a.toml: a fault of millprep, not of your files",
        "b.toml: ended without a result",
    ]
    first, second, *_, last = done.stderr.splitlines()
    assert (first, second) == ("a.toml:", "Traceback (most recent call last):")
    assert last == "ZeroDivisionError: of ours"


@pytest.mark.parametrize(
    ("more", "message"),
    [
        (("--only", "lamp:1"), "--only is of one job"),
        (("a.toml",), "the sets of 2 jobs would lie in"),
        (("bare",), "bare has no ending such as .toml"),
    ],
)
def test_slips(more: tuple[str, ...], message: str) -> None:
    done = run("prepare", *jobs(), *more)
    assert done.exit_code == 2
    assert message in " ".join(done.stderr.split())
    assert not Path("a").exists()


def work(number: int, say: Callable[[str], None]) -> tuple[int, int, int]:
    say(f"step {number}")
    if number == 1:
        raise ValueError("of its own")
    if number == 2:
        os.kill(os.getpid(), signal.SIGTERM if os.name == "nt" else signal.SIGKILL)
    return number, cores(), workers()


def test_what_one_raises_ends_no_other() -> None:
    said: list[tuple[int, str]] = []
    ended: list[int] = []
    works = [partial(work, number) for number in range(5)]
    results = side_by_side(works, lambda *step: said.append(step), ended.append)
    # each has one core, which it shares with nobody
    assert [results[k] for k in (0, 3, 4)] == [(0, 1, 1), (3, 1, 1), (4, 1, 1)]
    assert isinstance(results[1], ValueError)
    assert isinstance(results[2], ProcessLostError)
    assert sorted(said) == [(k, f"step {k}") for k in range(5)]
    assert sorted(ended) == [0, 1, 2, 3, 4]


def test_every_step_of_prepare_has_its_share() -> None:
    (name,) = jobs()[1:2]
    steps: list[str] = []
    prepare(Path(name), Path("out"), steps.append)
    known = list(terminal.PREPARE)
    assert len(steps) >= 6
    assert [known.index(step) for step in steps] == sorted(known.index(step) for step in steps)
    for shares in (terminal.PREPARE, terminal.VERIFY):
        assert sum(shares.values()) == pytest.approx(1.0)


def test_what_is_left_is_said_after_two_seconds(monkeypatch: pytest.MonkeyPatch) -> None:
    now = iter([0.0, 1.0, 10.0, 100.0])
    view = terminal.SideBySide(["a", "b"], lambda: next(now))
    view.step(0, "writing the programs")
    # 27 of 100 are done of one job in two
    assert view.line() == "0 of 2 done; a: writing the programs"
    view.done(1)
    assert view.line() == "1 of 2 done; about 6 s left; a: writing the programs"
    view.step(0, "drawing pictures, writing sheet and report")
    assert view.line().startswith("1 of 2 done; about 14 s left; a: drawing")
    assert terminal.left_words(1000.0, 0.5) == "about 17 min left"
    assert terminal.left_words(10.0, 0.0) == ""
