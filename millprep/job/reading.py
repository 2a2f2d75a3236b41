"""From the text's tables to the job: each table read with what is valid in those before it.

Mistakes are put in words: what is wrong, what is allowed, the nearest spelling.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace
from inspect import isclass
from pathlib import Path as File
from typing import Any, NamedTuple, get_args, get_origin

from pydantic import ValidationError
from pydantic_core import ArgsKwargs, ErrorDetails, PydanticUndefined

from millprep.model.cutter import KINDS, Cutter
from millprep.model.job.job import JobPlan
from millprep.model.job.keys import JobSource, JobTable, Key, keys, partial
from millprep.model.job.layers import DrawingPlan
from millprep.model.job.mistakes import (
    KeyPath,
    Mistake,
    UnsettledError,
    near,
    nearest,
    plain,
    printable,
    quoted,
)

CUTTER_NAME = r"[A-Za-z0-9-]{1,40}"
CUTTER_NAME_ALLOWED = "of letters A to Z, digits and hyphens, 40 at most, for it names files"

RENAMED = {
    "outline_drawing": "drawing = { copper = FILE, outline = FILE }",
    "holes_drawing": "drawing = { copper = FILE, holes = FILE }",
}
"""Keys that have another name now, and how they are written."""


class Reader:
    """Reads the tables of a job file.

    Args:
        file: the job file.
        copies: in a job that a set keeps, the file for every path that it names.
        sided: places of the boards whose `drawn_from` the bench file gives.

    Attributes:
        job: what is valid so far; to read another of its tables raises `UnsettledError`.
        mistakes: of all tables.
    """

    def __init__(self, file: File, copies: Mapping[str, File], sided: tuple[int, ...]) -> None:
        self._given = {"file": file, "sided": sided}
        self._file = file
        self._copies = copies
        self.mistakes: list[Mistake] = []
        self.job: Any = partial(JobPlan, self._given)

    def read(self, data: dict[str, Any]) -> JobPlan:
        """The job; it lacks fields where there are mistakes."""
        job: JobPlan = self._table(JobPlan, _tuples(data), (), self.job, **self._given)
        return job

    def _table(
        self, table: type[JobTable], written: dict[str, Any], at: KeyPath, part: Any, **given: Any
    ) -> Any:
        """A table, or the valid part of it; `given` are fields that are no keys."""
        known = keys(table)
        self.mistakes += [unknown_key(table, (*at, key)) for key in written if key not in known]
        values = dict(given)
        for name, key in known.items():
            if name in written:
                values[name] = self._value(table, key, written[name], (*at, name))
            elif _may_be_empty(key):
                values[name] = self._value(table, key, {}, (*at, name))
            if table is JobPlan and name in values and _is_read(key, values[name]):
                # the tables after it take defaults from it
                object.__setattr__(part, key.attribute, values[name])
        done, errors = self._validated(table, values, part)
        worked_out = False
        for name, key in known.items():
            if name not in written and key.doc.otherwise is not None:
                with suppress(UnsettledError):
                    values[name] = key.doc.otherwise(self.job, part)
                    worked_out = True
        if worked_out:
            done, errors = self._validated(table, values, part)
        own = [error for error in errors if _is_own(table, error, errors)]
        self.mistakes += dict.fromkeys(mistake_of(table, at, error) for error in own)
        if done is not None:
            return done
        self.mistakes += [Mistake(m.code, (*at, *m.path), m.words) for m in part.mistakes()]
        return part

    def _validated(
        self, table: type[JobTable], values: dict[str, Any], part: Any
    ) -> tuple[JobTable | None, list[ErrorDetails]]:
        """The table if it has no mistake, and its errors; `part` gets what is valid."""
        source = JobSource(self._file.parent, self._copies, self.job, {})
        validator: Any = table.__pydantic_validator__  # type: ignore[attr-defined]
        done = object.__new__(table)
        errors: list[ErrorDetails] = []
        try:
            validator.validate_python(ArgsKwargs((), values), self_instance=done, context=source)
        except ValidationError as problem:
            errors = problem.errors(include_url=False, include_context=False)
        for name, key in keys(table).items():
            if name not in values and key.field.default is not PydanticUndefined:
                source.fields[key.attribute] = key.field.default
        for attribute, value in source.fields.items():
            object.__setattr__(part, attribute, value)
        return (None if errors else done), errors

    def _value(self, table: type[JobTable], key: Key, value: Any, at: KeyPath) -> Any:
        """A value as it is; where the key holds tables, these read."""
        held = inner(key)
        if table is JobPlan and key.attribute == "cutters" and isinstance(value, dict):
            return tuple(self._cutter(name, cutter) for name, cutter in value.items())
        if held is None or isinstance(value, tuple) is not held.several:
            return value
        if not held.several:
            return self._inner(held.table, value, at)
        return tuple(self._inner(held.table, item, (*at, i)) for i, item in enumerate(value))

    def _inner(self, table: type[JobTable], value: Any, at: KeyPath) -> Any:
        if isinstance(value, str) and table is DrawingPlan:
            return self._single(value, at)
        if not isinstance(value, dict):
            return value
        return self._table(table, value, at, partial(table, {}))

    def _single(self, path: str, at: KeyPath) -> Any:
        """A drawing given by one path, that of the copper; its mistakes are those of the key."""
        before = len(self.mistakes)
        table = self._table(DrawingPlan, {"copper": path}, at, partial(DrawingPlan, {}))
        self.mistakes[before:] = [
            replace(m, path=at) if m.path == (*at, "copper") else m for m in self.mistakes[before:]
        ]
        return table

    def _cutter(self, name: str, written: Any) -> Any:
        """A cutter; one without a kind where that is not known."""
        at: KeyPath = ("cutters", name)
        if not re.fullmatch(CUTTER_NAME, name):
            words = f"must have a name {CUTTER_NAME_ALLOWED}"
            self.mistakes.append(Mistake("job-bad-value", at, words))
        if not isinstance(written, dict):
            words = f"must be a table headed [cutters.NAME]; got {plain(written)}"
            self.mistakes.append(Mistake("job-wrong-type", at, words))
            return partial(Cutter, {"name": name})
        kind = written.get("kind")
        if not isinstance(kind, str) or kind not in KINDS:
            self.mistakes.append(unknown_kind((*at, "kind"), list(KINDS), written))
            return partial(Cutter, {"name": name})
        table = KINDS[kind]
        return self._table(table, written, at, partial(table, {"name": name}), name=name)


def _may_be_empty(key: Key) -> bool:
    """Whether a key holds a table that may be left out, with the defaults of its keys."""
    held = inner(key)
    if held is None or held.several or key.field.default is None:
        return False
    return bool(key.doc.default)


def _is_own(table: type[JobTable], error: ErrorDetails, errors: list[ErrorDetails]) -> bool:
    """Whether an error is a mistake that nothing else reports."""
    place = error["loc"]
    if not place or isinstance(error["input"], JobTable):
        # contradictions are reported by the checks, and a table's mistakes by itself
        return False
    if error["type"] == "too_short":
        # pydantic does not count elements that have an error
        return not any(e["loc"][: len(place)] == place != e["loc"] for e in errors)
    # what could not be worked out lacks another key
    missing = error["type"] == "missing" and len(place) == 1
    return not (missing and keys(table)[str(place[0])].doc.default)


def _is_read(key: Key, value: object) -> bool:
    """Whether a value is the table, or the tables, that its key holds."""
    held = inner(key)
    if isinstance(value, tuple) and (key.attribute == "cutters" or (held and held.several)):
        return all(isinstance(item, JobTable) for item in value)
    return isinstance(value, JobTable)


def _tuples(value: Any) -> Any:
    """A value of the text with its lists as tuples, which the job keeps."""
    if isinstance(value, list):
        return tuple(map(_tuples, value))
    if isinstance(value, dict):
        return {key: _tuples(item) for key, item in value.items()}
    return value


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
        elif head in ("presets", "drawings") or (
            head in keys(JobPlan) and head not in ("name", "bench")
        ):
            head = f"[{head}]"
    words = ""
    for step in rest:
        words += f" item {step + 1}" if isinstance(step, int) else f".{step}"
    return printable(f"{head} {words.lstrip('. ')}".rstrip())


def unknown_key(table: type[JobTable], path: KeyPath) -> Mistake:
    """A key that its table does not have."""
    known = list(keys(table))
    option = nearest(path[-1], known)
    if path[-1] in RENAMED:
        return Mistake("job-unknown-key", path, f"is written {RENAMED[str(path[-1])]} now")
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
