"""The shift plan: the fewest passes, a constant shift along each axis, a window for each pass.

The shift is the least that serves, or a longer one that splits fewer boards which one pass could
cut whole.

A blank too long for the travel along one axis moves by the same distance D between passes;
one too long along both is cut in a grid of passes, in serpentine order, so that every move of
the blank is one shift along one axis. A blank that is turned is cut in two passes, half a
turn apart (`turn.py`).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import shapely

from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.blank import Box
from millprep.model.finding import Finding, Refusal
from millprep.model.machine import Machine

RESERVE = 2.0
"""Travel left over at the far end in the last pass, mm, where the fewest passes allow it: a
blank never lies exactly where it was planned, and a refit has to reach its end all the same."""
MOST = 20
"""Passes along one axis, at most: beyond, errors add up and nobody would move a blank so often;
common practice, no source."""
MOST_LONGER = 24
"""Longer shifts that are tried where the least one would split boards without need."""

Cell = tuple[int, int]
"""Place of a pass in the grid: how many shifts along x and along y."""


@dataclass(frozen=True, slots=True)
class ShiftPlan:
    """Where the blank lies in each pass.

    Attributes:
        axis: 0 when the blank moves along x, 1 along y; of a grid 0.
        shift: D, how far it moves between passes along the axis; 0 for one pass.
        poses: blank to machine, one per pass.
        windows: what the cutter's axis reaches, blank frame, one per pass.
        cells: place of every pass in a grid; empty for passes in one line.
        turned: whether the second pass sees the blank turned by half a turn.
    """

    axis: int
    shift: float
    poses: tuple[Pose, ...]
    windows: tuple[Box, ...]
    cells: tuple[Cell, ...] = ()
    turned: bool = False

    def shared(self, k: int, other: int) -> Box | None:
        """What two windows share, blank frame; None where that is no area."""
        a, b = self.windows[k], self.windows[other]
        x0, y0 = max(a.x0, b.x0), max(a.y0, b.y0)
        x1, y1 = min(a.x1, b.x1), min(a.y1, b.y1)
        return Box(x0, y0, x1, y1) if x0 < x1 and y0 < y1 else None

    def only(self, numbers: Sequence[int]) -> ShiftPlan:
        """The plan with some of its passes (from 1) alone."""
        some = [number - 1 for number in numbers]
        return replace(
            self,
            poses=tuple(self.poses[k] for k in some),
            windows=tuple(self.windows[k] for k in some),
            cells=tuple(self.cell(k) for k in some),
            turned=self.turned and len(some) > 1,
        )

    def polygon(self, k: int) -> shapely.Polygon:
        """Window k as an area."""
        return self.windows[k].shape

    def cell(self, k: int) -> Cell:
        """Place of pass k in the grid."""
        if self.cells:
            return self.cells[k]
        return (k, 0) if self.axis == 0 else (0, k)

    def step(self, k: int, other: int) -> Cell:
        """From the cell of one pass to that of another."""
        a, b = self.cell(k), self.cell(other)
        return (b[0] - a[0], b[1] - a[1])

    @property
    def pairs(self) -> tuple[tuple[int, int], ...]:
        """Passes (from 0) whose cells touch, also at a corner, and whose windows share an area."""
        return tuple(
            (a, b)
            for a, b in itertools.combinations(range(len(self.poses)), 2)
            if max(map(abs, self.step(a, b))) == 1 and self.shared(a, b) is not None
        )

    def sources(self, k: int) -> list[int]:
        """Earlier passes whose windows share an area with that of pass k."""
        return [a for a, b in self.pairs if b == k]

    def inner(self, k: int, margin: float) -> Box:
        """Window k less a margin on every side that faces another pass."""
        w, here = self.windows[k], self.cell(k)
        cells = {self.cell(n) for n in range(len(self.poses))}

        def faces(dx: int, dy: int) -> float:
            return margin if (here[0] + dx, here[1] + dy) in cells else 0.0

        x0, x1 = w.x0 + faces(-1, 0), w.x1 - faces(1, 0)
        y0, y1 = w.y0 + faces(0, -1), w.y1 - faces(0, 1)
        # a margin as wide as the window leaves an empty sliver
        return Box(x0, y0, max(x1, x0 + 1e-9), max(y1, y0 + 1e-9))

    def home(self, at: Point) -> Cell:
        """The cell on whose side of the middles between windows a place lies."""
        cell = [0, 0]
        for a in (0, 1):
            spans = sorted(
                {
                    (self.cell(k)[a], (w.x0, w.y0)[a], (w.x1, w.y1)[a])
                    for k, w in enumerate(self.windows)
                }
            )
            cell[a] = sum(
                at[a] > (low + high) / 2 for (_, _, high), (_, low, _) in itertools.pairwise(spans)
            )
        return (cell[0], cell[1])


def plan(
    need: Box,
    machine: Machine,
    origin: Point,
    least_overlap: float,
    blank: int,
    beyond: float = 0.0,
    cost: Callable[[ShiftPlan], int] = lambda _: 0,
) -> ShiftPlan:
    """The fewest passes that reach everything, by the least shift that does no harm.

    Args:
        need: extent of the cutters' axes, blank frame.
        machine: its travel and screw lead.
        origin: machine coordinates of the blank's low corner in the first pass.
        least_overlap: what two windows must share so that registration holes and joins fit.
        blank: number, for findings.
        beyond: how much farther than the cuts a grid reaches at its far ends, where the strips
            lie that carry registration holes of the rows and columns there.
        cost: of a plan; of several plans that cost the same the least shift is taken.

    Raises:
        Refusal: when the first window does not hold the low end, or the travel is too short.
    """
    first = _first(machine, origin)
    low, high = (need.x0, need.y0), (need.x1, need.y1)
    w_low, w_high = (first.x0, first.y0), (first.x1, first.y1)
    findings = outside(need, first, origin, blank, machine)
    counts: list[int] = [1, 1]
    shifts: list[list[float]] = [[0.0], [0.0]]
    if all(high[a] > w_high[a] + 1e-9 for a in (0, 1)):
        high = (high[0] + beyond, high[1] + beyond)
    for a in (0, 1):
        if high[a] <= w_high[a] + 1e-9 or low[a] < w_low[a] - 1e-9:
            continue
        length, whole = w_high[a] - w_low[a], high[a] - w_low[a]
        least = least_travel(whole, least_overlap)
        if length < least - 1e-9:
            findings.append(_too_short(a, machine, least, whole, least_overlap, blank))
            continue
        counts[a], shifts[a] = _along(whole, length, least_overlap, machine.screw_lead)
    if findings:
        raise Refusal(findings)
    plans = (
        _planned(first, origin, counts, (dx, dy))
        for dx, dy in sorted(itertools.product(*shifts), key=lambda pair: (sum(pair), pair))
    )
    best = next(plans)
    worst = cost(best)
    while worst > 0 and (other := next(plans, None)) is not None:
        if (harms := cost(other)) < worst:
            best, worst = other, harms
    return best


def _planned(
    first: Box, origin: Point, counts: Sequence[int], shifts: tuple[float, float]
) -> ShiftPlan:
    """The passes of a grid of so many columns and rows."""
    cells = tuple(_snake(counts[0], counts[1]))
    poses, windows = [], []
    for i, j in cells:
        dx, dy = i * shifts[0], j * shifts[1]
        poses.append(Pose.shift(origin[0] - dx, origin[1] - dy))
        windows.append(Box(first.x0 + dx, first.y0 + dy, first.x1 + dx, first.y1 + dy))
    axis = 1 if counts[0] == 1 and counts[1] > 1 else 0
    grid = min(counts) > 1
    return ShiftPlan(axis, shifts[axis], tuple(poses), tuple(windows), cells if grid else ())


def least_travel(whole: float, least_overlap: float) -> float:
    """The least travel along an axis that holds this length in at most `MOST` passes.

    N windows of length X that share O hold N·X - (N - 1)·O.
    """
    return (whole + (MOST - 1) * least_overlap) / MOST


def outside(need: Box, first: Box, origin: Point, blank: int, machine: Machine) -> list[Finding]:
    """What the first window misses at the low ends, with an origin that is enough."""
    low, w_low = (need.x0, need.y0), (first.x0, first.y0)
    return [
        Finding(
            code="outside-travel",
            severity="stop",
            message=(
                f"The cuts begin at {name} {low[a]:.3f} mm of the blank, but the machine reaches "
                f"from {w_low[a]:.3f} on ({machine.reachable_words}). Move the blank: [setup] "
                f"origin[{a}] at least {origin[a] + w_low[a] - low[a]:.3f}."
            ),
            frame="blank",
            at=low,
            blank=blank,
        )
        for a, name in enumerate("xy")
        if low[a] < w_low[a] - 1e-9
    ]


def _first(machine: Machine, origin: Point) -> Box:
    """The window of the first pass."""
    t = machine.reachable
    return Box(t.x0 - origin[0], t.y0 - origin[1], t.x1 - origin[0], t.y1 - origin[1])


def _too_short(
    axis: int, machine: Machine, least: float, whole: float, overlap: float, blank: int
) -> Finding:
    # rounded up, so that the value named is enough
    enough = math.ceil((least + 2 * machine.travel_margin) * 10 - 1e-6) / 10
    t = machine.reachable
    length = (t.x1 - t.x0, t.y1 - t.y0)[axis]
    return Finding(
        code="travel-too-short",
        severity="stop",
        message=(
            f"Two passes must share {overlap:.1f} mm for registration holes and joins, "
            f"{machine.reachable_words} is {length:.1f} mm in {'xy'[axis]}, and {whole:.1f} mm "
            f"are to be reached in at most {MOST} passes. Use a travel of at least {enough:.1f} mm."
        ),
        blank=blank,
    )


def _along(
    whole: float, length: float, least_overlap: float, lead: float | None
) -> tuple[int, list[float]]:
    """Number of passes and the shifts that serve along one axis, the best first."""
    rest, largest = whole - length, length - least_overlap
    count = 1 + math.ceil(rest / largest - 1e-9)
    least = min((rest + RESERVE) / (count - 1), largest)
    best = _shift(least, rest / (count - 1), largest, lead)
    step = lead if lead and abs(best / lead - round(best / lead)) < 1e-9 else 1.0
    more = (best + n * step for n in range(1, MOST_LONGER))
    return count, [best, *(shift for shift in more if shift <= largest + 1e-9)]


def _shift(least: float, barely: float, largest: float, lead: float | None) -> float:
    """The least shift that serves, a multiple of the screw's lead where one fits.

    A shift by whole turns of the screw repeats its periodic error, so it cancels at the join;
    that is worth more than a reserve, so `barely`, the least without one, may serve as well.
    """
    if lead:
        for enough in (least, barely):
            turns = math.ceil(enough / lead - 1e-9)
            if turns * lead <= largest + 1e-9:
                return turns * lead
    # whole millimetres are easier to check with a rule
    return math.ceil(least) if math.ceil(least) <= largest else least


def _snake(columns: int, rows: int) -> list[Cell]:
    """Every row along, the next one back."""
    return [(i if j % 2 == 0 else columns - 1 - i, j) for j in range(rows) for i in range(columns)]
