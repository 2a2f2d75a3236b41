"""A picture as data: a page in mm, y down, and the shapes on it.

Every picture is described once in these shapes. `svg` writes it, and `png` rasterises what `svg`
wrote. A role names what a shape is; the palette has its colour.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.report.palette import COLOURS

FloatArray = NDArray[np.float64]
Point = tuple[float, float]
Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""
Dash = tuple[float, ...]
Anchor = Literal["start", "middle", "end"]


def _check_roles(*roles: str | None) -> None:
    for role in roles:
        if role is not None and role not in COLOURS:
            raise ValueError(f"no colour for {role!r}")


@dataclass(frozen=True, slots=True)
class Area:
    """Polygons, their holes left empty; `edge` is drawn `width` mm wide.

    Raises:
        ValueError: for a role without a colour.
    """

    shapes: tuple[shapely.Geometry, ...]
    role: str | None
    edge: str | None = None
    width: float = 0.0
    dash: Dash = ()
    title: str = ""

    def __post_init__(self) -> None:
        _check_roles(self.role, self.edge)


@dataclass(frozen=True, slots=True)
class Stroke:
    """What a round cutter of this width leaves along (n, 2) lines.

    Raises:
        ValueError: for a role without a colour.
    """

    lines: tuple[FloatArray, ...]
    width: float
    role: str

    def __post_init__(self) -> None:
        _check_roles(self.role)


@dataclass(frozen=True, slots=True)
class Line:
    """(n, 2) lines whose width means nothing.

    Raises:
        ValueError: for a role without a colour.
    """

    lines: tuple[FloatArray, ...]
    width: float
    role: str
    dash: Dash = ()

    def __post_init__(self) -> None:
        _check_roles(self.role)


@dataclass(frozen=True, slots=True)
class Circle:
    """Circles of one radius.

    Raises:
        ValueError: for a role without a colour.
    """

    centres: tuple[Point, ...]
    radius: float
    role: str | None
    edge: str | None = None
    width: float = 0.0

    def __post_init__(self) -> None:
        _check_roles(self.role, self.edge)


@dataclass(frozen=True, slots=True)
class Text:
    """Words from a point of their base line on, turned about it by `turn` degrees clockwise.

    `size` is the font's, mm. With a `halo` they have an outline of paper so wide, so that they
    can be read on anything.

    Raises:
        ValueError: for a role without a colour.
    """

    at: Point
    words: str
    size: float
    role: str = "ink"
    anchor: Anchor = "start"
    turn: float = 0.0
    bold: bool = False
    halo: float = 0.0

    def __post_init__(self) -> None:
        _check_roles(self.role)


@dataclass(frozen=True, slots=True)
class Flag:
    """Words centred in a box of their own; without an edge the box lets a little through.

    Raises:
        ValueError: for a role without a colour.
    """

    box: Box
    words: str
    size: float
    role: str = "flag"
    edge: str | None = "ink"
    width: float = 0.0
    bold: bool = True

    def __post_init__(self) -> None:
        _check_roles(self.role, self.edge)


@dataclass(frozen=True, slots=True)
class Clipped:
    """Shapes of which only what lies in a box is seen."""

    box: Box
    shapes: tuple[Shape, ...]


Shape = Area | Stroke | Line | Circle | Text | Flag | Clipped


@dataclass(frozen=True, slots=True)
class Scene:
    """A picture: its page's width and height in mm, what it is called, and what is on it.

    Raises:
        ValueError: for a page without area.
    """

    size: tuple[float, float]
    title: str
    shapes: tuple[Shape, ...]

    def __post_init__(self) -> None:
        if not (self.size[0] > 0 and self.size[1] > 0):
            raise ValueError(f"a page of {self.size} has no area")

    def words(self) -> list[str]:
        """All words on the page, in the order in which they are drawn."""
        return _words(self.shapes)


def _words(shapes: tuple[Shape, ...]) -> list[str]:
    words: list[str] = []
    for shape in shapes:
        if isinstance(shape, Clipped):
            words += _words(shape.shapes)
        elif isinstance(shape, Text | Flag):
            words.append(shape.words)
    return words
