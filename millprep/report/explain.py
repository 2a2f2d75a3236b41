"""What every finding code means, why it matters, what to do, and where the rule comes from."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from importlib.resources import files


@dataclass(frozen=True, slots=True)
class Explanation:
    """One code in words.

    Attributes:
        means: what is wrong.
        matters: what comes of it.
        do: the remedy.
        source: of the rule.
        was: the name that the code had in earlier versions, None if it always had this one.
    """

    code: str
    means: str
    matters: str
    do: str
    source: str
    was: str | None = None


def explanations() -> dict[str, Explanation]:
    """Every code there is, in alphabetical order."""
    text = files("millprep.report").joinpath("codes.toml").read_text(encoding="utf-8")
    loaded = tomllib.loads(text)
    return {code: Explanation(code=code, **loaded[code]) for code in sorted(loaded)}


def renamed() -> dict[str, str]:
    """The present name of every code that was renamed, by its old name."""
    return {known.was: code for code, known in explanations().items() if known.was is not None}
