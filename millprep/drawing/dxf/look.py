"""How an entity is shown, its colour and line type; what text says, and where it is."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from millprep.drawing.dxf.hatch import LARGEST
from millprep.geometry.path import FloatArray
from millprep.geometry.pose import Affine
from millprep.model.board import LETTER, Lettering


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


def text_of(entity: Any, rows: FloatArray) -> Lettering:
    """The text of an entity of one of `TEXT_KINDS`; `rows` (4, 3) map its frame to mm.

    Raises:
        ValueError: where its place or its turn is no number that a board has.
    """
    words = str(entity.plain_text())
    frame = _of_mtext(entity) if entity.dxftype() == "MTEXT" else _of_text(entity, words)
    at = frame.at @ rows[:3] + rows[3]
    x, y = frame.along @ rows[:3], frame.up @ rows[:3]
    letters = Affine(*map(float, (x[0], y[0], at[0], x[1], y[1], at[1])))
    if not all(abs(value) < LARGEST for value in letters):  # False for no number
        raise ValueError("its place or its turn is no number that a board has")
    return Lettering(
        words, (letters.c, letters.f), letters.determinant < 0, letters=letters, hangs=frame.hangs
    )


class _Hung(NamedTuple):
    """The point a text hangs on, a letter height along its line and one up, and where it hangs."""

    at: FloatArray
    along: FloatArray
    up: FloatArray
    hangs: tuple[float, float]


def _of_mtext(entity: Any) -> _Hung:
    dxf = entity.dxf
    height = _size(dxf.get("char_height", 1.0))
    turned = -1.0 if dxf.hasattr("extrusion") and dxf.extrusion[2] < 0 else 1.0
    if dxf.hasattr("text_direction"):
        turn = math.atan2(dxf.text_direction[1], dxf.text_direction[0])
    else:
        turn = math.radians(float(dxf.get("rotation", 0.0)))
    along, up = _turned(turn)
    # 1 to 9: top left, top, top right, then the middle, then the bottom
    down, across = divmod(int(dxf.get("attachment_point", 1)) - 1, 3)
    flip = np.array([turned, 1.0, 1.0])
    return _Hung(
        np.array(dxf.insert), along * height * flip, up * height * flip, (across / 2, 1 - down / 2)
    )


def _of_text(entity: Any, words: str) -> _Hung:
    """Of TEXT and ATTRIB, in the coordinates of the world."""
    dxf = entity.dxf
    ocs = entity.ocs()
    height = _size(dxf.get("height", 1.0))
    wide = height * _size(dxf.get("width", 1.0))
    along, up = _turned(math.radians(float(dxf.get("rotation", 0.0))))
    at = np.array(_anchor(dxf))
    across, down = int(dxf.get("halign", 0)), int(dxf.get("valign", 0))
    # 3 and 5 fit it between two points, the first of which is its start
    hangs = ((0.0, 0.5, 1.0, 0.0, 0.5, 0.0)[across % 6], (0.0, 0.0, 0.5, 1.0)[down % 4])
    if across == 4:
        hangs = (0.5, 0.5)
    if across in (3, 5) and dxf.hasattr("align_point"):
        way = np.array(dxf.align_point) - at
        along, up = _turned(math.atan2(way[1], way[0]))
        wide = _size(np.hypot(*way[:2]) / (LETTER * max(len(words), 1)))
        height = wide if across == 3 else height
    flags = int(dxf.get("text_generation_flag", 0))
    # 2 writes it backwards, 4 upside down; both together only turn it
    along = along * (-wide if flags & 2 else wide)
    up = up * (-height if flags & 4 else height)
    axes = np.array([ocs.ux.xyz, ocs.uy.xyz, ocs.uz.xyz])
    return _Hung(at @ axes, along @ axes, up @ axes, hangs)


def _size(value: Any) -> float:
    """A size as written, 1 where it is none: where a text is does not depend on it."""
    size = float(value)
    return size if 0 < size < math.inf else 1.0


def _turned(turn: float) -> tuple[FloatArray, FloatArray]:
    """Along a line of text that is turned counter-clockwise by radians, and up from it."""
    cos, sin = math.cos(turn), math.sin(turn)
    return np.array([cos, sin, 0.0]), np.array([-sin, cos, 0.0])


def said(entity: Any, rows: FloatArray) -> Lettering | None:
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
