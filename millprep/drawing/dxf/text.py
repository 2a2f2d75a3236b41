"""What text in a drawing says, and where it is."""

from __future__ import annotations

from typing import Any

import numpy as np

from millprep.geometry.path import FloatArray, Point

KINDS = frozenset({"TEXT", "ATTRIB", "MTEXT"})
Said = tuple[str, Point, bool]
"""Words, place in the drawing frame in mm, and whether they read backwards."""


def text_of(entity: Any, rows: FloatArray) -> Said:
    """The text of an entity of one of `KINDS`; `rows` (4, 3) map its frame to mm."""
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
        if entity.dxftype() not in KINDS or entity.dxf.get("invisible", 0):
            return None
        return text_of(entity, rows)
    except Exception:
        return None


def _anchor(dxf: Any) -> Any:
    """The point a text hangs on; only left-aligned text hangs on its insertion point."""
    aligned = dxf.get("halign", 0) in (1, 2, 4) or dxf.get("valign", 0) > 0
    return dxf.align_point if aligned and dxf.hasattr("align_point") else dxf.insert
