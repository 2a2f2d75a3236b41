"""The [[board]] of a starter job, from what is known of its drawing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from millprep.geometry.path import Point
from millprep.model.job.keys import keys
from millprep.model.job.layers import CopperMode, DrawnFrom, LayerRoles, Selection, Unit

FILL_IN = "FILL IN"
"""Written where only the maker knows the answer."""


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
        pens: what outline_pen may be, where the job must say which line of a pen is the outline.
        gaps: words on the gaps in the outline that the job could close, and by how much.
        unlayered: roles whose files have no layers: Gerber and drill files.
        repairs: what mending the damaged drawing changes, each with its name in quotes.
        size: of the board, (x, y).
        narrowest: gap between pieces, None when not known.
        diameters, slots: of the holes, and widths of slots; `cut_outs` the widths of cut-outs.
        assumed: the unit that sizes take, where it is not known.
        count: copies to make.
        name: of the board; None takes that of the drawing.
        part_names: layers whose texts could name parts, each with its texts, while nobody said
            whether they do.
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
    pens: Sequence[str] = ()
    repairs: Sequence[str] = ()
    narrowest: float | None = None
    diameters: Sequence[float] = ()
    slots: Sequence[float] = ()
    cut_outs: Sequence[float] = ()
    assumed: Unit | None = None
    count: int = 1
    name: str | None = None
    part_names: Mapping[str, str] | None = None

    @property
    def called(self) -> str:
        """The name of the board."""
        if self.name is not None:
            return self.name
        stem = self.drawing.replace("\\", "/").rsplit("/", 1)[-1].rsplit(".", 1)[0]
        name = "".join(c for c in stem if c.isprintable()).strip(" .") or "board"
        return name[:100]

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
        out += ["outline_pen"] if self.pens else []
        return tuple(out)

    @property
    def questions(self) -> tuple[str, ...]:
        """What a person may answer: all that is open, and what a job can do without."""
        return (*self.open, *(["layers.parts"] if self.part_names else []))


def left_open(starts: Sequence[Start]) -> list[str]:
    """What is left to fill in; of several boards, each with its name."""
    if len(starts) == 1:
        return list(starts[0].open)
    return [f"{key} of {start.called}" for start in starts for key in start.open]


def narrowest_gap(starts: Sequence[Start]) -> float | None:
    """Between pieces of copper of any board, mm; None where none is known."""
    return min((s.narrowest for s in starts if s.narrowest is not None), default=None)


def sizes(starts: Sequence[Start]) -> list[Point]:
    """Of all copies of all boards."""
    return [start.size for start in starts for _ in range(start.count)]


def bores_of(starts: Sequence[Start]) -> tuple[list[float], list[float]]:
    """Diameters of the holes of all boards, and widths of their slots."""
    return [d for s in starts for d in s.diameters], [w for s in starts for w in s.slots]


def board_table(start: Start) -> list[str]:
    """The table of the board, each key with what a person has to know of it."""
    roles = start.roles
    side = '   # >>> "components" or "copper" <<<' if start.drawn_from is None else ""
    lines = [
        "[[board]]",
        f"name = {quoted(start.called)}",
        f"drawing = {_drawing(start)}",
        f"drawn_from = {quoted(start.drawn_from or FILL_IN)}{side}",
        f"count = {start.count}",
        *_unit(start),
    ]
    choices = start.choices or {}
    for role, names in (("copper", roles.copper), ("holes", roles.holes)):
        if role in start.unlayered:
            continue
        lines += [f"# {plain(line)}" for line in choices.get(role, ())]
        unnamed = role == "holes" and "layers.holes" in start.open
        lines.append(f"layers.{role} = {listed((FILL_IN,) if unnamed else names)}")
        if role == "copper":
            lines += _modes(start)
    lines += _parts(start)
    if start.holes_drawings:
        lines += _other_unit(start, "holes_unit", roles.holes_unit)
    outline = _outline(start, choices.get("outline", ()))
    return [*lines, *outline, *_repairs(start), *_selections(start)]


def _drawing(start: Start) -> str:
    """The value of `drawing`: the one file, or a table of files by what they draw."""
    copper = quoted(start.drawing)
    parts = [f"copper = {copper}"]
    if start.outline_drawing is not None:
        parts.append(f"outline = {quoted(start.outline_drawing)}")
    if start.holes_drawings or "holes" in start.unlayered:
        parts.append(f"holes = {listed(start.holes_drawings)}")
    return copper if len(parts) == 1 else f"{{ {', '.join(parts)} }}"


def _selections(start: Start) -> list[str]:
    lines = []
    for chosen in start.roles.selections:
        given = {key: getattr(chosen, key) for key in keys(Selection)}
        lines.append("[[board.selection]]")
        lines += [f"{key} = {_value(v)}" for key, v in given.items() if v is not None]
    return lines


def _value(value: str | int | tuple[float, ...]) -> str:
    if isinstance(value, str):
        return quoted(value)
    return str(list(value)) if isinstance(value, tuple) else str(value)


def _unit(start: Start) -> list[str]:
    if start.unit is not None:
        return [f"unit = {quoted(start.unit)}"]
    if start.unit_stated:
        return ['# unit = "mm"   # only for drawings that give none; this one does']
    return [
        "# The drawing does not say its unit:",
        *(f"#   {plain(line)}" for line in start.unit_words),
        f'unit = {quoted(FILL_IN)}   # >>> "mm", "inch", "mil", "cm", "m" or "point" <<<',
    ]


def _parts(start: Start) -> list[str]:
    """Layers whose texts name parts, or those that could."""
    if start.roles.parts:
        return [f"layers.parts = {listed(start.roles.parts)}"]
    return [
        f"# layers.parts = {listed([layer])}   # its texts could name parts: {plain(words)}"
        for layer, words in (start.part_names or {}).items()
    ]


def _other_unit(start: Start, key: str, given: Unit | None) -> list[str]:
    """The unit of a further file, where that has none."""
    if given is not None:
        return [f"{key} = {quoted(given)}"]
    if key not in (start.other_units or {}):
        return []
    return [
        "# This file does not say its unit:",
        *(f"#   {plain(line)}" for line in (start.other_units or {})[key]),
        f"{key} = {quoted(FILL_IN)}",
    ]


def _modes(start: Start) -> list[str]:
    lines = []
    by_layer: dict[str, list[CopperMode]] = {}
    for layer, mode in start.roles.copper_modes:
        by_layer.setdefault(layer, []).append(mode)
    modes = [
        f"{quoted(layer)} = {quoted(names[0]) if len(names) == 1 else listed(names)}"
        for layer, names in by_layer.items()
    ]
    for layer, readings in (start.needs_mode or {}).items():
        lines.append(f"# >>> What draws copper on layer {plain(layer)}? One of these, or a list:")
        lines += [f"#   {plain(reading)}" for reading in readings]
        modes.append(f"{quoted(layer)} = {quoted(FILL_IN)}")
    if modes:
        lines.append(f"layers.modes = {{ {', '.join(modes)} }}")
    widths = [f"{quoted(layer)} = {width:g}" for layer, width in start.roles.line_widths]
    if start.needs_width:
        lines.append("# >>> Tracks are drawn as lines without a width: give it as a number, mm.")
        widths += [f"{quoted(layer)} = {quoted(FILL_IN)}" for layer in start.needs_width]
    if widths:
        lines.append(f"layers.widths = {{ {', '.join(widths)} }}")
    return lines


def _outline(start: Start, choices: Sequence[str]) -> list[str]:
    roles = start.roles
    lines = [f"# {plain(line)}" for line in choices]
    if start.outline_drawing is not None:
        lines += _other_unit(start, "outline_unit", roles.outline_unit)
    if roles.outline or start.outline_drawing is not None:
        if "outline" not in start.unlayered:
            lines.append(f"layers.outline = {listed(roles.outline)}")
        if start.gaps:
            lines.append("# The outline is open, and would be refused without close_gaps, at:")
            lines += [f"#   {plain(gap)}" for gap in start.gaps]
            lines.append(f"# close_gaps = {roles.close_gaps:g}   # >>> if they may be closed <<<")
        elif roles.close_gaps:
            lines.append(f"close_gaps = {roles.close_gaps:g}")
        if start.pens:
            lines.append("# >>> Which line of what its pen draws is the edge?")
            lines.append(f"#   {' or '.join(map(quoted, start.pens))}")
            lines.append(f"outline_pen = {quoted(FILL_IN)}")
        elif roles.outline_pen is not None:
            lines.append(f"outline_pen = {quoted(roles.outline_pen)}")
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
        *(f"#   {plain(words)}" for words in start.repairs),
        "# accept_repairs = []",
    ]


def plain(text: str) -> str:
    """Text for a comment, which no line break may end."""
    return "".join(c if c.isprintable() else " " for c in text)


def listed(words: Sequence[str]) -> str:
    """A TOML list of texts."""
    return "[" + ", ".join(map(quoted, words)) + "]"


def quoted(text: str) -> str:
    """A TOML basic string."""
    marks = {'"': '\\"', "\\": "\\\\"}
    return '"' + "".join(marks.get(c, c if c.isprintable() else _escaped(c)) for c in text) + '"'


def _escaped(c: str) -> str:
    return f"\\u{ord(c):04x}" if ord(c) < 0x10000 else f"\\U{ord(c):08x}"
