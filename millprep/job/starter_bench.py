"""A starter job on a bench: what the bench says is left out, what it lacks is added."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, get_args

from millprep.job.presets import BORER, FLATNESS, StarterCutter, drilling, isolation
from millprep.job.starter_board import Start, bores_of, listed, narrowest_gap, quoted, sizes
from millprep.job.starter_sheet import Room
from millprep.model.job.isolation import COMMON_DEPTH
from millprep.model.job.job import SPACING_WEB
from millprep.model.job.layers import DrawnFrom

_MARGIN, _TOLERANCE = 10.0, 0.05


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
    own = [*_blank(bench, starts), *_isolation(bench, starts), *_drilling(bench, starts)]
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


def _isolation(bench: Bench, starts: Sequence[Start]) -> list[str]:
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
