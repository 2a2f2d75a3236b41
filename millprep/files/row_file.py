"""Logs and marks that a person keeps at the mill: TOML files of rows, added to whole or not at all.

A row that was written by mistake is deleted in an editor.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Generic, TypeVar

from millprep.files import reading, writing
from millprep.model.finding import Refusal, usage

RowT = TypeVar("RowT")
Value = str | float | datetime


@dataclass(frozen=True, slots=True)
class RowFile(Generic[RowT]):
    """A kind of such files.

    Attributes:
        head: its first lines, a comment.
        table: the heading of a row.
        row: makes the value of a row from its keys; raises `ValueError` or `TypeError` for others.
        keys: the keys of a row, attributes of its value; those that are None are left out.
        code: of the finding for a file that cannot be read.
        words: what such a file is called.
        remedy: for a file that cannot be read.
    """

    head: str
    table: str
    row: Callable[..., RowT]
    keys: tuple[str, ...]
    code: str
    words: str
    remedy: str

    def load(self, file: Path) -> tuple[RowT, ...]:
        """All rows of a file, none where it is not there yet.

        Raises:
            Refusal: exit code 2, when it cannot be read.
        """
        return self.rows(self.raw(file), file) if file.exists() else ()

    def raw(self, file: Path) -> bytes:
        """The bytes of a file.

        Raises:
            Refusal: exit code 2, when it cannot be read.
        """
        try:
            return reading.contents(file, reading.MOST_TEXT)
        except OSError as fault:
            raise self._unreadable(file, f"cannot be read ({fault.strerror})") from None

    def rows(self, raw: bytes, file: Path) -> tuple[RowT, ...]:
        """The rows in the bytes of a file.

        Raises:
            Refusal: exit code 2, for anything else.
        """
        try:
            read = reading.toml(raw.decode("utf-8"))
            rows: list[dict[str, Any]] = read.get(self.table, [])
            if set(read) <= {self.table} and all(set(row) <= set(self.keys) for row in rows):
                return tuple(self.row(**row) for row in rows)
            words = f"must hold [[{self.table}]] with {', '.join(self.keys)}, and nothing else"
        except (ValueError, TypeError, AttributeError, OverflowError) as fault:
            words = f"is no {self.words} ({fault})"
        raise self._unreadable(file, words)

    def add(self, file: Path, new: Iterable[RowT]) -> None:
        """Add rows to a file, wholly or not at all.

        Raises:
            Refusal: exit code 2, when the file cannot be read; 1, when it cannot be written.
        """
        self.load(file)
        before = self.raw(file) if file.exists() else self.head.encode()
        writing.replace_file(file, before + "".join(map(self._text, new)).encode())

    def _text(self, row: RowT) -> str:
        values = ((key, getattr(row, key)) for key in self.keys)
        lines = (f"{key} = {_toml(value)}\n" for key, value in values if value is not None)
        return f"\n[[{self.table}]]\n" + "".join(lines)

    def _unreadable(self, file: Path, words: str) -> Refusal:
        return usage(self.code, f"The {self.words} {file.name} {words}. {self.remedy}", file)


def _toml(value: Value) -> str:
    """A text, a number or a time; control characters of a text are escaped."""
    if isinstance(value, datetime):
        return value.strftime("%Y-%m-%dT%H:%M:%SZ")
    if not isinstance(value, str):
        return f"{value:.4f}".rstrip("0").rstrip(".")
    plain = value.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\U{ord(c):08x}" for c in plain) + '"'
