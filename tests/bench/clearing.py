"""What clearing, the middle of gaps and plain isolation cost on one board: way, time, seconds.

Run it from the project's folder: `python -m tests.bench.clearing`, with a seed and a length in
mm for another valve board (3 and 480 if not told). Milling time is the length of the courses by
the feed, without travel; plunges are the courses, each of which needs one. Feeds are those of the
presets' kind: 240 mm/min for the vee, 400 for mills.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

import shapely

from fixtures.valve_boards import valve_board
from millprep.geometry.offset import offsets
from millprep.model.cut import Clearing, Lap
from millprep.model.cutter import Cutter, EndMill, Vee
from millprep.model.job.isolation import GivenCutter, IsolationPlan
from millprep.toolpaths.clearing import clear
from millprep.toolpaths.isolation import Island, isolate
from millprep.toolpaths.midline import isolate_along_medial_axis

COPPER, DEPTH = 0.035, 0.08
COMMON: dict[str, Any] = {
    "shank": 3.175, "flute": 5.0, "stickout": 20.0, "spindle": 12000.0, "plunge": 100.0,
}  # fmt: skip
VEE = Vee(name="vee 30 0.1", tip=0.1, angle=30.0, feed=240.0, **COMMON)


def mill(diameter: float) -> EndMill:
    """An end mill that clears."""
    return EndMill(name=f"mill {diameter:g}", diameter=diameter, step=0.4, feed=400.0, **COMMON)


def plan(gap: float) -> IsolationPlan:
    """Isolation by the vee."""
    return IsolationPlan(
        given_gap=gap,
        given_depth=DEPTH,
        flatness=0.02,
        given_cutters=(GivenCutter(VEE),),
        overlap=0.15,
        direction="climb",
    )


def row(words: str, cutters: Sequence[Cutter], make: Callable[[], Sequence[Lap | Clearing]]) -> str:
    """One line of the table."""
    begun = time.perf_counter()
    cuts = make()
    took = time.perf_counter() - begun
    ways = {c.name: sum(cut.path.length for cut in cuts if cut.cutter == c.name) for c in cutters}
    minutes = sum(ways[c.name] / c.feed for c in cutters)
    each = ", ".join(f"{name} {way / 1000:.1f} m" for name, way in ways.items())
    return f"{words:42} {minutes:7.0f} min {len(cuts):6} plunges {took:7.1f} s   {each}"


def main() -> None:
    """Print the table."""
    seed, length = (int(sys.argv[1]), float(sys.argv[2])) if len(sys.argv) > 2 else (3, 480.0)
    board = valve_board(seed, length).board
    shapes = [piece.shape for piece in board.pieces]
    islands = [Island(0, piece.id, piece.shape) for piece in board.pieces]
    skirt = (VEE.width(DEPTH) - VEE.width(DEPTH, COPPER)) / 2
    vees = (VEE,)

    def cleared(gap: float, *cutters: Cutter) -> Sequence[Clearing]:
        grooves = shapely.union_all(offsets(shapes, skirt + gap))
        done = clear(
            board.outline.difference(grooves), shapes, cutters, depth=DEPTH, copper=COPPER,
            overlap=0.2, direction="climb", placement=0, beyond=gap / 2,
        )  # fmt: skip
        return done.clearings

    def along(gap: float) -> Sequence[Lap]:
        return isolate(islands, board.outline, plan(gap), COPPER)[0]

    def between(gap: float) -> Sequence[Lap]:
        return isolate_along_medial_axis(islands, {0: board.outline}, plan(gap), COPPER)[0]

    lines = [row(f"along the copper, gap {g:g}", vees, partial(along, g)) for g in (0.1, 0.3, 0.5)]
    lines += [row(f"in the middle, gap {g:g}", vees, partial(between, g)) for g in (0.1, 0.2, 0.3)]
    sets: list[tuple[Cutter, ...]] = [
        (mill(0.8),), (mill(2.0), mill(0.8)), (mill(3.0), mill(0.8))
    ]  # fmt: skip
    if length <= 100:
        sets.append(vees)
    for cutters in sets:
        words = "floating copper, " + ", ".join(cutter.name for cutter in cutters)
        lines.append(row(words, cutters, partial(cleared, 0.3, *cutters)))
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
