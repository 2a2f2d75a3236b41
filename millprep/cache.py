"""Results of earlier runs, kept in the user's cache folder: only what changed is done again.

A cached function is pure: what it returns follows from its arguments. Its result is kept under a
hash of the function's name, of all arguments by value, of every file of this package, and of the
versions of Python and of the libraries. So nothing kept can be out of date. What is damaged, or was
not written whole, is computed anew.

The folder must belong to the user and be closed to all others: results are pickles.
"""

from __future__ import annotations

import hashlib
import os
import pickle
import platform
import re
import sys
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import fields, is_dataclass
from functools import cache as cache_in_memory
from functools import cached_property, partial, wraps
from importlib import metadata
from io import BytesIO
from pathlib import Path
from types import MappingProxyType
from typing import Any, ParamSpec, TypeVar, cast

P = ParamSpec("P")
T = TypeVar("T")

VARIABLE = "MILLPREP_CACHE"
"""Environment variable: another folder than the user's, or "off"."""
MOST = 512 * 1024 * 1024
"""Bytes that are kept; what was used longest ago goes first."""
LEAST_KNOWN = 1000
"""Results of fewer bytes are hashed anew wherever they are arguments."""
FOLLOWS = {"follows": True}
"""Metadata of a dataclass's field that follows from its other fields: no key holds it."""
LEAST_ROWS = 20
"""Rows of fewer are hashed anew as well, where they are a part of a result's part."""

UNHASHED = (pickle.PicklingError, TypeError, AttributeError)
"""What is raised for values that hold functions: they are not kept."""


class Cache:
    """Kept results in a folder.

    Args:
        folder: made when something is kept, closed to others.
        most: bytes that are kept.
    """

    def __init__(self, folder: Path, most: int = MOST) -> None:
        self.folder, self.most = folder, most
        self._known: dict[int, tuple[object, bytes]] = {}

    @cached_property
    def program(self) -> bytes:
        """Hash of what computes: this package, Python and the libraries."""
        known = hashlib.sha256(f"{sys.version} {platform.platform()}".encode())
        for name in _libraries():
            version = "".join(_said(name, "Version")) or metadata.version(name)
            known.update(f"{name} {version}\n".encode())
        package = os.path.dirname(__file__)  # noqa: PTH120 - a path object for each file takes longer than to read it
        for folder, folders, files in os.walk(package):
            folders.sort()
            for file in sorted(files):
                if not file.endswith(".pyc"):
                    path = os.path.join(folder, file)  # noqa: PTH118
                    with open(path, "rb") as stream:  # noqa: PTH123
                        data = stream.read()
                    known.update(f"{path[len(package) :]} {len(data)}\n".encode())
                    known.update(data)
        return known.digest()

    def value(
        self,
        name: str,
        reads: object,
        work: Callable[[], T],
        sure: Callable[[], bool] | None = None,
    ) -> T:
        """What the work returns, from an earlier run where there was one.

        Args:
            name: of the work.
            reads: all that the result follows from.
            work: makes the result; what it raises is not kept.
            sure: whether the result may be kept, called when it is made.
        """
        try:
            key = self.key(name, reads)
        except UNHASHED:
            _computed()
            return work()
        payload = self.read(key)
        if payload is not None:
            with suppress(Exception):
                # written by the same program; if it cannot be read all the same, it is made anew
                result: T = pickle.loads(payload)
                self._know(result, payload)
                return result
        _computed()
        result = work()
        if sure is None or sure():
            with suppress(*UNHASHED):
                payload = pickle.dumps(result, protocol=5)
                self.write(key, payload)
                self._know(result, payload)
        return result

    def key(self, name: str, reads: object) -> str:
        """The name under which a result is kept."""
        written = BytesIO()
        _ByValue(written, self._known).dump(reads)
        known = hashlib.sha256(self.program + name.encode() + b"\0")
        known.update(written.getbuffer())
        return known.hexdigest()

    def learn(self, value: object) -> None:
        """Remember the hash of a value."""
        if id(value) in self._known:
            return
        with suppress(*UNHASHED):
            self._known[id(value)] = (value, bytes.fromhex(self.key("value", value)))

    def _know(self, result: object, payload: bytes) -> None:
        """Remember the hash of a large result and of its parts: arguments of what comes after."""
        if len(payload) < LEAST_KNOWN:
            return
        digest = hashlib.sha256(payload).digest()
        self._known[id(result)] = (result, digest)
        for n, part in enumerate(result if isinstance(result, tuple) else ()):
            if not is_dataclass(part):
                continue
            self._known[id(part)] = (part, digest + n.to_bytes(4))
            for m, name in enumerate(_fields_of(cast("Hashable", type(part)))):
                rows = getattr(part, name)
                if isinstance(rows, tuple) and len(rows) >= LEAST_ROWS:
                    self._known[id(rows)] = (rows, digest + n.to_bytes(4) + m.to_bytes(4))

    def read(self, key: str) -> bytes | None:
        """What is kept under a key; None when there is nothing, or not what was written."""
        file = self.folder / key
        try:
            data = file.read_bytes()
        except OSError:
            return None
        payload = data[32:]
        if hashlib.sha256(payload).digest() != data[:32]:
            return None
        with suppress(OSError):
            os.utime(file)
        return payload

    def write(self, key: str, payload: bytes) -> None:
        """Keep bytes under a key, wholly or not at all; a disk that refuses is no fault."""
        new = self.folder / f".{os.urandom(8).hex()}"
        try:
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            new.write_bytes(hashlib.sha256(payload).digest() + payload)
            new.replace(self.folder / key)
        except OSError:
            with suppress(OSError):
                new.unlink(missing_ok=True)

    def trim(self) -> None:
        """Remove what was used longest ago until a quarter of the room is free, if it is full."""
        kept: list[tuple[float, int, str]] = []
        with suppress(OSError), os.scandir(self.folder) as entries:
            for entry in entries:
                with suppress(OSError):
                    if entry.is_file(follow_symlinks=False):
                        state = entry.stat(follow_symlinks=False)
                        kept.append((state.st_mtime, state.st_size, entry.path))
        size = sum(row[1] for row in kept)
        if size <= self.most:
            return
        for _, of_file, path in sorted(kept):
            if size <= self.most * 3 / 4:
                return
            with suppress(OSError):
                Path(path).unlink()
                size -= of_file


def _libraries() -> Iterator[str]:
    """Names of the libraries that this package requires, as its installed record lists them."""
    for line in _said("millprep", "Requires-Dist"):
        if "extra ==" not in line:
            yield re.split(r"[^A-Za-z0-9._-]", line, maxsplit=1)[0]


def _said(library: str, key: str) -> list[str]:
    """What the head of a library's installed record says under a key.

    The standard library reads the whole record as a mail, which takes longer than all else here.
    """
    installed = metadata.distribution(library)
    record = installed.read_text("METADATA") or installed.read_text("PKG-INFO") or ""
    head = record.partition("\n\n")[0]
    return re.findall(rf"^{key}: *(.*)$", head, re.MULTILINE)


class _ByValue(pickle.Pickler):
    """Writes values so that equal ones become equal bytes, whatever objects they share."""

    def __init__(self, file: BytesIO, known: dict[int, tuple[object, bytes]]) -> None:
        super().__init__(file, protocol=5)
        self.fast = True  # no references to what was written before
        self._known = known

    def persistent_id(self, obj: Any) -> Any:
        """The hash of a result that is known; the members of a set in order."""
        known = self._known.get(id(obj))
        if known is not None:
            return known[1]
        if type(obj) in (set, frozenset):
            return ("set", sorted(map(self._alone, obj)))
        return None

    def _alone(self, member: object) -> bytes:
        written = BytesIO()
        _ByValue(written, self._known).dump(member)
        return written.getvalue()

    def reducer_override(self, obj: Any) -> Any:
        """The fields of a dataclass, without what it remembers; an array as it is read."""
        names = _fields_of(cast("Hashable", type(obj)))
        if names:
            return tuple, (type(obj), *(getattr(obj, name) for name in names))
        if isinstance(obj, MappingProxyType):
            return dict, (dict(obj),)
        # not loaded here: it takes longer than to find that nothing has changed
        np = sys.modules.get("numpy")
        if np is not None and isinstance(obj, np.ndarray):
            values = obj.tolist() if obj.dtype.hasobject else obj.tobytes()
            return np.ndarray, (obj.dtype.str, obj.shape, values)
        return NotImplemented


@cache_in_memory
def _fields_of(kind: Hashable) -> tuple[str, ...]:
    """The names of a dataclass's fields, without those that follow from others."""
    if not is_dataclass(kind):
        return ()
    every = fields(cast("Any", kind))
    return tuple(field.name for field in every if field.metadata != FOLLOWS)


_current: Cache | None = None


@contextmanager
def using(cache: Cache | None) -> Iterator[None]:
    """Keep and take the results of cached functions meanwhile; with None all is computed."""
    global _current
    before, _current = _current, cache
    try:
        yield
    finally:
        _current = before
        if cache is not None:
            cache.trim()


class _NotKept(BaseException):
    """A result is not kept; no fault, so nothing in between may handle it as one."""


_only_kept = False


def _computed() -> None:
    """A result is about to be computed."""
    if _only_kept:
        raise _NotKept


def if_kept(work: Callable[[], T]) -> tuple[T] | None:
    """What work returns, if all results of cached functions in it are kept; else None.

    What it raises counts as not kept.
    """
    global _only_kept
    if _current is None:
        return None
    _only_kept = True
    try:
        return (work(),)
    except (_NotKept, Exception):
        return None
    finally:
        _only_kept = False


def hashed_once(value: T) -> T:
    """The value, whose hash is known from now on: an argument of several cached functions."""
    if _current is not None:
        _current.learn(value)
    return value


def current() -> Cache | None:
    """The cache in use."""
    return _current


def cached(work: Callable[P, T]) -> Callable[P, T]:
    """A pure function whose results are kept, while a cache is in use."""
    name = f"{work.__module__}.{work.__qualname__}"

    @wraps(work)
    def kept(*args: P.args, **words: P.kwargs) -> T:
        if _current is None:
            return work(*args, **words)
        reads = (args, sorted(words.items()))
        return _current.value(name, reads, partial(work, *args, **words))

    return kept


def user_cache() -> Cache | None:
    """The cache of this user; None where it is switched off or its folder is open to others."""
    wished = os.environ.get(VARIABLE, "")
    if wished == "off":
        return None
    if wished:
        folder = Path(wished)
    else:
        import platformdirs

        folder = platformdirs.user_cache_path("millprep", appauthor=False)
    return Cache(folder) if _is_closed(folder) else None


def _is_closed(folder: Path) -> bool:
    """Whether a folder is the user's own and nobody else may write it; one still to be made is."""
    try:
        state = folder.lstat()
    except OSError:
        return True
    if sys.platform == "win32":
        return folder.is_dir()
    own = folder.is_dir() and not folder.is_symlink() and state.st_uid == os.getuid()
    return own and not state.st_mode & 0o077
