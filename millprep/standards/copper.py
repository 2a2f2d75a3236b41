"""Resistance of copper, and the current that it carries.

Source of the resistance: IACS 100 % at 20 °C is 58 m/(Ω·mm²) (NBS Handbook 100, 1966, quoting NBS
Circular 31, 1914, read at second hand); its temperature coefficient 0.00393 /K at 20 °C is that of
the same tables. IEC 60028 itself was not read.

Source of the current: the curve fit of IPC-2221 (1998 to B), figure 6-4, I = k·ΔT^0.44·A^0.725
with A in square mils, ΔT in kelvin, k = 0.048 outside and 0.024 inside the board. Formula,
constants and range were read in calculators that print them; the standard itself was not read,
and the standard itself decides.
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


def wire_resistance(length: float, area: float, celsius: float = 20.0) -> float:
    """Resistance of a copper wire in Ω: ρ·l / A, its length in mm and its section in mm².

    Raises:
        ValueError: when a size is not above 0, or for a temperature out of range.
    """
    if not (length > 0 and area > 0):
        raise ValueError(f"length and area must be above 0, got {length} and {area}")
    return resistivity(celsius) * length / area


OUTSIDE, INSIDE = 0.048, 0.024
RISE_POWER, SECTION_POWER = 0.44, 0.725
MIL = 0.0254
"""A thousandth of an inch, mm."""
MOST_RISE = 100.0
"""The curves end here, K."""
MOST_WIDTH = 400 * MIL
"""The curves end here, mm."""
MOST_AMPERES = {OUTSIDE: 35.0, INSIDE: 17.5}


class OutsideCurve(ValueError):  # noqa: N818 - a place on the chart, not a fault of ours
    """The point lies where the curves have no values."""


def capacity(width: float, thickness: float, rise: float, *, inside: bool = False) -> float:
    """Amperes that warm copper of `width` × `thickness` mm by `rise` K.

    Raises:
        ValueError: when a size or the rise is not above 0.
        OutsideCurve: for a rise, a width or a current that the curves do not reach.
    """
    if not (width > 0 and thickness > 0):
        raise ValueError(f"width and thickness must be above 0, got {width} and {thickness}")
    _check_rise(rise)
    if width > MOST_WIDTH * (1 + 1e-9):
        raise OutsideCurve(f"the curves end at {MOST_WIDTH:g} mm of width, got {width:g}")
    k = INSIDE if inside else OUTSIDE
    amperes: float = k * rise**RISE_POWER * (width * thickness / MIL**2) ** SECTION_POWER
    return _on_curve(amperes, k)


def section_for(amperes: float, rise: float, *, inside: bool = False) -> float:
    """Section in mm² that `amperes` warm by `rise` K: the curve read the other way.

    Raises:
        ValueError: when the current or the rise is not above 0.
        OutsideCurve: for a rise or a current that the curves do not reach.
    """
    if not amperes > 0:
        raise ValueError(f"amperes must be above 0, got {amperes}")
    _check_rise(rise)
    k = INSIDE if inside else OUTSIDE
    _on_curve(amperes, k)
    section: float = (amperes / (k * rise**RISE_POWER)) ** (1 / SECTION_POWER) * MIL**2
    return section


def width_for(amperes: float, thickness: float, rise: float, *, inside: bool = False) -> float:
    """Width in mm of copper of this thickness that `amperes` warm by `rise` K.

    Raises:
        ValueError: when an argument is not above 0.
        OutsideCurve: for a rise, a current or a width that the curves do not reach.
    """
    if not thickness > 0:
        raise ValueError(f"thickness must be above 0, got {thickness}")
    width = section_for(amperes, rise, inside=inside) / thickness
    if width > MOST_WIDTH * (1 + 1e-9):
        raise OutsideCurve(
            f"{amperes:g} A would need {width:.1f} mm, the curves end at {MOST_WIDTH:g} mm"
        )
    return width


def _check_rise(rise: float) -> None:
    if not rise > 0:
        raise ValueError(f"rise must be above 0, got {rise}")
    if rise > MOST_RISE:
        raise OutsideCurve(f"the curves end at a rise of {MOST_RISE:g} K, got {rise:g}")


def _on_curve(amperes: float, k: float) -> float:
    if amperes > MOST_AMPERES[k] * (1 + 1e-9):
        raise OutsideCurve(f"the curves end at {MOST_AMPERES[k]:g} A, got {amperes:.1f}")
    return amperes
