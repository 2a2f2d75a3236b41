"""From the text's tables to the job: each table read with what is valid in those before it."""

from __future__ import annotations

import re
from contextlib import suppress
from pathlib import Path as File
from typing import Any

from pydantic import ValidationError
from pydantic_core import ArgsKwargs, ErrorDetails, PydanticUndefined

from millprep.job.mistakes import inner, mistake_of, unknown_key, unknown_kind
from millprep.model.cutter import Cutter
from millprep.model.job.cutter_names import KINDS
from millprep.model.job.job import JobPlan
from millprep.model.job.keys import JobSource, JobTable, Key, keys, partial
from millprep.model.job.mistakes import KeyPath, Mistake, UnsettledError, plain

CUTTER_NAME = r"[A-Za-z0-9-]{1,40}"
CUTTER_NAME_ALLOWED = "of letters A to Z, digits and hyphens, 40 at most, for it names files"


class Reader:
    """Reads the tables of a job file.

    Attributes:
        job: what is valid so far; to read another of its tables raises `UnsettledError`.
        mistakes: of all tables.
    """

    def __init__(self, file: File) -> None:
        self._file = file
        self.mistakes: list[Mistake] = []
        self.job: Any = partial(JobPlan, {"file": file})

    def read(self, data: dict[str, Any]) -> JobPlan:
        """The job; it lacks fields where there are mistakes."""
        job: JobPlan = self._table(JobPlan, _tuples(data), (), self.job, file=self._file)
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
        source = JobSource(self._file.parent, self.job, {})
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
        if not isinstance(value, dict):
            return value
        return self._table(table, value, at, partial(table, {}))

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
    return not (error["type"] == "missing" and keys(table)[str(place[0])].doc.default)


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
