"""Which layers may play which role: reasons from geometry, never from names."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from millprep.drawing.layer_facts import LayerFacts, joined
from millprep.values.plan import CopperMode, LayerRoles

Role = Literal["copper", "outline", "holes"]

LARGEST_BORE = 12.0
"""Circles above this, mm, are no holes for wires and screws (common practice, no source)."""


@dataclass(slots=True)
class Guess:
    """Roles as far as geometry settles them.

    Attributes:
        roles: a role without a layer is not settled; None when copper is not.
        reasons: for every layer that may play a role, which and why.
        doubts: what is not settled, and what would settle it.
        loose: layers of open bare lines, of interest while no other layer is copper.
    """

    roles: LayerRoles | None = None
    reasons: dict[str, list[tuple[Role, str]]] = field(default_factory=dict)
    doubts: list[str] = field(default_factory=list)
    loose: list[str] = field(default_factory=list)

    def note(self, layer: LayerFacts, role: Role, words: str) -> None:
        """Add a reason."""
        self.reasons.setdefault(layer.name, []).append((role, words))


def guess(layers: Sequence[LayerFacts], mm: float) -> Guess:
    """Roles, reasons and doubts; `mm` is the drawing unit, 1 where the file states none."""
    out = Guess()
    drawn = [la for la in layers if la.box is not None]
    everything = joined([la.box for la in drawn])
    edges = [la for la in drawn if _may_be_edge(la) and la.encloses(everything)]
    coppers: list[tuple[LayerFacts, CopperMode | None]] = []
    bores: list[LayerFacts] = []
    for layer in drawn:
        if layer in edges:
            what = "drawn with a pen" if layer.pens else "of no width"
            out.note(layer, "outline", f"a closed line {what} that encloses everything else")
            continue
        if layer.only_circles:
            if all(r.diameter * mm <= LARGEST_BORE for r in layer.rounds):
                sizes = len({round(r.diameter * mm, 3) for r in layer.rounds})
                out.note(layer, "holes", f"{len(layer.rounds)} circles of {sizes} sizes, no more")
                bores.append(layer)
            continue
        mode = _copper(layer, out)
        if mode is not False:
            coppers.append((layer, mode))
    _settle(out, edges, coppers, bores, alone=len(drawn) == 1)
    return out


def _may_be_edge(layer: LayerFacts) -> bool:
    """Nothing but closed lines, with cut-outs at most one deep."""
    lines_only = not layer.fills and not layer.loose and layer.wide == len(layer.pens)
    return lines_only and layer.deepest <= 1 and not layer.overlaps and not layer.tangled


def _copper(layer: LayerFacts, out: Guess) -> CopperMode | Literal[False] | None:
    """How the layer may be copper: None for strokes and fills, False for not at all."""
    plain = len(layer.plain_loops)
    if layer.wide or layer.fills:
        words = [f"{layer.wide} lines with a width"] if layer.wide else []
        words += [f"{layer.fills} filled areas"] if layer.fills else []
        words += [f"{layer.inserted} shapes in inserts"] if layer.inserted else []
        out.note(layer, "copper", ", ".join(words) + _pieces(layer))
        return None
    if layer.loose:
        out.loose.append(
            f"layer {layer.name!r} holds {layer.loose} open lines of no width: tracks whose "
            "width is lost, or no copper"
        )
        return False
    if plain < 2 or layer.tangled:
        return False
    if layer.overlaps and layer.deepest:
        out.doubts.append(
            f"layer {layer.name!r} holds outlines that overlap ({layer.overlaps} pairs) and "
            f"outlines within each other ({layer.deepest} deep): the inner ones may be gaps "
            "or copper"
        )
        return False
    if layer.overlaps:
        out.note(layer, "copper", f"{plain} closed outlines, some overlapping{_pieces(layer)}")
        return "overlapping outlines"
    how = f", nested {layer.deepest} deep" if layer.deepest else ""
    out.note(layer, "copper", f"{plain} closed outlines{how}{_pieces(layer)}")
    if layer.rounds:
        out.note(layer, "holes", f"{len(layer.rounds)} circles among the outlines")
    return "nested outlines"


def _pieces(layer: LayerFacts) -> str:
    if layer.pieces is None:
        return ""
    gap = f", narrowest gap {layer.gap:.4g} units" if layer.gap is not None else ""
    return f"; {layer.pieces} pieces{gap}"


def _settle(
    out: Guess,
    edges: list[LayerFacts],
    coppers: list[tuple[LayerFacts, CopperMode | None]],
    bores: list[LayerFacts],
    *,
    alone: bool,
) -> None:
    if len(coppers) != 1:
        out.doubts += out.loose if not coppers else []
        out.doubts.append(
            f"{len(coppers)} layers may be copper: name yours"
            if coppers
            else "no layer holds wide lines, filled areas or sets of outlines"
        )
        if alone:
            out.doubts.append(
                "everything is on one layer: if copper, outline and text are mixed there, "
                "they cannot be told apart"
            )
        return
    copper, mode = coppers[0]
    if len(edges) == 1:
        edge: tuple[str, ...] = (edges[0].name,)
    else:
        edge = ()
        out.doubts.append(
            f"{len(edges)} layers hold a closed line that encloses everything else: name one"
            if edges
            else "no layer draws the board's edge: state its size, or a margin around the copper"
        )
    drilled = tuple(layer.name for layer in bores)
    if not drilled and copper.rounds and mode == "nested outlines":
        drilled = (copper.name,)
    if not drilled:
        out.doubts.append("no layer holds only circles: the board's holes are elsewhere or none")
    elif len(drilled) > 1:
        out.doubts.append(f"{len(drilled)} layers hold only circles: all are taken for holes")
    modes = ((copper.name, mode),) if mode is not None else ()
    out.roles = LayerRoles((copper.name,), edge, drilled, copper_modes=modes)
