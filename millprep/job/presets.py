"""Ready-made machines, cutters, laminates and socket pins, shipped as TOML.

Cutters among them that fit a drawing: a vee for its narrowest gap, drills for its holes.
"""

from __future__ import annotations

import copy
import json
import math
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any, NamedTuple

from millprep.model.cutter import Vee
from millprep.model.job.mistakes import KeyPath, Mistake, near, nearest, plain, quoted

KINDS = ("machines", "cutters", "laminates", "pins")
NOTES = ("meaning", "source")
MOST_LISTED = 8
"""Presets that are listed after a wrong name."""
"""Keys of a preset that inform a person and are no part of the job."""


def presets() -> dict[str, dict[str, dict[str, Any]]]:
    """Every preset: kind ("machines", "cutters", "laminates", "pins"), name, then its keys.

    Each has the keys of the job file's table, and `meaning` and `source`, which says where its
    values come from.
    """
    return {kind: copy.deepcopy(_read(kind)) for kind in KINDS}


@cache
def _read(kind: str) -> dict[str, dict[str, Any]]:
    file = resources.files("millprep.job") / "presets" / f"{kind}.toml"
    return tomllib.loads(file.read_text(encoding="utf-8"))


class Filled(NamedTuple):
    """A job whose tables have the values of their presets.

    Attributes:
        data: its tables.
        mistakes: in presets and their names.
        at_fault: tables whose preset is unknown: what they lack is no second mistake.
        origins: the table of a person's own preset, for every table that took one.
    """

    data: dict[str, Any]
    mistakes: list[Mistake]
    at_fault: set[KeyPath]
    origins: dict[KeyPath, KeyPath]


def with_presets(data: dict[str, Any]) -> Filled:
    """Put the values of the named presets under the keys that are written.

    A person's own presets are in [presets.KIND.NAME]; they come before ready-made ones.
    """
    filled = {key: value for key, value in data.items() if key != "presets"}
    mistakes: list[Mistake] = []
    at_fault: set[KeyPath] = set()
    origins: dict[KeyPath, KeyPath] = {}
    own = _own_presets(data.get("presets", {}), mistakes)

    def fill(table: Any, kind: str, path: KeyPath) -> Any:
        if not isinstance(table, dict) or not isinstance(table.get("preset"), str):
            return table
        name, known = table["preset"], {**_read(kind), **own.get(kind, {})}
        if name not in known:
            at_fault.add(path)
            words = f"is no {kind[:-1]} preset: {plain(name)}{near(name, list(known))}"
            if len(known) <= MOST_LISTED:
                words += f"; available: {quoted(list(known))}"
            else:
                words += f"; millprep schema lists all {len(known)}"
            mistakes.append(Mistake("job-unknown-preset", (*path, "preset"), words))
            # The likeliest takes its place, so that the other keys can be checked.
            name = nearest(name, known) or next(iter(known))
        if name in own.get(kind, {}):
            origins[path] = ("presets", kind, name)
        values = {key: value for key, value in known[name].items() if key not in NOTES}
        if kind == "machines":
            values = {"name": name, **values}
        if "kind" in values and table.get("kind", values["kind"]) != values["kind"]:
            words = f"is {plain(values['kind'])}: {plain(name)}; kind says {plain(table['kind'])}"
            mistakes.append(Mistake("job-contradiction", (*path, "preset"), words))
            table = {key: value for key, value in table.items() if key != "kind"}
        if isinstance(values.get("dialect"), dict) and isinstance(table.get("dialect"), dict):
            # features are replaced each by itself
            table = {**table, "dialect": {**values["dialect"], **table["dialect"]}}
        return {**values, **table}

    filled["machine"] = fill(data.get("machine"), "machines", ("machine",))
    if isinstance(data.get("blank"), list):
        filled["blank"] = [
            fill(table, "laminates", ("blank", i)) for i, table in enumerate(data["blank"])
        ]
    if isinstance(data.get("cutters"), dict):
        filled["cutters"] = {
            name: fill(table, "cutters", ("cutters", name))
            for name, table in data["cutters"].items()
        }
    rules = data.get("rules")
    if isinstance(rules, dict) and "pins" in rules:
        filled["rules"] = {**rules, "pins": fill(rules["pins"], "pins", ("rules", "pins"))}
    if "machine" not in data:
        del filled["machine"]
    return Filled(filled, mistakes, at_fault, origins)


def _own_presets(written: Any, mistakes: list[Mistake]) -> dict[str, dict[str, dict[str, Any]]]:
    """The presets of [presets] by kind and name; what is none goes to `mistakes`."""
    own: dict[str, dict[str, dict[str, Any]]] = {}
    for kind, named in written.items() if isinstance(written, dict) else ():
        if kind not in KINDS or not isinstance(named, dict):
            words = f"must be tables headed [presets.KIND.NAME], with KIND one of {quoted(KINDS)}"
            words += near(kind, KINDS)
            mistakes.append(Mistake("job-unknown-key", ("presets", kind), words))
            continue
        for name, values in named.items():
            if isinstance(values, dict) and "preset" not in values:
                own.setdefault(kind, {})[name] = values
                continue
            words = "must be a table of keys, without a preset of its own"
            mistakes.append(Mistake("job-bad-value", ("presets", kind, name), words))
    return own


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
BORER = "borer"
"""What a borer is called that is not the mill of the profile."""


@dataclass(frozen=True, slots=True)
class StarterCutter:
    """One [cutters.NAME]: a preset, or keys in full; `note` is a comment on its heading."""

    name: str
    preset: str | None
    keys: tuple[tuple[str, object], ...] = ()
    note: str = ""

    @property
    def table(self) -> str:
        """As the job file has it."""
        note = f"   # {self.note}" if self.note else ""
        keys = self.keys if self.preset is None else (("preset", self.preset), *self.keys)
        lines = [f"[cutters.{self.name}]{note}"]
        return "\n".join([*lines, *(f"{key} = {json.dumps(value)}" for key, value in keys), ""])


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
            # a groove is wider at the surface, where it must not gouge the pieces on either side
            room = narrowest - (vee.width(depth) - foot)
            wide = min(GAP, _down(room, STEP))
            gap = wide if wide >= foot else max(_down(room, FINE_STEP), FINE_STEP)
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


ROOM = 0.1
"""A cut-out is so much wider than the mill that goes around in it, mm (common practice)."""


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
    mills = _end_mills()
    # a borer goes round in a hole; a slot takes a mill of its own width
    narrow = min([*(d - 0.1 for d in bored), *(w + 0.002 for w in slots)], default=math.inf)
    fitting = [size for size in mills if size <= narrow]
    if not fitting and math.isfinite(narrow):
        mill = _mill(math.floor(narrow * 20) / 20)
        return Drilling((*tables.values(), mill), drills, mill.name)
    widest = max(fitting)
    if mills[widest] == "endmill-2":
        return Drilling(tuple(tables.values()), drills, "mill")
    return Drilling((*tables.values(), StarterCutter(BORER, mills[widest])), drills, BORER)


def slim_mill(cut_outs: Sequence[float]) -> StarterCutter | None:
    """The end mill that profiles boards with cut-outs of these widths, mm.

    None where the mill of 2 mm that every starter job has goes into all of them, and where no
    preset goes into the narrowest.
    """
    mills = _end_mills()
    fitting = [size for size in mills if size <= min(cut_outs, default=math.inf) - ROOM]
    if not fitting or mills[max(fitting)] == "endmill-2":
        return None
    return StarterCutter("slim-mill", mills[max(fitting)])


def _end_mills() -> dict[float, str]:
    """The presets of end mills by diameter, mm."""
    return {
        float(keys["diameter"]): name
        for name, keys in presets()["cutters"].items()
        if keys["kind"] == "endmill"
    }


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
    return StarterCutter(BORER, None, keys, _ASSUMED)
