"""A folder and a file are replaced in one step, whatever breaks and whenever it breaks."""

from __future__ import annotations

import ctypes
import errno
import fcntl
import os
import resource
import shutil
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import pytest

from millprep.files import writing
from millprep.model.finding import Refusal

OLD = {"a.txt": "old", "deep/b.txt": "old", "gone.txt": "old"}
NEW = {"a.txt": "new", "deep/b.txt": "new", "deep/er/c.txt": "new"}


def written(folder: Path, files: dict[str, str]) -> None:
    """The files in a folder."""
    for name, text in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, "utf-8")


def content(folder: Path) -> dict[str, str]:
    """All files of a folder with their texts."""
    files = (path for path in folder.rglob("*") if path.is_file())
    return {path.relative_to(folder).as_posix(): path.read_text("utf-8") for path in files}


def replaced(out: Path) -> None:
    """What a command does with a set."""
    with writing.staged(out) as folder:
        written(folder, NEW)
        writing.put_in_place(folder, out)


def broken(out: Path, fault: Exception) -> None:
    """What a command does that meets a fault on the way."""
    with writing.staged(out) as folder:
        written(folder, NEW)
        raise fault


def raising(fault: Exception) -> Callable[..., None]:
    """A call that fails."""

    def fails(*_: object, **__: object) -> None:
        raise fault

    return fails


def killed_at(event: int, work: Callable[[], None]) -> bool:
    """Do the work in a process that is killed before its n-th call of the system; whether it was.

    Audit events are the calls that Python makes: open, mkdir, rename, remove and others. The
    exchange itself is a call of the C library, before which and after which there are others.
    """
    child = os.fork()
    if child == 0:
        left = [event]

        def hook(name: str, _: tuple[object, ...]) -> None:
            if name.startswith(("os.", "open", "shutil.", "fcntl.", "ctypes.")):
                left[0] -= 1
                if left[0] == 0:
                    os._exit(9)

        sys.addaudithook(hook)
        try:
            work()
        finally:
            os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 9


needs_fork = pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork")


@needs_fork
@pytest.mark.parametrize("exchange", [True, False], ids=["exchange", "put aside"])
@pytest.mark.parametrize("old", [OLD, {}], ids=["old set", "no old set"])
def test_a_run_killed_between_any_two_calls_leaves_the_old_or_the_new_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, old: dict[str, str], exchange: bool
) -> None:
    if not exchange:
        monkeypatch.setattr(writing, "_exchanged", lambda *_: False)
    seen = set()
    for event in range(1, 1000):
        place = tmp_path / str(event)
        out = place / "set"
        if old:
            written(out, old)
        if not killed_at(event, lambda out=out: replaced(out)):  # type: ignore[misc]
            break
        if exchange or not old:
            assert content(out) in (old, NEW), "a moment without a whole folder"
        # the next command puts back what was put aside
        back = writing.restored(out)
        assert content(out) in (old, NEW)
        assert not back or content(out) == old
        seen.add((content(out) == NEW, back))
        # and the next run leaves nothing behind
        replaced(out)
        assert content(out) == NEW
        assert [path.name for path in place.iterdir()] == ["set"]
    assert event > 20
    assert {new for new, _ in seen} == {False, True}
    assert any(back for _, back in seen) is (not exchange and bool(old))


def test_the_folders_are_exchanged_in_one_step_where_the_system_can(tmp_path: Path) -> None:
    if sys.platform != "linux":
        pytest.skip("other systems may lack the call")
    written(tmp_path / "one", OLD)
    written(tmp_path / "two", NEW)
    if not writing._exchanged(tmp_path / "one", tmp_path / "two"):
        pytest.skip("this disk cannot exchange folders")
    assert content(tmp_path / "one") == NEW
    assert content(tmp_path / "two") == OLD


def test_a_disk_or_a_system_that_cannot_exchange_folders_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Simulated: the call is missing, the disk cannot, the disk is full, and Windows."""
    written(tmp_path / "one", OLD)
    written(tmp_path / "two", NEW)

    def exchanged(system: object, platform: str = "linux") -> bool:
        with monkeypatch.context() as simulated:
            simulated.setattr(ctypes, "CDLL", lambda *_, **__: system)
            simulated.setattr(sys, "platform", platform)
            return writing._exchanged(tmp_path / "one", tmp_path / "two")

    def failing(number: int) -> SimpleNamespace:
        return SimpleNamespace(renameat2=lambda *_: ctypes.set_errno(number) or -1)

    assert not exchanged(SimpleNamespace())
    assert not exchanged(failing(0), "win32")
    for number in writing.NO_EXCHANGE:
        assert not exchanged(failing(number))
    with pytest.raises(OSError, match="No space left on device"):
        exchanged(failing(errno.ENOSPC))
    assert content(tmp_path / "one") == OLD
    assert content(tmp_path / "two") == NEW


def test_on_macos_the_folders_are_exchanged_in_one_step(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Simulated: its call takes two names and a flag, renamex_np(2)."""
    written(tmp_path / "set", OLD)

    def swapped(one: bytes, two: bytes, flags: int) -> int:
        assert flags == 2
        Path(os.fsdecode(one)).rename(tmp_path / "third")
        Path(os.fsdecode(two)).rename(os.fsdecode(one))
        (tmp_path / "third").rename(os.fsdecode(two))
        return 0

    monkeypatch.setattr(sys, "platform", "darwin")
    system = SimpleNamespace(renamex_np=swapped)
    monkeypatch.setattr(ctypes, "CDLL", lambda *_, **__: system)
    replaced(tmp_path / "set")
    assert content(tmp_path / "set") == NEW
    assert [path.name for path in tmp_path.iterdir()] == ["set"]


def test_on_windows_a_folder_is_replaced_and_locked_as_well(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Simulated: Windows locks a byte of a file, and removes no file that is open."""
    taken: set[int] = set()
    unlink, close = Path.unlink, os.close

    def locking(file: int, mode: int, count: int) -> None:
        assert (mode, count) == (2, 1)
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise PermissionError(errno.EDEADLK, "resource deadlock avoided") from None
        taken.add(file)

    def closed(file: int) -> None:
        taken.discard(file)
        close(file)

    def removed(file: Path, missing_ok: bool = False) -> None:
        if taken:
            raise PermissionError(errno.EACCES, "held open")
        unlink(file, missing_ok)

    out = tmp_path / "set"
    written(out, OLD)
    monkeypatch.setattr(sys, "platform", "win32")
    monkeypatch.setitem(sys.modules, "msvcrt", SimpleNamespace(LK_NBLCK=2, locking=locking))
    monkeypatch.setattr(os, "close", closed)
    monkeypatch.setattr(Path, "unlink", removed)
    with (
        writing.staged(out),
        pytest.raises(Refusal, match="Another run of millprep writes"),
        writing.staged(out),
    ):
        raise AssertionError("two runs write one folder")
    assert content(out) == OLD
    replaced(out)
    assert content(out) == NEW
    assert list(tmp_path.iterdir()) == [out]


def test_a_disk_that_locks_no_files_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(fcntl, "flock", raising(OSError(errno.ENOLCK, "No locks available")))
    with pytest.raises(Refusal, match="No locks available"), writing.staged(tmp_path / "set"):
        raise AssertionError("written without a lock")


@pytest.mark.parametrize(("number", "fits"), [(errno.EINVAL, True), (errno.EIO, False)])
def test_a_disk_that_cannot_flush_folders_will_do_but_a_broken_one_will_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, fits: bool
) -> None:
    fsync = os.fsync

    def flushed(file: int) -> None:
        if Path(f"/proc/self/fd/{file}").is_dir():
            raise OSError(number, os.strerror(number))
        fsync(file)

    if not Path("/proc/self/fd").is_dir():
        pytest.skip("needs a system that names its open files")
    out = tmp_path / "set"
    written(out, OLD)
    monkeypatch.setattr(os, "fsync", flushed)
    if fits:
        replaced(out)
        assert content(out) == NEW
    else:
        with pytest.raises(Refusal, match="Input/output error"):
            replaced(out)
        assert content(out) == OLD


def test_what_a_dead_run_left_stays_while_another_run_writes(tmp_path: Path) -> None:
    out = tmp_path / "set"
    left = tmp_path / ".set-0123456789ab"
    with writing.staged(out) as folder:
        written(folder, NEW)
        left.mkdir()
        writing.tidy(out)
        assert left.is_dir()
        writing.put_in_place(folder, out)
    writing.tidy(out)
    assert not left.exists()
    assert content(out) == NEW


def test_an_old_set_that_was_put_aside_is_kept_while_there_is_no_other(tmp_path: Path) -> None:
    out = tmp_path / "set"
    aside = tmp_path / ".set-old-0123456789ab"
    with writing.staged(out):
        written(aside, OLD)
    assert content(aside) == OLD
    assert writing.restored(out)
    assert content(out) == OLD


def test_a_refusal_within_leaves_the_old_folder_and_nothing_else(tmp_path: Path) -> None:
    out = tmp_path / "set"
    written(out, OLD)
    with pytest.raises(ZeroDivisionError):
        broken(out, ZeroDivisionError())
    assert content(out) == OLD
    assert [path.name for path in tmp_path.iterdir()] == ["set"]


def test_of_two_runs_at_once_one_is_refused(tmp_path: Path) -> None:
    out = tmp_path / "set"
    with writing.staged(out) as folder:
        written(folder, NEW)
        with pytest.raises(Refusal) as refused, writing.staged(out):
            raise AssertionError("two runs write one folder")
        writing.put_in_place(folder, out)
    assert refused.value.exit_code == 1
    assert [f.code for f in refused.value.findings] == ["output-in-use"]
    assert content(out) == NEW
    assert [path.name for path in tmp_path.iterdir()] == ["set"]


def test_runs_that_wait_for_each_other_never_share_a_lock(tmp_path: Path) -> None:
    out, inside, most, done = tmp_path / "set", [0], [0], [0]

    def run() -> None:
        while done[0] < 60:
            try:
                with writing.staged(out) as folder:
                    inside[0] += 1
                    most[0] = max(most[0], inside[0])
                    written(folder, NEW)
                    writing.put_in_place(folder, out)
                    inside[0] -= 1
                    done[0] += 1
            except Refusal:
                continue

    threads = [threading.Thread(target=run) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert most[0] == 1
    assert [path.name for path in tmp_path.iterdir()] == ["set"]


def test_folders_of_a_similar_name_are_left_alone(tmp_path: Path) -> None:
    names = [".set-2-0123456789ab", ".set-old-x", ".set-0123456789", ".settings"]
    for name in names:
        (tmp_path / name).mkdir()
    replaced(tmp_path / "set")
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted([*names, "set"])


def test_a_link_to_a_folder_stays_a_link(tmp_path: Path) -> None:
    written(tmp_path / "far" / "set", OLD)
    (tmp_path / "near").symlink_to(tmp_path / "far" / "set", target_is_directory=True)
    replaced(tmp_path / "near")
    assert (tmp_path / "near").is_symlink()
    assert content(tmp_path / "near") == NEW
    assert [path.name for path in (tmp_path / "far").iterdir()] == ["set"]


@pytest.mark.parametrize("length", [201, 240, 255])
def test_a_name_may_be_as_long_as_the_disk_takes(tmp_path: Path, length: int) -> None:
    out = tmp_path / ("x" * length)
    replaced(out)
    replaced(out)
    assert content(out) == NEW
    assert list(tmp_path.iterdir()) == [out]


def test_a_name_that_is_too_long_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Refusal) as refused:
        replaced(tmp_path / ("x" * 256))
    assert [f.code for f in refused.value.findings] == ["output-not-writable"]
    assert refused.value.exit_code == 1
    assert list(tmp_path.iterdir()) == []


def test_a_file_in_the_way_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("kept", "utf-8")
    with pytest.raises(Refusal, match="cannot be written"):
        replaced(tmp_path / "file" / "set")
    for place in (tmp_path / "file" / "x", tmp_path / "none" / "x", tmp_path):
        with pytest.raises(Refusal, match="cannot be written") as refused:
            writing.replace_file(place, b"")
        assert [f.code for f in refused.value.findings] == ["output-not-writable"]
    assert content(tmp_path) == {"file": "kept"}


FULL = [errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EIO, errno.EACCES]


@pytest.mark.parametrize("number", FULL, ids=[errno.errorcode[n] for n in FULL])
def test_a_disk_that_takes_no_more_leaves_the_old_folder(tmp_path: Path, number: int) -> None:
    out = tmp_path / "set"
    written(out, OLD)
    with pytest.raises(Refusal) as refused:
        broken(out, OSError(number, os.strerror(number)))
    assert refused.value.exit_code == 1
    assert os.strerror(number) in refused.value.findings[0].message
    assert content(out) == OLD
    assert [path.name for path in tmp_path.iterdir()] == ["set"]


@pytest.mark.parametrize("exchange", [True, False], ids=["in one step", "in two"])
def test_an_old_file_held_open_leaves_the_new_folder_and_goes_with_the_next_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, exchange: bool
) -> None:
    """Simulated: Windows removes no file that another program holds open."""
    out = tmp_path / "set"
    written(out, OLD)
    if not exchange:
        monkeypatch.setattr(writing, "_exchanged", lambda *_: False)
    with monkeypatch.context() as held:
        held.setattr(shutil, "rmtree", raising(PermissionError(errno.EACCES, "held open")))
        replaced(out)
    assert content(out) == NEW
    (left,) = (path for path in tmp_path.iterdir() if path != out)
    assert content(left) == OLD
    replaced(out)
    assert content(out) == NEW
    assert list(tmp_path.iterdir()) == [out]


def test_a_folder_held_open_is_not_replaced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Simulated: Windows renames no folder in which a program holds a file open."""
    out = tmp_path / "set"
    written(out, OLD)
    monkeypatch.setattr(writing, "_exchanged", lambda *_: False)
    rename = Path.rename

    def held(path: Path, target: Path) -> Path:
        if path == out:
            raise PermissionError(errno.EACCES, "held open", str(path))
        return rename(path, target)

    monkeypatch.setattr(Path, "rename", held)
    with pytest.raises(Refusal, match=r"held open.*close programs that have it open") as refused:
        replaced(out)
    assert refused.value.exit_code == 1
    assert content(out) == OLD
    assert list(tmp_path.iterdir()) == [out]


def test_a_file_held_open_is_not_replaced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Simulated: Windows replaces no file that another program holds open."""
    file = tmp_path / "log.toml"
    writing.replace_file(file, b"old")
    monkeypatch.setattr(Path, "replace", raising(PermissionError(errno.EACCES, "held open")))
    with pytest.raises(Refusal, match="close programs that have it open"):
        writing.replace_file(file, b"new")
    assert file.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [file]


def test_a_fault_of_ours_is_not_blamed_on_the_disk(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError), writing.staged(tmp_path / "set"):
        (tmp_path / "missing").read_text("utf-8")


def test_a_file_is_replaced_whole_or_not_at_all(tmp_path: Path) -> None:
    file = tmp_path / "log.toml"
    writing.replace_file(file, b"old")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (100, hard))
    try:
        with pytest.raises(Refusal):
            writing.replace_file(file, b"new" * 1000)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert file.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [file]
    writing.replace_file(file, b"new")
    assert file.read_bytes() == b"new"


def test_a_set_that_was_put_aside_comes_back_with_the_next_command(tmp_path: Path) -> None:
    out = tmp_path / "set"
    written(out, OLD)
    shutil.move(out, tmp_path / ".set-old-0123456789ab")
    done = subprocess.run(
        [sys.executable, "-c", "from millprep.cli import main; main()", "verify", str(out)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert f"{out} was put back. A run that broke off had put it aside." in done.stderr
    assert content(out) == OLD
    assert [path.name for path in tmp_path.iterdir()] == ["set"]
