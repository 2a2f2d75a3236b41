"""What all rows of report.json have in common: how they are checked, and the kinds of figures."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Sequence
from functools import cache
from typing import Annotated, Any, Self, get_args

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from millprep.geometry.pose import Pose
from millprep.model.blank import Box


def described(schema: dict[str, Any], kind: type[BaseModel]) -> None:
    """Give properties the words below their fields, and drop titles, which only repeat names.

    A schema is wanted seldom: pydantic would read the sources of all rows whenever they are loaded.
    """
    import ast
    import inspect

    words: dict[str, str] = {}
    for base in reversed(kind.__mro__[: kind.__mro__.index(BaseModel)]):
        (body,) = ast.parse(inspect.getsource(base)).body
        lines = body.body if isinstance(body, ast.ClassDef) else []
        for line, below in itertools.pairwise(lines):
            match line, below:
                case (
                    ast.AnnAssign(target=ast.Name(id=name)),
                    ast.Expr(value=ast.Constant(value=str() as text)),
                ):
                    words[name] = inspect.cleandoc(text)
    for name, field in kind.model_fields.items():
        prop = schema["properties"][field.serialization_alias or name]
        prop.pop("title", None)
        if name in words:
            prop["description"] = words[name]


class Row(BaseModel):
    """A row of report.json: its keys in order, each described by the words below it.

    A row is built from values of a set, or read from a file; both ways it holds the same figures,
    with the decimals that their type has. No key may be missing, and none is unknown. A key that
    is added later needs a default, so that older reports can still be read.
    """

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        strict=True,
        allow_inf_nan=False,
        populate_by_name=True,
        json_schema_extra=described,
    )

    @classmethod
    def of(cls, value: Any) -> Self:
        """The row of a value that has an attribute for every field."""
        return cls.taken(value)

    @classmethod
    def taken(cls, value: object, **given: Any) -> Self:
        """The row of a value: fields that are not `given` are its attributes of the same names.

        Where a field holds rows, they are made of what is found there.
        """
        return cls(
            **{
                name: _as_rows(given[name] if name in given else getattr(value, name), row_class)
                for name, row_class in cls._row_classes().items()
            }
        )

    @classmethod
    @cache
    def _row_classes(cls) -> dict[str, type[Row] | None]:
        """The class of the rows in each field."""
        return {name: _row_class(field.annotation) for name, field in cls.model_fields.items()}

    def row(self) -> dict[str, Any]:
        """The row as plain data, in the order of the keys."""
        return self.model_dump(mode="json", by_alias=True)


def _row_class(annotation: Any) -> type[Row] | None:
    """The class of the rows in a type such as `tuple[FileRow, ...] | None`, if it holds any."""
    if inner := get_args(annotation):
        return next(filter(None, map(_row_class, inner)), None)
    return annotation if isinstance(annotation, type) and issubclass(annotation, Row) else None


def _as_rows(value: Any, row_class: type[Row] | None) -> Any:
    """A value, or each of several, as a row of its class; what is one already stays."""
    if row_class is None or value is None or isinstance(value, (Row, dict)):
        return value
    if isinstance(value, tuple):
        return tuple(_as_rows(item, row_class) for item in value)
    return row_class.of(value)


def key(name: str) -> Any:
    """The key of a field whose attribute has another name."""
    return Field(validation_alias=name, serialization_alias=name)


def _decimals(digits: int) -> Callable[[Any], Any]:
    """Rounds floats, without a negative zero; all else is left to the field's own check."""
    return lambda value: round(value, digits) + 0.0 if isinstance(value, float) else value


def _characters(value: Any) -> Any:
    """A file name of the system may hold bytes that are no characters; UTF-8 has none of those."""
    return value.encode("utf-8", "replace").decode() if isinstance(value, str) else value


def _corners(value: Any) -> Any:
    """The corners of a box; a list of JSON as the tuple that a strict row requires."""
    if isinstance(value, Box):
        return value.bounds
    return tuple(value) if isinstance(value, list) else value


Text = Annotated[str, BeforeValidator(_characters)]
Sha256 = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
Count = Annotated[int, Field(ge=0)]
Number = Annotated[int, Field(ge=1)]
"""Number of a blank, a pass, a copy or a line."""

Figure = Annotated[float, BeforeValidator(_decimals(4))]
"""Four decimals: mm, degrees, V, A, K."""
Length = Annotated[Figure, Field(ge=0)]
Size = Annotated[Figure, Field(gt=0)]
Fine = Annotated[float, Field(ge=0), BeforeValidator(_decimals(5))]
"""Five decimals, so that chip loads keep their digits."""
Micro = Annotated[float, BeforeValidator(_decimals(6))]
"""Six decimals: small voltages."""
Ohms = Annotated[float, Field(ge=0), BeforeValidator(_decimals(7))]
_Entry = Annotated[float, BeforeValidator(_decimals(9))]

Place = tuple[Figure, Figure]
"""[x, y], mm."""
Share = Annotated[Figure, Field(ge=0, le=1)]
Corners = Annotated[
    tuple[Figure, Figure, Figure, Figure],
    BeforeValidator(_corners),
]
"""[x0, y0, x1, y1], mm."""
Direction = tuple[Micro, Micro]
"""Unit vector [x, y]."""
Passes = tuple[Number, Number]
_Six = tuple[_Entry, _Entry, _Entry, _Entry, _Entry, _Entry]


def _rigid(entries: _Six) -> _Six:
    Pose(*entries)
    return entries


Affine = Annotated[_Six, AfterValidator(_rigid)]
"""[a, b, c, d, e, f]: x' = a·x + b·y + c, y' = d·x + e·y + f, a rigid motion."""


def places(coordinates: Iterable[Sequence[float]]) -> tuple[Place, ...]:
    """Corners of a polygon."""
    return tuple((float(x), float(y)) for x, y in coordinates)
