"""Keys of the job file drawn at random, from every table of the schema that a random job has."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, get_args

from annotated_types import Ge, Gt, Le, Lt
from numpy.random import Generator

from millprep.job.reference import TABLES
from millprep.model.job.keys import Key, keys

OWN = "is a table of its own"
FILE = "names a file of its own"
DRAWING = "names layers, copper or places of a drawing, which the board draws"
LEFT_OUT: Mapping[tuple[str, str], str] = {
    ("", "name"): "is drawn with the job",
    ("", "bench"): FILE,
    ("", "clearing"): OWN,
    ("", "layout"): OWN,
    ("", "legend"): OWN,
    ("", "registration"): OWN,
    ("", "rules"): OWN,
    ("[machine]", "time"): OWN,
    ("[machine]", "dialect"): OWN,
    ("[machine.time]", "log"): FILE,
    ("[blank] or [[blank]]", "outline"): DRAWING,
    ("[setup]", "clamp"): OWN,
    ("[setup]", "touch"): "is a point of copper that pass 1 must leave, which the board draws",
    ("[[setup.clamp]]", "passes"): "is a clamp of one pass, which another must hold without",
    ("[[board]]", "name"): "is drawn with the board",
    ("[[board]]", "netlist"): FILE,
    ("[[board]]", "netlist_offset"): "says how to read a netlist",
    ("[[board]]", "netlist_mirrored"): "says how to read a netlist",
    ("[[board]]", "ignore_nets"): "says how to read a netlist",
    ("[[board]]", "place"): OWN,
    ("[[board]]", "layers"): OWN,
    ("[[board]]", "outline_unit"): "says how to read an outline's file",
    ("[[board]]", "holes_unit"): "says how to read a drill file",
    ("[[board]]", "outline_box"): "replaces the outline, which the board draws",
    ("[[board]]", "outline_margin"): "replaces the outline, which the board draws",
    ("[[board]]", "selection"): OWN,
    ("[[board]]", "accept_repairs"): "accepts what a damaged drawing needs; the boards are whole",
    ("[[board]]", "clear"): OWN,
    ("[[board]]", "links"): DRAWING,
    ("[[board]]", "wire"): OWN,
    ("[[board]]", "net"): OWN,
    ("[drilling]", "cutters"): "is drawn with the job",
    ("[drilling]", "borer"): "is drawn with the job",
    ("[registration]", "cutters"): "is drawn with the job",
    ("[rules]", "pins"): OWN,
}
"""Keys that have a default and are not drawn, each with the reason."""
TABLES_LEFT_OUT: Mapping[str, str] = {
    "[[board]] drawing": FILE,
    "[[board]] layers": DRAWING,
    "[[board.selection]]": DRAWING,
    "[[board.place]]": DRAWING,
    "[[board.wire]]": DRAWING,
    "[[board.net]]": DRAWING,
    "[[board.net.load]]": DRAWING,
    "[[board.clear]]": DRAWING,
    "[layout]": FILE,
    "[legend]": DRAWING,
    "[cutters.NAME]": "its keys are drawn with those of each kind",
    "[rules.pins]": DRAWING,
}
"""Tables of which no key is drawn, each with the reason."""
RANGES: Mapping[tuple[str, str], tuple[float, float]] = {
    ("[machine]", "travel_margin"): (0.0, 3.0),
    ("[machine]", "rapid"): (300.0, 4000.0),
    ("[machine]", "screw_lead"): (1.0, 8.0),
    ("[machine]", "scale_error"): (-1.0, 1.0),
    ("[machine]", "squareness"): (-0.05, 0.05),
    ("[machine]", "periodic_error"): (0.0, 0.02),
    ("[machine]", "backlash"): (0.0, 0.05),
    ("[machine]", "probe_repeatability"): (0.001, 0.02),
    ("[machine]", "path_tolerance"): (0.001, 0.02),
    ("[machine]", "acceleration"): (20.0, 2000.0),
    ("[machine.time]", "change"): (0.0, 10.0),
    ("[machine.time]", "placing"): (0.0, 10.0),
    ("[machine.time]", "reading"): (0.0, 5.0),
    ("[machine.dialect]", "decimals"): (2, 6),
    ("[blank] or [[blank]]", "spacing"): (2.0, 8.0),
    ("[blank] or [[blank]]", "count"): (1, 3),
    ("[blank] or [[blank]]", "modulus"): (3.0, 30.0),
    ("[[board]]", "priority"): (-2, 2),
    ("[[board]]", "close_gaps"): (0.0, 0.05),
    ("[isolation]", "pad_gap"): (0.2, 2.0),
    ("[isolation]", "flatness"): (0.0, 0.04),
    ("[clearing]", "depth"): (0.06, 0.15),
    ("[registration]", "hole"): (2.5, 3.5),
    ("[registration]", "pin"): (2.4, 3.3),
    ("[registration]", "pin_diameter"): (2.6, 3.3),
    ("[registration]", "pin_depth"): (1.0, 8.0),
    ("[registration]", "drill_error"): (0.005, 0.06),
    ("[registration]", "locate_error"): (0.005, 0.06),
    ("[rules]", "least_counted_gap"): (0.0, 0.3),
    ("[rules]", "fixing_metal"): (4.0, 9.0),
    ("[rules]", "most_lost"): (0.01, 2.0),
    ("[rules]", "drill_wander"): (0.0, 0.1),
    ("[rules]", "pass_error"): (0.0, 0.1),
    **{
        (f'[cutters.NAME], kind = "{kind}"', key): limits
        for kind in ("vee", "endmill", "drill")
        for key, limits in (("runout", (0.0, 0.03)), ("wear", (0.0, 0.02)), ("life", (1.0, 50.0)))
    },
    ('[cutters.NAME], kind = "drill"', "feed"): (50.0, 400.0),
}
"""Where a key that has no number as default is drawn from, or needs other limits than usual."""
OTHERS: Mapping[tuple[str, str], tuple[Any, ...]] = {
    ("[machine]", "zero"): ([0.5, 0.0], [2.0, 3.5]),
    ("[machine]", "probe_log"): (r"(?P<x>[-\d.]+),(?P<y>[-\d.]+),(?P<z>[-\d.]+)",),
    ("[machine.dialect]", "start_lines"): (["G40 G49"], ["G94", "G17"]),
    ("[machine.dialect]", "end_lines"): (["M9"], ["G40", "M9"]),
    ("[setup]", "origin"): ([1.0, 0.0], [0.3, 1.7]),
    ("[setup]", "tape"): (True,),
    ("[setup]", "vacuum"): (True,),
    ("[[board]]", "turns"): ([0, 180], [0, 90, 180, 270], [90]),
    ("[[board]]", "unit"): ("mm",),
    ("[isolation]", "depth"): (0.07, 0.09, "least time"),
    ("[registration]", "probe_cutter"): ("bore", "profile"),
    **{
        (f'[cutters.NAME], kind = "{kind}"', "chip_load"): ([0.001, 0.05], [0.005, 0.1])
        for kind in ("vee", "endmill", "drill")
    },
}
"""What a key that is neither number, choice nor flag is drawn from."""
SPREAD = (0.6, 1.5)
"""A number is drawn within so many times its default."""
MOST_KEYS = 6
"""So many keys are drawn at most for one job: of more, one contradicts another nearly always."""
HEADINGS: Mapping[str, tuple[str, ...]] = {
    "[blank] or [[blank]]": ("[[blank]]",),
    '[cutters.NAME], kind = "vee"': ("[cutters.vee]",),
    '[cutters.NAME], kind = "endmill"': ("[cutters.bore]", "[cutters.profile]"),
    '[cutters.NAME], kind = "drill"': ("[cutters.small]", "[cutters.drill]"),
}
"""Where a random job has a table whose heading differs."""


def drawable() -> dict[tuple[str, str], Key]:
    """Every key that has a default and is not left out, by the heading of its table and name."""
    return {
        (heading, name): key
        for heading, table in TABLES
        if heading not in TABLES_LEFT_OUT
        for name, key in keys(table).items()
        if key.doc.default
        and name not in {"preset", "kind"}
        and "must be written" not in key.doc.default
        and (heading, name) not in LEFT_OUT
    }


def value(where: tuple[str, str], key: Key, random: Generator) -> Any:
    """A value for a key, within its own limits.

    Raises:
        LookupError: for a key that nothing says how to draw.
    """
    if where in OTHERS:
        return OTHERS[where][int(random.integers(len(OTHERS[where])))]
    if key.doc.choices:
        return str(random.choice(key.doc.choices))
    default = key.field.default
    if isinstance(default, bool):
        return not default
    kinds = {key.field.annotation, *get_args(key.field.annotation)}
    if where in RANGES:
        low, high = RANGES[where]
    elif isinstance(default, int | float) and default:
        low, high = (share * default for share in SPREAD)
    else:
        raise LookupError(f"no range for {where}")
    for limit in key.field.metadata:
        if isinstance(limit, Ge | Gt):
            low = max(low, float(getattr(limit, "ge", getattr(limit, "gt", low))))
        elif isinstance(limit, Le | Lt):
            high = min(high, float(getattr(limit, "le", getattr(limit, "lt", high))))
    if int in kinds:
        return int(random.integers(int(low), int(high) + 1))
    return round(float(random.uniform(low, high)), 3)


def with_keys(
    tables: Mapping[str, Mapping[str, Any]], random: Generator
) -> dict[str, dict[str, Any]]:
    """A random job with a few more keys, or with other values of its own."""
    made = {heading: dict(of) for heading, of in tables.items()}
    made.setdefault("[machine.time]", {})
    made.setdefault("[rules]", {})
    known = drawable()
    for number in random.permutation(len(known))[: int(random.integers(1, MOST_KEYS + 1))]:
        where = list(known)[number]
        for heading in HEADINGS.get(where[0], (where[0],)):
            if heading in made:
                made[heading][where[1]] = value(where, known[where], random)
    return made
