"""Results: a file or a folder is replaced in one step, so a run that breaks leaves the old one.

A folder is made under a hidden name next to its place, flushed to the disk, and exchanged with what
lies there. Where the system cannot exchange two folders in one step, the old one is put aside for a
moment; a run that is killed just then leaves it there, and `restored` puts it back. One run at a
time writes a folder: it holds a lock, and whatever hidden folder it finds is of a run that is dead.
"""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Iterator, Set
from contextlib import contextmanager, suppress
from pathlib import Path

from millprep.model.finding import Refusal, stop

DISK = {
    errno.ENOSPC,
    errno.EDQUOT,
    errno.EFBIG,
    errno.EROFS,
    errno.EACCES,
    errno.EPERM,
    errno.EIO,
    errno.ENAMETOOLONG,
    # a disk that locks no files, a folder that is a disk of its own, a network that lost its disk
    errno.ENOLCK,
    errno.EOPNOTSUPP,
    errno.EBUSY,
    errno.EXDEV,
    errno.ESTALE,
}
"""What a disk may refuse. Anything else is a fault of ours."""

NAMES = {errno.ENOENT, errno.ENOTDIR, errno.EISDIR, errno.EEXIST}
"""What a name may be refused for, where a person gave it."""

FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
HELD = {errno.EACCES, errno.EPERM}


def refused(place: Path, fault: OSError) -> Refusal:
    """The refusal when `place` cannot be written: exit code 1."""
    remedy = "Name another place"
    if fault.errno in FULL:
        remedy = "Make room, or name another place"
    elif fault.errno in HELD:
        # Windows gives the same number for a file that another program has open
        remedy = "Give write permission, close programs that have it open, or name another place"
    message = (
        f"{place} cannot be written ({fault.strerror}). What was there is as it was. {remedy}."
    )
    return Refusal([stop("output-not-writable", message, place)])


@contextmanager
def writing_to(place: Path, reasons: Set[int] = frozenset(DISK | NAMES)) -> Iterator[None]:
    """Turn what the disk refuses for one of the reasons into a refusal that names the place.

    Raises:
        Refusal: exit code 1.
    """
    try:
        yield
    except OSError as fault:
        if fault.errno not in reasons:
            raise
        raise refused(place, fault) from None


def replace_file(file: Path, data: bytes) -> None:
    """Write a file wholly or not at all.

    Raises:
        Refusal: exit code 1, when it cannot be written.
    """
    with writing_to(file):
        file = file.resolve()
        new = _hidden(file, "")
        try:
            with new.open("xb") as stream:
                stream.write(data)
                stream.flush()
                os.fsync(stream.fileno())
            new.replace(file)
        finally:
            new.unlink(missing_ok=True)


@contextmanager
def staged(out: Path) -> Iterator[Path]:
    """A new empty folder next to `out`, which no other run writes meanwhile.

    It is removed at the end unless it was put in place; then what it replaced is. What the system
    will not let go of stays under a hidden name, and the next run tries again.

    Raises:
        Refusal: exit code 1, when nothing can be written there or another run writes there.
    """
    with writing_to(out):
        out = out.resolve()
        if out.parent.exists() and not out.parent.is_dir():
            raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR))
        out.parent.mkdir(parents=True, exist_ok=True)
    with writing_to(out, DISK), _locked(out) as free:
        if not free:
            message = (
                f"Another run of millprep writes {out} at this moment. Wait for its end, or "
                "name another folder with --out."
            )
            raise Refusal([stop("output-in-use", message, out)])
        _tidied(out)
        # the name is known before the folder is: a signal in between leaves nothing behind
        folder = _hidden(out, "")
        try:
            folder.mkdir()
            yield folder
        finally:
            for left in (folder, *_left_by_dead_runs(out, "old-")):
                if left == folder or out.exists():
                    discard(left)


def put_in_place(folder: Path, out: Path) -> None:
    """Make a staged folder `out`; what lay there goes at the end of `staged`.

    Raises:
        OSError: when the disk refuses; then `out` is as it was.
    """
    out = out.resolve()
    _flush(folder)
    if not out.exists():
        folder.rename(out)
    elif not _exchanged(folder, out):
        aside = _hidden(out, "old-")
        try:
            out.rename(aside)
            folder.rename(out)
        except BaseException:  # a signal as well: whatever it is, the old folder comes back
            if aside.exists() and not out.exists():
                aside.rename(out)
            raise
    _flush_folder(out.parent)


def restored(out: Path) -> bool:
    """Put back a folder that a killed run had just put aside; whether there was one."""
    out = out.resolve()
    if out.exists() or not any(_left_by_dead_runs(out, "old-")):
        return False
    with writing_to(out), _locked(out) as free:
        return free and _tidied(out)


def tidy(out: Path) -> None:
    """Remove what dead runs left next to a folder that needs no writing.

    Raises:
        OSError: when the disk refuses.
    """
    out = out.resolve()
    if _lock_of(out).exists() or any(_left_by_dead_runs(out, "")):
        with _locked(out) as free:
            if free:
                _tidied(out)


def _tidied(out: Path) -> bool:
    """Put back what a dead run put aside, and remove the rest of what dead runs left."""
    back = False
    for aside in _left_by_dead_runs(out, "old-"):
        if not out.exists():
            aside.rename(out)
            back = True
    for left in (*_left_by_dead_runs(out, "old-"), *_left_by_dead_runs(out, "")):
        discard(left)
    return back


def _left_by_dead_runs(out: Path, purpose: str) -> Iterator[Path]:
    """Hidden folders of `out`, for the one that holds its lock."""
    head = f".{_short(out.name)}-{purpose}"
    for path in sorted(out.parent.glob(".*")):
        tail = path.name.removeprefix(head)
        if path.name.startswith(head) and len(tail) == 12 and set(tail) <= set("0123456789abcdef"):
            yield path


def _hidden(out: Path, purpose: str) -> Path:
    """A name next to `out` that nothing has yet; it never shows in what is written."""
    return out.with_name(f".{_short(out.name)}-{purpose}{os.urandom(6).hex()}")


def discard(folder: Path) -> None:
    """Remove what is no longer needed; a file in it that a program holds open stays.

    By then the new folder is in place, or the old one again: there is nothing to refuse.
    """
    import shutil  # loads slowly

    with suppress(OSError):
        shutil.rmtree(folder)


def _short(name: str) -> str:
    """A name, cut to what leaves room for more where it is nearly as long as names may be."""
    raw = os.fsencode(name)
    if len(raw) <= 200:
        return name
    import hashlib  # loads slowly

    return f"{os.fsdecode(raw[:60])}-{hashlib.sha256(raw).hexdigest()[:12]}"


def _lock_of(out: Path) -> Path:
    """The file that a run locks while it writes `out`."""
    return out.with_name(f".{_short(out.name)}.lock")


@contextmanager
def _locked(out: Path) -> Iterator[bool]:
    """Hold the lock of `out`; False when another run holds it.

    The system lets go of it when its holder dies, however it dies.
    """
    file = _lock_of(out)
    while True:
        lock = os.open(file, os.O_RDWR | os.O_CREAT, 0o666)
        if not _taken(lock):
            os.close(lock)
            yield False
            return
        # the run that held it before may have removed the file after it was opened here
        with suppress(FileNotFoundError):
            if os.path.samestat(os.fstat(lock), file.stat()):
                break
        os.close(lock)
    try:
        yield True
    finally:
        if sys.platform == "win32":  # an open file cannot be removed there
            os.close(lock)
            with suppress(OSError):
                file.unlink()
        else:
            file.unlink(missing_ok=True)
            os.close(lock)


def _taken(lock: int) -> bool:
    """Whether an open file is now locked by this run."""
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(lock, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as fault:
        if fault.errno in (errno.EWOULDBLOCK, errno.EAGAIN, errno.EACCES, errno.EDEADLK):
            return False
        raise
    return True


def _flush(folder: Path) -> None:
    """Bring all files and folders below a folder to the disk."""
    for path, _, names in os.walk(folder):
        for name in names:
            with Path(path, name).open("rb+") as file:
                os.fsync(file.fileno())
        _flush_folder(Path(path))


def _flush_folder(folder: Path) -> None:
    """Bring the names in a folder to the disk, where the system can."""
    if sys.platform == "win32":
        return
    opened = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(opened)
    except OSError as fault:
        if fault.errno not in (errno.EINVAL, errno.EBADF):
            raise
    finally:
        os.close(opened)


NO_EXCHANGE = {errno.ENOSYS, errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP}


def _exchanged(folder: Path, out: Path) -> bool:
    """Swap two folders in one step; False where system or disk cannot.

    Linux: renameat2(2) with RENAME_EXCHANGE. macOS: renamex_np(2) with RENAME_SWAP.
    """
    import ctypes  # loads slowly

    system = None if sys.platform == "win32" else ctypes.CDLL(None, use_errno=True)
    names = os.fsencode(folder), os.fsencode(out)
    if system is None:
        return False
    if sys.platform == "linux" and hasattr(system, "renameat2"):
        here = -100
        failed = system.renameat2(here, names[0], here, names[1], 2)
    elif sys.platform == "darwin" and hasattr(system, "renamex_np"):
        failed = system.renamex_np(*names, 2)
    else:
        return False
    if not failed:
        return True
    number = ctypes.get_errno()
    if number in NO_EXCHANGE:
        return False
    raise OSError(number, os.strerror(number), str(out))
