"""Units: what the file says, what the job says, and what the sizes hint at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from millprep.drawing import doubts
from millprep.drawing.dxf.opening import Drawing
from millprep.drawing.ledger import Ledger
from millprep.drawing.marks.mark import Curve, Mark, Round, Stroke, box_of
from millprep.model.job.layers import LayerRoles, Unit

MM: dict[Unit, float] = {
    "mm": 1.0,
    "inch": 25.4,
    "mil": 0.0254,
    "cm": 10.0,
    "m": 1000.0,
    "point": 25.4 / 72,
}
"""Length of each unit in mm; a point is 1/72 inch."""

INSUNITS: dict[int, tuple[str, float]] = {
    1: ("inch", 25.4),
    2: ("foot", 304.8),
    3: ("mile", 1_609_344.0),
    4: ("mm", 1.0),
    5: ("cm", 10.0),
    6: ("m", 1000.0),
    7: ("km", 1e6),
    8: ("microinch", 2.54e-5),
    9: ("mil", 0.0254),
    10: ("yard", 914.4),
    11: ("angstrom", 1e-7),
    12: ("nanometre", 1e-6),
    13: ("micron", 1e-3),
    14: ("decimetre", 100.0),
    15: ("decametre", 10_000.0),
    16: ("hectometre", 100_000.0),
}
"""$INSUNITS to name and mm (Autodesk's table for INSUNITS); larger ones draw no board."""


def of_file(drawing: Drawing) -> tuple[str, float] | None:
    """Name and mm of the unit that $INSUNITS states, or None for 0, absent or unknown."""
    if "$INSUNITS" not in drawing.header:
        return None
    try:
        code = int(drawing.doc.header.get("$INSUNITS", 0))
    except (TypeError, ValueError):
        return None
    return INSUNITS.get(code)


def measurement(drawing: Drawing) -> str | None:
    """What $MEASUREMENT hints at: "imperial", "metric" or None. It is wrong at times."""
    if "$MEASUREMENT" not in drawing.header:
        return None
    value = drawing.doc.header.get("$MEASUREMENT", None)
    return {0: "imperial", 1: "metric"}.get(value) if isinstance(value, int) else None


def scale(
    drawing: Drawing, job_unit: Unit | None, ledger: Ledger, spare: Unit | None = None
) -> float | None:
    """Millimetres per drawing unit, or None when nobody says; a contradiction is a stop.

    `spare` counts where neither the job nor the file says any.
    """
    said = of_file(drawing)
    if job_unit is None:
        return said[1] if said else None if spare is None else MM[spare]
    if said is not None and abs(said[1] - MM[job_unit]) > 1e-9 * said[1]:
        ledger.stop(
            "unit-contradicts",
            f"the job says the unit is {job_unit}, the drawing's $INSUNITS says {said[0]}",
            f"take the unit out of the job to believe the drawing, or correct $INSUNITS in the "
            f"drawing if {job_unit} is right",
        )
    return MM[job_unit]


def drill_share(diameters: Sequence[float], unit: Unit) -> tuple[float, str]:
    """How well diameters (drawing units) are standard drills if drawn in that unit.

    Returns the share that lies within 0.3 to 8 mm and in one series, whole tenths of a mm
    or whole 1/64 or 5/1000 inch, and the better of the two. Boards drawn in inches may be
    drilled in mm and the other way round. Common practice, no source.
    """
    mm = np.asarray(diameters, dtype=float) * MM[unit]
    fits = (mm >= 0.3 - 1e-6) & (mm <= 8.0)
    tenth = np.abs(mm * 10 - np.round(mm * 10)) < 0.02
    inches = mm / 25.4
    inch = np.minimum(
        np.abs(inches * 64 - np.round(inches * 64)) / 64,
        np.abs(inches * 200 - np.round(inches * 200)) / 200,
    ) < 1e-4  # fmt: skip
    share, series = max(
        (float(np.mean(fits & tenth)), "in tenths of a mm"),
        (float(np.mean(fits & inch)), "in inch sizes"),
    )
    return share, series


class UnitReading(NamedTuple):
    """What a unit would make of the drawing.

    Attributes:
        size: of the board, (x, y) in mm.
        share: of its holes that are drill sizes, None without holes; `series` says which sizes.
    """

    unit: Unit
    size: tuple[float, float]
    share: float | None
    series: str | None


LIKELY: tuple[Unit, ...] = ("mm", "inch", "point")
CLEARLY = 0.8
"""Share of the holes from which on drill sizes speak for a unit."""


def readings(extent: tuple[float, float], diameters: Sequence[float]) -> tuple[UnitReading, ...]:
    """What each likely unit makes of the board's extent and its holes, both in that unit."""
    out = []
    for unit in LIKELY:
        share, series = drill_share(diameters, unit) if diameters else (None, None)
        size = (extent[0] * MM[unit], extent[1] * MM[unit])
        out.append(UnitReading(unit, size, share, series))
    return tuple(out)


def best(options: Sequence[UnitReading]) -> UnitReading | None:
    """The one unit that the hole sizes speak for, or None."""
    most = max((reading.share or 0.0 for reading in options), default=0.0)
    winners = [reading for reading in options if reading.share == most]
    return winners[0] if most >= CLEARLY and len(winners) == 1 else None


def sizes(extent: tuple[float, float], diameters: Sequence[float]) -> str:
    """The board's size in mm for each likely unit, and which one the holes speak for."""
    options = readings(extent, diameters)
    words = ", ".join(
        f"{reading.unit} makes it {reading.size[0]:.2f} × {reading.size[1]:.2f} mm"
        for reading in options
    )
    if not diameters:
        return f"{words}; there are no holes to judge by"
    clear = best(options)
    if clear is None:
        return f"{words}; hole sizes fit a drill series in no one of them clearly better"
    return (
        f"{words}; with {clear.unit}, {clear.share:.0%} of the holes are drill sizes {clear.series}"
    )


def refuse_none(
    by_layer: Mapping[str, Sequence[Mark]],
    roles: LayerRoles,
    said: str | None,
    key: str,
    ledger: Ledger,
) -> None:
    """Note that nobody says the unit, with what each would make of the marks."""
    boxes = [box_of(mark) for marks in by_layer.values() for mark in marks]
    boxes = [b for b in boxes if b is not None]
    if not boxes:
        extent = (0.0, 0.0)
    else:
        array = np.array(boxes)
        low, high = array[:, :2].min(axis=0), array[:, 2:].max(axis=0)
        extent = (float(high[0] - low[0]), float(high[1] - low[1]))
    hole_layers = {layer.casefold() for layer in roles.holes} or set(by_layer)
    circles: list[Round] = []
    for layer in hole_layers:
        for mark in by_layer.get(layer, []):
            curve = mark.curve if isinstance(mark, Stroke) else mark
            if isinstance(curve, Curve) and curve.round is not None:
                circles.append(curve.round)
    hint = f"; $MEASUREMENT says {said}, which is wrong at times" if said else ""
    small = [r.diameter for r in doubts.drills(circles)]
    ledger.stop(
        "drawing-no-unit",
        f"the drawing does not say its unit ($INSUNITS is 0 or absent{hint}): "
        f"{sizes(extent, small)}",
        f"say the unit of {ledger.shown_as} in the job, as {key}",
    )
