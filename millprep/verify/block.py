"""One line of RS-274 and its words: NISTIR 6556, sections 3.3 and 3.4."""

from __future__ import annotations

import re
from typing import NamedTuple

from millprep.model.dialect import Comments

LONGEST_LINE = 256
"""Characters a line may hold, 3.3."""

_LETTERS = "ABCDFGHIJKLMPQRSTXYZ"
_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)"
_LINE = re.compile(rf"(/?)(?:N(\d{{1,5}}))?((?:[{_LETTERS}]{_NUMBER})*)", re.ASCII)
_WORD = re.compile(rf"([A-Z])({_NUMBER})", re.ASCII)
_BLANKS = str.maketrans("", "", " \t")


ERROR, UNPROVED, DIFFERS = "rs274-error", "rs274-unproved", "dialect-differs"
"""What a line is refused for: the report, what cannot be known from a file, the dialect."""


class Fault(Exception):  # noqa: N818 - caught in the reader and turned into a finding
    """Why a line is refused."""

    def __init__(self, message: str, *, standard: bool = True, code: str | None = None) -> None:
        self.message = message
        self.code = code or (ERROR if standard else UNPROVED)
        super().__init__(message)


class Block(NamedTuple):
    """The words of one line; `codes` of G are in tenths (G38.2 is 382), so that they compare."""

    deletable: bool
    g: tuple[int, ...]
    m: tuple[int, ...]
    words: dict[str, float]
    comment: str
    number: int | None
    text: str


def parse(raw: str, comments: Comments = "brackets") -> Block:
    """The words of one line, without its line end; `text` is the line without its comments.

    Raises:
        Fault: for a line the report refuses, or a comment that is not of the kind told.
    """
    if len(raw) > LONGEST_LINE:
        raise Fault(f"the line holds {len(raw)} characters, {LONGEST_LINE} are allowed")
    text, comment = raw, ""
    if "(" in raw or ")" in raw or ";" in raw:
        text, comment = _apart(raw, comments)
    text = text.translate(_BLANKS).upper()
    match = _LINE.fullmatch(text)
    if match is None:
        raise Fault(_what_is_wrong(text))
    g: list[int] = []
    m: list[int] = []
    words: dict[str, float] = {}
    for letter, digits in _WORD.findall(match[3]):
        value = float(digits)
        if letter == "G":
            g.append(_near(value * 10, f"G{digits}"))
        elif letter == "M":
            m.append(_near(value, f"M{digits}"))
        elif letter in words:
            raise Fault(f"the word {letter} stands twice in the line")
        else:
            words[letter] = value
    number = int(match[2]) if match[2] else None
    return Block(bool(match[1]), tuple(g), tuple(m), words, comment, number, text)


def whole(value: float, name: str) -> int:
    """The integer within 0.0001 of a value, 3.3.2.1.

    Raises:
        Fault: when there is none, or it is negative.
    """
    number = _near(value, name)
    if number < 0:
        raise Fault(f"{name} must not be negative")
    return number


def _near(value: float, name: str) -> int:
    number = round(value)
    if abs(value - number) > 0.0001:
        raise Fault(f"{name} is not a whole code")
    return number


def _apart(raw: str, comments: Comments) -> tuple[str, str]:
    """The line without its comment, and the comment, in the way the dialect has them."""
    if comments == "brackets":
        return _uncomment(raw)
    text, _, comment = raw.partition(";")
    if comments == "none" or "(" in text or ")" in text:
        what = "there are to be none" if comments == "none" else "they are to follow a semicolon"
        raise Fault(f"a comment, and {what}", code=DIFFERS)
    return text, comment.strip()


def _uncomment(raw: str) -> tuple[str, str]:
    """The line without its comments, and the last comment (the one that counts, 3.3.4)."""
    kept: list[str] = []
    comment = ""
    rest = raw
    while rest:
        before, opened, inside = rest.partition("(")
        if ")" in before:
            raise Fault("a comment is closed that was never opened")
        kept.append(before)
        if not opened:
            break
        body, closed, rest = inside.partition(")")
        if "(" in body:
            raise Fault("a comment stands inside a comment")
        if not closed:
            raise Fault("a comment is not closed on its line")
        comment = body.strip()
    return "".join(kept), comment


def _what_is_wrong(text: str) -> str:
    """Words for a line that does not match."""
    rest = text.removeprefix("/")
    if re.match(r"N(?!\d{1,5}(?!\d))", rest):
        return "a line number is N and one to five digits"
    rest = re.sub(r"^N\d{1,5}", "", rest)
    while word := re.match(rf"[{_LETTERS}]{_NUMBER}", rest):
        rest = rest[word.end() :]
    first = rest[:1]
    if first in "#[":
        return "parameters and expressions are not proved, write plain numbers"
    if first and first in _LETTERS:
        return f"the word {first} has no number, found {rest[:12]!r}"
    return f"{rest[:12]!r} is no word of RS-274"
