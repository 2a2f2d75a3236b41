"""A commented job to start from, for one drawing or several, alone or on a bench."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from typing import Any, NamedTuple, get_args

from millprep.geometry.path import Point
from millprep.job.presets import BORER, FLATNESS, StarterCutter, drilling, isolation, slim_mill
from millprep.job.starter_board import (
    Start,
    board_table,
    bores_of,
    left_open,
    listed,
    narrowest_gap,
    quoted,
    sizes,
)
from millprep.model.finding import many
from millprep.model.job.isolation import COMMON_DEPTH, LEAST_TIME
from millprep.model.job.job import SPACING_WEB
from millprep.model.job.layers import DrawnFrom


class SheetSize(NamedTuple):
    """A size of blank, mm, and how many of it."""

    x: float
    y: float
    blanks: int

    @property
    def keys(self) -> list[str]:
        """As [blank] has them."""
        size = f"size = [{self.x:g}, {self.y:g}]"
        return [size] if self.blanks == 1 else [size, f"count = {self.blanks}"]


class Room(NamedTuple):
    """What decides how many boards a blank holds, mm.

    Attributes:
        travel: of the machine, (x, y).
        margin: around the boards.
        spacing: between them.
    """

    travel: Sequence[float]
    margin: float
    spacing: float

    def sheet_for(self, sizes: Sequence[Point]) -> SheetSize:
        """Blanks that hold boards of these sizes in rows, none of them turned.

        They are larger than the travel only where a board is. Of all lengths of rows it takes
        the one that needs the fewest blanks, then the least laminate.
        """
        widest, tallest = max(x for x, _ in sizes), max(y for _, y in sizes)
        most_x = max(widest, self.travel[0] - 2 * self.margin)
        most_y = max(tallest, self.travel[1] - 2 * self.margin)
        rows = sorted(sizes, key=lambda size: (-size[1], -size[0]))
        limits, along = {most_x}, -self.spacing
        for x, _ in rows:
            along += x + self.spacing
            if widest <= along < most_x:
                limits.add(along)
        tried = (self._in_rows(rows, limit, most_y) for limit in sorted(limits))
        return min(tried, key=lambda s: (s.blanks, s.x * s.y, s))

    def fits(self, sizes: Sequence[Point], sheet: Sequence[float]) -> bool:
        """Whether each board by itself fits on a blank of this size."""
        x, y = (side - 2 * self.margin for side in sheet)
        return all(along <= x and across <= y for along, across in sizes)

    def count_on(self, sizes: Sequence[Point], sheet: Sequence[float]) -> int:
        """How many blanks of this size boards that fit on it take in rows."""
        x, y = (side - 2 * self.margin for side in sheet)
        rows = sorted(sizes, key=lambda size: (-size[1], -size[0]))
        return self._in_rows(rows, x, y).blanks

    def _in_rows(self, sizes: Sequence[Point], most_x: float, most_y: float) -> SheetSize:
        wide = high = x = y = row = 0.0
        blanks = 1
        for i, (along, across) in enumerate(sizes):
            if i and x + self.spacing + along > most_x + 1e-9:
                x, y, row = 0.0, y + row + self.spacing, 0.0
                if y + across > most_y + 1e-9:
                    blanks, y = blanks + 1, 0.0
            x += along + (self.spacing if x else 0.0)
            row = max(row, across)
            wide, high = max(wide, x), max(high, y + row)
        wide, high = (math.ceil(round(side + 2 * self.margin, 6)) for side in (wide, high))
        return SheetSize(wide, high, blanks)


_TOLERANCE = 0.05


@dataclass(frozen=True, slots=True)
class Bench:
    """A bench file that a job will name.

    Attributes:
        path: as seen from the job's folder; None where the job takes it without a name.
        tables: what it holds, with the values of presets.
        added: whether the job adds the cutters that the bench lacks.
    """

    path: str | None
    tables: Mapping[str, Any]
    added: bool = True

    def value(self, table: str, key: str, default: Any) -> Any:
        """A key of a table that is there once."""
        held = self.tables.get(table)
        value = held.get(key, default) if isinstance(held, Mapping) else default
        same = isinstance(default, float) and isinstance(value, int | float)
        return value if same or default is None or isinstance(value, type(default)) else default

    @property
    def side(self) -> DrawnFrom | None:
        """What it says all drawings are seen from."""
        side = self.value("drawings", "drawn_from", "")
        return side if side in get_args(DrawnFrom) else None

    def cutter(self, name: str) -> Mapping[str, Any]:
        """The keys of a cutter, none of one that is not there."""
        held = self.value("cutters", name, {})
        return held if isinstance(held, Mapping) else {}

    def lacks(self, starts: Sequence[Start]) -> tuple[StarterCutter, ...]:
        """Cutters for holes that no drill of the bench fits and that its borer is too wide for."""
        if "drilling" not in self.tables:
            return ()
        names = self.value("drilling", "cutters", [])
        drills = [self.cutter(name).get("diameter", 0.0) for name in names]
        tolerance = self.value("drilling", "tolerance", _TOLERANCE)
        borer = self.cutter(self.value("drilling", "borer", "")).get("diameter", math.inf)
        diameters, slots = bores_of(starts)
        made = drilling(
            [
                d
                for d in diameters
                if d <= borer and all(abs(d - drill) > tolerance for drill in drills)
            ],
            [w for w in slots if w < borer],
        )
        if not self.cutter(BORER):
            return made.cutters
        return tuple(
            replace(c, name=f"fine-{BORER}") if c.name == BORER else c for c in made.cutters
        )


def on_bench(text: str, bench: Bench, starts: Sequence[Start]) -> str:
    """A job without the tables that its bench has, but with what they lack for these boards."""
    parts = []
    for part in text.rstrip("\n").split("\n\n"):
        headed = re.search(r"^\[+(\w+)", part, re.M)
        if headed is None or headed[1] not in bench.tables:
            parts.append(part)
        if part.startswith("name = ") and bench.path is not None:
            parts.append(f"bench = {quoted(bench.path)}   # gives what is not written here")
    own = [*_blank(bench, starts), *_bench_isolation(bench, starts), *_drilling(bench, starts)]
    return "\n\n".join(part.rstrip("\n") for part in (*parts, *own)) + "\n"


def _blank(bench: Bench, starts: Sequence[Start]) -> list[str]:
    """The sheet, where the boards take more than the bench's usual one."""
    if not isinstance(bench.tables.get("blank"), Mapping):
        return []
    margin = bench.value("blank", "margin", _MARGIN)
    mill = bench.cutter(bench.value("profile", "cutter", "")).get("diameter", 2.0)
    spacing = bench.value("blank", "spacing", 2 * mill + SPACING_WEB)
    room = Room(bench.value("machine", "travel", [300.0, 180.0]), margin, spacing)
    size = bench.value("blank", "size", [])
    boards = sizes(starts)
    if len(size) == 2 and room.fits(boards, size):
        count = room.count_on(boards, size)
        if count <= bench.value("blank", "count", 1):
            return []
        return [f"# So many of the bench's sheets.\n[blank]\ncount = {count}"]
    words = "# The boards need a larger sheet than the bench's."
    return ["\n".join([words, "[blank]", *room.sheet_for(boards).keys])]


def _bench_isolation(bench: Bench, starts: Sequence[Start]) -> list[str]:
    """Gap and cutter, where those of the bench are too wide for the boards."""
    narrowest = narrowest_gap(starts)
    if "isolation" not in bench.tables or narrowest is None:
        return []
    gap = bench.value("isolation", "gap", None)
    given = bench.value("isolation", "flatness", FLATNESS)
    names = bench.value("isolation", "cutters", [])
    depth = bench.value("isolation", "depth", COMMON_DEPTH)
    fit = isolation(narrowest)
    keys, tables = [], []
    if isinstance(gap, int | float) and gap > narrowest:
        keys.append(f"gap = {fit.gap:g}   # the narrowest gap is {narrowest:.3f} mm")
    widths = [_width(bench.cutter(name), depth + given) for name in names if isinstance(name, str)]
    if bench.added and widths and min(widths) > narrowest and fit.fits:
        name = fit.preset.replace(".", "")
        if _width(bench.cutter(name), fit.depth + given) > narrowest:
            name = f"fine-{name}"  # that of the bench is worn, or of another size
        keys += [f"cutters = [{quoted(name)}]", f"depth = {fit.depth:g}"]
        if not bench.cutter(name):
            tables.append(StarterCutter(name, fit.preset).table)
    if keys:
        tables.append("\n".join(["[isolation]", *keys]))
    return tables


def _width(cutter: Mapping[str, Any], depth: float) -> float:
    """Of the groove at the surface, mm; of a vee, geometry."""
    if cutter.get("kind") != "vee":
        return float(cutter.get("diameter", 0.0))
    slope = math.tan(math.radians(cutter.get("angle", 0.0)) / 2)
    return float(cutter.get("tip", 0.0) + 2 * depth * slope)


def _drilling(bench: Bench, starts: Sequence[Start]) -> list[str]:
    """The cutters that the bench lacks, and who uses them."""
    lacking = bench.lacks(starts) if bench.added else ()
    if not lacking:
        return []
    borers = [c.name for c in lacking if c.name.endswith(BORER)]
    drills = [c.name for c in lacking if not c.name.endswith(BORER)]
    keys = [f"borer = {quoted(name)}" for name in borers]
    if drills:
        keys.append(f"cutters = {listed([*bench.value('drilling', 'cutters', []), *drills])}")
    tables = "\n".join(cutter.table for cutter in lacking)
    words = "# The bench has no cutters for some holes of these boards."
    return [f"{words}\n{tables}", "\n".join(["[drilling]", *keys])]


SCHEMA_FILE = "millprep-job.json"
"""The JSON Schema that the first line of a job names, next to the job."""

_TRAVEL = (300.0, 180.0)
_MARGIN = 10.0
_SPACING = 2 * 2.0 + SPACING_WEB
"""Of machine, blank and mill as the template has them, mm."""
_NAMES = "\nengrave_names = true   # next to every copy where there is room: half a minute each"


def starter(starts: Sequence[Start], name: str | None = None, bench: Bench | None = None) -> str:
    """Text of a job; it loads once what is `open` in its boards is filled in.

    Args:
        starts: its boards, each with a name of its own.
        name: of the job; None takes that of its first board.
        bench: the bench file that it names, and so leaves out what that says.
    """
    narrowest = narrowest_gap(starts)
    cut = isolation(narrowest)
    bores = drilling(*bores_of(starts))
    slim = [mill for mill in [slim_mill([w for s in starts for w in s.cut_outs])] if mill]
    sheet = Room(_TRAVEL, _MARGIN, _SPACING).sheet_for(sizes(starts))
    left = left_open(starts)
    text = _template().format(
        schema=SCHEMA_FILE,
        todo="# >>> Left to fill in: " + ", ".join(left) + ". <<<"
        if left
        else "# Nothing is left to fill in. Read it before you use it.",
        name=quoted(name or starts[0].called),
        # copies look alike once they are cut out; a board by itself needs no name
        names=_NAMES if len(sizes(starts)) > 1 else "",
        boards="\n\n".join("\n".join(board_table(start)) for start in starts),
        sheet="\n".join(sheet.keys),
        margin=f"{_MARGIN:.1f}",
        vee=quoted(cut.preset),
        cutters="\n".join(cutter.table for cutter in (*bores.cutters, *slim)),
        profile=quoted(slim[0].name if slim else "mill"),
        isolation="\n".join(_isolation(starts)),
        # least time needs some depth to choose from
        depth=f'"{LEAST_TIME}"' if cut.depth >= COMMON_DEPTH else f"{cut.depth:g}",
        gap=f"{cut.gap:g}",
        drills=listed(bores.drills),
        borer=quoted(bores.borer),
        holes="\n".join(_holes(starts)),
    )
    return text if bench is None else on_bench(text, bench, starts)


def warnings(starts: Sequence[Start]) -> list[str]:
    """What a person must know of the job, apart from what is left to fill in."""
    narrowest = narrowest_gap(starts)
    cut = isolation(narrowest)
    if cut.fits or narrowest is None:
        return []
    return [
        f"the narrowest gap is {narrowest:.3f} mm, and no preset vee passes it: "
        f"{cut.preset} cuts {cut.width:.3f} mm wide at {cut.depth:g} mm depth; "
        "name a finer cutter, or widen the gap in the drawing"
    ]


@cache
def _template() -> str:
    file = resources.files("millprep.job") / "starter.txt"
    return file.read_text(encoding="utf-8")


def _assumed(starts: Sequence[Start], whose: str) -> str:
    unit = next((start.assumed for start in starts if start.assumed), None)
    return f", if {whose} unit is {unit}" if unit else ""


def _isolation(starts: Sequence[Start]) -> list[str]:
    narrowest = narrowest_gap(starts)
    cut = isolation(narrowest)
    if narrowest is None:
        return ["# No gap between pieces of copper is known; see `millprep inspect`."]
    what = f"The narrowest gap of {'the drawing' if len(starts) == 1 else 'all drawings'}"
    if any(start.needs_mode or not start.roles.copper for start in starts):
        what = "The narrowest gap of what could be copper"
    lines = [f"# {what} is {narrowest:.3f} mm{_assumed(starts, 'its')}."]
    lines += [f"# >>> {line}" for line in warnings(starts)]
    if cut.fits:
        lines.append(f"# This vee cuts {cut.width:.3f} mm wide at the copper's surface.")
    return lines


def _holes(starts: Sequence[Start]) -> list[str]:
    diameters, slots = bores_of(starts)
    sizes = [*diameters, *slots]
    if not sizes:
        return ["# No holes are known."]
    low, high = min(sizes), max(sizes)
    span = f"{low:.2f} mm" if high - low < 0.005 else f"{low:.2f} to {high:.2f} mm"
    of_them = f", {len(slots)} of them slots" if slots else ""
    what = "The drawing has" if len(starts) == 1 else "The drawings have"
    what = what if any(start.roles.holes for start in starts) else "There could be"
    return [f"# {what} {many(len(sizes), 'hole')}, {span}{of_them}{_assumed(starts, 'the')}."]
