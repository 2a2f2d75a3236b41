"""Work on a second core gives the result that it gives here."""

from __future__ import annotations

import gc
import multiprocessing
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from millprep.cache import Cache, cached, using
from millprep.model.finding import Finding, Refusal
from millprep.workflow.second_core import kept_or_started, start


def test_the_result_comes_back_and_the_work_ran_elsewhere() -> None:
    first, second = start(lambda: (os.getpid(), 6 * 7)), start(str.upper, "other")
    pid, answer = first.result()
    assert answer == 42
    assert second.result() == "OTHER"
    if os.name == "posix" and len(os.sched_getaffinity(0)) > 1:
        assert pid != os.getpid()


@cached
def process() -> int:
    return os.getpid()


def test_what_is_kept_needs_no_child(tmp_path: Path) -> None:
    with using(Cache(tmp_path / "cache")):
        first = kept_or_started(process).result()
        kept = kept_or_started(lambda: (os.getpid(), process())).result()
    # the child kept it
    assert kept == (os.getpid(), first)


def test_a_refusal_comes_back_whole() -> None:
    def refuse() -> None:
        raise Refusal([Finding(code="c", severity="stop", message="m")], exit_code=3)

    with pytest.raises(Refusal) as caught:
        start(refuse).result()
    assert caught.value.exit_code == 3
    assert [f.message for f in caught.value.findings] == ["m"]


def test_a_child_that_dies_is_no_loss() -> None:
    here = os.getpid()

    def work() -> int:
        if os.getpid() != here:
            os._exit(9)
        return 7

    assert start(work).result() == 7


def test_one_core_does_it_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: {0}, raising=False)
    assert start(os.getpid).result() == os.getpid()


def test_a_result_that_nobody_waits_for_makes_no_noise(capfd: pytest.CaptureFixture[str]) -> None:
    waiting = start(lambda: b"x" * 2_000_000)
    del waiting
    gc.collect()
    for child in multiprocessing.active_children():
        child.join(10)
    assert multiprocessing.active_children() == []
    assert capfd.readouterr().err == ""


def test_a_child_ends_with_its_parent() -> None:
    """The parent is killed while its child is at work: their common output ends at once."""
    code = (
        "import time\n"
        "from millprep.workflow.second_core import start\n"
        "waiting = start(lambda: [print('working', flush=True), time.sleep(60)])\n"
        "time.sleep(60)\n"
    )
    parent = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE)
    assert parent.stdout is not None
    if sys.platform == "linux" and len(os.sched_getaffinity(0)) > 1:
        assert parent.stdout.readline() == b"working\n"
    parent.kill()
    parent.wait()
    began = time.monotonic()
    # the pipe closes when the last process that may write into it is gone
    assert parent.stdout.read() == b""
    parent.stdout.close()
    assert time.monotonic() - began < 30
