"""A watched job: prepared again when a file is saved, and shown on a page of this computer."""

from __future__ import annotations

import json
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import click
import pytest

from millprep.cli import terminal
from millprep.cli.watch_page import WatchPage
from millprep.model.finding import Finding
from millprep.workflow.compare import Amount, Compared, PathChange, TaskCompared
from millprep.workflow.watch import PAUSE, SETTLED, Watch, WatchState
from tests.helpers.small_job import changed, put, run


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


def test_a_file_is_read_once_it_has_settled_and_not_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    watch = Watch(tmp_path / "job.toml", tmp_path / "out", void)
    begun, written, whole = ((("job.toml", n, 10 * n),) for n in (1, 2, 3))
    seen = iter([begun, written, whole, whole, whole, whole])
    prepared: list[object] = []
    slept: list[float] = []
    monkeypatch.setattr(watch, "signature", lambda: next(seen))
    monkeypatch.setattr(watch, "_prepare", lambda: prepared.append(watch._seen))
    monkeypatch.setattr("time.sleep", slept.append)
    turns = iter((True, True, True, False))
    watch.run(lambda: next(turns))
    # three looks until the file stays the same, then two at which nothing is new
    assert prepared == [whole]
    assert slept == [SETTLED, SETTLED, SETTLED, PAUSE, PAUSE]


NARROW = Finding(
    code="gap-too-narrow", severity="stop", message="The groove does not fit.", board="lamp",
    at=(12.4, 30.1), frame="drawing",
)  # fmt: skip
SLOW = Finding(code="slow", severity="warn", message="This takes long.")
FASTER = Compared(
    "lamp",
    1,
    works=(
        TaskCompared(
            ("isolate",), "vee", Amount(0, 0.0), Amount(0, 0.0), None,
            PathChange(Amount(4, 20.0), 200.0, 111.0), (1.0, 2.0),
        ),
    ),
)  # fmt: skip


def test_the_page_lists_findings_the_worst_first_and_notes_apart(page: WatchPage) -> None:
    remark = Finding(code="remark", severity="note", message="Nets have no names.")
    page.show(WatchState(run=1, findings=(remark, SLOW, NARROW), explained=True))
    state = json.loads(fetched(f"{page.address}state?-1")[1])
    assert (state["title"], state["kind"], state["sheet"]) == (
        "✗ lamp", "stop", "refused/review.html",
    )  # fmt: skip
    assert state["words"] == "lamp: Refused, 1 finding to correct. The folder is as it was."
    assert state["findings"] == [
        ["stop", f"stop: {terminal.line_of(NARROW)}"],
        ["warn", "warning: This takes long. [slow]"],
    ]
    assert state["notes"] == [["note", "note: Nets have no names. [remark]"]]


@pytest.fixture
def browser(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What a browser would have opened."""
    opened: list[str] = []
    monkeypatch.setattr(click, "launch", opened.append)
    monkeypatch.setattr("millprep.cli.watch.has_display", lambda: True)
    return opened


def coming_to(monkeypatch: pytest.MonkeyPatch, *states: WatchState) -> list[bool]:
    """A job that comes to these states before Ctrl-C; whether each watch was to begin afresh."""
    fresh: list[bool] = []

    def pressed(watch: Watch) -> None:
        fresh.append(watch.fresh)
        for state in states:
            watch.show(state)
        raise KeyboardInterrupt

    monkeypatch.setattr(Watch, "run", pressed)
    return fresh


def test_the_command_says_what_each_preparation_came_to(
    browser: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    made = WatchState(run=1, made=True, findings=(SLOW,), seconds=1.25)
    refused = WatchState(run=2, findings=(SLOW, NARROW), seconds=0.5)
    fresh = coming_to(
        monkeypatch,
        WatchState(run=1, step="reading the job"),
        made,
        refused,
        WatchState(run=3, findings=(NARROW,), explained=True, seconds=0.5),
        WatchState(run=4, made=True, changes=(FASTER,)),
    )
    done = run("watch", "boards/lamp.toml", "--fresh")
    assert done.exit_code == 0
    first, *lines = done.stdout.splitlines()
    (address,) = browser
    folder, sheet = Path("boards/lamp"), Path("boards/lamp/sheet.html")
    assert first == f"{address} shows {folder}; Ctrl-C ends it"
    assert lines == [
        f"prepared in 1.2 s: {sheet}",
        f"refused after 0.5 s, nothing was written to {folder}",
        f"refused after 0.5 s, nothing was written to {folder}; see {folder}-refused",
        "changed: lamp copy 1: isolation with vee: 4 moves (20.0 mm) at 111 mm/min instead of 200",
    ]
    stop = "stop: The groove does not fit. [gap-too-narrow] (lamp, at 12.400, 30.100 mm, drawing"
    # the worst first; steps are for a terminal alone
    assert done.stderr.splitlines() == [
        "warning: This takes long. [slow]",
        f"{stop} frame)",
        "warning: This takes long. [slow]",
        f"{stop} frame)",
        "ended",
    ]
    assert fresh == [True]
    # the page went with the command
    with pytest.raises(urllib.error.URLError):
        urllib.request.urlopen(address, timeout=5)


def test_steps_of_a_watched_job_are_said_on_a_terminal(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    monkeypatch.setattr("millprep.cli.watch.has_display", lambda: False)
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    coming_to(monkeypatch, WatchState(run=1, step="reading the job"))
    from millprep.cli.watch import watch

    watch.main([str(tmp_path / "lamp.toml"), "--out", "set"], standalone_mode=False)
    out, err = capsys.readouterr()
    assert out.endswith(" shows set; Ctrl-C ends it\n")
    assert err == "reading the job …\nended\n"


def test_a_job_without_an_ending_needs_a_folder(browser: list[str]) -> None:
    done = run("watch", "lamp")
    assert done.exit_code == 2
    assert "lamp has no ending such as .toml; name a folder with --out" in done.stderr
    assert browser == []
