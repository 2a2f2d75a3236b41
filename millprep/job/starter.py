"""A commented job to start from."""

from __future__ import annotations

import math
from collections.abc import Sequence

from millprep.job.fit import StarterCutter, drilling, isolation
from millprep.job.start import Start
from millprep.model.job.layers import CopperMode

FILL_IN = "FILL IN"
"""Stands where only the maker knows the answer."""

_MARGIN = 10.0


def starter(start: Start) -> str:
    """Text of a job for one drawing; it loads once what is `open` is filled in."""
    stem = start.drawing.replace("\\", "/").rsplit("/", 1)[-1].rsplit(".", 1)[0]
    name = "".join(c for c in stem if c.isprintable()).strip(" .") or "board"
    blank = (math.ceil(side + 2 * _MARGIN) for side in start.size)
    cut, bores = isolation(start.narrowest), drilling(start.diameters, start.slots)
    left = start.open
    return _TEXT.format(
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
        depth=f"{cut.depth:g}",
        gap=f"{cut.gap:g}",
        drills=_listed(bores.drills),
        borer=_quoted(bores.borer),
        holes="\n".join(_holes(start)),
    )


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


def _board(start: Start) -> list[str]:
    """The keys of the board, each with what a person has to know of it."""
    roles = start.roles
    side = '   # >>> "components" or "copper" <<<' if start.drawn_from is None else ""
    lines = [
        f"drawing = {_quoted(start.drawing)}",
        f"drawn_from = {_quoted(start.drawn_from or FILL_IN)}{side}",
        "count = 1",
        *_unit(start),
    ]
    choices = start.choices or {}
    for role, names in (("copper", roles.copper), ("holes", roles.holes)):
        lines += [f"# {_plain(line)}" for line in choices.get(role, ())]
        lines.append(f"layers.{role} = {_listed(names)}")
        if role == "copper":
            lines += _modes(start)
    if start.holes_drawing is not None:
        lines.append(f"holes_drawing = {_quoted(start.holes_drawing)}")
    return [*lines, *_outline(start, choices.get("outline", ())), *_repairs(start)]


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
        lines.append(f"outline_drawing = {_quoted(start.outline_drawing)}")
    if roles.outline or start.outline_drawing is not None:
        lines.append(f"layers.outline = {_listed(roles.outline)}")
        if start.gaps:
            lines.append("# The outline is open, and would be refused without close_gaps, at:")
            lines += [f"#   {_plain(gap)}" for gap in start.gaps]
            lines.append(f"# close_gaps = {roles.close_gaps:g}   # >>> if they may be closed <<<")
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
            '# outline_drawing = "….dxf"          # another file, with its layers.outline',
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


_TEXT = """\
# A job for millprep: from the drawing of a board to cut files for a small mill.
# Lengths are millimetres, feeds mm/min, spindle speeds rev/min, angles degrees.
#
{todo}

name = {name}

# The mill. A preset gives every key; write a key here to replace its value.
# Measure your own: travel and zero decide how a long board is split into passes.
[machine]
preset = "small-mill-300"
# travel = [300.0, 180.0]   # how far the spindle goes, [x, y]
# zero = [0.0, 0.0]         # place of the work zero from the lower-left corner of the travel
# clearance = 5.0           # height of rapid moves above the copper; higher than the clamps
# screw_lead = 8.0          # travel for one turn of the lead screw, if you know it

# The laminate, as it lies on the machine. Boards stay `margin` away from its edges.
[blank]
preset = "fr4-1.6-35"
size = [{size}]
margin = {margin}

# What holds the blank. With clamps instead of tape, say where they are:
#   [[setup.clamp]]
#   box = [0.0, 0.0, 10.0, 20.0]   # x0, y0, x1, y1 in machine coordinates
#   height = 4.0                   # above the copper
[setup]
origin = [0.0, 0.0]   # machine coordinates of the blank's lower-left corner in pass 1
tape = true

# The board. Look at the drawing on the screen: do you see the component side or the copper side?
# Text on the copper reads right when seen from the copper side.
[[board]]
name = {name}
{board}

# The cutters. Choose a name for each; programs are named after it.
[cutters.vee]
preset = {vee}

[cutters.mill]
preset = "endmill-2"

{cutters}
# How copper pieces are isolated: `gap` is the isolation width, at the foot of the copper.
# The depth less the flatness must be more than the copper is thick.
{isolation}
[isolation]
gap = {gap}
depth = {depth}      # common practice 0.06 to 0.10, no source
flatness = 0.02   # how far the copper may be off, up or down
cutters = ["vee"]

# Holes take the nearest drill within the tolerance; the borer mills the others, and slots.
{holes}
[drilling]
cutters = {drills}
borer = {borer}
tolerance = 0.05
breakthrough = 0.3   # common practice 0.2 to 0.3, no source
spoilboard = 6.0     # under the blank

# Cutting out, with tabs that hold the board until the end.
[profile]
cutter = "mill"
breakthrough = 0.3
tab_width = 3.0
tab_height = 0.4
tab_every = 70.0   # common practice 60 to 80, no source

# How a long board is located again after it was moved: on pins in the spoilboard, or by measuring.
[registration]
method = "pins"
hole = 3.02   # in the blank, a slip fit
pin = 2.98    # in the spoilboard, a press fit
"""
