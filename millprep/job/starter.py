"""A commented job to start from, and what is known of a board before it is written."""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources

from millprep.geometry.path import Point
from millprep.job.presets import StarterCutter, drilling, isolation
from millprep.model.job.isolation import COMMON_DEPTH, LEAST_TIME
from millprep.model.job.layers import CopperMode, DrawnFrom, LayerRoles, Unit

FILL_IN = "FILL IN"
"""Written where only the maker knows the answer."""

_MARGIN = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """All that is known of a board before its job is written; lengths in mm.

    Attributes:
        drawing: its path, seen from the folder the job will lie in; so are the others.
        roles: layers by role, modes, margin, box and gaps to close; roles that are not settled
            have no layers.
        drawn_from, unit: None where unknown; `unit_stated` when the drawing gives it.
        unit_words: what each unit would make of it, a line each.
        other_units: the same for the files of outline and holes that state none, by their key.
        needs_mode: copper layers whose mode is open, each with its readings in words.
        needs_width: copper layers whose track width is open.
        choices: for roles that are not settled, what could play them, in words.
        pen: whether the job must say which line of a pen's two rims is the outline.
        gaps: words on the gaps in the outline that the job could close, and by how much.
        unlayered: roles whose files have no layers: Gerber and drill files.
        repairs: what mending the damaged drawing changes, each with its name in quotes.
        size: of the board, (x, y).
        narrowest: gap between pieces, None when not known.
        diameters, slots: of the holes, and widths of slots.
        assumed: the unit that sizes take, where it is not known.
        bench: path of the bench file, and its tables, which the job leaves out.
    """

    drawing: str
    roles: LayerRoles
    size: Point
    drawn_from: DrawnFrom | None = None
    unit: Unit | None = None
    unit_stated: bool = True
    unit_words: Sequence[str] = ()
    other_units: Mapping[str, Sequence[str]] | None = None
    outline_drawing: str | None = None
    holes_drawings: Sequence[str] = ()
    unlayered: frozenset[str] = frozenset()
    needs_mode: Mapping[str, Sequence[str]] | None = None
    needs_width: Sequence[str] = ()
    choices: Mapping[str, Sequence[str]] | None = None
    gaps: Sequence[str] = ()
    pen: bool = False
    repairs: Sequence[str] = ()
    narrowest: float | None = None
    diameters: Sequence[float] = ()
    slots: Sequence[float] = ()
    assumed: Unit | None = None
    bench: tuple[str, Collection[str]] | None = None

    @property
    def open(self) -> tuple[str, ...]:
        """Names of what is left to fill in."""
        out = [] if self.drawn_from else ["drawn_from"]
        if not self.unit and not self.unit_stated:
            out.append("unit")
        out += self.other_units or {}
        roles = self.roles
        if not roles.copper and "copper" not in self.unlayered:
            out.append("layers.copper")
        drawn = roles.outline or roles.outline_box or "outline" in self.unlayered
        if not drawn and roles.outline_margin is None:
            out.append("layers.outline" if self.outline_drawing else "the outline")
        holes = self.holes_drawings or (self.choices or {}).get("holes")
        if not roles.holes and "holes" not in self.unlayered and holes:
            out.append("layers.holes")
        out += ["layers.modes"] if self.needs_mode else []
        out += ["layers.widths"] if self.needs_width else []
        out += ["close_gaps"] if self.gaps else []
        out += ["outline_pen"] if self.pen else []
        return tuple(out)


def starter(start: Start) -> str:
    """Text of a job for one drawing; it loads once what is `open` is filled in."""
    stem = start.drawing.replace("\\", "/").rsplit("/", 1)[-1].rsplit(".", 1)[0]
    name = "".join(c for c in stem if c.isprintable()).strip(" .") or "board"
    blank = (math.ceil(side + 2 * _MARGIN) for side in start.size)
    cut, bores = isolation(start.narrowest), drilling(start.diameters, start.slots)
    left = start.open
    text = _template().format(
        todo="# >>> Left to fill in: " + ", ".join(left) + ". <<<"
        if left
        else "# Nothing is left to fill in. Read it before you use it.",
        name=_quoted(name[:100]),
        board="\n".join(_board(start)),
        size=", ".join(str(side) for side in blank),
        margin=f"{_MARGIN:.1f}",
        vee=_quoted(cut.preset),
        cutters="\n".join(_cutter(table) for table in bores.cutters),
        isolation="\n".join(_isolation(start)),
        # least time needs some depth to choose from
        depth=f'"{LEAST_TIME}"' if cut.depth >= COMMON_DEPTH else f"{cut.depth:g}",
        gap=f"{cut.gap:g}",
        drills=_listed(bores.drills),
        borer=_quoted(bores.borer),
        holes="\n".join(_holes(start)),
    )
    return text if start.bench is None else _on_bench(text, *start.bench)


def _on_bench(text: str, bench: str, tables: Collection[str]) -> str:
    """A job without the tables that its bench has."""
    parts = []
    for part in text.rstrip("\n").split("\n\n"):
        headed = re.search(r"^\[+(\w+)", part, re.M)
        if headed is None or headed[1] not in tables:
            parts.append(part)
        if part.startswith("name = "):
            parts.append(f"bench = {_quoted(bench)}   # gives what is not written here")
    return "\n\n".join(parts) + "\n"


def warnings(start: Start) -> list[str]:
    """What a person must know of the job, apart from what is left to fill in."""
    cut = isolation(start.narrowest)
    if cut.fits or start.narrowest is None:
        return []
    return [
        f"the narrowest gap is {start.narrowest:.3f} mm, and no preset vee passes it: "
        f"{cut.preset} cuts {cut.width:.3f} mm wide at {cut.depth:g} mm depth; "
        "name a finer cutter, or widen the gap in the drawing"
    ]


@cache
def _template() -> str:
    file = resources.files("millprep.job") / "starter.txt"
    return file.read_text(encoding="utf-8")


def _board(start: Start) -> list[str]:
    """The keys of the board, each with what a person has to know of it."""
    roles = start.roles
    side = '   # >>> "components" or "copper" <<<' if start.drawn_from is None else ""
    lines = [
        f"drawing = {_drawing(start)}",
        f"drawn_from = {_quoted(start.drawn_from or FILL_IN)}{side}",
        "count = 1",
        *_unit(start),
    ]
    choices = start.choices or {}
    for role, names in (("copper", roles.copper), ("holes", roles.holes)):
        if role in start.unlayered:
            continue
        lines += [f"# {_plain(line)}" for line in choices.get(role, ())]
        unnamed = role == "holes" and "layers.holes" in start.open
        lines.append(f"layers.{role} = {_listed((FILL_IN,) if unnamed else names)}")
        if role == "copper":
            lines += _modes(start)
    if start.holes_drawings:
        lines += _other_unit(start, "holes_unit", roles.holes_unit)
    outline = _outline(start, choices.get("outline", ()))
    return [*lines, *outline, *_repairs(start), *_selections(start)]


def _drawing(start: Start) -> str:
    """The value of `drawing`: the one file, or a table of files by what they draw."""
    copper = _quoted(start.drawing)
    parts = [f"copper = {copper}"]
    if start.outline_drawing is not None:
        parts.append(f"outline = {_quoted(start.outline_drawing)}")
    if start.holes_drawings or "holes" in start.unlayered:
        parts.append(f"holes = {_listed(start.holes_drawings)}")
    return copper if len(parts) == 1 else f"{{ {', '.join(parts)} }}"


def _selections(start: Start) -> list[str]:
    lines = []
    for chosen in start.roles.selections:
        region = ", ".join(f"{value:g}" for value in chosen.region or ())
        lines += ["[[board.selection]]", f"name = {_quoted(chosen.name)}"]
        lines += [f"layer = {_quoted(chosen.layer or '')}", f"region = [{region}]"]
    return lines


def _unit(start: Start) -> list[str]:
    if start.unit is not None:
        return [f"unit = {_quoted(start.unit)}"]
    if start.unit_stated:
        return ['# unit = "mm"   # only for drawings that give none; this one does']
    return [
        "# The drawing does not say its unit:",
        *(f"#   {_plain(line)}" for line in start.unit_words),
        f'unit = {_quoted(FILL_IN)}   # >>> "mm", "inch", "mil", "cm", "m" or "point" <<<',
    ]


def _other_unit(start: Start, key: str, given: Unit | None) -> list[str]:
    """The unit of a further file, where that has none."""
    if given is not None:
        return [f"{key} = {_quoted(given)}"]
    if key not in (start.other_units or {}):
        return []
    return [
        "# This file does not say its unit:",
        *(f"#   {_plain(line)}" for line in (start.other_units or {})[key]),
        f"{key} = {_quoted(FILL_IN)}",
    ]


def _modes(start: Start) -> list[str]:
    lines = []
    by_layer: dict[str, list[CopperMode]] = {}
    for layer, mode in start.roles.copper_modes:
        by_layer.setdefault(layer, []).append(mode)
    modes = [
        f"{_quoted(layer)} = {_quoted(names[0]) if len(names) == 1 else _listed(names)}"
        for layer, names in by_layer.items()
    ]
    for layer, readings in (start.needs_mode or {}).items():
        lines.append(f"# >>> What draws copper on layer {_plain(layer)}? One of these, or a list:")
        lines += [f"#   {_plain(reading)}" for reading in readings]
        modes.append(f"{_quoted(layer)} = {_quoted(FILL_IN)}")
    if modes:
        lines.append(f"layers.modes = {{ {', '.join(modes)} }}")
    if start.needs_width:
        lines.append("# >>> Tracks are drawn as lines without a width: give it as a number, mm.")
        widths = ", ".join(f"{_quoted(layer)} = {_quoted(FILL_IN)}" for layer in start.needs_width)
        lines.append(f"layers.widths = {{ {widths} }}")
    return lines


def _outline(start: Start, choices: Sequence[str]) -> list[str]:
    roles = start.roles
    lines = [f"# {_plain(line)}" for line in choices]
    if start.outline_drawing is not None:
        lines += _other_unit(start, "outline_unit", roles.outline_unit)
    if roles.outline or start.outline_drawing is not None:
        if "outline" not in start.unlayered:
            lines.append(f"layers.outline = {_listed(roles.outline)}")
        if start.gaps:
            lines.append("# The outline is open, and would be refused without close_gaps, at:")
            lines += [f"#   {_plain(gap)}" for gap in start.gaps]
            lines.append(f"# close_gaps = {roles.close_gaps:g}   # >>> if they may be closed <<<")
        if start.pen:
            lines.append("# >>> The outline is drawn as both rims of a line. Which is the edge?")
            lines.append('#   "outer", "middle" or "inner"')
            lines.append(f"outline_pen = {_quoted(FILL_IN)}")
    elif roles.outline_box is not None:
        box = ", ".join(f"{value:g}" for value in roles.outline_box)
        lines.append(f"outline_box = [{box}]   # drawing coordinates, mm")
    elif roles.outline_margin is not None:
        lines.append(
            f"outline_margin = {roles.outline_margin:g}   # the copper's box and this around it"
        )
    else:
        lines += [
            "# >>> The board's edge is open. Write one of these:",
            '# layers.outline = ["…"]             # layers that draw it',
            "# outline_margin = 1.0               # the copper's box and this around it, mm",
            "# outline_box = [0.0, 0.0, 0.0, 0.0] # x0, y0, x1, y1: drawing coordinates, mm",
            '# drawing.outline: another file, { copper = "…", outline = "…" }, draws it',
        ]
    return lines


def _repairs(start: Start) -> list[str]:
    if not start.repairs:
        return []
    return [
        "# The drawing is damaged: prepare it with --repair. Changes to shapes in use are accepted",
        "# here, by the names in quotes, once you have seen that they do no harm:",
        *(f"#   {_plain(words)}" for words in start.repairs),
        "# accept_repairs = []",
    ]


def _isolation(start: Start) -> list[str]:
    cut = isolation(start.narrowest)
    if start.narrowest is None:
        return ["# No gap between pieces of copper is known; see `millprep inspect`."]
    given = f", if its unit is {start.assumed}" if start.assumed else ""
    what = "The drawing's narrowest gap"
    if start.needs_mode or not start.roles.copper:
        what = "The narrowest gap of what could be copper"
    lines = [f"# {what} is {start.narrowest:.3f} mm{given}."]
    lines += [f"# >>> {line}" for line in warnings(start)]
    if cut.fits:
        lines.append(f"# This vee cuts {cut.width:.3f} mm wide at the copper's surface.")
    return lines


def _holes(start: Start) -> list[str]:
    if not start.diameters and not start.slots:
        return ["# No holes are known."]
    sizes = [*start.diameters, *start.slots]
    given = f", if the unit is {start.assumed}" if start.assumed else ""
    low, high = min(sizes), max(sizes)
    span = f"{low:.2f} mm" if high - low < 0.005 else f"{low:.2f} to {high:.2f} mm"
    slots = f", {len(start.slots)} of them slots" if start.slots else ""
    what = "The drawing has" if start.roles.holes else "There could be"
    return [f"# {what} {len(sizes)} holes, {span}{slots}{given}."]


def _cutter(table: StarterCutter) -> str:
    note = f"   # {table.note}" if table.note else ""
    lines = [f"[cutters.{table.name}]{note}"]
    if table.preset is not None:
        lines.append(f"preset = {_quoted(table.preset)}")
    lines += [
        f"{key} = {_quoted(value) if isinstance(value, str) else value}"
        for key, value in table.keys
    ]
    return "\n".join(lines) + "\n"


def _plain(text: str) -> str:
    """Text for a comment, which no line break may end."""
    return "".join(c if c.isprintable() else " " for c in text)


def _listed(words: Sequence[str]) -> str:
    return "[" + ", ".join(map(_quoted, words)) + "]"


def _quoted(text: str) -> str:
    """A TOML basic string."""
    marks = {'"': '\\"', "\\": "\\\\"}
    return '"' + "".join(marks.get(c, c if c.isprintable() else _escaped(c)) for c in text) + '"'


def _escaped(c: str) -> str:
    return f"\\u{ord(c):04x}" if ord(c) < 0x10000 else f"\\U{ord(c):08x}"
