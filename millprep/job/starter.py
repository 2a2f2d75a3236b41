"""A commented job to start from, for one drawing or several."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from importlib import resources

from millprep.job.presets import drilling, isolation, slim_mill
from millprep.job.starter_bench import Bench, on_bench
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
from millprep.job.starter_sheet import Room
from millprep.model.job.isolation import COMMON_DEPTH, LEAST_TIME
from millprep.model.job.job import SPACING_WEB

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
    return [f"# {what} {len(sizes)} holes, {span}{of_them}{_assumed(starts, 'the')}."]
