"""How an entity is shown, its colour and line type; what text says, and where it is."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from millprep.geometry.path import FloatArray, Point


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


TEXT_KINDS = frozenset({"TEXT", "ATTRIB", "MTEXT"})
Said = tuple[str, Point, bool]
"""Words, place in the drawing frame in mm, and whether they read backwards."""


def text_of(entity: Any, rows: FloatArray) -> Said:
    """The text of an entity of one of `TEXT_KINDS`; `rows` (4, 3) map its frame to mm."""
    dxf = entity.dxf
    words = str(entity.plain_text())
    if entity.dxftype() == "MTEXT":
        point = np.array(dxf.insert)
        x_axis, up = np.array([1.0, 0, 0]), np.array([0, 1.0, 0])
        if dxf.hasattr("extrusion") and dxf.extrusion[2] < 0:
            x_axis = -x_axis
        turned_over = False
    else:
        ocs = entity.ocs()
        point = np.array(ocs.to_wcs(_anchor(dxf)).xyz)
        x_axis, up = np.array(ocs.ux.xyz), np.array(ocs.uy.xyz)
        flags = int(dxf.get("text_generation_flag", 0))
        # 2 writes it backwards, 4 upside down; both together only turn it
        turned_over = bool(flags & 2) != bool(flags & 4)
    at = point @ rows[:3] + rows[3]
    x, y = x_axis @ rows[:3], up @ rows[:3]
    mirrored = (x[0] * y[1] - x[1] * y[0] < 0) != turned_over
    return words, (float(at[0]), float(at[1])), bool(mirrored)


def said(entity: Any, rows: FloatArray) -> Said | None:
    """The text of an entity outside the board; None when it is none, or cannot be read.

    Damage there is nobody's fault: the job does not use the layer.
    """
    try:
        if entity.dxftype() not in TEXT_KINDS or entity.dxf.get("invisible", 0):
            return None
        return text_of(entity, rows)
    except Exception:
        return None


def _anchor(dxf: Any) -> Any:
    """The point a text hangs on; only left-aligned text hangs on its insertion point."""
    aligned = dxf.get("halign", 0) in (1, 2, 4) or dxf.get("valign", 0) > 0
    return dxf.align_point if aligned and dxf.hasattr("align_point") else dxf.insert
