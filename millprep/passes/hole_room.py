"""Where on a blank registration holes have room, and what would give them room."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import FloatArray, Point
from millprep.model.blank import Blank
from millprep.model.finding import Finding
from millprep.model.job.setup import RegistrationPlan
from millprep.passes.clamping import Clamping, clamp_text, denied
from millprep.passes.shift import ShiftPlan

GRID = 3.0
"""Distance between places that are tried along the longer side of a strip, mm; across it 1."""
MOST = 160
"""Outermost places that are tried in pairs."""


@dataclass(frozen=True, slots=True, eq=False)
class Spots:
    """Free places.

    Attributes:
        at: (n, 2) blank frame.
        source: (n,) the pass (from 0) that would drill there.
    """

    at: FloatArray
    source: NDArray[np.int_]

    def outer(self) -> NDArray[np.int_]:
        """Indices of the places that are outermost in their row or column: only these can be best.

        Of more than `MOST` every so manieth is taken.
        """
        kept: set[int] = set()
        for q in np.unique(self.source).tolist():
            mine = np.flatnonzero(self.source == q)
            for axis in (0, 1):
                along = np.round(self.at[mine, axis], 6)
                order = np.lexsort((self.at[mine, 1 - axis], along))
                ends = np.flatnonzero(np.diff(along[order])) + 1
                kept.update(mine[order[np.concatenate(([0], ends))]].tolist())
                kept.update(mine[order[np.concatenate((ends - 1, [len(order) - 1]))]].tolist())
        indices = np.array(sorted(kept, key=lambda n: tuple(self.at[n])), dtype=int)
        if len(indices) > MOST:
            indices = indices[np.unique(np.linspace(0, len(indices) - 1, MOST).round().astype(int))]
        return indices


@dataclass(frozen=True, slots=True, eq=False)
class HoleRoom:
    """What a hole must respect: windows, edges, cuts, clamps.

    Attributes:
        denied: no hole's centre may lie there, blank frame.
        clamped: per pass what clamps deny, machine frame.
    """

    shift: ShiftPlan
    blank: Blank
    plan: RegistrationPlan
    denied: BaseGeometry
    clamped: tuple[BaseGeometry, ...]

    @classmethod
    def of(
        cls,
        shift: ShiftPlan,
        blank: Blank,
        plan: RegistrationPlan,
        keep_out: BaseGeometry,
        clamped: Sequence[BaseGeometry],
    ) -> HoleRoom:
        """The room on a blank on which `keep_out` is cut."""
        # a place on the very rim is free, whatever its last digit says
        denied = keep_out.buffer(plan.key / 2 + plan.wall - 1e-6, quad_segs=4)
        shapely.prepare(denied)
        return cls(shift, blank, plan, denied, tuple(clamped))

    def clamped_by(self, clamped: Sequence[BaseGeometry]) -> HoleRoom:
        """The same with other clamps."""
        return replace(self, clamped=tuple(clamped))

    @property
    def edge(self) -> float:
        """Distance of a hole's centre from an edge, at least."""
        return self.plan.key / 2 + self.plan.wall

    def place(self, k: int, other: int, at: FloatArray | Point) -> Point:
        """Where on the blank the spoilboard's place below `at` is in another pass."""
        x, y = float(at[0]), float(at[1])
        if k == other:
            return (x, y)
        x, y = self.shift.poses[other].inverse().point(self.shift.poses[k].point((x, y)))
        # sums of shifts carry rounding, places are meant to a thousandth
        return (round(x, 9), round(y, 9))

    def source(self, k: int, other: int, q: int) -> int:
        """The pass that lies to `other` as pass q lies to pass k."""
        dx, dy = self.shift.step(k, q)
        i, j = self.shift.cell(other)
        cells = [self.shift.cell(n) for n in range(len(self.shift.poses))]
        return cells.index((i + dx, j + dy))

    def without_cuts(self) -> HoleRoom:
        """The same as if nothing were cut on the blank."""
        return replace(self, denied=shapely.Polygon())

    def spots(self, members: Sequence[int], *, ends: bool = False) -> Spots:
        """Free places for several passes, to which the passes before lie in the same directions.

        In the frame of the first of them. `ends` adds to whole millimetres the very ends of
        what an edge allows.
        """
        lead = members[0]
        places, sources = [], []
        for q, k in self.shift.pairs:
            if k != lead:
                continue
            grid = self._grid(q, lead, ends=ends)
            free = np.ones(len(grid), dtype=bool)
            for member in members:
                there = grid
                if member != lead:
                    pose = self.shift.poses[lead].then(self.shift.poses[member].inverse())
                    there = pose.points(grid)
                free &= self._free(there, self.source(lead, member, q), member)
            places.append(grid[free])
            sources.append(np.full(int(free.sum()), q))
        return Spots(np.vstack(places), np.concatenate(sources).astype(int))

    def _grid(self, q: int, k: int, *, ends: bool) -> FloatArray:
        """Places to try in what windows q and k share."""
        shared = self.shift.shared(q, k)
        assert shared is not None
        # an end mill winds within the hole, so the whole hole lies in both windows
        wide, edge = self.plan.key / 2, self.edge
        x0, x1 = max(shared.x0 + wide, edge), min(shared.x1 - wide, self.blank.size[0] - edge)
        y0, y1 = max(shared.y0 + wide, edge), min(shared.y1 - wide, self.blank.size[1] - edge)
        coarse_x = x1 - x0 >= y1 - y0 if self.shift.cells else self.shift.axis == 0
        xs = _whole(x0, x1, GRID if coarse_x else 1.0, ends=ends)
        ys = _whole(y0, y1, 1.0 if coarse_x else GRID, ends=ends)
        return np.array([(x, y) for x in xs for y in ys], dtype=float).reshape(-1, 2)

    def _free(self, places: FloatArray, q: int, k: int) -> NDArray[np.bool_]:
        x, y = places[:, 0], places[:, 1]
        edge, slack = self.edge, 1e-9
        free = (x >= edge - slack) & (x <= self.blank.size[0] - edge + slack)
        free &= (y >= edge - slack) & (y <= self.blank.size[1] - edge + slack)
        free &= ~shapely.contains_xy(self.denied, places)
        for number in (q, k):
            w = self.shift.windows[number].grown(slack - self.plan.key / 2)
            free &= (x >= w.x0) & (x <= w.x1) & (y >= w.y0) & (y <= w.y1)
            at = self.shift.poses[number].points(places)
            free &= ~shapely.contains_xy(self.clamped[number], at)
        return free


def _whole(low: float, high: float, step: float, *, ends: bool) -> list[float]:
    """Whole millimetres within a range: they are easier to read off and to bore."""
    if high < low - 1e-9:
        return []
    inside = np.arange(np.ceil(low - 1e-9), np.floor(high + 1e-9) + 1e-9, step)
    extremes = {round(low, 9), round(high, 9)} if ends else set()
    return sorted({*(round(v, 9) for v in inside.tolist()), *extremes})


DIRECTIONS = {"left": (-1, 0), "right": (1, 0), "towards the front": (0, -1), "back": (0, 1)}
"""Directions in which a clamp may be moved: words and machine axes."""
FINE = 0.1
"""Moves of a clamp are multiples of this, mm."""
FARTHEST = 400.0
"""No clamp is moved farther, mm."""


def no_room(
    room: HoleRoom,
    clamping: Clamping,
    number: int,
    kerf: float,
    fits: Callable[[HoleRoom], bool],
) -> Finding:
    """Why a pass has no room for its holes, with the remedy.

    Args:
        room: in which no hole fits.
        clamping: the clamps on it.
        number: of the pass.
        kerf: what of the margin the boards' profiles take.
        fits: whether holes fit in another room.
    """
    nothing = [shapely.Polygon()] * len(room.clamped)
    if fits(room.clamped_by(nothing)):
        message = _clamp(room, clamping, fits)
    elif not _reaches_an_edge(room, number - 1):
        spacing = 2 * (room.edge + kerf)
        message = (
            "its window reaches no edge of the blank, so its holes must go between boards. "
            f"Use several boards with a [[blank]] spacing of at least {spacing:g} mm, or a machine "
            "with more travel."
        )
    elif fits(room.clamped_by(nothing).without_cuts()):
        margin = 2 * room.edge + kerf
        message = (
            "the strips next to the boards that both passes reach are too narrow. Leave a margin "
            f"of at least {math.ceil(margin * 1000 - 1e-6) / 1000:g} mm free of boards along both "
            "long edges"
        )
        if kerf:
            message += f" ({kerf:g} mm of it for the cut around the boards)"
        message += ", or lower [registration] wall."
    else:
        message = (
            "the windows overlap too little for holes and pins, even without boards and clamps. "
            "Use a wider blank or a machine with more travel, or lower [registration] wall."
        )
    return Finding(
        code="no-room-for-registration",
        severity="stop",
        message=(
            f"Blank {room.blank.number} has no room for three registration holes of pass "
            f"{number}: {message}"
        ),
        blank=room.blank.number,
        mill_pass=number,
    )


def _reaches_an_edge(room: HoleRoom, k: int) -> bool:
    """Whether a hole next to an edge fits where a pass (from 0) overlaps passes before."""
    (x, y), reach = room.blank.size, 2 * room.edge
    shared = [room.shift.shared(a, b) for a, b in room.shift.pairs if b == k]
    return any(
        box.x0 < reach or box.y0 < reach or box.x1 > x - reach or box.y1 > y - reach
        for box in shared
        if box is not None
    )


def _clamp(room: HoleRoom, clamping: Clamping, fits: Callable[[HoleRoom], bool]) -> str:
    """The clamp in the way, and the shortest move that frees the holes."""
    count = len(room.clamped)

    def free(other: Clamping) -> bool:
        return fits(room.clamped_by(denied(other, count)))

    for n, clamp in enumerate(clamping.clamps):
        if not free(clamping.without(n)):
            continue
        move, direction = FARTHEST, ""
        for way, (x, y) in DIRECTIONS.items():
            # no farther than the best so far: most directions end with one test
            less = move - FINE if direction else move
            if least := _least(_mover(free, clamping, n, x, y), less):
                move, direction = least, way
        if not direction:
            return f"{clamp_text(clamp)} is where they would be. Remove or move it."
        return f"{clamp_text(clamp)} is in the way. Move it {direction} by {move:.1f} mm."
    named = "; ".join(clamp_text(clamp) for clamp in clamping.clamps)
    return f"several clamps together leave none: {named}. Move them."


def _mover(
    free: Callable[[Clamping], bool], clamping: Clamping, n: int, x: float, y: float
) -> Callable[[float], bool]:
    """Whether a clamp moved this far in one direction leaves room."""
    return lambda by: free(clamping.with_shifted(n, by * x, by * y))


def _least(free: Callable[[float], bool], most: float) -> float | None:
    """The least move, in steps of `FINE`, that frees; None where even the farthest does not."""
    low, high = 0, round(most / FINE)
    if high < 1 or not free(high * FINE):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if free(middle * FINE) else (middle, high)
    return high * FINE
