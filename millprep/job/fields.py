"""Keys of the job file: what each says about itself, and the shapes values may have."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, Any, get_args

from pydantic import AfterValidator, BaseModel, ConfigDict, Field
from pydantic.fields import FieldInfo

LARGEST = 10_000.0
"""Lengths beyond ten metres are slips of the pen on any mill this tool serves, mm."""

FASTEST_FEED = 100_000.0
FASTEST_SPINDLE = 300_000.0

Number = Annotated[float, Field(ge=-LARGEST, le=LARGEST)]
PositiveNumber = Annotated[float, Field(gt=0, le=LARGEST)]
NotNegative = Annotated[float, Field(ge=0, le=LARGEST)]
Pair = Annotated[list[Number], Field(min_length=2, max_length=2)]
PositivePair = Annotated[list[PositiveNumber], Field(min_length=2, max_length=2)]
Words = Annotated[str, Field(min_length=1)]


def _name(text: str) -> str:
    if not text.isprintable() or text != text.strip() or text in {".", ".."}:
        raise ValueError("not a name")
    return text


Name = Annotated[str, Field(pattern=r"^[^/\\]+$", max_length=100), AfterValidator(_name)]
NAME_ALLOWED = "a name without / and \\ and control characters, 100 letters at most"


class Table(BaseModel):
    """A table of the job file: no key but its own, no value bent into shape."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)


def filled(model: type[Table], table: dict[str, Any] | None) -> dict[str, Any]:
    """What a table says, with the defaults of the keys it leaves out."""
    fields = model.model_fields.items()
    return {name: field.default for name, field in fields if not field.is_required()} | (
        table or {}
    )


@dataclass(frozen=True, slots=True)
class Doc:
    """What a key means to a person.

    Attributes:
        default: in words; empty when the key must be written.
        allowed: what may stand there, to follow "must be".
        choices: the words to choose from, if it is a choice.
    """

    meaning: str
    unit: str
    default: str
    allowed: str
    choices: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """Meaning, unit and default in one line."""
        notes = [self.unit] if self.unit else []
        notes.append(f"default: {self.default}" if self.default else "no default")
        return f"{self.meaning} ({'; '.join(notes)})"

    def __call__(self, schema: dict[str, Any]) -> None:
        """Leave the JSON Schema as it is; pydantic keeps the object for us."""


def doc_of(field: FieldInfo) -> Doc:
    """The doc that `entry` gave a field."""
    doc = field.json_schema_extra
    assert isinstance(doc, Doc), "every key of the job file is made by entry()"
    return doc


def entry(
    meaning: str,
    allowed: str,
    *,
    unit: str = "",
    default: Any = ...,
    words: str = "",
    choices: tuple[str, ...] = (),
    **bounds: Any,
) -> Any:
    """A key with its documentation; `words` tell a default that is worked out."""
    if not words and default is not ...:
        words = plain(default)
    doc = Doc(meaning, unit, words, allowed, choices)
    return Field(default, description=doc.sentence, json_schema_extra=doc, **bounds)


def number(
    meaning: str,
    unit: str,
    *,
    default: Any = ...,
    words: str = "",
    above: float | None = None,
    least: float | None = None,
    below: float | None = None,
    most: float | None = None,
    whole: bool = False,
) -> Any:
    """A key that takes one number within bounds."""
    limits = {"gt": above, "ge": least, "lt": below, "le": most}
    said = {"gt": "above", "ge": "at least", "lt": "below", "le": "at most"}
    bounds: dict[str, Any] = {name: value for name, value in limits.items() if value is not None}
    allowed = "a whole number" if whole else "a plain number"
    if unit:
        allowed += f" in {unit}"
    if bounds:
        ranges = (f"{said[name]} {value:g}" for name, value in bounds.items())
        allowed += ", " + " and ".join(ranges)
    return entry(meaning, allowed, unit=unit, default=default, words=words, **bounds)


def choice(meaning: str, literal: Any, *, default: Any = ..., words: str = "") -> Any:
    """A key that takes one of the words of a Literal."""
    choices = get_args(literal)
    quoted = [plain(word) for word in choices]
    allowed = ", ".join(quoted[:-1]) + " or " + quoted[-1]
    return entry(meaning, allowed, default=default, words=words, choices=choices)


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


def nearest(word: object, options: Iterable[str]) -> str | None:
    """The option spelt most like a word, if any is near."""
    if not isinstance(word, str):
        return None
    lower = {option.lower(): option for option in options}
    found = difflib.get_close_matches(word.lower(), lower, n=1)
    return lower[found[0]] if found else None
