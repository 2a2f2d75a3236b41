"""Travel from cut to cut: the order that keeps it short, heights of rapid moves, and hops.

A hop is a rapid move below clearance, where nothing is in the way.

The axes of a rapid may arrive one after the other, so it may run anywhere in the box around its
ends: that box keeps off every clamp that is too high and off every pin.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from millprep.cache import cached
from millprep.geometry import tour
from millprep.geometry.path import FloatArray, Path, Point
from millprep.geometry.pose import Pose
from millprep.model.blank import Box, Clamp
from millprep.model.cutter import Cutter, Drill
from millprep.model.machine import Machine
from millprep.model.milling_pass import MillingPass

DIGITS = 3
"""Distances are compared to this many decimals, mm."""
ROUNDS = 5
"""Ways are sought so many times at most."""
ENTRIES = 24
"""A closed path may be entered at about this many of its vertices."""


@cached
def paths(candidates: Sequence[Path], start: Point) -> list[tuple[int, int]]:
    """(index, vertex to enter at) of every path in visiting order.

    Open paths keep their direction, since it decides on which side the cutter pulls. Closed ones
    may be entered at any vertex. The first order is always on to the nearest, each path with the
    entry that suits it best; then shorter ways through the places that the last order enters at, as
    long as there are any.
    """
    if not candidates:
        return []
    frame = _frame(candidates[0])
    here = frame.point(start)
    loops = [_Loop.of(path, frame, here) for path in candidates]
    last = _nearest_next(loops)
    visits, length = _entered([k for k, _ in last], loops)
    kicks = tour.KICKS
    for _ in range(ROUNDS if len(loops) > 2 else 0):
        at = {k: loops[k].enter[n] for k, n in last}
        places = [(float(at[k][0]), float(at[k][1])) for k in range(len(loops))]
        order = tour.way(places, (0.0, 0.0), [k for k, _ in last], kicks)
        last, shorter = _entered(order, loops)
        if shorter >= length - 10.0**-DIGITS:
            break
        # few places are new in later rounds, and kicks would find little more
        visits, length, kicks = last, shorter, 0.0
    return [(k, int(loops[k].vertices[n])) for k, n in visits]


@cached
def round_trip(places: Sequence[Point], start: Point) -> list[int]:
    """Indices of the places in the order of a short way from a start to all of them and back."""
    order = tour.way(places, start)
    if len(places) < 3:
        return order
    # no longer than there and back, because it begins as that
    begun = [*order, len(places)]
    closed = tour.closed_tour([*places, start], math.ceil(tour.KICKS * len(places)), begun)
    k = closed.index(len(places))
    return [*closed[k + 1 :], *closed[:k]]


def _frame(first: Path) -> Pose:
    """A frame that lies with the first path: a board is cut the same way wherever it lies."""
    (x0, y0), (x1, y1) = first.mean_point, first.start
    back = Pose.turn(-math.degrees(math.atan2(y1 - y0, x1 - x0)))
    return Pose.shift(-x0, -y0).then(back)


@dataclass(frozen=True, slots=True)
class _Loop:
    """Where a path may be entered and where it is left then, seen from the start, (n, 2) each."""

    vertices: np.ndarray[tuple[int], np.dtype[np.intp]]
    enter: FloatArray
    leave: FloatArray

    @classmethod
    def of(cls, path: Path, frame: Pose, start: Point) -> _Loop:
        vertices = np.arange(0, len(path) if path.closed else 1, max(1, len(path) // ENTRIES))
        enter = np.round(frame.points(path.xy[vertices]) - start, DIGITS)
        leave = enter if path.closed else np.round(frame.points(path.xy[-1:]) - start, DIGITS)
        return cls(vertices, enter, leave)


def _nearest_next(loops: Sequence[_Loop]) -> list[tuple[int, int]]:
    """(index, entry) from the start always on to the nearest path that is left."""
    xy = np.vstack([loop.enter for loop in loops])
    counts = [len(loop.enter) for loop in loops]
    owner = np.repeat(np.arange(len(loops)), counts)
    first = np.concatenate(([0], np.cumsum(counts)))
    left = np.ones(len(xy), dtype=bool)
    here = np.zeros(2)
    visits: list[tuple[int, int]] = []
    for _ in loops:
        away = np.where(left, np.hypot(*(xy - here).T), np.inf)
        # of places as near the first listed, whatever rounding says
        n = int(np.argmin(np.round(away, DIGITS)))
        k = int(owner[n])
        entry = n - int(first[k])
        visits.append((k, entry))
        left[first[k] : first[k + 1]] = False
        here = loops[k].leave[entry if len(loops[k].leave) > 1 else 0]
    return visits


def _entered(order: Sequence[int], loops: Sequence[_Loop]) -> tuple[list[tuple[int, int]], float]:
    """The entries that make an order of paths shortest, by dynamic programming; its length, mm."""
    here, cost = np.zeros((1, 2)), np.zeros(1)
    came: list[np.ndarray[tuple[int], np.dtype[np.intp]]] = []
    for k in order:
        enter = loops[k].enter
        ways = cost[:, None] + np.hypot(
            here[:, None, 0] - enter[None, :, 0], here[:, None, 1] - enter[None, :, 1]
        )
        before = np.argmin(np.round(ways, DIGITS), axis=0)
        came.append(before)
        cost, here = ways[before, np.arange(len(enter))], loops[k].leave
    last = int(np.argmin(np.round(cost, DIGITS)))
    length, n = float(cost[last]), last
    visits: list[tuple[int, int]] = []
    for k, before in zip(reversed(order), reversed(came), strict=True):
        visits.append((k, n))
        n = int(before[n])
    return visits[::-1], length


ROUNDING = 0.01
"""Hops keep this much farther off, mm: places in a file are rounded."""
NEAR = 0.1
"""A cutter begins to go down slowly this far above the highest copper, mm (common practice, no
source)."""


def approach_height(machine: Machine, highest: float) -> float:
    """The height that rapid moves may go down to, above copper that reaches up to `highest`, mm."""
    return rounded_up(highest + machine.approach, machine)


def near_height(machine: Machine, highest: float) -> float:
    """The height from which a cutter goes down slowly, above copper up to `highest`, mm."""
    return rounded_up(highest + NEAR, machine)


def rounded_up(height: float, machine: Machine) -> float:
    """A height that the machine's numbers can say, and never a lower one."""
    whole = float(10**machine.dialect.decimals)
    return math.ceil(height * whole - 1e-6) / whole


@dataclass(frozen=True, slots=True)
class Hops:
    """Where a cutter may hop.

    Attributes:
        height: above the copper surface, mm.
        blocked: what the cutter's axis keeps out of, machine frame.
    """

    height: float
    blocked: tuple[Box, ...]

    def free(self, start: Point, end: Point) -> bool:
        """Whether nothing is in the way from one place to another."""
        (x0, x1), (y0, y1) = sorted((start[0], end[0])), sorted((start[1], end[1]))
        return not any(b.x0 < x1 and x0 < b.x1 and b.y0 < y1 and y0 < b.y1 for b in self.blocked)


def hops_of(
    mill_pass: MillingPass,
    cutter: Cutter,
    machine: Machine,
    clamps: Sequence[Clamp],
    flatness: float,
) -> Hops | None:
    """Where a cutter may hop in a pass; None for nowhere.

    `flatness` is how far the copper may lie above Z0, mm. A drilling cycle always goes back to
    clearance.
    """
    height = rounded_up(flatness + max(machine.hop_height, machine.approach), machine)
    if height >= machine.clearance or (machine.dialect.cycles and isinstance(cutter, Drill)):
        return None
    return Hops(height, tuple(_blocked(mill_pass, cutter, machine, clamps, height)))


def _blocked(
    mill_pass: MillingPass,
    cutter: Cutter,
    machine: Machine,
    clamps: Sequence[Clamp],
    height: float,
) -> Iterator[Box]:
    """Clamps and pins, grown by all that the cutter keeps off them."""
    free = machine.clamp_clearance + ROUNDING
    for clamp in clamps:
        rise = clamp.height + machine.clamp_clearance - height
        if clamp.on_in(mill_pass.number) and rise > 0:
            yield clamp.box.grown(cutter.radius_up(rise, machine.collet) + free)
    # a pin should end below the copper; one that does not is lower than clearance
    radius = cutter.radius_up(machine.clearance - height, machine.collet)
    for hole in mill_pass.registration:
        if hole.used_in == mill_pass.number and hole.role != "witness":
            (x, y), reach = hole.machine, hole.diameter / 2 + radius + free
            yield Box(x - reach, y - reach, x + reach, y + reach)
