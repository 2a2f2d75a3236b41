"""Apertures: what a flash leaves, and what a pen draws lines with."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import shapely

from millprep.drawing.gerber.macros import MOST_PARTS, Macro, disc, polygon
from millprep.drawing.gerber.statements import Statement
from millprep.geometry.path import Path

_DEFINITION = re.compile(r"ADD0*(\d+)([A-Za-z_.$][^,]*)(?:,(.*))?")


@dataclass(frozen=True, slots=True)
class Aperture:
    """One aperture as it is defined.

    Attributes:
        kind: "C", "R", "O", "P", or "" for one by a macro.
        values: sizes in the unit of the file.
    """

    statement: Statement
    kind: str
    values: tuple[float, ...]
    macro: Macro | None = None

    @property
    def hollow(self) -> bool:
        """Whether it has a hole."""
        return len(self.values) > _SIZES.get(self.kind, len(self.values))

    def pen(self, mm: float) -> float | None:
        """Its diameter if it is a round area without a hole, mm."""
        return self.values[0] * mm if self.kind == "C" and not self.hollow else None

    def area(self, mm: float, sagitta: float) -> shapely.Geometry:
        """What it leaves where it is flashed, about its middle, mm.

        Raises:
            UnreadableError: when its macro is wrong, at its line.
        """
        if self.macro is not None:
            return self.macro.area(self.values, mm, sagitta)
        size = [value * mm for value in self.values]
        shape: shapely.Geometry
        if self.kind == "C":
            shape = disc(0.0, 0.0, size[0], sagitta)
        elif self.kind == "R":
            shape = _box(size[0], size[1])
        elif self.kind == "O":
            shape = _obround(size[0], size[1], sagitta)
        else:
            turn = self.values[2] if len(self.values) > 2 else 0.0
            shape = polygon(int(self.values[1]), size[0], turn)
        if not self.hollow:
            return shape
        hole = size[_SIZES[self.kind] :]
        inner = _box(hole[0], hole[1]) if len(hole) == 2 else disc(0.0, 0.0, hole[0], sagitta)
        return shapely.difference(shape, inner)


_SIZES = {"C": 1, "R": 2, "O": 2, "P": 3}
"""How many values a standard aperture takes before those of its hole."""


def defined(statement: Statement, macros: dict[str, Macro]) -> tuple[int, Aperture]:
    """Number and aperture of a statement `ADD…`.

    Raises:
        UnreadableError: when it defines none.
    """
    match = _DEFINITION.fullmatch(statement.text.replace(" ", ""))
    if match is None:
        raise statement.fault("defines no aperture; one is written ADD10C,0.5")
    number, kind = int(match[1]), match[2]
    # some writers leave an X after the last value
    fields = match[3].removesuffix("X").split("X") if match[3] else []
    try:
        values = tuple(float(field) for field in fields)
    except ValueError:
        raise statement.fault("a size of the aperture is no number") from None
    if not np.isfinite(values).all():
        raise statement.fault("a size of the aperture is no number")
    if number < 10:
        raise statement.fault(f"D{number} is no number of an aperture; they begin at D10")
    if kind not in _SIZES:
        if kind not in macros:
            raise statement.fault(f"there is no aperture macro {kind!r} before this line")
        return number, Aperture(statement, "", values, macros[kind])
    _check(statement, kind, values)
    return number, Aperture(statement, kind, values)


def _check(statement: Statement, kind: str, values: tuple[float, ...]) -> None:
    """Sizes that make no aperture are faults."""
    need = 2 if kind == "P" else _SIZES[kind]
    if not need <= len(values) <= _SIZES[kind] + 2:
        raise statement.fault(f"an aperture {kind} takes {need} values and has {len(values)}")
    sizes = values[:1] if kind == "P" else values[:need]
    if min(sizes) < 0 or (kind != "C" and not min(sizes) > 0):
        raise statement.fault("a size of the aperture is not above zero")
    if kind == "P" and not (3 <= values[1] <= MOST_PARTS and values[1] == int(values[1])):
        raise statement.fault(f"a polygon cannot have {values[1]:g} corners")
    if any(not hole >= 0 for hole in values[_SIZES[kind] :]):
        raise statement.fault("the hole of the aperture has a size below zero")


def _box(wide: float, high: float) -> shapely.Polygon:
    return shapely.box(-wide / 2, -high / 2, wide / 2, high / 2)


def _obround(wide: float, high: float, sagitta: float) -> shapely.Geometry:
    """A rectangle whose shorter sides are half circles."""
    radius, long = min(wide, high) / 2, abs(wide - high) / 2
    if not long > 0:
        return disc(0.0, 0.0, wide, sagitta)
    ends = np.array([(-long, -radius), (long, -radius), (long, radius), (-long, radius)])
    if high > wide:
        ends = np.column_stack((-ends[:, 1], ends[:, 0]))
    # two quarters to an end, so that its tip is a point of the outline
    tips = (ends[[1, 3]] + ends[[2, 0]]) / 2 + radius * (ends[[1, 3]] - ends[[0, 2]]) / (2 * long)
    ring = np.vstack((ends[:2], tips[:1], ends[2:], tips[1:], ends[:1]))
    quarter = float(np.tan(np.pi / 8))
    bulges = np.array([0.0, quarter, quarter, 0.0, quarter, quarter])
    return shapely.Polygon(Path(ring, bulges).flattened(sagitta))
