"""Marks of a Gerber or drill file, for what the file draws."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from millprep.drawing.gerber.drill import read_drill
from millprep.drawing.gerber.layer import read_layer
from millprep.drawing.gerber.statements import UnreadableError
from millprep.drawing.kinds import Kind
from millprep.drawing.ledger import Ledger
from millprep.drawing.marks.mark import Aside, Curve, Fill, Mark, Stroke
from millprep.drawing.unit import MM
from millprep.geometry.path import Point
from millprep.model.board import Lettering
from millprep.model.job.layers import LayerRoles, Unit

NO_CONTENT = frozenset({"comment", "name", "attribute"})
"""Kinds of statements that say something of a file and are not drawn."""


@dataclass(frozen=True, slots=True)
class FabricationFile:
    """What a Gerber or drill file holds, mm.

    Attributes:
        marks: of its one layer, as the file draws them.
        noted: what draws nothing.
        nets: a place on the copper of each shape of a net, with the net's name.
        unit: as the file gives it.
        function: what the file says of itself, `("Copper", "L2", "Bot")`.
        count: of marks and notes.
    """

    kind: Kind
    name: str
    marks: tuple[Fill | Stroke, ...]
    noted: tuple[Aside, ...]
    nets: tuple[Lettering, ...]
    unit: Unit | None
    function: tuple[str, ...]
    count: int


def open_file(
    content: bytes,
    kind: Kind,
    name: str,
    units: tuple[str, Unit | None, Unit | None],
    ledger: Ledger,
    first: int = 0,
) -> FabricationFile:
    """Read a Gerber or drill file.

    Args:
        content: of the file.
        kind: of the file.
        name: what to call its one layer.
        units: the job's key for the unit of this file, what it gives, and what counts where neither
            the job nor the file says any.
        ledger: takes the faults.
        first: number of its first mark, so that several files can share a ledger.

    Raises:
        Refusal: exit code 3, with the line that cannot be read.
    """
    key, stated, spare = units
    nets: tuple[Lettering, ...] = ()
    marks: tuple[Fill | Stroke, ...] = ()
    try:
        if kind == "drill":
            drill = read_drill(content, name, stated or spare, first)
            marks, noted, count = drill.strokes, drill.noted, drill.count
            unit, function = drill.unit, drill.function
            if drill.assumed:
                _assumed(drill.assumed, drill.strokes, ledger)
        else:
            layer = read_layer(content, name, stated or spare, first)
            marks = tuple(shape.mark for shape in layer.shapes)
            noted, count, unit, function = layer.noted, layer.count, layer.unit, layer.function
            nets = tuple(
                Lettering(shape.net, _place(shape.mark), mirrored=False)
                for shape in layer.shapes
                if shape.net is not None and (isinstance(shape.mark, Stroke) or shape.mark.areas)
            )
    except UnreadableError as fault:
        ledger.stop("statement-unreadable", f"{ledger.shown_as}, {fault}", fault.remedy)
    ledger.refuse_if_stopped()
    if stated is not None and unit is not None and MM[unit] != MM[stated]:
        ledger.stop(
            "unit-contradicts",
            f"the job says the unit is {stated}, {ledger.shown_as} says {unit}",
            f"take {key} out of the job to believe the file",
        )
    return FabricationFile(kind, name, marks, noted, nets, unit, function, count)


def _assumed(words: str, strokes: Sequence[Stroke], ledger: Ledger) -> None:
    if not strokes:
        return
    ledger.warn(
        "drill-format-assumed",
        f"{ledger.shown_as} does not say how its numbers are written. They are read with {words}. "
        "Look whether the holes lie on their pads; if not, export the file with decimal points.",
        _place(strokes[0]),
    )


def _place(mark: Fill | Stroke) -> Point:
    if isinstance(mark, Stroke):
        x, y = mark.curve.points[0].tolist()
        return (x, y)
    point = mark.areas[0].representative_point()
    return (point.x, point.y)


def check(file: FabricationFile, layers: LayerRoles, role: str, ledger: Ledger) -> None:
    """Layers in a file that has none are faults, and a drill file that is to draw anything else.

    Raises:
        Refusal: exit code 3, when there are any.
    """
    for named in ("copper", "outline", "holes"):
        for name in getattr(layers, named):
            ledger.stop(
                "layer-absent",
                f"the job looks for layer {name!r} ({named}) in {ledger.shown_as}, which is a "
                f"{file.kind} file and has no layers",
                f"take it out of layers.{named}; drawing = {{ copper = FILE, {named} = FILE }} "
                "says what a file draws",
            )
    if file.kind == "drill" and role != "holes":
        ledger.stop(
            f"{role}-empty",
            f"{ledger.shown_as} is a drill file and draws no {role}",
            "name it as the file of the holes",
        )
    ledger.refuse_if_stopped()


def marks_for(role: str, file: FabricationFile, ledger: Ledger) -> list[Mark]:
    """The marks of a file as those of its role: "copper", "outline" or "holes".

    Apertures of no size leave no copper. Comments, names and attributes are no content, so the
    ledger does not list them. Regions of an outline count by their edge.
    """
    of_role: dict[str, Callable[[Fill | Stroke], list[Mark] | None]]
    of_role = {"copper": _copper, "outline": _outline, "holes": lambda mark: [mark]}
    out: list[Mark] = []
    inner = _in_larger(file.marks) if file.kind == "drill" else set()
    for n, mark in enumerate(file.marks):
        if n in inner:
            ledger.leave(mark.source, "a larger hole has the same centre", harmless=True)
            continue
        taken = of_role[role](mark)
        if taken is None:
            ledger.leave(mark.source, "it has no size, so it draws nothing", harmless=True)
        else:
            out += taken
    for aside in file.noted:
        if aside.source.kind not in NO_CONTENT:
            ledger.leave(aside.source, aside.reason, harmless=aside.harmless)
    return out


def _in_larger(marks: Sequence[Fill | Stroke]) -> set[int]:
    """Holes of a drill file with a larger one about the same centre: first drills, as a rule."""
    largest: dict[tuple[float, float], tuple[float, int]] = {}
    inner: set[int] = set()
    for n, mark in enumerate(marks):
        if not isinstance(mark, Stroke) or len(mark.vertices) > 1:
            continue
        x, y = np.round(mark.vertices[0], 6).tolist()
        width = float(mark.widths[0])
        known, other = largest.setdefault((x, y), (width, n))
        if width > known:
            largest[x, y] = (width, n)
            inner.add(other)
        elif width < known:
            inner.add(n)
    return inner


def _copper(mark: Fill | Stroke) -> list[Mark] | None:
    return None if isinstance(mark, Stroke) and not mark.widths.any() else [mark]


def _outline(mark: Fill | Stroke) -> list[Mark] | None:
    if isinstance(mark, Stroke):
        return None if len(mark.vertices) < 2 else [mark]
    if mark.source.kind != "region":
        return [mark]
    rings: list[shapely.LinearRing] = [
        ring for area in mark.areas for ring in (area.exterior, *area.interiors)
    ]
    return [
        Curve(mark.source, np.asarray(ring.coords, dtype=float)[:-1], True, mark.curved)
        for ring in rings
    ]
