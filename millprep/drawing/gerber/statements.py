"""Statements of a Gerber file, each with its line.

A statement ends with `*`; those that hold more than words are between two `%` (Gerber layer
format specification, "Syntax"). A comment may hold any character but `*`, `%` included.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass


class UnreadableError(Exception):
    """A fabrication file that cannot be read truly; `line` is where, from 1."""

    def __init__(self, line: int, words: str) -> None:
        super().__init__(f"line {line}: {words}")
        self.line = line


@dataclass(frozen=True, slots=True)
class Statement:
    """One statement.

    Attributes:
        line: on which it begins.
        text: without line ends and its `*`.
        section: which pair of `%` it is between, from 1; 0 for none.
    """

    line: int
    text: str
    section: int = 0

    def fault(self, words: str) -> UnreadableError:
        """What is wrong with it, as an error to raise."""
        shown = self.text if len(self.text) <= 40 else self.text[:37] + "..."
        return UnreadableError(self.line, f"{shown!r}: {words}")


MOST_STATEMENTS = 300_000
"""A file of more statements is refused: reading them takes some 10 s."""
_BLANK = re.compile(r"[\s\0\x1a]*")
_COMMENT = re.compile(r"(?:N\d+)?G0*4(?!\d)")
_WORD = re.compile(r"([A-Z])([+-]?[\d.]*)")
_ENDS = str.maketrans("", "", "\r\n\t")


def statements(text: str) -> Iterator[Statement]:
    """All statements of a file, in order.

    Raises:
        UnreadableError: when one has no end.
    """
    at, line = 0, 1
    opened: int | None = None
    section = count = 0
    while True:
        blank = _BLANK.match(text, at)
        assert blank is not None
        line += text.count("\n", at, blank.end())
        at = blank.end()
        if at == len(text):
            break
        if text[at] == "%":
            opened = line if opened is None else None
            section += opened is not None
            at += 1
            continue
        end = text.find("*", at)
        if end < 0:
            shown = text[at : at + 20].strip()
            raise UnreadableError(line, f"the statement {shown!r} has no * at its end")
        body = text[at:end]
        if "%" in body and not _COMMENT.match(body):
            raise UnreadableError(line, "a statement has a % in its midst; a * is missing")
        count += 1
        if count > MOST_STATEMENTS:
            raise UnreadableError(line, f"the file has more than {MOST_STATEMENTS} statements")
        yield Statement(line, body.translate(_ENDS).strip(), section if opened else 0)
        line += text.count("\n", at, end)
        at = end + 1
    if opened is not None:
        raise UnreadableError(opened, "the % that opens a statement here is never closed")


def is_comment(statement: Statement) -> bool:
    """Whether it is a comment."""
    return not statement.section and _COMMENT.match(statement.text) is not None


def words(statement: Statement) -> list[tuple[str, str]]:
    """Letter and number of every word of a plain statement, `X100D01` being two.

    Raises:
        UnreadableError: when it is not made of such words.
    """
    text = statement.text.replace(" ", "")
    out: list[tuple[str, str]] = []
    at = 0
    for match in _WORD.finditer(text):
        if match.start() != at:
            break
        out.append((match[1], match[2]))
        at = match.end()
    if at != len(text):
        raise statement.fault(f"{text[at:][:12]!r} is no word of this format")
    return out
