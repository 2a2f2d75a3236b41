"""A survey: what a drawing holds, and which layers may play which role.

Guesses rest on the geometry and on what the file says of itself, never on layer names.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from millprep.drawing import holes, opening, unit
from millprep.drawing.entities import walk
from millprep.drawing.guess import Role, guess
from millprep.drawing.layer_facts import Box, LayerFacts, joined
from millprep.drawing.ledger import Ledger
from millprep.drawing.marks import Unread
from millprep.drawing.neighbours import TooMuchError
from millprep.values.plan import LayerRoles


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
        pieces: connected areas if it is copper, None where that has no clear reading.
        gap: the narrowest gap between them, drawing units.
    """

    name: str
    kinds: tuple[tuple[str, int], ...]
    box: Box | None
    hidden: bool
    roles: tuple[tuple[Role, str], ...]
    pieces: int | None = None
    gap: float | None = None


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
        roles: the guess, None where geometry does not settle the copper; a role without
            layers is not settled.
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
    """Survey a DXF file.

    Raises:
        Refusal: exit code 3, when the file is missing, damaged or no DXF.
    """
    ledger = Ledger(None, file.name)
    drawing = opening.load(file, ledger)
    doc = drawing.doc
    entities = list(doc.modelspace())
    layers: dict[str, LayerFacts] = {}
    unread: Counter[str] = Counter()
    try:
        for mark in walk(entities, 1.0, lambda _: True):
            layer = layers.setdefault(mark.source.layer, LayerFacts(mark.source.layer))
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
    found = guess(sorted(layers.values(), key=lambda la: la.name), said[1] if said else 1.0)
    roles = found.roles
    box = joined([layer.box for layer in layers.values()])
    edge = joined([layers[name].box for name in roles.outline]) if roles else None
    edge = edge or (joined([layers[name].box for name in roles.copper]) if roles else box)
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
                tuple(found.reasons.get(layer.name, [])),
                layer.pieces,
                layer.gap,
            )
            for layer in sorted(layers.values(), key=lambda la: la.name)
        ),
        box=box,
        unit=said[0] if said else None,
        unit_mm=said[1] if said else None,
        unit_words=unit.sizes(size, [r.diameter for r in circles]),
        roles=roles,
        doubts=tuple(found.doubts),
        unread=tuple(f"{n} × {words}" for words, n in sorted(unread.items())),
    )
