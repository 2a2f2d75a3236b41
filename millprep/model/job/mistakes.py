"""Mistakes in a job file: what is wrong where, and the checks that find contradictions.

A contradiction lies between two keys. Its check is a method of the table that holds them.
A key that is missing or has a mistake of its own cannot be compared: to read it ends the check,
and all others go on, so that all mistakes of a file are reported together.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any, TypeVar

KeyPath = tuple[str | int, ...]
"""Keys from a table inwards, with the index of the element where an array is entered."""


@dataclass(frozen=True, slots=True)
class Mistake:
    """One mistake: `words` follow the name of the key at `path`."""

    code: str
    path: KeyPath
    words: str


class UnsettledError(AttributeError):
    """A key that is missing, or has a mistake of its own, was read."""


Check = TypeVar("Check", bound=Callable[..., Iterator[Mistake]])

_MARK = "finds_mistakes"


def check(method: Check) -> Check:
    """Mark a method of a table that yields the mistakes between its keys."""
    setattr(method, _MARK, True)
    return method


def checks_of(table: type) -> list[str]:
    """Names of the methods of a table that are checks."""
    names = {name: None for base in reversed(table.__mro__) for name in vars(base)}
    return [name for name in names if getattr(getattr(table, name, None), _MARK, False)]


def settled(mistakes: Iterator[Mistake]) -> Iterator[Mistake]:
    """The mistakes up to the first key that cannot be compared."""
    try:
        yield from mistakes
    except UnsettledError:
        return


def known(table: object, name: str) -> Any:
    """A field of a table; None while it has a mistake."""
    try:
        return getattr(table, name)
    except UnsettledError:
        return None


def wrong(path: KeyPath, words: str) -> Mistake:
    """A key whose value contradicts another's."""
    return Mistake("job-contradiction", path, words)


def twice(names: Iterable[tuple[KeyPath, str | None]]) -> Iterator[Mistake]:
    """A mistake for each name that came before; capitals do not count."""
    seen: set[str] = set()
    for path, name in names:
        if name is not None and name.casefold() in seen:
            words = f"is there twice: {plain(name)} (capitals do not count); choose another"
            yield wrong(path, words)
        elif name is not None:
            seen.add(name.casefold())


def plain(value: object) -> str:
    """A value as a person would write it in TOML, shortened."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        text = '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
        text = printable(text)
    elif isinstance(value, int):
        # Python refuses to print numbers of thousands of digits.
        text = str(value) if value.bit_length() < 200 else "a very long number"
    elif isinstance(value, float):
        text = f"{value:.10g}"
    elif isinstance(value, list | tuple):
        text = "[" + ", ".join(plain(item) for item in value) + "]"
    elif isinstance(value, dict):
        return "a table"
    else:
        text = str(value)
    return text if len(text) <= 60 else text[:57] + "…"


def printable(text: str) -> str:
    """Text in which no control character can spoil a message."""
    return "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in text)


def quoted(options: Iterable[str]) -> str:
    """Words in quotes, with commas between."""
    return ", ".join(plain(option) for option in options)


def nearest(word: object, options: Iterable[str]) -> str | None:
    """The option spelt most like a word, if any is near."""
    if not isinstance(word, str):
        return None
    lower = {option.lower(): option for option in options}
    close = difflib.get_close_matches(word.lower(), lower, n=1)
    return lower[close[0]] if close else None


def near(word: object, options: Iterable[str]) -> str:
    """The end of a message that names the nearest spelling, or nothing."""
    option = nearest(word, options)
    return f"; nearest spelling: {plain(option)}" if option else ""
