"""One drawing file: its layers checked against the job, its marks by layer, in mm."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from millprep.drawing import kinds, selection, unit
from millprep.drawing.dxf import changes, opening, opening_losses
from millprep.drawing.dxf.entities import layer_of, walk
from millprep.drawing.dxf.raw import MODEL
from millprep.drawing.gerber import marks
from millprep.drawing.gerber.marks import FabricationFile
from millprep.drawing.ledger import Ledger, leave_points
from millprep.drawing.marks.chain import TOLERANCE
from millprep.drawing.marks.mark import Aside, Mark, Source, Unread, Words
from millprep.drawing.marks.neighbours import TooMuchError
from millprep.model.board import Lettering
from millprep.model.job.layers import LayerRoles, Unit

NO_ROLE = "the job does not use that layer"
NOT_SELECTED = "no selection takes it, and the job does not use that layer"


@dataclass(frozen=True, slots=True)
class Sheet:
    """What one file holds.

    Attributes:
        by_layer: the marks that the job uses, by folded layer name.
        layer: the folded name of the one layer of a file that has no layers.
        entities: how many the model space holds.
        notes: the text with them.
        unused: gives the marks of the layers that the job does not name at all.
    """

    by_layer: dict[str, list[Mark]]
    entities: int
    notes: tuple[Lettering, ...]
    unused: Callable[[], Iterator[Mark]]
    layer: str | None = None


@dataclass(frozen=True, slots=True)
class Walked:
    """A DXF drawing that is open already, with the marks of all its layers at this scale."""

    drawing: opening.Drawing
    scale: float | None
    marks: Sequence[Mark]


def gather(
    file: Path,
    layers: LayerRoles,
    needed: tuple[Role, ...],
    units: tuple[str, Unit | None, Unit | None],
    ledger: Ledger,
    first: int = 0,
    repair: bool = False,
    accepted: tuple[str, ...] = (),
    walked: Walked | None = None,
) -> Sheet:
    """Marks on the layers that the job uses.

    Args:
        file: the file; the ledger knows what to call it.
        layers: the roles, for this file.
        needed: roles without which the file is no use ("copper", "outline", "holes").
        units: the job's key for the unit of this file, what it gives, and what counts where neither
            the job nor the file says any.
        ledger: takes faults and what is left out.
        first: number of the first entity, so that several files can share a ledger.
        repair: whether a damaged file may be mended.
        accepted: names of the changes that mending may make to what is read.
        walked: the DXF drawing, where it is open already.

    Raises:
        Refusal: exit code 3, when the file, its layers or its unit are wrong.
    """
    content = opening.content_of(file, ledger)
    kind = kinds.kind_of(content)
    if kind in ("Gerber", "drill"):
        fabrication = marks.open_file(content, kind, file.name, units, ledger, first)
        return _of_fabrication(fabrication, layers, needed, ledger)
    drawing = walked.drawing if walked else opening.load(file, content, ledger, repair)
    _mend(drawing, changes.in_use(layers), repair, accepted, ledger)
    ledger.refuse_if_stopped()
    entities = list(drawing.doc.modelspace())
    if not entities:
        ledger.stop(
            "drawing-empty",
            f"the model space of {ledger.shown_as} holds no entities",
            "export the board's layers into the model space",
        )
    ledger.refuse_if_stopped()
    check(layers, needed, drawing.doc, entities, ledger)
    key, stated, spare = units
    scale = unit.scale(drawing, stated, ledger, spare)
    notes: list[Lettering] = []
    drawn: Iterable[Mark] = walk(entities, scale or 1.0, _reads(layers), first)
    if walked is not None and walked.scale == scale:
        drawn = walked.marks
    by_layer = _marks(drawn, scale, layers, ledger, notes)
    if scale is None:
        unit.refuse_none(by_layer, layers, unit.measurement(drawing), key, ledger)
    ledger.refuse_if_stopped()
    reads, named = _reads(layers), set(folded((*layers.other, *layers.parts)))

    def unnamed(layer: str) -> bool:
        return layer.casefold() not in named and not reads(layer)

    def unused() -> Iterator[Mark]:
        if not any(unnamed(layer_of(e)) for e in _all_entities(drawing.doc, entities)):
            return iter(())
        rest = [e for e in entities if e.dxftype() == "INSERT" or unnamed(layer_of(e))]
        drawn = walk(rest, scale or 1.0, unnamed)
        return (mark for mark in drawn if unnamed(mark.source.layer))

    return Sheet(by_layer, len(entities), tuple(notes), unused)


def _of_fabrication(
    file: FabricationFile, layers: LayerRoles, needed: tuple[Role, ...], ledger: Ledger
) -> Sheet:
    """Of a Gerber or drill file: it has one layer, which draws what the job names the file for."""
    marks.check(file, layers, needed[0], ledger)
    layer = file.name.casefold()
    return Sheet(
        {layer: marks.marks_for(needed[0], file, ledger)},
        file.count,
        file.nets if needed[0] == "copper" else (),
        lambda: iter(()),
        layer,
    )


def _reads(layers: LayerRoles) -> Callable[[str], bool]:
    """Whether the job reads a layer, or may pick shapes from it."""
    roles = set(folded((*layers.copper, *layers.outline, *layers.holes, *layers.legend)))
    return lambda layer: layer.casefold() in roles or selection.looked_at(layers.selections, layer)


def _mend(
    drawing: opening.Drawing,
    used: frozenset[str] | None,
    repair: bool,
    accepted: tuple[str, ...],
    ledger: Ledger,
) -> None:
    """What is lost or not whole is a fault, or a change that the job accepts."""
    if not repair:
        for change in drawing.changes:
            if not changes.touches(change, used):
                continue
            if change.is_loss:
                ledger.stop(
                    "drawing-entities-lost",
                    f"opening the file does not give what is in it: {change.words}",
                    "save it as DXF again from a drawing program, or let --repair try to mend it",
                )
            elif change.drop is not None or change.family in changes.KEPT:
                ledger.stop("entity-damaged", change.words, "draw it again, or delete it")
        return
    ledger.changed += [name for entry in drawing.changes for name in (entry.name, entry.family)]
    leave = changes.settle(drawing.changes, used, accepted, ledger)
    for entry in changes.drop(drawing.doc, drawing.raw, leave):
        layer = opening_losses.decoder(drawing.doc)(entry.layer)
        if used is None or entry.place != MODEL or layer.casefold() in used:
            ledger.stop(
                "entity-damaged",
                f"{entry.kind} in {entry.place}, line {entry.line}: {entry.words}; it looks like "
                "others, so it cannot be left out",
                "draw it again, or delete it",
            )


def _marks(
    marks: Iterable[Mark],
    scale: float | None,
    layers: LayerRoles,
    ledger: Ledger,
    notes: list[Lettering],
) -> dict[str, list[Mark]]:
    """Marks of what the job uses, selections made; the rest goes to the ledger at once.

    Text without a role is added to `notes`.
    """
    roles = set(folded((*layers.copper, *layers.outline, *layers.holes, *layers.legend)))
    try:
        drawn = list(marks)
        selected = selection.select(drawn, layers.selections, max(TOLERANCE, layers.close_gaps))
    except TooMuchError as fault:
        ledger.stop("drawing-too-large", str(fault), "explode the inserts and export again")
        return {}
    if scale is not None:  # without a unit, where shapes lie is not known
        # what has no role is missed where the copper is
        due = {
            entry.name
            for entry in layers.selections
            if layers.copper or entry.name.casefold() in roles
        }
        selection.refuse_empty(layers.selections, drawn, selected, due, ledger)
    by_layer: dict[str, list[Mark]] = {}
    places: list[Aside] = []
    for mark, entry in zip(selected.marks, drawn, strict=True):
        source = mark.source
        if isinstance(mark, Aside):
            if mark.text is not None:
                notes.append(replace(mark.text, layer=source.layer))
            if mark.at is not None and source.layer.casefold() in roles:
                places.append(mark)
            else:
                ledger.leave(source, mark.reason or NO_ROLE, harmless=mark.harmless)
        elif isinstance(mark, Unread):
            if mark.code.startswith("block-") or selection.may_play(
                entry.source, layers.selections, roles
            ):
                ledger.stop(
                    mark.code, mark.reason, _REMEDY.get(mark.code, _REDRAW),
                    source=source, at=mark.at,
                )  # fmt: skip
            ledger.leave(source, mark.reason)
        elif source.layer.casefold() in roles:
            by_layer.setdefault(source.layer.casefold(), []).append(mark)
        else:
            if isinstance(mark, Words):
                notes.append(replace(mark.text, layer=source.layer))
            ledger.leave(source, _no_role(source))
    leave_points(places, by_layer, ledger)
    return by_layer


def _no_role(source: Source) -> str:
    if source.drawn_on is None:
        return NOT_SELECTED
    return f"it is selected as {source.layer!r}, which the job does not use"


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


Role = str


def check(
    layers: LayerRoles,
    needed: tuple[Role, ...],
    doc: Any,
    entities: list[Any],
    ledger: Ledger,
) -> None:
    """Layers that the drawing does not have, or roles that nothing plays, are faults."""
    layers_used = {layer_of(source) for source in _all_entities(doc, entities)}
    present = {str(layer.dxf.name) for layer in doc.layers} | layers_used
    drawn = {layer.casefold() for layer in layers_used}
    known = {layer.casefold() for layer in present}
    for chosen in layers.selections:
        if chosen.name.casefold() in known:
            ledger.stop(
                "selection-name-taken",
                f"the drawing has a layer of the name of selection {chosen.name!r}",
                "give the selection another name",
            )
        if chosen.layer is not None and chosen.layer.casefold() not in known:
            _absent(chosen.layer, f"selection {chosen.name!r}", present, ledger)
    selected = {chosen.name.casefold() for chosen in layers.selections}
    for role in ("copper", "outline", "holes", "legend"):
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
