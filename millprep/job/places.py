"""Where each key of a TOML text is.

`tomllib` reads values but gives no places, so this scanner walks the same text a second
time and notes only where keys and array elements begin. It trusts that `tomllib` has
accepted the text, which keeps it small: it has to know where things end, not whether
they are right.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right
from typing import NamedTuple

from millprep.model.job.mistakes import KeyPath


class TextPlace(NamedTuple):
    """Line and column, both from 1; a column is one character, a tab too."""

    line: int
    column: int


def key_places(text: str) -> dict[KeyPath, TextPlace]:
    """TextPlace of every key, table and array element of a valid TOML text.

    A table is where its own header names it, or where it is first mentioned if it has none.
    """
    return _Scanner(text).scan()


_BLANK = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
# The closing quotes of a long string may follow up to two quotes that belong to it.
_STRING = re.compile(
    r'"""(?:\\.|[^\\])*?"""(?:"{0,2})'
    r"|'''.*?'''(?:'{0,2})"
    r'|"(?:\\.|[^"\\\n])*"'
    r"|'[^'\n]*'",
    re.DOTALL,
)
_SCALAR = re.compile(r"[^,\]}#\n]+")


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text
        self.pos = 0
        self.places: dict[KeyPath, TextPlace] = {}
        self.elements: dict[KeyPath, int] = {}  # of arrays of tables, so far
        self.starts = [0, *(m.end() for m in re.finditer("\n", text))]

    def scan(self) -> dict[KeyPath, TextPlace]:
        table: KeyPath = ()
        self.skip(_BLANK)
        while self.pos < len(self.text):
            if self.text[self.pos] == "[":
                table = self.header()
            else:
                self.key_value(table)
            self.skip(_BLANK)
        return self.places

    def skip(self, pattern: re.Pattern[str]) -> str:
        matched = pattern.match(self.text, self.pos)
        assert matched is not None, "the text was not accepted by tomllib"
        self.pos = matched.end()
        return matched.group()

    def place(self, pos: int) -> TextPlace:
        line = bisect_right(self.starts, pos)
        return TextPlace(line, pos - self.starts[line - 1] + 1)

    def key(self) -> list[tuple[str, TextPlace]]:
        """A dotted key: its parts, each with its place."""
        parts = []
        while True:
            self.skip(_SPACE)
            at = self.place(self.pos)
            if self.text[self.pos] in "\"'":
                part = next(iter(tomllib.loads(f"{self.skip(_STRING)} = 0")))
            else:
                part = self.skip(_BARE_KEY)
            parts.append((part, at))
            self.skip(_SPACE)
            if not self.text.startswith(".", self.pos):
                return parts
            self.pos += 1

    def header(self) -> KeyPath:
        array = self.text.startswith("[[", self.pos)
        self.pos += 2 if array else 1
        *outer, (last, at) = self.key()
        self.pos += 2 if array else 1
        path: KeyPath = ()
        for part, where in outer:
            path += (part,)
            self.places.setdefault(path, where)
            if path in self.elements:
                path += (self.elements[path] - 1,)
        path += (last,)
        if not array:
            self.places[path] = at
            return path
        self.places.setdefault(path, at)
        index = self.elements.get(path, 0)
        self.elements[path] = index + 1
        path += (index,)
        self.places[path] = at
        return path

    def key_value(self, table: KeyPath) -> None:
        path = table
        for part, where in self.key():
            path += (part,)
            self.places.setdefault(path, where)
        self.pos += 1  # the equals sign
        self.skip(_SPACE)
        self.value(path)

    def value(self, path: KeyPath) -> None:
        start = self.text[self.pos]
        if start == "[":
            self.array(path)
        elif start == "{":
            self.inline_table(path)
        else:
            self.skip(_STRING if start in "\"'" else _SCALAR)

    def array(self, path: KeyPath) -> None:
        index = 0
        self.pos += 1
        self.skip(_BLANK)
        while self.text[self.pos] != "]":
            self.places[(*path, index)] = self.place(self.pos)
            self.value((*path, index))
            index += 1
            self.comma()
        self.pos += 1

    def inline_table(self, path: KeyPath) -> None:
        self.pos += 1
        self.skip(_BLANK)
        while self.text[self.pos] != "}":
            self.key_value(path)
            self.comma()
        self.pos += 1

    def comma(self) -> None:
        self.skip(_BLANK)
        if self.text[self.pos] == ",":
            self.pos += 1
            self.skip(_BLANK)
