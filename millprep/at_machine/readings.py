"""A readings file: what a person read at the machine in one pass.

It has `set = "ID"` as sheet and programs name it, and either `unit = "mm"` and in the table
[holes] a line for each hole, `r1 = [41.02, 6.01]`, in machine coordinates as read in that pass;
or in the table [verniers] a line for each vernier, `v1 = -3.5`, the number of the line that runs
through; or, with the unit, in the table [touches] a line for each hole, the spindle's place at
four touches and the tip's diameter,
`r1 = { left = 40.51, right = 41.53, low = 5.5, high = 6.52, probe = 2.0 }`.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from millprep.files.reading import MOST_TEXT, contents, toml
from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.finding import Finding, Refusal
from millprep.model.job.keys import InputFile
from millprep.report.report_model import Report

FARTHEST = 10_000.0
"""A coordinate beyond ten metres is a typing error, mm."""

Kind = Literal["holes", "verniers", "touches"]
OPTION: dict[Kind, str] = {"holes": "", "verniers": "--vernier", "touches": "--touches"}
"""The option for each kind of readings."""

MOST_LINES = 100
"""No vernier has more lines on either side."""

Number = Annotated[float, Field(ge=-FARTHEST, le=FARTHEST)]


class _File(BaseModel):
    """The file's keys and no others."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)

    set: Annotated[str, Field(min_length=1)]


class _Holes(_File):
    unit: Literal["mm"]
    holes: Annotated[
        dict[str, Annotated[list[Number], Field(min_length=2, max_length=2)]], Field(min_length=1)
    ]


class _Sides(BaseModel):
    """The touches of one hole."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)

    left: Number
    right: Number
    low: Number
    high: Number
    probe: Annotated[float, Field(gt=0, le=100)]


class _Verniers(_File):
    verniers: Annotated[
        dict[str, Annotated[float, Field(ge=-MOST_LINES, le=MOST_LINES)]], Field(min_length=1)
    ]


class _Touches(_File):
    unit: Literal["mm"]
    touches: Annotated[dict[str, _Sides], Field(min_length=1)]


MODELS: dict[Kind, type[_File]] = {
    "holes": _Holes, "verniers": _Verniers, "touches": _Touches,
}  # fmt: skip
ALLOWED = {
    "set": "the id of the set in quotes, as its sheet and programs name it",
    "unit": '"mm"',
    "holes": "a table of readings in mm, such as r1 = [41.02, 6.01]",
    "touches": (
        "a table of four touches and the tip's diameter for each hole in mm, such as "
        "r1 = { left = 40.51, right = 41.53, low = 5.5, high = 6.52, probe = 2.0 }"
    ),
    "verniers": "a table of lines that run through, such as v1 = -3.5",
}
"""The value of each key, to follow "must be"."""


class Touches(NamedTuple):
    """Where the spindle's axis was when a tip of a diameter touched a hole's rim, mm."""

    left: float
    right: float
    low: float
    high: float
    probe: float


@dataclass(frozen=True, slots=True)
class Readings:
    """What was read: holes, verniers or touches.

    Attributes:
        file: name and hash of the file.
        set: id of the set they were taken for.
        holes: id of a hole to its place, machine frame, mm.
        verniers: id of a vernier to the number of the line that runs through.
        touches: id of a hole to its touches.
    """

    file: InputFile
    set: str
    holes: Mapping[str, Point]
    verniers: Mapping[str, float] = field(default_factory=dict)
    touches: Mapping[str, Touches] = field(default_factory=dict)


def load(file: Path, kind: Kind = "holes") -> Readings:
    """Read a readings file with readings of a kind.

    Raises:
        Refusal: exit code 2, with every mistake of the file.
    """
    try:
        raw = contents(file, MOST_TEXT)
        data = toml(raw.decode("utf-8-sig").replace("\r\n", "\n"))
    except OSError as fault:
        words = f"cannot be read ({fault.strerror})"
        raise _refusal(file, [("readings-unreadable", words)]) from None
    except ValueError as fault:
        raise _refusal(file, [("readings-syntax", f"is not valid TOML: {fault}")]) from None
    read_from = InputFile(file.name, hashlib.sha256(raw).hexdigest(), "reading", file)
    for other, option in OPTION.items():
        if other in data and kind not in data:
            words = f"give it with {option}" if option else f"give it without {OPTION[kind]}"
            raise _refusal(file, [("readings-other-kind", f"holds [{other}]: {words}")])
    model = MODELS[kind]
    try:
        read = model.model_validate(data)
    except ValidationError as fault:
        raise _refusal(file, _mistakes(data, fault, list(model.model_fields))) from None
    if isinstance(read, _Verniers):
        return Readings(read_from, read.set, {}, {k: float(v) for k, v in read.verniers.items()})
    if isinstance(read, _Touches):
        touches = {
            name: Touches(*(float(v) for v in sides.model_dump().values()))
            for name, sides in read.touches.items()
        }
        return Readings(read_from, read.set, {}, touches=touches)
    assert isinstance(read, _Holes)
    return Readings(
        read_from, read.set, {name: (float(at[0]), float(at[1])) for name, at in read.holes.items()}
    )


def _mistakes(
    data: dict[str, Any], fault: ValidationError, keys: list[str]
) -> Iterator[tuple[str, str]]:
    """Code and words of every mistake; only one for a hole whose place is wrong twice."""
    named = set()
    for error in fault.errors(include_url=False, include_context=False):
        path = [str(step) for step in error["loc"]][:2]
        if tuple(path) in named:
            continue
        named.add(tuple(path))
        name = " ".join([f"[{path[0]}]", path[1]]) if len(path) > 1 else path[0]
        if error["type"] == "extra_forbidden" and len(path) == 1:
            yield "readings-unknown-key", (f"has an unknown key {name}; allowed: {', '.join(keys)}")
        elif error["type"] == "missing" and len(path) == 1:
            yield "readings-missing-key", f"lacks {name}, which must be {ALLOWED[path[0]]}"
        elif path == ["unit"] and str(data["unit"]).lower().startswith("in"):
            yield (
                "readings-in-inches",
                'holds readings in inches: multiply each by 25.4 and say unit = "mm"',
            )
        elif path[0] == "verniers" and len(path) > 1:
            yield (
                "readings-bad-value",
                f"{name} must be the number of a line, such as -3.5",
            )
        elif path[0] == "touches" and len(path) > 1:
            yield (
                "readings-bad-value",
                f"{name} must hold left, right, low, high and probe, plain numbers in mm",
            )
        elif len(path) > 1:
            yield (
                "readings-bad-value",
                f"{name} must be [x, y], two plain numbers in mm within ±{FARTHEST:g}",
            )
        else:
            yield "readings-bad-value", f"{name} must be {ALLOWED[path[0]]}"


def expected_pose(readings: Readings, source: Report, blank: int, number: int) -> Pose:
    """The pose that the set expected in this pass.

    Raises:
        Refusal: when the readings are of another set, or it has no such pass.
    """
    if readings.set != source.set:
        raise refused(
            "readings-of-another-set",
            f"The readings were taken for set {readings.set}, and the folder holds set "
            f"{source.set}. Use the set whose id is on the sheet at the mill.",
        )
    expected = source.poses.get((blank, number))
    if expected is None:
        known = ", ".join(f"blank {b} pass {k}" for b, k in sorted(source.poses))
        message = f"The set has no blank {blank} pass {number}. It has {known}."
        raise refused("no-such-pass", message)
    return expected


def refused(
    code: str, message: str, blank: int | None = None, number: int | None = None
) -> Refusal:
    """A refusal with one finding."""
    finding = Finding(code=code, severity="stop", message=message, blank=blank, mill_pass=number)
    return Refusal([finding])


def _refusal(file: Path, mistakes: Any) -> Refusal:
    return Refusal(
        [
            Finding(code=code, severity="stop", message=f"{file.name} {words}.", file=str(file))
            for code, words in mistakes
        ],
        exit_code=2,
    )
