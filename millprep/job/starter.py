"""A commented job to start from."""

from __future__ import annotations

import math

from millprep.values.path import Point
from millprep.values.plan import LayerRoles, Unit

FILL_IN = "FILL IN"
"""Stands where only the maker knows the answer."""

_MARGIN = 10.0


def starter(drawing_name: str, roles: LayerRoles, unit: Unit | None, size: Point) -> str:
    """Text of a job for one drawing; it loads once `drawn_from` is filled in.

    Args:
        drawing_name: path of the drawing, seen from the folder the job will lie in.
        roles: layers of the drawing by role.
        unit: unit of the drawing when it states none, else None.
        size: of the board, (x, y) in mm.
    """
    stem = drawing_name.replace("\\", "/").rsplit("/", 1)[-1].rsplit(".", 1)[0]
    name = "".join(c for c in stem if c.isprintable()).strip(" .") or "board"
    blank = (math.ceil(side + 2 * _MARGIN) for side in size)
    return _TEXT.format(
        name=_quoted(name[:100]),
        drawing=_quoted(drawing_name),
        fill_in=_quoted(FILL_IN),
        unit=f"unit = {_quoted(unit)}" if unit else '# unit = "mm"',
        copper=_listed(roles.copper),
        outline=_listed(roles.outline),
        holes=_listed(roles.holes),
        size=", ".join(str(side) for side in blank),
        margin=f"{_MARGIN:.1f}",
    )


def _listed(words: tuple[str, ...]) -> str:
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
# >>> One thing is left to fill in: drawn_from, in [[board]] below. <<<

name = {name}

# The mill. A preset gives every key; write a key beside it to replace its value.
# Measure your own: travel and zero decide how a long board is split into passes.
[machine]
preset = "small-mill-300"
# travel = [300.0, 180.0]   # how far the spindle goes, [x, y]
# zero = [0.0, 0.0]         # place of the work zero from the low corner of the travel
# clearance = 5.0           # height of rapid moves above the copper; higher than the clamps
# screw_lead = 8.0          # travel for one turn of the lead screw, if you know it

# The laminate, as it lies on the machine. Boards stay `margin` away from its edges.
[blank]
preset = "fr4-1.6-35"
size = [{size}]
margin = {margin}

# What holds the blank. With clamps instead of tape, say where they stand:
#   [[setup.clamp]]
#   box = [0.0, 0.0, 10.0, 20.0]   # x0, y0, x1, y1 in machine coordinates
#   height = 4.0                   # above the copper
[setup]
origin = [0.0, 0.0]   # machine coordinates of the blank's low corner in pass 1
tape = true

# The board. Look at the drawing as it lies on the screen: do you look at the side where the
# components stand, or at the copper? Text on the copper reads right when seen from the copper.
[[board]]
name = {name}
drawing = {drawing}
drawn_from = {fill_in}   # >>> "components" or "copper" <<<
count = 1
{unit}   # only for drawings that state none, or a wrong one
layers.copper = {copper}
layers.outline = {outline}
layers.holes = {holes}

# The cutters. Give each a name of your own; programs are named after it.
[cutters.vee]
preset = "vee-30-0.1"

[cutters.mill]
preset = "endmill-2"

[cutters.drill-08]
preset = "drill-0.8"

[cutters.drill-10]
preset = "drill-1.0"

[cutters.drill-13]
preset = "drill-1.3"

# How copper is set apart: `gap` is what stays free of copper, measured at its foot.
# The depth less the flatness must be more than the copper is thick.
[isolation]
gap = 0.3
depth = 0.08      # common practice 0.06 to 0.10, no source
flatness = 0.02   # how far the copper may lie off, up or down
cutters = ["vee"]

# Holes take the nearest drill within the tolerance; others are bored.
[drilling]
cutters = ["drill-08", "drill-10", "drill-13"]
borer = "mill"
tolerance = 0.05
breakthrough = 0.3   # common practice 0.2 to 0.3, no source
spoilboard = 6.0     # thickness of the board beneath the blank

# Cutting out, with tabs that hold the board to the end.
[profile]
cutter = "mill"
breakthrough = 0.3
tab_width = 3.0
tab_height = 0.4
tab_every = 70.0   # common practice 60 to 80, no source

# How a long board is found again after it was moved: on pins in the bed, or by measuring.
[registration]
method = "pins"
hole = 3.02   # in the blank, a slip fit
pin = 2.98    # in the bed, a press fit
"""
