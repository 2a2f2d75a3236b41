"""How an entity is shown: its colour and line type, "by layer" and "by block" followed."""

from __future__ import annotations

from typing import Any, NamedTuple


class Look(NamedTuple):
    """Number of the colour in the drawing's index, None for a colour outside it; line type."""

    colour: int | None = 7
    line_type: str = "Continuous"


PLAIN = Look()
"""The format's default."""

_BY_BLOCK, _BY_LAYER = 0, 256


def look_of(entity: Any, layer: str, outer: Look) -> Look:
    """The look of an entity on this effective layer.

    Args:
        entity: of the DXF library.
        layer: what "by layer" refers to; one that the drawing does not define has the
            format's defaults.
        outer: of the insert that the entity lies in, for "by block"; outside any, the defaults.
    """
    table = _layer(entity, layer)
    line_type = str(_said(entity, "linetype", "BYLAYER"))
    if line_type.casefold() == "bylayer":
        line_type = str(_said(table, "linetype", PLAIN.line_type))
    elif line_type.casefold() == "byblock":
        line_type = outer.line_type
    return Look(_colour(entity, table, outer), line_type)


def _colour(entity: Any, table: Any, outer: Look) -> int | None:
    if _said(entity, "true_color", None) is not None:
        return None
    colour = _said(entity, "color", _BY_LAYER)
    if colour == _BY_BLOCK:
        return outer.colour
    if colour == _BY_LAYER:
        if _said(table, "true_color", None) is not None:
            return None
        colour = _said(table, "color", PLAIN.colour)
        # a layer that is switched off has its colour negative
        colour = abs(colour) if isinstance(colour, int) else None
    return colour if isinstance(colour, int) and 1 <= colour <= 255 else None


def _layer(entity: Any, layer: str) -> Any:
    doc = entity.doc
    return doc.layers.get(layer) if doc is not None and doc.layers.has_entry(layer) else None


def _said(entity: Any, name: str, default: Any) -> Any:
    """What an entity or layer says; the default when it says nothing readable."""
    try:
        return entity.dxf.get(name, default)
    except Exception:  # kinds that the library does not know keep their tags raw
        try:
            return entity.graphic_properties().get(name, default)
        except Exception:
            return default
