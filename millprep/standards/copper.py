"""Resistance of copper.

Source: IACS 100 % at 20 °C is 58 m/(Ω·mm²) (NBS Handbook 100, 1966, quoting NBS Circular 31,
1914, read at second hand); its temperature coefficient 0.00393 /K at 20 °C is that of the same
tables. IEC 60028 itself was not read.
"""

from __future__ import annotations

CONDUCTIVITY = 58.0
"""m/(Ω·mm²) at 20 °C."""
PER_KELVIN = 0.00393
"""Growth of the resistance for each kelvin above 20 °C, as a fraction of that at 20 °C."""
COLDEST, HOTTEST = -60.0, 200.0
"""The straight line is used within this range, °C; common practice, no source."""


def resistivity(celsius: float = 20.0) -> float:
    """Resistivity in Ω·mm: ρ = ρ20·(1 + 0.00393·(T − 20)).

    Raises:
        ValueError: outside −60 to 200 °C.
    """
    if not COLDEST <= celsius <= HOTTEST:
        raise ValueError(f"copper must be between {COLDEST:g} and {HOTTEST:g} °C, got {celsius}")
    return (1 + PER_KELVIN * (celsius - 20)) / (CONDUCTIVITY * 1000)


def sheet_resistance(thickness: float, celsius: float = 20.0) -> float:
    """Resistance of a square of foil, in Ω, for a thickness in mm: ρ / t.

    Raises:
        ValueError: when the thickness is not above 0, or for a temperature out of range.
    """
    if not thickness > 0:
        raise ValueError(f"thickness must be above 0, got {thickness}")
    return resistivity(celsius) / thickness


def strip_resistance(length: float, width: float, thickness: float, celsius: float = 20.0) -> float:
    """Resistance of a straight strip in Ω, from end to end: ρ·L / (w·t), all in mm.

    Raises:
        ValueError: when a size is not above 0, or for a temperature out of range.
    """
    if not (length > 0 and width > 0):
        raise ValueError(f"length and width must be above 0, got {length} and {width}")
    return sheet_resistance(thickness, celsius) * length / width


def wire_resistance(length: float, area: float, celsius: float = 20.0) -> float:
    """Resistance of a copper wire in Ω: ρ·l / A, its length in mm and its section in mm².

    Raises:
        ValueError: when a size is not above 0, or for a temperature out of range.
    """
    if not (length > 0 and area > 0):
        raise ValueError(f"length and area must be above 0, got {length} and {area}")
    return resistivity(celsius) * length / area
