"""A survey: what a drawing holds, and which layers may play which role.

Guesses rest on the geometry and on what the file says of itself, never on layer names.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import shapely

from millprep.drawing import holes, opening, unit
from millprep.drawing.chain import Loop, chain
from millprep.drawing.entities import walk
from millprep.drawing.ledger import Ledger
from millprep.drawing.marks import Aside, Curve, Fill, Mark, Round, Stroke, Unread, Words
from millprep.drawing.neighbours import TooMuchError
from millprep.values.plan import LayerRoles

Role = Literal["copper", "outline", "holes"]
Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class SurveyedLayer:
    """One layer.

    Attributes:
        name: as the file spells it.
        kinds: entity kind and count, most frequent first; content of inserts counts on
            the layer it is drawn on, named "LINE in insert".
        box: (x0, y0, x1, y1) of what is drawn, drawing units; None when nothing has a shape.
        hidden: whether the file freezes the layer or switches it off.
        roles: what it may be, with the reason for each.
    """

    name: str
    kinds: tuple[tuple[str, int], ...]
    box: Box | None
    hidden: bool
    roles: tuple[tuple[Role, str], ...]


@dataclass(frozen=True, slots=True)
class Survey:
    """What a drawing holds.

    Attributes:
        version: of the format, as the file says ("AC1027").
        entities: number in the model space.
        layers: those with something drawn on them, by name.
        box: of everything, drawing units.
        unit: name of the unit the file states, None when it states none.
        unit_mm: its length.
        unit_words: sizes in mm for each likely unit and what the holes speak for.
        roles: the guess, None where geometry does not settle it.
        doubts: why there is no guess, or what is to be looked at in it.
        unread: what could not be read, as sentences.
    """

    version: str
    entities: int
    layers: tuple[SurveyedLayer, ...]
    box: Box | None
    unit: str | None
    unit_mm: float | None
    unit_words: str
    roles: LayerRoles | None
    doubts: tuple[str, ...]
    unread: tuple[str, ...]


def survey_file(file: Path) -> Survey:
    """Survey a DXF file; see `millprep.drawing.survey`."""
    ledger = Ledger(None, file.name)
    drawing = opening.load(file, ledger)
    doc = drawing.doc
    entities = list(doc.modelspace())
    layers: dict[str, _Layer] = {}
    unread: Counter[str] = Counter()
    try:
        for mark in walk(entities, 1.0, lambda _: True):
            layer = layers.setdefault(mark.source.layer, _Layer(mark.source.layer))
            layer.add(mark)
            if isinstance(mark, Unread):
                unread[f"layer {mark.source.layer!r}, {mark.source.kind}: {mark.reason}"] += 1
        for layer in layers.values():
            layer.close()
    except TooMuchError as fault:
        ledger.stop("drawing-too-large", str(fault), "export only the layers of the board")
        ledger.refuse_if_stopped()
    hidden = {str(la.dxf.name) for la in doc.layers if la.is_off() or la.is_frozen()}
    said = unit.of_file(drawing)
    roles, doubts, reasons = _guess(list(layers.values()), said[1] if said else 1.0)
    box = _join([layer.box for layer in layers.values()])
    edge = _join([layers[name].box for name in roles.outline]) if roles else box
    drilled = [la for la in layers.values() if roles is None or la.name in roles.holes]
    circles = holes.drills([r for layer in drilled for r in layer.rounds])
    size = (edge[2] - edge[0], edge[3] - edge[1]) if edge else (0.0, 0.0)
    return Survey(
        version=str(doc.dxfversion),
        entities=len(entities),
        layers=tuple(
            SurveyedLayer(
                layer.name,
                tuple(sorted(layer.kinds.items(), key=lambda kv: (-kv[1], kv[0]))),
                layer.box,
                layer.name in hidden,
                tuple(reasons.get(layer.name, [])),
            )
            for layer in sorted(layers.values(), key=lambda la: la.name)
        ),
        box=box,
        unit=said[0] if said else None,
        unit_mm=said[1] if said else None,
        unit_words=unit.sizes(size, [r.diameter for r in circles]),
        roles=roles,
        doubts=tuple(doubts),
        unread=tuple(f"{n} × {words}" for words, n in sorted(unread.items())),
    )


class _Layer:
    """What is drawn on one layer, gathered while walking; then what its shape tells."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.kinds: Counter[str] = Counter()
        self.box: Box | None = None
        self.rounds: list[Round] = []
        self.loops: list[Loop] = []
        self.open = 0
        self.wide = 0
        self.fills = 0
        self.words = 0
        self.inserted = 0
        self._curves: list[Curve] = []
        self._boxes: list[Box] = []

    def add(self, mark: Mark) -> None:
        """Count one mark."""
        inside = mark.source.block is not None
        self.kinds[mark.source.kind + (" in insert" if inside else "")] += 1
        self.inserted += inside and not isinstance(mark, (Words, Aside, Unread))
        if isinstance(mark, Words):
            self.words += 1
        elif isinstance(mark, Fill):
            self.fills += 1
            self._boxes.append(shapely.MultiPolygon(list(mark.areas)).bounds)
        elif isinstance(mark, Stroke) and mark.widths.any():
            self.wide += 1
            self._add_curve(mark.curve, keep=False)
        elif isinstance(mark, (Stroke, Curve)):
            self._add_curve(mark.curve if isinstance(mark, Stroke) else mark, keep=True)

    def _add_curve(self, curve: Curve, *, keep: bool) -> None:
        low, high = curve.points.min(axis=0).tolist(), curve.points.max(axis=0).tolist()
        self._boxes.append((low[0], low[1], high[0], high[1]))
        if keep:
            self._curves.append(curve)

    def close(self) -> None:
        """Chain what is loose and find the circles."""
        self.box = _join(list(self._boxes))
        chained = chain(self._curves)
        self.loops = chained.loops
        self.open = len(chained.opened)
        self.rounds = [loop.round for loop in self.loops if loop.round is not None]

    @property
    def all_circles(self) -> bool:
        """Whether nothing but circles is drawn here."""
        return (
            bool(self.rounds)
            and len(self.rounds) == len(self.loops)
            and not (self.open or self.wide or self.fills)
        )


def _join(boxes: list[Box | None]) -> Box | None:
    array = np.array([b for b in boxes if b is not None])
    if not len(array):
        return None
    low, high = array[:, :2].min(axis=0).tolist(), array[:, 2:].max(axis=0).tolist()
    return (low[0], low[1], high[0], high[1])


def _guess(
    layers: list[_Layer], mm: float
) -> tuple[LayerRoles | None, list[str], dict[str, list[tuple[Role, str]]]]:
    """Roles, doubts and the reasons for every layer."""
    reasons: dict[str, list[tuple[Role, str]]] = {}
    everything = _join([la.box for la in layers if la.fills or la.wide or la.loops])
    outlines: list[_Layer] = []
    bores: list[_Layer] = []
    coppers: list[_Layer] = []
    for layer in layers:
        if layer.all_circles and not _encloses(layer, everything):
            count = len(layer.rounds)
            sizes = len({round(r.diameter, 4) for r in layer.rounds})
            bores.append(layer)
            reasons.setdefault(layer.name, []).append(
                ("holes", f"{count} circles of {sizes} sizes and nothing else")
            )
        elif layer.wide or layer.fills:
            words = [f"{layer.wide} lines with a width"] if layer.wide else []
            words += [f"{layer.fills} filled areas"] if layer.fills else []
            words += [f"{layer.inserted} shapes in inserts"] if layer.inserted else []
            coppers.append(layer)
            reasons.setdefault(layer.name, []).append(("copper", ", ".join(words)))
        elif _encloses(layer, everything) and not layer.open:
            outlines.append(layer)
            reasons.setdefault(layer.name, []).append(
                ("outline", "a closed line that encloses everything else")
            )
    doubts: list[str] = []
    if len(layers) == 1:
        doubts.append(
            "everything is on one layer: copper, outline and text cannot be told apart by layer"
        )
    if len(outlines) != 1:
        doubts.append(
            f"{len(outlines) or 'no'} layers hold a closed line that encloses everything else"
        )
    if len(coppers) != 1:
        doubts.append(f"{len(coppers) or 'no'} layers hold wide lines or filled areas")
    if doubts:
        return None, doubts, reasons
    copper, edge = coppers[0], outlines[0]
    drilled = tuple(la.name for la in bores if _bores_fit(la, copper, mm))
    if not drilled:
        doubts.append("no layer holds only circles: the board has no holes, or they are elsewhere")
    return LayerRoles((copper.name,), (edge.name,), drilled), doubts, reasons


def _encloses(layer: _Layer, everything: Box | None) -> bool:
    """Whether one closed line of the layer holds the box of everything with a shape."""
    if everything is None:
        return False
    slack = 1e-6 * max(everything[2] - everything[0], everything[3] - everything[1])
    for loop in layer.loops:
        low, high = loop.points.min(axis=0), loop.points.max(axis=0)
        if (low <= np.array(everything[:2]) + slack).all() and (
            high >= np.array(everything[2:]) - slack
        ).all():
            return True
    return False


def _bores_fit(layer: _Layer, copper: _Layer, mm: float) -> bool:
    """Whether the circles lie within the copper's box and are no larger than 12 mm."""
    if copper.box is None or layer.box is None:
        return False
    return all(r.diameter * mm <= 12 for r in layer.rounds)
