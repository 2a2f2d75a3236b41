"""The layers that the job names, compared with those that the drawing has."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from typing import Any

from millprep.drawing.dxf.entities import layer_of
from millprep.drawing.ledger import Ledger
from millprep.model.job.layers import LayerRoles

Role = str


def check(
    layers: LayerRoles,
    needed: tuple[Role, ...],
    doc: Any,
    entities: list[Any],
    ledger: Ledger,
) -> None:
    """Layers that the drawing does not have, or roles that nothing plays, are faults."""
    present = {str(layer.dxf.name): 0 for layer in doc.layers}
    drawn: dict[str, int] = {}
    for source in _all_entities(doc, entities):
        layer = layer_of(source)
        drawn[layer.casefold()] = drawn.get(layer.casefold(), 0) + 1
        present.setdefault(layer, 0)
    known = {layer.casefold() for layer in present}
    for selection in layers.selections:
        if selection.name.casefold() in known:
            ledger.stop(
                "selection-name-taken",
                f"the drawing has a layer of the name of selection {selection.name!r}",
                "give the selection another name",
            )
        if selection.layer is not None and selection.layer.casefold() not in known:
            _absent(selection.layer, f"selection {selection.name!r}", present, ledger)
    selected = {selection.name.casefold() for selection in layers.selections}
    for role in ("copper", "outline", "holes"):
        names: tuple[str, ...] = getattr(layers, role)
        if not names and role in needed:
            ledger.stop(
                f"{role}-no-layer",
                f"the job names no layer for the {role}",
                f"name one or more of {_list(sorted(present))}",
            )
        for wanted in names:
            if wanted.casefold() in selected:
                continue  # whether it has anything is seen once the shapes are read
            if wanted.casefold() not in known:
                _absent(wanted, role, present, ledger)
            elif wanted.casefold() not in drawn:
                ledger.stop(
                    f"{role}-empty",
                    f"layer {wanted!r} ({role}) is in the drawing, but nothing is drawn on it",
                    "name the layer that holds it, or leave this one out of the job",
                )
    for name in sorted(set(folded(layers.copper)) & set(folded(layers.outline))):
        ledger.stop(
            "layer-mixed",
            f"layer {name!r} cannot be copper and outline at once",
            "put the outline on a layer of its own, or give it as a rectangle in the job",
        )


def _absent(wanted: str, what_for: str, present: Iterable[str], ledger: Ledger) -> None:
    names = sorted(present)
    near = difflib.get_close_matches(wanted, names, n=1, cutoff=0.5)
    hint = f"did you mean {near[0]!r}? It has " if near else "It has "
    ledger.stop(
        "layer-absent",
        f"the drawing has no layer {wanted!r} ({what_for})",
        f"{hint}{_list(names)}",
    )


def _all_entities(doc: Any, entities: list[Any]) -> Iterable[Any]:
    yield from entities
    for block in doc.blocks:
        if not block.is_any_layout:
            yield from block


def _list(names: list[str]) -> str:
    shown = ", ".join(repr(name) for name in names[:12])
    return shown + (f" and {len(names) - 12} more" if len(names) > 12 else "")


def folded(names: tuple[str, ...]) -> list[str]:
    """Layer names without case, each once: DXF ignores case."""
    return list(dict.fromkeys(name.casefold() for name in names))
