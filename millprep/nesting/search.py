"""Search for a good order of the boards, seeded and bounded by work, never by time.

Boards take their places one after another: each on the first blank that has room, a new blank
only when none has. A better order is searched for by swaps and moves within classes of the same
priority. All states along the present order are kept, so a change costs only what follows it;
and it is given up as soon as it can no longer be better.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from millprep.nesting.place import Lean, Orientation, Placer
from millprep.nesting.wanted import StockSheet

Score = tuple[float, int, float]
"""Area without a place, number of blanks, and the filling of the last one: less is better."""

LEANS = (
    Lean(0.0, 0.03),
    Lean(0.5, 0.001),
    Lean(1.0, 0.03),
    Lean(0.0, -0.03),
    Lean(0.3, 0.3),
    Lean(0.3, -0.3),
    Lean(1.0, -0.03),
)
"""What a board may choose its place by; none is best for all boards."""

STARTS = ((0, False), (1, True), (1, False), (0, True), (2, False), (3, True))
"""Where chains start, in turn: the lean of all boards, and whether single boards may change
theirs. Boards with leans of their own find jigsaws; without, large sets settle sooner."""

AREA = 3.0
"""Weight of the last blank's area against its used length; more finds denser blanks."""

WARMTH = 0.003
"""Fraction of the used length by which a step may be worse, at the start of a chain."""

Entry = tuple[int, int]
"""One board in the order: its kind, and its lean's place in the list."""


@dataclass(frozen=True, slots=True)
class Put:
    """One board at a place: orientation, blank from 0, low corner."""

    orientation: int
    blank: int
    at: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Opened:
    """A blank in use: its sheet, what the placer knows of it, how far it is filled."""

    sheet: int
    held: Any
    reach: float = 0.0
    area: float = 0.0


@dataclass(frozen=True, slots=True)
class State:
    """What was put so far; immutable, so that states share what they have in common."""

    blanks: tuple[Opened, ...]
    puts: tuple[Put, ...]
    left: float = 0.0


class Task:
    """A packing problem without its order: orientations, sheets, counts, and fixed boards."""

    def __init__(
        self,
        placer: Placer,
        orientations: Sequence[Orientation],
        sheets: Sequence[StockSheet],
        counts: Sequence[int],
        opening: Sequence[int],
        begun: Sequence[int] = (),
        fixed: Sequence[Put] = (),
    ) -> None:
        """`opening`: sheets in the order in which new blanks are taken; `begun`: in use."""
        self.placer = placer
        self.orientations = orientations
        self.sheets = sheets
        self.counts = list(counts)
        self.opening = list(opening)
        self._areas = [orientation.shape.area for orientation in orientations]
        self._kind_area = {orientation.kind: orientation.shape.area for orientation in orientations}
        self._lows = [sheet.outline.bounds[sheet.axis] for sheet in sheets]
        self._widths = [s.outline.bounds[3 - s.axis] - s.outline.bounds[1 - s.axis] for s in sheets]
        state = State(tuple(Opened(sheet, placer.empty(sheet)) for sheet in begun), ())
        for put in fixed:
            state = self._with(state, put, self.counts)
        self.first = State(state.blanks, ())

    def _with(self, state: State, put: Put, live: Sequence[int]) -> State:
        blank = state.blanks[put.blank]
        axis, orientation = self.sheets[blank.sheet].axis, self.orientations[put.orientation]
        reach = put.at[axis] + orientation.size[axis] - self._lows[blank.sheet]
        held = self.placer.filled(blank.held, put.orientation, put.at, live)
        area = blank.area + self._areas[put.orientation]
        now = Opened(blank.sheet, held, max(blank.reach, reach), area)
        blanks = (*state.blanks[: put.blank], now, *state.blanks[put.blank + 1 :])
        return State(blanks, (*state.puts, put), state.left)

    def after(self, state: State, kind: int, lean: Lean, live: Sequence[int]) -> State:
        """The state with one more board of a kind, or with its area counted as left."""
        for number, blank in enumerate(state.blanks):
            place = self.placer.best(blank.held, kind, lean)
            if place is not None:
                return self._with(state, Put(place[0], number, place[1]), live)
        for sheet in self.opening:
            taken = sum(blank.sheet == sheet for blank in state.blanks)
            if taken >= self.sheets[sheet].count:
                continue
            empty = self.placer.empty(sheet)
            place = self.placer.best(empty, kind, lean)
            if place is not None:
                opened = State((*state.blanks, Opened(sheet, empty)), state.puts, state.left)
                return self._with(opened, Put(place[0], len(state.blanks), place[1]), live)
        return State(state.blanks, state.puts, state.left + self._kind_area[kind])

    def score(self, state: State) -> Score:
        """Used length of the last blank counts most, then how much lies on it, then where."""
        number = len(state.blanks)
        if not number:
            return (state.left, 0, 0.0)
        last = state.blanks[-1]
        low = self._lows[last.sheet]
        axis = self.sheets[last.sheet].axis
        moment = sum(
            self._areas[p.orientation]
            * (p.at[axis] + self.orientations[p.orientation].size[axis] - low)
            for p in state.puts
            if p.blank == number - 1
        )
        filled = last.reach
        if number > 1:
            filled += AREA * last.area / self._widths[last.sheet]
        if last.area > 0:
            filled += 0.01 * moment / last.area
        return (state.left, number, filled)

    def hopeless(self, state: State, limit: Score) -> bool:
        """Whether nothing that follows can bring the score down to the limit."""
        number = len(state.blanks)
        so_far = (state.left, number, state.blanks[-1].reach if number else 0.0)
        return so_far > limit


@dataclass(frozen=True, slots=True)
class ChainResult:
    """The best state of a chain and its score."""

    score: Score
    state: State


def chain(
    task: Task, classes: Sequence[Sequence[int]], start: int, seed: int, work: int
) -> ChainResult:
    """The best of many orders.

    Args:
        task: what is to be put where.
        start: where to start, counted through `STARTS`.
        seed: of the random changes.
        classes: kinds, one entry a copy, by falling priority and in the order to start with.
        work: how much may be done, in the placer's units.
    """
    rng = random.Random(seed)
    lean, free = STARTS[start % len(STARTS)]
    order = [(kind, lean) for kinds in classes for kind in kinds]
    bounds: list[tuple[int, int]] = []
    begin = 0
    for kinds in classes:
        bounds += [(begin, begin + len(kinds))] * len(kinds)
        begin += len(kinds)
    states, spent = _run(task, order, [task.first], (math.inf, 0, 0.0))
    here = task.score(states[-1])
    best = ChainResult(here, states[-1])
    movable = bool(order) and (free or any(len(set(kinds)) > 1 for kinds in classes))
    idle = 0
    while spent < work and movable and idle < 200 * len(order):
        idle += 1
        changed = _change(order, bounds, free, rng)
        first = next((n for n, entry in enumerate(changed) if entry != order[n]), None)
        if first is None:
            continue
        warmth = 2 * WARMTH * (1 - spent / work) * rng.random()
        limit = (here[0], here[1], here[2] * (1 + warmth))
        trial, cost = _run(task, changed, states[: first + 1], limit)
        spent += cost
        if len(trial) <= len(order):
            continue
        score = task.score(trial[-1])
        if score <= limit:
            order, states, here = changed, trial, score
            if score < best.score:
                best, idle = ChainResult(score, trial[-1]), 0
    return best


def _change(
    order: Sequence[Entry], bounds: Sequence[tuple[int, int]], free: bool, rng: random.Random
) -> list[Entry]:
    """The order with two boards swapped or one moved within a class, or one leaning otherwise."""
    changed = list(order)
    i = int(rng.random() * len(order))
    low, high = bounds[i]
    j = low + int(rng.random() * (high - low))
    what = rng.random()
    if free and what < 0.3:
        changed[i] = (order[i][0], int(rng.random() * len(LEANS)))
    elif what < 0.65:
        changed[i], changed[j] = changed[j], changed[i]
    else:
        changed.insert(j, changed.pop(i))
    return changed


def _run(
    task: Task, order: Sequence[Entry], states: list[State], limit: Score
) -> tuple[list[State], int]:
    """States along an order from those given, cut short when hopeless, and the work done."""
    begun = len(states) - 1
    live = list(task.counts)
    for kind, _ in order[:begun]:
        live[kind] -= 1
    work = 0
    for kind, lean in order[begun:]:
        live[kind] -= 1
        work += task.placer.work(live)
        state = task.after(states[-1], kind, LEANS[lean], live)
        states.append(state)
        if task.hopeless(state, limit):
            return states[:-1], work
    return states, work
