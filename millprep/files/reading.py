"""Inputs: a regular file of a sensible size, and texts that end however deep they are nested."""

from __future__ import annotations

import errno
import json
import stat
from collections.abc import Iterable
from pathlib import Path
from typing import Any

MOST_BYTES = 64_000_000
"""The largest file that is read; drawings and netlists have limits of their own."""

MOST_TEXT = 2_000_000
"""The largest that is read of what a person writes: jobs, benches, readings, layouts, logs."""

DEEPEST = 50
"""How deep tables and lists of a TOML text may lie in each other; no file of ours needs ten."""


def contents(file: Path, most: int = MOST_BYTES) -> bytes:
    """The bytes of a file.

    Args:
        file: its place.
        most: how many bytes it may have.

    Raises:
        OSError: whose `strerror` completes "cannot be read (…)": there is no such file, it is a
            folder, a pipe or a device, which may never end, or it has too many bytes.
    """
    mode = file.stat().st_mode
    if not stat.S_ISREG(mode) and not stat.S_ISDIR(mode):
        raise OSError(errno.EINVAL, "It is a pipe or a device, not a file")
    with file.open("rb") as stream:
        raw = stream.read(most + 1)
    if len(raw) > most:
        raise OSError(errno.EFBIG, f"It has more than {most / 1e6:g} MB")
    return raw


def hash_of(file: Path) -> str:
    """SHA-256 of a file's bytes, in hexadecimal."""
    import hashlib  # loads slowly

    return hashlib.sha256(file.read_bytes()).hexdigest()


def toml(text: str) -> dict[str, Any]:
    """The tables of a TOML text.

    Raises:
        ValueError: for what is not TOML, or nested too deep to be read.
    """
    import tomllib  # loads slowly

    deep = "Lists or tables are nested too deep"
    try:
        tables = tomllib.loads(text)
    except RecursionError:
        raise ValueError(deep) from None
    # dotted keys nest without any bracket
    level: list[Any] = [tables]
    for _ in range(DEEPEST):
        level = [value for outer in level for value in _inside(outer)]
        if not level:
            return tables
    raise ValueError(deep)


def _inside(outer: Any) -> Iterable[Any]:
    """What a table or a list holds."""
    if isinstance(outer, dict):
        return outer.values()
    return outer if isinstance(outer, list) else ()


def json_value(raw: bytes) -> Any:
    """The value of a JSON text.

    Raises:
        ValueError: for what is not JSON, or nested too deep to be read.
    """
    try:
        return json.loads(raw)
    except RecursionError:
        raise ValueError("Lists or objects are nested too deep") from None
