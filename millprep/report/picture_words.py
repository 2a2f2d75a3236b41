"""The words of the pictures, all in one place so that they can be translated.

`{name}` stands for what is filled in; numbers come in as text.
"""

from __future__ import annotations

WORDS = {
    # axes and titles
    "axis.x": "X, {unit}",
    "axis.y": "Y, {unit}",
    "axis.x.blank": "X on the blank, mm",
    "axis.y.blank": "Y on the blank, mm",
    "axis.x.machine": "X of the machine, mm",
    "axis.y.machine": "Y of the machine, mm",
    "unit.drawing": "drawing units",
    "set": "set {set}",
    "title": "{job} · blank {blank} · {what}",
    "title.copper": "copper as designed, copper side up",
    "title.components": "copper as designed, component side up",
    "title.paths": "paths of all passes at their true width",
    "title.as_cut": "copper that is left after all passes",
    "title.pass": "pass {nth} of {last}",
    "title.close_up": "close-up of {names}",
    "title.layout": "layout",
    "title.net": "{job} · net {net} · {what}",
    "title.potential": "potential",
    "title.current": "current density",
    "title.layer": "{file} · layer {layer} · {what}",
    # from where
    "from.copper": "seen from the copper: as it lies on the mill",
    "from.components": "seen from the components, through the laminate: turned over top to "
    "bottom, same numbers on the axes",
    "from.programs": "seen from the copper: as it lies on the mill; from the programs as written, "
    "at the foot of the copper",
    "from.bed": "on the machine's bed, seen from above, copper side up; the axes show what the "
    "machine shows",
    # what pictures are called in a list
    "list.copper": "copper, as it lies on the mill",
    "list.components": "copper, seen from the components",
    "list.paths": "paths at their true width",
    "list.as_cut": "copper that is left",
    "list.pass": "pass {nth}",
    "list.relief": "relief of the copper in pass {nth}",
    "list.widths": "grooves of pass {nth} without its surface map",
    "list.potential": "potential of net {net}",
    "list.current": "current density of net {net}",
    # copper
    "copper": "copper as designed",
    "copper.one": "copper as designed (1 piece)",
    "copper.more": "copper as designed ({count} pieces)",
    "copper.other": "other copper as designed",
    "copper.ids": "copper as designed, dotted edge, with its id",
    "copper.none": "no copper",
    "copper.coloured": "copper; pieces side by side differ in colour, which says no more",
    "blank": "blank: laminate without copper in the design",
    "hole": "hole",
    "hole.slot": "hole or slot",
    "edge": "edge of the board",
    "edge.one": "edge of a board",
    "finding": "finding by its number; +3: three more beside it",
    "finding.words": "{name} ({weight}): {message}",
    # paths
    "cutter": "{cutter}: {kind}",
    "cutter.wide": "{cutter}: {kind}, cuts {mm} mm wide",
    "cutter.surface": "{cutter}: {mm} mm at the surface",
    "cutter.foot": "{cutter}: {mm} mm at the foot",
    "tabs": "tab that holds the board ({count})",
    "registration": "registration hole ({count})",
    "registration.one": "registration hole",
    "joins": "join: two passes meet on a path ({count})",
    "joins.figures": "join: two passes meet on a path ({count}): what 99.7 % of blanks miss by "
    "less than / what it stands, mm",
    # as cut
    "as_cut.piece": "a piece of the design, on its own ({count})",
    "as_cut.spare": "left-over copper, part of no piece",
    "as_cut.away": "cut away: bare laminate",
    "as_cut.shorts": "SHORT: pieces that touch ({count})",
    "as_cut.opens": "OPEN: piece in parts ({count})",
    "as_cut.short": "SHORT {pieces}",
    "as_cut.open": "OPEN {piece}",
    # a pass
    "program": "{number} {works}: {cutter}",
    "pass.earlier": "cut in an earlier pass",
    "pass.travel": "travel of the machine",
    "pass.clamp": "clamp, with its height",
    "pass.clamp_only": "clamp",
    "pass.zero": "machine zero X0 Y0",
    "pass.touch": "Z touch point at {place}",
    "pass.touch_here": "Z touch",
    "mark.drilled": "{hole} drilled now",
    "mark.engraved": "{hole} engraved now",
    "mark.locates": "{hole} locates",
    "mark.look": "{hole} look here",
    # layouts
    "layout.board": "board ({count})",
    "layout.usable": "laminate that boards may cover",
    "layout.margin": "margin",
    "layout.clamps": "kept free for clamps",
    "layout.seams": "where one pass takes over from another",
    "layout.offcut": "offcut",
    "layout.one": "1 board covers {share} % of what it may",
    "layout.more": "{count} boards cover {share} % of what they may",
    # nets
    "net.lost": "volts lost since {feed}, all loads drawing",
    "net.lost_feed": "volts lost since the feed, all loads drawing",
    "net.density": "current for each millimetre across its way",
    "net.range": "{low} to {high} {unit}",
    "net.load": "load by its number",
    # a surface map
    "relief.blank": "blank",
    "relief.height": "height, µm above Z0",
    "relief.touched": "place that was touched",
    "relief.zero": "Z touch point",
    "relief.words": "relief of the copper, {low} to {high} µm, as probed; between the places it "
    "may lie {off} µm off",
    "widths.foot": "foot {low} to {high} mm",
    "widths.lost": "not cut through: {mm} mm",
    "widths.words": "grooves as they would be without the map: {low} to {high} mm at the foot of "
    "the copper, {top_low} to {top_high} at its surface",
    # drawings
    "line.thin": "line of no width",
    "line.wide": "line with a width, or filled area",
    "line.within": "line that is drawn within the copper (white)",
    "holes.one": "1 hole in it",
    "holes.more": "{count} holes in it",
}


def say(key: str, **values: object) -> str:
    """The words of a key with `values` filled in; a value is never read as a pattern."""
    return WORDS[key].format(**values)
