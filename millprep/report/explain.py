"""What every finding code means, why it matters, what to do, and where the rule comes from."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from importlib.resources import files


@dataclass(frozen=True, slots=True)
class Explanation:
    """One code in words.

    Attributes:
        means: what was found.
        matters: what comes of it.
        do: the remedy.
        source: of the rule.
    """

    code: str
    means: str
    matters: str
    do: str
    source: str


def explanations() -> dict[str, Explanation]:
    """Every code there is, in alphabetical order."""
    text = files("millprep.report").joinpath("codes.toml").read_text(encoding="utf-8")
    loaded = tomllib.loads(text)
    return {code: Explanation(code=code, **loaded[code]) for code in sorted(loaded)}
