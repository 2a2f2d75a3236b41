"""Mistakes in a job file, in words: what is wrong, what is allowed, the nearest spelling."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from inspect import isclass
from typing import Any, get_args

from pydantic_core import ErrorDetails

from millprep.job.fields import Doc, Table, doc_of, nearest, plain, printable
from millprep.job.model import JobFile
from millprep.job.places import KeyPath
from millprep.job.tools import CUTTER_NAME_ALLOWED, CUTTER_TABLES


@dataclass(frozen=True, slots=True)
class Mistake:
    """One mistake: `words` follow the name of what stands at `path`."""

    code: str
    path: KeyPath
    words: str


def wrong(path: KeyPath, words: str) -> Mistake:
    """A key whose value does not go with another's."""
    return Mistake("job-contradiction", path, words)


def label(path: KeyPath) -> str:
    """Name of a key or table for a person: "[[board]] 2 count", "[cutters.vee] tip"."""
    first, rest = str(path[0]), path[1:]
    if first == "cutters" and rest:
        head, rest = f"[cutters.{rest[0]}]", rest[1:]
    elif path[:2] == ("setup", "clamp") and len(path) > 2:
        head, rest = f"[[setup.clamp]] {int(path[2]) + 1}", path[3:]
    elif first == "board" and path[2:3] == ("selection",) and len(path) > 3:
        head, rest = f"[[board.selection]] {int(path[3]) + 1} of board {int(path[1]) + 1}", path[4:]
    elif first == "board" and path[2:3] == ("net",) and len(path) > 3:
        head, rest = f"[[board.net]] {int(path[3]) + 1} of board {int(path[1]) + 1}", path[4:]
        if rest[:1] == ("load",) and len(rest) > 1:
            of = f"net {int(path[3]) + 1} of board {int(path[1]) + 1}"
            head, rest = f"[[board.net.load]] {int(rest[1]) + 1} of {of}", rest[2:]
    elif first == "board" and path[2:3] == ("clear",) and len(path) > 3:
        head, rest = f"[[board.clear]] {int(path[3]) + 1} of board {int(path[1]) + 1}", path[4:]
    elif first == "board" and path[2:3] == ("place",) and len(path) > 3:
        head, rest = f"[[board.place]] {int(path[3]) + 1} of board {int(path[1]) + 1}", path[4:]
    elif first in ("board", "blank") and rest and isinstance(rest[0], int):
        head, rest = f"[[{first}]] {rest[0] + 1}", rest[1:]
    elif first in JobFile.model_fields and first != "name":
        head = f"[{first}]"
    else:
        head = first
    words = ""
    for step in rest:
        words += f" item {step + 1}" if isinstance(step, int) else f".{step}"
    return printable(f"{head} {words.lstrip('. ')}".rstrip())


def quoted(options: Iterator[str] | list[str]) -> str:
    """Words in quotes, with commas between."""
    return ", ".join(plain(option) for option in options)


def near(word: object, options: list[str]) -> str:
    """The end of a message that names the nearest spelling, or nothing."""
    found = nearest(word, options)
    return f"; nearest spelling: {plain(found)}" if found else ""


def mistake_of(error: ErrorDetails) -> Mistake:
    """A pydantic error in our words."""
    path, kind = untagged(error["loc"])
    error_type, value = error["type"], error["input"]
    if path[-1] == "[key]":
        return Mistake("job-bad-value", path[:-1], f"must have a name {CUTTER_NAME_ALLOWED}")
    if error_type in ("union_tag_not_found", "union_tag_invalid"):
        path, kinds = (*path, "kind"), list(CUTTER_TABLES)
        if error_type == "union_tag_not_found":
            words = f"is missing; needed: one of {quoted(kinds)}, or a preset instead"
            return Mistake("job-missing-key", path, words)
        word = value.get("kind") if isinstance(value, dict) else value
        words = f"must be one of {quoted(kinds)}; got {plain(word)}{near(word, kinds)}"
        return Mistake("job-bad-value", path, words)
    table, doc = _described(path, kind)
    if error_type == "extra_forbidden":
        keys = list(table.model_fields)
        found = nearest(path[-1], keys)
        words = "is no known key" + (f"; nearest spelling: {found}" if found else "")
        return Mistake("job-unknown-key", path, f"{words}; allowed: {', '.join(keys)}")
    assert doc is not None, f"{path} has no documentation"
    if error_type == "missing":
        meaning = doc.meaning[0].lower() + doc.meaning[1:]
        return Mistake("job-missing-key", path, f"is missing ({meaning}); needed: {doc.allowed}")
    wrong_type = error_type.endswith("_type") or error_type == "int_from_float"
    if isinstance(path[-1], int) and doc.choices:
        options = list(doc.choices)
        words = f"is {plain(value)}; it must be one of {quoted(options)}{near(value, options)}"
    elif isinstance(path[-1], int):
        name = next(step for step in reversed(path) if isinstance(step, str))
        words = f"is {plain(value)}; {name} must be {doc.allowed}"
    else:
        words = f"must be {doc.allowed}; got {plain(value)}{near(value, list(doc.choices))}"
    return Mistake("job-wrong-type" if wrong_type else "job-bad-value", path, words)


def untagged(loc: KeyPath) -> tuple[KeyPath, str | None]:
    """The path in the file, without the kind of cutter that pydantic puts in."""
    if loc[0] == "cutters" and len(loc) > 2 and loc[2] in CUTTER_TABLES:
        return (*loc[:2], *loc[3:]), str(loc[2])
    return loc, None


def _described(path: KeyPath, kind: str | None) -> tuple[type[Table], Doc | None]:
    """The innermost table on a path, and the doc of the last of its keys that is known."""
    table: type[Table] = JobFile
    doc: Doc | None = None
    for step in path:
        if isinstance(step, int):
            continue
        if table is JobFile and kind and step == path[1]:
            table = CUTTER_TABLES[kind]
        elif step in table.model_fields:
            field = table.model_fields[step]
            doc = doc_of(field)
            table = _table_in(field.annotation) or table
    return table, doc


def _table_in(annotation: Any) -> type[Table] | None:
    if isclass(annotation) and issubclass(annotation, Table):
        return annotation
    if annotation is JobFile.model_fields["cutters"].annotation:
        return None
    return next((found for found in map(_table_in, get_args(annotation)) if found), None)
