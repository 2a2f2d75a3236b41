"""Keys of the job file: each with its name, unit, default, range and meaning, written once.

A table of the job file is a frozen dataclass that pydantic validates. The plan, the JSON Schema,
the table of keys and the error texts all come from its fields.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass as plain_dataclass
from dataclasses import field
from functools import cache
from pathlib import Path as File
from typing import TYPE_CHECKING, Annotated, Any, Literal, NamedTuple, get_args

from pydantic import (
    AfterValidator,
    ConfigDict,
    Field,
    PlainValidator,
    ValidationInfo,
    ValidatorFunctionWrapHandler,
    WithJsonSchema,
    field_validator,
)
from pydantic.dataclasses import dataclass
from pydantic_core import PydanticCustomError

from millprep.model.job.mistakes import Mistake, UnsettledError, checks_of, plain, settled

if TYPE_CHECKING:
    from pydantic.fields import FieldInfo

    from millprep.model.job.job import JobPlan

LARGEST = 10_000.0
"""Longer lengths are typing errors on any mill this tool serves, mm."""
FASTEST_FEED = 100_000.0
FASTEST_SPINDLE = 300_000.0

Number = Annotated[float, Field(ge=-LARGEST, le=LARGEST)]
PositiveNumber = Annotated[float, Field(gt=0, le=LARGEST)]
NotNegative = Annotated[float, Field(ge=0, le=LARGEST)]
Pair = tuple[Number, Number]
PositivePair = tuple[PositiveNumber, PositiveNumber]
Words = Annotated[str, Field(min_length=1)]

POINT_ALLOWED = "a point [x, y] in plain numbers, mm"
CORNERS_ALLOWED = "four plain numbers in mm, [x0, y0, x1, y1] with x0 < x1 and y0 < y1"
NAME_ALLOWED = "a name without / and \\ and control characters, 100 letters at most"
FLAG_ALLOWED = "true or false"


def _in_order(corners: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
    x0, y0, x1, y1 = corners
    if not (x0 < x1 and y0 < y1):
        raise ValueError("the lower-left corner comes first")
    return corners


Corners = Annotated[tuple[Number, Number, Number, Number], AfterValidator(_in_order)]
"""An upright rectangle, (x0, y0, x1, y1)."""


def _name(text: str) -> str:
    if not text.isprintable() or text != text.strip() or text in {".", ".."}:
        raise ValueError("not a name")
    return text


Name = Annotated[str, Field(pattern=r"^[^/\\]+$", max_length=100), AfterValidator(_name)]


@plain_dataclass(slots=True)
class JobSource:
    """What a table needs beyond itself while it is read from a job file.

    Attributes:
        folder: of the job file; relative paths start there.
        copies: in a job that a set keeps, the file for every path that it names.
        job: the tables that are read already; to read another raises `UnsettledError`.
        fields: the fields of this table that are valid, filled in on the way.
    """

    folder: File
    copies: Mapping[str, File]
    job: JobPlan
    fields: dict[str, Any]


class NamedFile(NamedTuple):
    """A file that the job names: absolute, and as the job wrote it."""

    file: File
    name: str


InputRole = Literal["job", "bench", "named", "reading"]
"""What a file is to a set; a job names its drawings and other files."""


@plain_dataclass(frozen=True, slots=True)
class InputFile:
    """A file the set was made from, by its name in the job and its hash.

    Attributes:
        file: the name; a byte of it that is no text is shown as U+FFFD, so that any file of a set
            can hold it.
        role: what it is to the set.
        source: where it can be read; None where that is not known.
    """

    file: str
    sha256: str
    role: InputRole = "named"
    source: File | None = field(default=None, compare=False)

    def __post_init__(self) -> None:
        text = self.file.encode("utf-8", "surrogateescape").decode("utf-8", "replace")
        object.__setattr__(self, "file", text)


def _from_folder(value: object, info: ValidationInfo) -> NamedFile:
    if isinstance(value, NamedFile):
        return value
    if not isinstance(value, str):
        raise PydanticCustomError("path_type", "no text")
    if not value or not isinstance(info.context, JobSource):
        raise ValueError("no path from a folder that is known")
    source = info.context
    return NamedFile(source.copies.get(value, source.folder / value).resolve(), value)


FilePath = Annotated[
    NamedFile, PlainValidator(_from_folder), WithJsonSchema({"type": "string", "minLength": 1})
]
"""A path; the job file gives it as seen from its own folder."""

TABLE = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, populate_by_name=True)


@dataclass(frozen=True, slots=True, config=TABLE)
class JobTable:
    """A table of the job file: no key but its own, no value converted to another type.

    Raises:
        ValueError: for a value out of its range, and for keys that contradict each other.
    """

    @field_validator("*", mode="wrap")
    @classmethod
    def _keep(cls, value: Any, handler: ValidatorFunctionWrapHandler, info: ValidationInfo) -> Any:
        """Keep each valid field, for the checks of a table that has a mistake elsewhere."""
        valid = handler(value)
        if isinstance(info.context, JobSource) and info.field_name is not None:
            info.context.fields[info.field_name] = valid
        return valid

    def __post_init__(self) -> None:
        for mistake in self.mistakes():
            raise ValueError(f"{'.'.join(map(str, mistake.path))} {mistake.words}")

    if not TYPE_CHECKING:

        def __getattr__(self, name: str) -> Any:
            """Called only for what is not set."""
            raise UnsettledError(name)

    def mistakes(self) -> list[Mistake]:
        """What contradicts itself between the keys that are valid."""
        return [
            mistake for name in checks_of(type(self)) for mistake in settled(getattr(self, name)())
        ]


def partial(kind: type[JobTable], fields: dict[str, Any]) -> Any:
    """A table with only some of its fields; to read another raises `UnsettledError`."""
    part = object.__new__(kind)
    for name, value in fields.items():
        object.__setattr__(part, name, value)
    return part


@plain_dataclass(frozen=True, slots=True)
class Doc:
    """What a key means to a person, and where its default comes from.

    Attributes:
        default: in words; empty when the key must be written.
        allowed: what it may be, to follow "must be".
        choices: the words to choose from, if it is a choice.
        otherwise: gives the default that other keys decide, from the job as read so far and from
            this table.
    """

    meaning: str
    unit: str
    default: str
    allowed: str
    choices: tuple[str, ...] = ()
    otherwise: Callable[[JobPlan, Any], Any] | None = None

    @property
    def sentence(self) -> str:
        """Meaning, unit and default in one line."""
        notes = [self.unit] if self.unit else []
        notes.append(f"default: {self.default}" if self.default else "no default")
        return f"{self.meaning} ({'; '.join(notes)})"

    def __call__(self, schema: dict[str, Any]) -> None:
        """Leave the JSON Schema as it is; pydantic keeps the object for us."""


class Key(NamedTuple):
    """A key of a table: the name of its field in the plan, the field, and what it means."""

    attribute: str
    field: FieldInfo
    doc: Doc


def keys(table: type[JobTable]) -> dict[str, Key]:
    """The keys of a table by their names in the job file; fields that are no keys are left out."""
    known: dict[str, Key] = _keys(table)  # type: ignore[arg-type]
    return known


@cache
def _keys(table: Any) -> dict[str, Key]:
    fields: dict[str, FieldInfo] = table.__pydantic_fields__
    return {
        field.alias or name: Key(name, field, field.json_schema_extra)
        for name, field in fields.items()
        if isinstance(field.json_schema_extra, Doc)
    }


def entry(
    meaning: str,
    allowed: str,
    *,
    key: str | None = None,
    unit: str = "",
    default: Any = ...,
    words: str | None = None,
    otherwise: Callable[[JobPlan, Any], Any] | None = None,
    choices: tuple[str, ...] = (),
    **bounds: Any,
) -> Any:
    """A key with its documentation.

    Args:
        meaning: one phrase.
        allowed: what it may be, to follow "must be".
        key: its name in the job file, where the field has another.
        unit: of its value.
        default: of the field.
        words: the default for a person, where `default` does not say it.
        otherwise: gives the default that other keys decide; `words` say it.
        choices: the words to choose from.
        **bounds: what pydantic checks.
    """
    if words is None:
        words = "" if default is ... else plain(default)
    doc = Doc(meaning, unit, words, allowed, choices, otherwise)
    return Field(default, alias=key, description=doc.sentence, json_schema_extra=doc, **bounds)


def number(
    meaning: str,
    unit: str,
    *,
    above: float | None = None,
    least: float | None = None,
    below: float | None = None,
    most: float | None = None,
    whole: bool = False,
    **rest: Any,
) -> Any:
    """A key that takes one number within one bound at least; `rest` as of `entry`."""
    limits = {"gt": above, "ge": least, "lt": below, "le": most}
    phrases = {"gt": "above", "ge": "at least", "lt": "below", "le": "at most"}
    bounds: dict[str, Any] = {name: value for name, value in limits.items() if value is not None}
    allowed = "a whole number" if whole else "a plain number"
    if unit:
        allowed += f" in {unit}"
    ranges = (f"{phrases[name]} {value:g}" for name, value in bounds.items())
    allowed += ", " + " and ".join(ranges)
    return entry(meaning, allowed, unit=unit, **rest, **bounds)


def choice(meaning: str, literal: Any, **rest: Any) -> Any:
    """A key that takes one of the words of a Literal; `rest` as of `entry`."""
    choices = get_args(literal)
    *most, last = (plain(word) for word in choices)
    allowed = f"{', '.join(most)} or {last}" if most else last
    return entry(meaning, allowed, choices=choices, **rest)


def flag(meaning: str, *, default: bool, **rest: Any) -> Any:
    """A key that is true or false; `rest` as of `entry`."""
    return entry(meaning, FLAG_ALLOWED, default=default, **rest)


def preset_key(kind: str, meaning: str) -> Any:
    """The key that names a preset of a kind, such as "cutter"."""
    return entry(meaning, f"the name of a {kind} preset", default=None, words="none")
