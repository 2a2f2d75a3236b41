"""The plane that an entity is drawn in."""

from __future__ import annotations

from typing import Any

import numpy as np

from millprep.geometry.affine import Affine
from millprep.geometry.path import FloatArray

_X, _Y, _Z = np.eye(3)


def plane(entity: Any, kind: str, rows: FloatArray) -> Affine | None:
    """Map of the entity's own plane to mm, or None when it is tilted to the drawing's.

    `rows` is the (4, 3) map of points of the drawing, p' = (x, y, z, 1) · rows.
    """
    dxf = entity.dxf
    ex, ey, ez = dxf.extrusion if dxf.hasattr("extrusion") else (0.0, 0.0, 1.0)
    if kind in ("LINE", "SPLINE", "ELLIPSE"):
        # these are written in world coordinates; the extrusion turns no point of theirs
        ux, uy, origin = _X, _Y, _Z * 0
        if kind == "ELLIPSE" and (abs(ex) > 1e-9 * abs(ez) or abs(ey) > 1e-9 * abs(ez)):
            return None
    elif ex == 0 and ey == 0 and ez > 0:
        ux, uy = _X, _Y
        origin = _Z * _elevation(entity, kind)
    else:
        ocs = entity.ocs()
        ux, uy = np.array(ocs.ux.xyz), np.array(ocs.uy.xyz)
        origin = np.array(ocs.uz.xyz) * _elevation(entity, kind)
    x, y = ux @ rows[:3], uy @ rows[:3]
    at = origin @ rows[:3] + rows[3]
    size = max(abs(x[0]), abs(x[1]), abs(y[0]), abs(y[1]))
    if max(abs(x[2]), abs(y[2])) > 1e-6 * size:
        return None
    return Affine(float(x[0]), float(y[0]), float(at[0]), float(x[1]), float(y[1]), float(at[1]))


def _elevation(entity: Any, kind: str) -> float:
    dxf = entity.dxf
    if kind == "LWPOLYLINE":
        return float(dxf.get("elevation", 0.0))
    if kind == "HATCH" or kind == "POLYLINE":
        return float(dxf.elevation[2]) if dxf.hasattr("elevation") else 0.0
    if kind in ("SOLID", "TRACE"):
        return float(dxf.vtx0[2]) if len(dxf.vtx0) > 2 else 0.0
    if kind in ("ARC", "CIRCLE"):
        return float(dxf.center[2])
    return 0.0
