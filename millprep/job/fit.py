"""Cutters that fit a drawing: a vee for its narrowest gap, drills for its holes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from millprep.job.presets import NOTES, presets
from millprep.model.cutter import Vee

GAP = 0.3
"""Isolation gap where nothing asks for less, mm (common practice, no source)."""
COPPER = 0.035
"""Thickness of the copper the starter assumes, mm."""
FLATNESS = 0.02
STEP, FINE_STEP = 0.05, 0.01
"""Gaps are rounded down to a multiple of this, mm."""
TRIED = (
    ("vee-60-0.1", 0.08),
    ("vee-45-0.1", 0.08),
    ("vee-30-0.1", 0.08),
    ("vee-20-0.1", 0.08),
    ("vee-20-0.1", 0.06),
)
"""Vee presets and their least depths, mm, from sturdy to fine."""
ALIKE = 0.02
"""A preset drill serves a hole that differs by no more, mm."""
LARGEST_DRILL = 1.6
"""Larger holes are bored where no preset drill has their size, mm (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class StarterCutter:
    """One [cutters.NAME]: a preset, or keys in full; `note` is a comment on its heading."""

    name: str
    preset: str | None
    keys: tuple[tuple[str, object], ...] = ()
    note: str = ""


@dataclass(frozen=True, slots=True)
class Isolation:
    """Vee, depth and gap.

    Attributes:
        width: of the groove at the copper's surface.
        depth: the least one.
        fits: whether it passes between the pieces that are closest.
    """

    preset: str
    depth: float
    gap: float
    width: float
    fits: bool


@dataclass(frozen=True, slots=True)
class Drilling:
    """Cutters for the holes; `borer` is the name of an end mill, `mill` the profile's."""

    cutters: tuple[StarterCutter, ...]
    drills: tuple[str, ...]
    borer: str


def isolation(narrowest: float | None) -> Isolation:
    """The sturdiest vee that passes the narrowest gap, mm, and a gap that can be kept.

    Where none passes, the finest, and `fits` says so.
    """
    if narrowest is None:
        narrowest = math.inf
    for preset, depth in TRIED:
        vee = _vee(preset)
        # where the surface lies high the groove is wider
        width = vee.width(depth + FLATNESS)
        if width <= narrowest:
            foot = vee.width(depth, COPPER)
            wide = min(GAP, _down(narrowest, STEP))
            gap = wide if wide >= foot else max(_down(narrowest, FINE_STEP), FINE_STEP)
            return Isolation(preset, depth, gap, vee.width(depth), True)
    preset, depth = TRIED[-1]
    vee = _vee(preset)
    gap = max(_down(vee.width(depth, COPPER), FINE_STEP), FINE_STEP)
    return Isolation(preset, depth, gap, vee.width(depth), False)


def _down(value: float, step: float) -> float:
    return round(math.floor(value / step + 1e-9) * step, 4) if math.isfinite(value) else math.inf


def _vee(preset: str) -> Vee:
    keys = presets()["cutters"][preset]
    return Vee(name=preset, **{key: value for key, value in keys.items() if key not in NOTES})


def drilling(diameters: Sequence[float], slots: Sequence[float]) -> Drilling:
    """Drills for round holes of these diameters and a mill for the rest, mm.

    Args:
        diameters: of round holes, repeated or not.
        slots: widths of slots.
    """
    known = {
        float(keys["diameter"]): name
        for name, keys in presets()["cutters"].items()
        if keys["kind"] == "drill"
    }
    tables: dict[str, StarterCutter] = {}
    bored: list[float] = []
    for diameter in sorted({round(value, 2) for value in diameters if value >= 0.005}):
        near = min(known, key=lambda size: (abs(size - diameter), size))
        if abs(near - diameter) <= ALIKE + 1e-9:
            tables.setdefault(_name(near), StarterCutter(_name(near), known[near]))
        elif diameter <= LARGEST_DRILL:
            tables[_name(diameter)] = _drill(diameter)
        else:
            bored.append(diameter)
    drills = tuple(tables)
    mills = {
        float(keys["diameter"]): name
        for name, keys in presets()["cutters"].items()
        if keys["kind"] == "endmill"
    }
    # a borer goes round in a hole; a slot takes a mill of its own width
    narrow = min([*(d - 0.1 for d in bored), *(w + 0.002 for w in slots)], default=math.inf)
    fitting = [size for size in mills if size <= narrow]
    if not fitting and math.isfinite(narrow):
        mill = _mill(math.floor(narrow * 20) / 20)
        return Drilling((*tables.values(), mill), drills, mill.name)
    widest = max(fitting)
    if mills[widest] == "endmill-2":
        return Drilling(tuple(tables.values()), drills, "mill")
    return Drilling((*tables.values(), StarterCutter("borer", mills[widest])), drills, "borer")


def _name(diameter: float) -> str:
    """`drill-08`, `drill-094`, `drill-13`."""
    text = f"{diameter:.2f}".removesuffix("0")
    return "drill-" + text.replace(".", "")


_ASSUMED = "no preset of this size; assumed feed, speed and lengths: check"


def _drill(diameter: float) -> StarterCutter:
    keys: tuple[tuple[str, object], ...] = (
        ("kind", "drill"),
        ("diameter", diameter),
        ("point_angle", 118.0),
        ("shank", 3.175),
        # short drills break less; common practice, no source
        ("flute", 10.0 if diameter >= 0.75 else 7.0),
        ("stickout", 20.0),
        ("runout", 0.02),
        ("spindle", 12000.0),
        ("plunge", 300.0 if diameter >= 0.75 else min(150.0, 600.0 * diameter)),
    )
    return StarterCutter(_name(diameter), None, keys, _ASSUMED)


def _mill(diameter: float) -> StarterCutter:
    size = max(diameter, 0.2)
    keys: tuple[tuple[str, object], ...] = (
        ("kind", "endmill"),
        ("diameter", round(size, 2)),
        ("step", round(size / 4, 3)),
        ("shank", 3.175),
        ("flute", 3.0),
        ("stickout", 20.0),
        ("runout", 0.02),
        ("spindle", 12000.0),
        ("feed", 80.0),
        ("plunge", 40.0),
    )
    return StarterCutter("borer", None, keys, _ASSUMED)
