"""Mistakes in a job file, in words: what is wrong, what is allowed, the nearest spelling."""

from __future__ import annotations

from inspect import isclass
from typing import Any, NamedTuple, get_args, get_origin

from pydantic_core import ErrorDetails

from millprep.model.cutter import Cutter
from millprep.model.job.job import JobPlan
from millprep.model.job.keys import JobTable, Key, keys
from millprep.model.job.mistakes import KeyPath, Mistake, near, nearest, plain, printable, quoted


class Inner(NamedTuple):
    """The table that a key holds, or the tables if there are several."""

    table: type[JobTable]
    several: bool


def inner(key: Key) -> Inner | None:
    """What table a key holds; None for a value. Cutters are named by other tables, not held."""
    annotation: Any = key.field.annotation
    several = get_origin(annotation) is tuple
    options = [annotation, *get_args(annotation)]
    for option in options:
        if isclass(option) and issubclass(option, JobTable) and not issubclass(option, Cutter):
            return Inner(option, several)
    return None


def label(path: KeyPath) -> str:
    """Name of a key or table for a person: "[[board]] 2 count", "[cutters.vee] tip"."""
    names: list[str] = []
    counted: list[str] = []
    head, rest = "", path
    table: type[JobTable] = JobPlan
    for i, step in enumerate(path):
        if isinstance(step, int):
            continue
        held = inner(keys(table)[step]) if step in keys(table) else None
        if held is None:
            break
        names.append(step)
        table = held.table
        if held.several and i + 1 < len(path) and isinstance(path[i + 1], int):
            number = int(path[i + 1]) + 1
            head = f"[[{'.'.join(names)}]] " + " of ".join([str(number), *reversed(counted)])
            counted.append(f"{step} {number}")
            rest = path[i + 2 :]
    if not head:
        head, rest = str(path[0]), path[1:]
        if head == "cutters" and rest:
            head, rest = f"[cutters.{rest[0]}]", rest[1:]
        elif head in keys(JobPlan) and head != "name":
            head = f"[{head}]"
    words = ""
    for step in rest:
        words += f" item {step + 1}" if isinstance(step, int) else f".{step}"
    return printable(f"{head} {words.lstrip('. ')}".rstrip())


def unknown_key(table: type[JobTable], path: KeyPath) -> Mistake:
    """A key that its table does not have."""
    known = list(keys(table))
    option = nearest(path[-1], known)
    words = "is no known key" + (f"; nearest spelling: {option}" if option else "")
    return Mistake("job-unknown-key", path, f"{words}; allowed: {', '.join(known)}")


def unknown_kind(path: KeyPath, kinds: list[str], table: dict[str, Any]) -> Mistake:
    """A cutter whose kind is missing or none of those there are."""
    if "kind" not in table:
        words = f"is missing; needed: one of {quoted(kinds)}, or a preset instead"
        return Mistake("job-missing-key", path, words)
    kind = table["kind"]
    words = f"must be one of {quoted(kinds)}; got {plain(kind)}{near(kind, kinds)}"
    return Mistake("job-bad-value", path, words)


def mistake_of(table: type[JobTable], at: KeyPath, error: ErrorDetails) -> Mistake:
    """An error of pydantic in our words; `at` leads to the table."""
    path, kind, value = (*at, *error["loc"]), error["type"], error["input"]
    key = keys(table)[str(error["loc"][0])]
    doc = key.doc
    if kind.startswith("job-"):
        return Mistake(kind, path, error["msg"])
    if kind == "missing" and len(error["loc"]) == 1:
        meaning = doc.meaning[0].lower() + doc.meaning[1:]
        return Mistake("job-missing-key", path, f"is missing ({meaning}); needed: {doc.allowed}")
    if kind == "missing" or path[-1] == "[key]":
        # the tuple that lacks an element, or the table that has a key of no name
        path = path[:-1]
    if isinstance(path[-1], int) and doc.choices:
        options = list(doc.choices)
        words = f"is {plain(value)}; it must be one of {quoted(options)}{near(value, options)}"
    elif isinstance(path[-1], int):
        name = next(step for step in reversed(path) if isinstance(step, str))
        words = f"is {plain(value)}; {name} must be {doc.allowed}"
    else:
        words = f"must be {doc.allowed}; got {plain(value)}{near(value, doc.choices)}"
    wrong_type = kind.endswith("_type") or kind == "int_from_float"
    return Mistake("job-wrong-type" if wrong_type else "job-bad-value", path, words)
