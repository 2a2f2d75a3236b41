"""The size and shape of the package, measured: `python -m tests.helpers.house`.

Words that the house has left behind are counted as well, in names and in texts: each has a better
one in the table of `DEVELOPERS.md`.
"""

from __future__ import annotations

import ast
import io
import re
import tokenize
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

PACKAGE = Path(__file__).parents[2] / "millprep"

NAMES_LEFT = frozenset(
    [
        *("told", "asked", "found", "one", "beside", "astray", "earlier", "moved", "carriage"),
        *("seam", "seams", "crossover", "bite", "bites", "eaten", "freed", "verdict", "parted"),
        *("apart", "tally", "witnesses", "homes", "sums", "adapted", "land", "lands", "mismatch"),
        *("course", "band", "bands", "background", "bed", "meeting"),
    ]
)
"""No part of a name is one of these."""
NAMES_KEPT = {
    "land": "key of [rules.pins] in the job",
    "lands": "key of [rules] in the job",
    "course": "key of [isolation] in the job",
    "Course": "the values of that key",
}
"""Names with such a word that stay, each with its reason."""

TEXTS_LEFT = re.compile(
    r"\b(mismatch|seams?|crossovers?|carriage|astray|bites?|eaten|at worst|asked|in the air|"
    r"left-over|plays? (?:a|no) role|tells?|told|lands?|stands?|stood|beside|background|bed|bands?|"
    r"course|wire links?|set-up|machine zero|parted)\b",
    re.IGNORECASE,
)
"""No text holds one of these, keys of jobs and reports excepted."""
TEXTS_KEPT = {
    "carriage return": "the character",
    "IPC: land": "the standard's own word",
    "mismatch-assumed": "a code of format 1, looked up by its old name",
    "course = ": "a key of the job, quoted as the job file has it",
    "stand-in": "a word of its own",
}
"""Phrases that stay, each with its reason."""


def modules() -> list[Path]:
    """All modules of the package."""
    return sorted(PACKAGE.rglob("*.py"))


def functions(source: str) -> Iterator[tuple[str, int]]:
    """Every function of a source with the number of its lines."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.FunctionDef):
            assert node.end_lineno is not None
            yield node.name, node.end_lineno - node.lineno + 1


def classes(source: str) -> list[str]:
    """The names of all classes of a source."""
    return [n.name for n in ast.walk(ast.parse(source)) if isinstance(n, ast.ClassDef)]


def names(source: str) -> Iterator[str]:
    """Every name that a source gives: to values, functions, classes, arguments, fields."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            yield node.id
        elif isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store):
            yield node.attr
        elif isinstance(node, ast.arg):
            yield node.arg
        elif isinstance(node, ast.FunctionDef | ast.ClassDef):
            yield node.name


def names_left(source: str) -> list[str]:
    """Names of a source with a word that was left behind."""
    return [
        name
        for name in names(source)
        if name not in NAMES_KEPT
        and not NAMES_LEFT.isdisjoint(re.sub(r"(?<=[a-z])(?=[A-Z])", "_", name).lower().split("_"))
    ]


def texts_left(source: str) -> list[str]:
    """Words that were left behind in the texts and comments of a source."""
    texts = (
        token.string
        for token in tokenize.generate_tokens(io.StringIO(source).readline)
        if token.type in (tokenize.STRING, tokenize.COMMENT)
    )
    kept = re.compile("|".join(map(re.escape, TEXTS_KEPT)))
    # a word alone in quotation marks is a key, not a text; names in a text are judged as names
    return [
        match[0]
        for text in texts
        if " " in text
        for match in TEXTS_LEFT.finditer(kept.sub("", re.sub(r"`[^`]*`|\{[^{}]*\}", "", text)))
    ]


def main() -> None:
    """Print the figures."""
    sources = {file.relative_to(PACKAGE).as_posix(): file.read_text("utf-8") for file in modules()}
    lengths = {name: source.count("\n") for name, source in sources.items()}
    longest = max(lengths, key=lambda name: lengths[name])
    spans = [(n, f"{name}:{f}") for name, s in sources.items() for f, n in functions(s)]
    known = Counter(c for source in sources.values() for c in classes(source))
    print(f"{sum(lengths.values())} lines in {len(sources)} modules")  # noqa: T201
    print(f"longest module: {longest}, {lengths[longest]} lines")  # noqa: T201
    print("longest function: {1}, {0} lines".format(*max(spans)))  # noqa: T201
    print("class names used twice:", *sorted(c for c, n in known.items() if n > 1))  # noqa: T201
    for what, left in (("names", names_left), ("texts", texts_left)):
        rooms = Counter[str]()
        for name, source in sources.items():
            rooms[name.split("/")[0]] += len(left(source))
        print(f"{what} with words left behind: {sum(rooms.values())}", dict(+rooms))  # noqa: T201


if __name__ == "__main__":
    main()
