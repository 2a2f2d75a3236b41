"""The walk from a DXF file to a board, top to bottom."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from millprep.drawing import copper, holes, opening, unit
from millprep.drawing.chain import TOLERANCE, chain
from millprep.drawing.entities import TooMuchError, walk
from millprep.drawing.ledger import Ledger
from millprep.drawing.marks import Aside, Curve, Fill, Mark, Round, Stroke, Unread, Words
from millprep.drawing.outline import outline
from millprep.values.board import Board, CopperPiece, Lettering
from millprep.values.plan import CopperMode, LayerRoles, Unit

NO_ROLE = "its layer plays no role in the job"


def read_board(
    file: Path, *, name: str, shown_as: str, layers: LayerRoles, asked: Unit | None
) -> tuple[Board, Ledger]:
    """A board and the ledger of every entity; see `millprep.drawing.read`."""
    ledger = Ledger(name, shown_as)
    drawing = opening.load(file, ledger)
    doc = drawing.doc
    entities = list(doc.modelspace())
    if not entities:
        ledger.stop(
            "drawing-empty",
            f"the model space of {shown_as} holds no entities",
            "export the board's layers into the model space",
        )
    ledger.refuse_if_stopped()
    roles = _known(layers, doc, entities, ledger)
    scale = unit.scale(drawing, asked, ledger)
    wanted = {layer.casefold() for layer in (*roles.copper, *roles.outline, *roles.holes)}
    by_layer = _gather(entities, scale or 1.0, wanted, ledger)
    if scale is None:
        _no_unit(by_layer, roles, ledger)
    ledger.refuse_if_stopped()

    board = _Reading(by_layer, roles, ledger).board(name)
    ledger.refuse_if_stopped()
    assert board is not None
    return board, ledger


def _known(layers: LayerRoles, doc: Any, entities: list[Any], ledger: Ledger) -> LayerRoles:
    """The roles; layers that the drawing does not have are faults."""
    present = {str(layer.dxf.name): 0 for layer in doc.layers}
    drawn: dict[str, int] = {}
    for source in _all_entities(doc, entities):
        layer = str(source.dxf.get("layer", "0"))
        drawn[layer.casefold()] = drawn.get(layer.casefold(), 0) + 1
        present.setdefault(layer, 0)
    known = {layer.casefold() for layer in present}
    for role in ("copper", "outline", "holes"):
        names: tuple[str, ...] = getattr(layers, role)
        if role == "outline" and _stated(layers):
            if names:
                ledger.stop(
                    "outline-twice",
                    "the job gives the outline as a layer and as a size",
                    "keep one of them",
                )
        elif not names and role != "holes":
            ledger.stop(
                f"{role}-no-layer",
                f"the job names no layer for the {role}",
                f"name one or more of {_list(sorted(present))}",
            )
        for wanted in names:
            if wanted.casefold() not in known:
                near = difflib.get_close_matches(wanted, present, n=1, cutoff=0.5)
                hint = f"did you mean {near[0]!r}? It has " if near else "It has "
                ledger.stop(
                    "layer-absent",
                    f"the drawing has no layer {wanted!r} ({role})",
                    f"{hint}{_list(sorted(present))}",
                )
            elif wanted.casefold() not in drawn:
                ledger.stop(
                    f"{role}-empty",
                    f"layer {wanted!r} ({role}) is in the drawing, but nothing is drawn on it",
                    "name the layer that holds it, or leave this one out of the job",
                )
    for name in sorted(
        {c.casefold() for c in layers.copper} & {c.casefold() for c in layers.outline}
    ):
        ledger.stop(
            "layer-mixed",
            f"layer {name!r} is to be copper and outline at once, which cannot be told apart",
            "put the outline on a layer of its own, or give it as a rectangle in the job",
        )
    return layers


def _stated(layers: LayerRoles) -> bool:
    return layers.outline_box is not None or layers.outline_margin is not None


def _all_entities(doc: Any, entities: list[Any]) -> Iterable[Any]:
    yield from entities
    for block in doc.blocks:
        if not block.is_any_layout:
            yield from block


def _list(names: list[str]) -> str:
    shown = ", ".join(repr(name) for name in names[:12])
    return shown + (f" and {len(names) - 12} more" if len(names) > 12 else "")


def _gather(
    entities: list[Any], scale: float, wanted: set[str], ledger: Ledger
) -> dict[str, list[Mark]]:
    """Marks on the layers asked for; the rest goes to the ledger at once."""
    by_layer: dict[str, list[Mark]] = {}
    try:
        for mark in walk(entities, scale, lambda layer: layer.casefold() in wanted):
            if isinstance(mark, Aside):
                ledger.leave(mark.source, mark.reason or NO_ROLE)
            elif isinstance(mark, Unread):
                if mark.source.layer.casefold() in wanted or mark.code.startswith("block-"):
                    ledger.stop(
                        mark.code, mark.reason, _REMEDY.get(mark.code, _REDRAW),
                        source=mark.source, at=mark.at,
                    )  # fmt: skip
                ledger.leave(mark.source, mark.reason)
            else:
                by_layer.setdefault(mark.source.layer.casefold(), []).append(mark)
    except TooMuchError as fault:
        ledger.stop("drawing-too-large", str(fault), "explode the inserts and export again")
    return by_layer


_REDRAW = "draw it with lines, arcs, polylines or solid hatches, or move it to another layer"
_REMEDY = {
    "entity-damaged": "draw it again, or delete it",
    "entity-not-flat": "draw it in the XY plane",
    "fill-crosses-itself": "draw it as separate areas",
    "hatch-not-solid": "fill it solid, or move it to another layer",
    "block-missing": "delete the insert or bring its block into the drawing",
    "block-elsewhere": "bind the other drawing into this one",
    "block-cycle": "delete the insert in the block",
    "block-clipped": "remove the clipping, or explode the insert",
}


def _no_unit(by_layer: dict[str, list[Mark]], roles: LayerRoles, ledger: Ledger) -> None:
    boxes = [_box(mark) for marks in by_layer.values() for mark in marks]
    boxes = [b for b in boxes if b is not None]
    if not boxes:
        extent = (0.0, 0.0)
    else:
        array = np.array(boxes)
        low, high = array[:, :2].min(axis=0), array[:, 2:].max(axis=0)
        extent = (float(high[0] - low[0]), float(high[1] - low[1]))
    hole_layers = {layer.casefold() for layer in roles.holes} or set(by_layer)
    circles: list[Round] = []
    for layer in hole_layers:
        for mark in by_layer.get(layer, []):
            curve = mark.curve if isinstance(mark, Stroke) else mark
            if isinstance(curve, Curve) and curve.round is not None:
                circles.append(curve.round)
    small = [r.diameter for r in holes.drills(circles)]
    ledger.stop(
        "drawing-no-unit",
        f"the drawing does not say its unit ($INSUNITS is 0 or absent): "
        f"{unit.sizes(extent, small)}",
        "say the unit of this drawing in the job",
    )


def _box(mark: Mark) -> tuple[float, float, float, float] | None:
    if isinstance(mark, Fill):
        bounds: tuple[float, float, float, float] = shapely.MultiPolygon(mark.areas).bounds
        return bounds
    if isinstance(mark, Stroke):
        mark = mark.curve
    if isinstance(mark, Curve):
        low, high = mark.points.min(axis=0), mark.points.max(axis=0)
        return (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    return None


class _Reading:
    """Roles played by marks: outline, copper, holes, lettering."""

    def __init__(self, by_layer: dict[str, list[Mark]], roles: LayerRoles, ledger: Ledger) -> None:
        self.by_layer, self.ledger = by_layer, ledger
        self.roles = roles
        self.modes: dict[str, set[CopperMode]] = {}
        for layer, mode in roles.copper_modes:
            self.modes.setdefault(layer.casefold(), set()).add(mode)
        self.widths = {layer.casefold(): width for layer, width in roles.line_widths}
        self.copper = _folded(roles.copper)
        self.outline = _folded(roles.outline)
        self.holes = _folded(roles.holes)

    def board(self, name: str) -> Board | None:
        """The board, or None with the faults in the ledger."""
        edge: shapely.Polygon | None = None
        found: list[Round] = []
        if self.outline:
            edge, found = outline(
                [m for layer in self.outline for m in self._shapes(layer)],
                self.ledger,
                circles_are_holes=bool(set(self.outline) & set(self.holes)),
                tolerance=max(TOLERANCE, self.roles.close_gaps),
            )
        areas = []
        for layer in self.copper:
            marks = self._shapes(layer)
            mode = copper.Mode(frozenset(self.modes.get(layer, ())), self.widths.get(layer))
            marks, loops = copper.lines(marks, mode, self.ledger)
            if layer in self.holes:
                loops, small = holes.split_shared(loops, self.ledger)
                found += small
                marks = self._dots(marks, found)
            areas += copper.parts(marks, loops, mode, self.ledger)
        for layer in self.holes:
            if layer not in self.copper and layer not in self.outline:
                marks = self._shapes(layer)
                found += holes.rounds(marks, self._hole_loops(marks), self.ledger)
        lettering = self._lettering()
        if self.ledger.stopped:
            return None
        shapes = copper.pieces(areas)
        if not shapes:
            self.ledger.stop(
                "copper-empty",
                "the copper layers hold no copper",
                "name the layer that holds tracks and pads",
            )
            return None
        found = holes.drills(found)
        shapes = copper.sorted_reading(holes.close_drilled(shapes, found))
        pieces = tuple(CopperPiece(f"c{i + 1}", shape) for i, shape in enumerate(shapes))
        edge = edge or self._stated_edge(shapes)
        return Board(
            name,
            edge,
            pieces,
            holes.holes(found, pieces),
            lettering,
            self.ledger.left_out(),
        )

    def _stated_edge(self, shapes: list[shapely.Polygon]) -> shapely.Polygon:
        """The rectangle that the job gives, or the copper's box with a margin."""
        if self.roles.outline_box is not None:
            return shapely.box(*self.roles.outline_box)
        margin = self.roles.outline_margin or 0.0
        x0, y0, x1, y1 = shapely.MultiPolygon(shapes).bounds
        return shapely.box(x0 - margin, y0 - margin, x1 + margin, y1 + margin)

    def _shapes(self, layer: str) -> list[Mark]:
        return [m for m in self.by_layer.get(layer, []) if not isinstance(m, Words)]

    def _dots(self, marks: list[Mark], found: list[Round]) -> list[Mark]:
        """On a shared layer a ring's inside is the drill; the ring itself stays copper."""
        for mark in marks:
            if isinstance(mark, Stroke) and mark.widths.any() and mark.to_mm.even:
                circle = mark.curve.round
                if circle is not None and not np.ptp(mark.widths) > 0:
                    inner = circle.diameter - float(mark.widths[0]) * mark.to_mm.stretch[0]
                    if inner > 1e-6 * circle.diameter:
                        found.append(Round(circle.at, inner))
                        self.ledger.use(mark.source, "holes")
        return marks

    def _hole_loops(self, marks: list[Mark]) -> list[Any]:
        curves = [
            m if isinstance(m, Curve) else m.curve
            for m in marks
            if isinstance(m, Curve) or (isinstance(m, Stroke) and not m.widths.any())
        ]
        chained = chain(curves)
        for source in chained.repeated:
            self.ledger.leave(source, "it is drawn twice or encloses nothing")
        for run in chained.opened:
            x, y = run.points[0].tolist()
            self.ledger.stop(
                "hole-not-round",
                "an open line on a hole layer",
                "draw holes as circles, and slots as cut-outs on the outline layer",
                source=run.sources[0],
                at=(x, y),
            )
        return chained.loops

    def _lettering(self) -> tuple[Lettering, ...]:
        out = []
        for layer, marks in self.by_layer.items():
            for mark in marks:
                if not isinstance(mark, Words):
                    continue
                if layer in self.copper:
                    self.ledger.leave(mark.source, "lettering is not cut")
                    out.append(Lettering(mark.words, mark.at, mark.mirrored))
                else:
                    self.ledger.leave(mark.source, "it is text")
        return tuple(out)


def _folded(names: tuple[str, ...]) -> list[str]:
    return list(dict.fromkeys(name.casefold() for name in names))
