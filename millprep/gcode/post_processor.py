"""A program as a machine's dialect can express it: arcs as lines, few decimals, drilling cycles.

Cycles are G81 and G83 (NISTIR 6556, section 3.5.16) with G98: R is the approach height, and they
end at the height of travel, as the drill does without cycles.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

from millprep.model.cutter import Drill
from millprep.model.dialect import FLATTENED
from millprep.model.machine import Machine
from millprep.model.program import Cycle, Move, Program

TABLE_DECIMALS = 4
"""The table of motions holds so many decimals; with as many or more nothing is rounded before."""


def post_processed(program: Program, machine: Machine) -> Program:
    """The same motion without what the machine does not understand, with the cycles it wants."""
    dialect = machine.dialect
    moves: Sequence[Move] = program.moves
    if not dialect.arcs:
        moves = [
            line for at, move in _with_starts(moves, program.start) for line in _as_lines(at, move)
        ]
    start = program.start
    if dialect.decimals < TABLE_DECIMALS:
        moves = list(on_grid(moves, start, dialect.decimals))
        start = grid_place(start, dialect.decimals)
    if dialect.cycles and isinstance(program.cutter, Drill) and program.spins:
        moves = with_cycles(moves, start, program.cutter, machine.clearance, dialect.decimals)
    if moves is program.moves:
        return program
    return replace(program, start=start, moves=tuple(moves))


def _with_starts(
    moves: Sequence[Move], start: tuple[float, float, float]
) -> list[tuple[tuple[float, float, float], Move]]:
    """Every move with where it starts."""
    starts = [start, *(move[1:4] for move in moves)]
    return list(zip(starts, moves, strict=False))


def _as_lines(at: tuple[float, float, float], move: Move) -> Sequence[Move]:
    return [move] if move.i is None else list(lines_of_arc(move, at))


At = tuple[float, float, float]


def along_arc(move: Move, at: At) -> list[At]:
    """Places along an arc from `at` to its end; their chords are off it by at most `FLATTENED`."""
    assert move.i is not None
    assert move.j is not None
    x, y, z = at
    cx, cy = x + move.i, y + move.j
    radius = math.hypot(move.i, move.j)
    first = math.atan2(y - cy, x - cx)
    sign = 1.0 if move.motion == "arc_ccw" else -1.0
    sweep = (sign * (math.atan2(move.y - cy, move.x - cx) - first)) % (2 * math.pi)
    sweep = sweep or 2 * math.pi
    # a chord over the angle a runs radius · (1 - cos(a / 2)) inside of its arc
    widest = 2 * math.acos(max(1 - FLATTENED / radius, 0.0))
    count = math.ceil(sweep / widest - 1e-9)
    turned = [(first + sign * sweep * n / count, n) for n in range(1, count)]
    places = [
        (cx + radius * math.cos(a), cy + radius * math.sin(a), z + (move.z - z) * n / count)
        for a, n in turned
    ]
    return [*places, (move.x, move.y, move.z)]


def lines_of_arc(move: Move, at: At) -> Iterator[Move]:
    """An arc from `at` as feeds whose ends lie on it, off it by no more than `FLATTENED`."""
    *places, _ = along_arc(move, at)
    for place in places:
        yield Move("feed", *place, feed=move.feed)
    yield move._replace(motion="feed", i=None, j=None)


SHORTEST_ARC = 20
"""An arc whose chord is shorter than so many last digits becomes lines: rounded, its ends
could change places, and a controller would run the full circle."""


def on_grid(moves: Iterable[Move], start: At, decimals: int) -> Iterator[Move]:
    """The moves with all places on the grid of the last digit.

    Start and centre of an arc would be rounded each on its own; here the centre is found again for
    the rounded ends, or the arc becomes lines where it is too short.
    """
    true, at = start, grid_place(start, decimals)
    for move in moves:
        if move.i is None:
            yield _move_on_grid(move, decimals)
        else:
            arc = _arc_on_grid(move, true, at, decimals)
            if arc is not None:
                yield arc
            else:
                for line in lines_of_arc(move, true):
                    yield _move_on_grid(line, decimals)
        true = (move.x, move.y, move.z)
        at = grid_place(true, decimals)


def grid_place(at: At, decimals: int) -> At:
    """The nearest place on the grid of the last digit."""
    x, y, z = at
    return (round(x, decimals), round(y, decimals), round(z, decimals))


def _move_on_grid(move: Move, decimals: int) -> Move:
    x, y, z = grid_place((move.x, move.y, move.z), decimals)
    feed = None if move.feed is None else round(move.feed, decimals)
    return move._replace(x=x, y=y, z=z, feed=feed)


def _arc_on_grid(move: Move, true: At, at: At, decimals: int) -> Move | None:
    """The arc between rounded ends; None where they are too near each other.

    Rounding its centre moves both radii apart by 0.0014 mm at most with the three decimals that a
    dialect of arcs has at least; NISTIR 6556, 3.5.3.2, allows 0.002.
    """
    assert move.i is not None
    assert move.j is not None
    end = grid_place((move.x, move.y, move.z), decimals)
    across = (end[0] - at[0], end[1] - at[1])
    chord = math.hypot(*across)
    if chord < SHORTEST_ARC * 10**-decimals:
        return None
    centre = (true[0] + move.i, true[1] + move.j)
    # as far from one end as from the other: moved along the chord to above its middle
    off = sum(((a + b) / 2 - c) * w for a, b, c, w in zip(at, end, centre, across, strict=False))
    i, j = (
        round(c + off * w / chord**2 - a, decimals)
        for c, w, a in zip(centre, across, at, strict=False)
    )
    return _move_on_grid(move, decimals)._replace(i=i, j=j)


RETRACTED = 0.254
"""G83 goes back at rapid to this far above where it was, mm (0.010 inch)."""


def with_cycles(
    moves: Sequence[Move], start: At, drill: Drill, clearance: float, decimals: int
) -> list[Move]:
    """The moves with every hole that is drilled straight down turned into a cycle's motions.

    A deep hole, for which the drill withdraws, becomes pecks of one depth, as G83 makes them,
    none deeper than the drill is wide.
    """
    result: list[Move] = []
    at, n = start, 0
    while n < len(moves):
        hole = _drilled(moves, n, at, clearance)
        if hole is None:
            result.append(moves[n])
            at = moves[n][1:4]
            n += 1
            continue
        peck = _peck(hole.top - hole.floor, drill.diameter, decimals) if hole.strokes > 1 else 0.0
        cycle = Cycle(at[0], at[1], hole.floor, hole.top, peck, hole.feed, clearance)
        over = Move("rapid", at[0], at[1], clearance, cycle=cycle)
        if result and result[-1].motion == "rapid" and _goes_over(result[-1], at, clearance):
            result.pop()
        result += [over, *_motions(cycle)]
        n = hole.end
    return result


def _goes_over(move: Move, at: At, clearance: float) -> bool:
    """Whether a rapid may become the cycle's own: it goes across at clearance."""
    return move.cycle is None and (move.x, move.y, move.z) == (*at[:2], clearance)


class _Hole(NamedTuple):
    """A hole that is drilled straight down, in so many strokes; `end` is the move after it."""

    top: float
    floor: float
    feed: float
    strokes: int
    end: int


def _drilled(moves: Sequence[Move], first: int, at: At, clearance: float) -> _Hole | None:
    """The hole that begins with a move at clearance, if one does.

    From clearance, or from where a rapid leads down, the drill feeds deeper with every stroke, and
    withdraws between them to there or to clearance; last of all to clearance.
    """
    if at[2] != clearance:
        return None
    top, floor, strokes, n = clearance, math.inf, 0, first
    hole: _Hole | None = None
    while True:
        down = _straight(moves, n, at)
        if down is not None and down.motion == "rapid" and down.z < clearance:
            if strokes and down.z != top:
                return hole
            # to where the drill begins to feed
            top, n = down.z, n + 1
            down = _straight(moves, n, at)
        up = _straight(moves, n + 1, at)
        if down is None or up is None or (down.motion, up.motion) != ("feed", "rapid"):
            return hole
        if not down.z < min(floor, top) or up.z not in (top, clearance):
            return hole
        floor, strokes, n = down.z, strokes + 1, n + 2
        if up.z == clearance:
            hole = _Hole(top, floor, down.feed or 0.0, strokes, n)


def _straight(moves: Sequence[Move], n: int, at: At) -> Move | None:
    """A move at the place that waits for nobody."""
    if n >= len(moves):
        return None
    move = moves[n]
    return move if (move.x, move.y) == at[:2] and not (move.wait or move.stop) else None


def _peck(way: float, diameter: float, decimals: int) -> float:
    """Depth of one peck on a way from R to the floor, on the grid of the last digit.

    The last peck falls short of the others by a digit at least, so that no rounding decides
    whether one more follows.
    """
    whole = round(way * 10**decimals)
    count = math.ceil(way / diameter - 1e-9)
    each = math.ceil(whole / count)
    return float((each + (each * count == whole)) / 10**decimals)


def _motions(cycle: Cycle) -> Iterator[Move]:
    """What a controller makes of the cycle, once over the hole."""
    x, y, floor, top, peck, feed, back = cycle
    if top != back:
        yield Move("rapid", x, y, top, cycle=cycle)
    reached = top - peck
    while peck > 0 and reached > floor:
        yield Move("feed", x, y, reached, feed=feed, cycle=cycle)
        yield Move("rapid", x, y, top, cycle=cycle)
        yield Move("rapid", x, y, reached + RETRACTED, cycle=cycle)
        reached -= peck
    yield Move("feed", x, y, floor, feed=feed, cycle=cycle)
    yield Move("rapid", x, y, back, cycle=cycle)
