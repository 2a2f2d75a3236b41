"""Units: what the file says, what the job says, and what the sizes hint at."""

from __future__ import annotations

from collections.abc import Sequence

from millprep.drawing.ledger import Ledger
from millprep.drawing.opening import Drawing
from millprep.values.plan import Unit

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


def scale(drawing: Drawing, asked: Unit | None, ledger: Ledger) -> float | None:
    """Millimetres per drawing unit, or None when nobody says; a contradiction is a stop."""
    said = of_file(drawing)
    if asked is None:
        return said[1] if said else None
    if said is not None and abs(said[1] - MM[asked]) > 1e-9 * said[1]:
        ledger.stop(
            "unit-contradicts",
            f"the job says the unit is {asked}, the drawing's $INSUNITS says {said[0]}",
            f"take the unit out of the job to believe the drawing, or correct $INSUNITS in the "
            f"drawing if {asked} is right",
        )
    return MM[asked]


def drill_share(diameters: Sequence[float], unit: Unit) -> float:
    """Share of the diameters (drawing units) that are standard drills if drawn in that unit.

    For mm, whole tenths; for inch and mil, whole 1/64 inch or whole 5 mil; for point, either
    series. All within 0.3 to 8 mm. Common practice, no source.
    """
    if not diameters:
        return 0.0
    hits = 0
    for d in diameters:
        mm = d * MM[unit]
        tenth = abs(mm * 10 - round(mm * 10)) < 0.02
        inches = mm / 25.4
        inch = min(abs(inches * n - round(inches * n)) / n for n in (64, 200)) < 1e-4
        fits = {"inch": inch, "mil": inch, "point": tenth or inch}.get(unit, tenth)
        hits += 0.3 <= mm <= 8.0 and fits
    return hits / len(diameters)


def sizes(extent: tuple[float, float], diameters: Sequence[float]) -> str:
    """The board's size in mm for each likely unit, and which one the holes speak for."""
    likely: tuple[Unit, ...] = ("mm", "inch", "point")
    words = ", ".join(
        f"{unit} makes it {extent[0] * MM[unit]:.2f} × {extent[1] * MM[unit]:.2f} mm"
        for unit in likely
    )
    if not diameters:
        return f"{words}; there are no holes to judge by"
    share = {unit: drill_share(diameters, unit) for unit in likely}
    best = max(share.values())
    winners = [unit for unit in likely if share[unit] == best]
    if best < 0.8 or len(winners) > 1:
        return f"{words}; hole sizes fit a drill series in no one of them clearly better"
    series = {"mm": "in tenths of a mm", "inch": "in inch sizes", "point": "in either series"}
    return (
        f"{words}; with {winners[0]}, {best:.0%} of the holes are drill sizes {series[winners[0]]}"
    )
