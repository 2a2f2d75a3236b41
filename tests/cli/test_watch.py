"""A watched job: prepared again when a file is saved, and shown on a page of this computer."""

from __future__ import annotations

import json
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from millprep.cli.watch_page import WatchPage
from millprep.workflow.watch import Watch, WatchState
from tests.helpers.small_job import changed, put


def watched(job: Path, out: Path, changes: list[Callable[[], None]]) -> list[WatchState]:
    """All states of a watched job that is changed, each time when all is done."""
    states: list[WatchState] = []
    waiting = iter(changes)
    done = 0

    def go_on() -> bool:
        nonlocal done
        if states and not states[-1].step and states[-1].run > done:
            done = states[-1].run
            change = next(waiting, None)
            if change is None:
                return False
            change()
        return True

    Watch(job, out, states.append).run(go_on)
    return states


def void(_: object) -> None:
    """Nothing."""


def test_what_is_saved_is_prepared_again(tmp_path: Path) -> None:
    (tmp_path / "job").mkdir()
    job, out = put(tmp_path / "job"), tmp_path / "out"

    def save(text: str) -> Callable[[], None]:
        return lambda: void(job.write_text(text, "utf-8"))

    finer = changed('preset = "vee-30-0.1"', 'preset = "vee-30-0.1"\nfeed = 111.0')
    states = watched(job, out, [save(changed("gap = 0.3", "gap = -1")), save(finer)])
    by_run = {run: [s for s in states if s.run == run] for run in (1, 2, 3)}
    first, refused, last = (by_run[run][-1] for run in (1, 2, 3))
    assert first.made
    assert first.changes is None
    assert by_run[1][0].step == "reading the job"
    assert [finding.code for finding in refused.findings] == ["job-bad-value"]
    assert not refused.made
    assert not refused.explained
    assert last.made
    assert last.changes is not None
    (copy,) = last.changes
    assert [work.feed.after for work in copy.works if work.feed is not None] == [111.0]
    assert "F111" in "".join(file.read_text() for file in out.rglob("*isolate*.ngc"))


def test_files_that_the_job_does_not_name_are_not_watched(tmp_path: Path) -> None:
    # a log of the command itself may lie next to the job
    (tmp_path / "job").mkdir()
    job = put(tmp_path / "job")
    drawing = next(job.parent.glob("*.dxf"))
    watch = Watch(job, tmp_path / "out", void)
    runs = iter((True, False))
    watch.run(lambda: next(runs))
    before = watch.signature()
    assert str(drawing.resolve()) in {row[0] for row in before}
    (job.parent / "watch.log").write_text("prepared", "utf-8")
    assert watch.signature() == before
    (job.parent / "bench.toml").write_text("", "utf-8")
    with_bench = watch.signature()
    assert with_bench != before
    drawing.write_bytes(drawing.read_bytes() + b"\n")
    assert watch.signature() != with_bench


def test_a_file_saved_meanwhile_begins_anew(tmp_path: Path) -> None:
    (tmp_path / "job").mkdir()
    job = put(tmp_path / "job")
    states: list[WatchState] = []

    def show(state: WatchState) -> None:
        states.append(state)
        if state.run == 1 and state.step == "laying the boards out":
            job.write_text(changed("gap = 0.3", "gap = -1"), "utf-8")

    Watch(job, tmp_path / "out", show).run(lambda: not states or bool(states[-1].step))
    assert [state.step for state in states if state.run == 1][-1] == "laying the boards out"
    assert states[-1].run == 2
    assert states[-1].findings
    assert not (tmp_path / "out").exists()
    assert {path.name for path in tmp_path.iterdir()} == {"job"}


@pytest.fixture
def page(tmp_path: Path) -> Iterator[WatchPage]:
    out = tmp_path / "out"
    out.mkdir()
    (out / "sheet.html").write_text("the sheet")
    (tmp_path / "secret.txt").write_text("secret")
    made = WatchPage("lamp", out)
    yield made
    made.close()


def fetched(address: str, **headers: str) -> tuple[int, str]:
    request = urllib.request.Request(address, headers=headers)
    try:
        with urllib.request.urlopen(request, timeout=5) as answer:
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as refused:
        return refused.code, ""


def test_the_page_shows_findings_changes_and_the_sheet(page: WatchPage) -> None:
    assert 'src="watch.js"' in fetched(page.address)[1]
    assert "follow()" in fetched(f"{page.address}watch.js")[1]
    page.show(WatchState(run=1, step="reading the job"))
    state = json.loads(fetched(f"{page.address}state?-1")[1])
    assert (state["words"], state["sheet"]) == ("lamp: reading the job …", None)
    page.show(WatchState(run=1, made=True, changes=(), seconds=1.25))
    state = json.loads(fetched(f"{page.address}state?{state['version']}")[1])
    assert state["words"] == "lamp: The set is as the job makes it, prepared in 1.2 s."
    assert fetched(page.address + state["sheet"]) == (200, "the sheet")


@pytest.mark.parametrize("name", ["set/../secret.txt", "set/none", "other/x", "set/%2e%2e/x", "x"])
def test_the_page_gives_files_of_the_set_alone(page: WatchPage, name: str) -> None:
    assert fetched(page.address + name)[0] == 404


def test_the_page_answers_only_its_own_address(page: WatchPage) -> None:
    assert fetched(f"http://{page.host}/")[0] == 404
    assert fetched(f"http://{page.host}/set/sheet.html")[0] == 404
    assert fetched(page.address, Host="elsewhere.example")[0] == 404
