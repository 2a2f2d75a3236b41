"""A program that takes another one up, compared with it: it goes where that went, no farther."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from millprep.model.finding import Finding
from millprep.verify.sweep import arc_samples
from millprep.verify.trace import Trace, TraceMove, look_at_zero

ROUNDED = 2.0
"""An entry lies on the old path within so many of the last digit: place and centre are rounded."""

SAME = 2e-4
"""Centres nearer to each other, mm, are one: each is given from its arc's start, to a digit."""


def check_resumed(
    old: Trace, new: Trace, *, plunge: float, whole: bool, file: str, digit: float = 1e-4
) -> tuple[Finding, ...]:
    """Where a program feeds otherwise than the one it takes up.

    Its feeds must be those of the old one, in the old order, each exactly; before the first of
    them it may go straight down to a place on an old move, no faster than `plunge`, and make the
    rest of that move. When `whole`, none of the old ones may be missing behind its entry. `digit`
    is the last one of a number in the file, mm.
    """
    near = max(ROUNDED * digit, SAME)
    return tuple(_faults(_feeds(old), _feeds(new), plunge, whole, file, near))


def _feeds(trace: Trace) -> list[TraceMove]:
    look = look_at_zero(trace)
    after = 0 if look is None else look.last + 1
    return [move for move in trace.moves[after:] if move.kind != "rapid"]


def _faults(
    old: Sequence[TraceMove],
    new: Sequence[TraceMove],
    plunge: float,
    whole: bool,
    file: str,
    near: float,
) -> Iterator[Finding]:
    if not new:
        yield _stop("The program cuts nothing", file, 1)
        return
    entered = new[0]
    tries = [(at, list(new)) for at in _everywhere(old, entered)]
    if not tries and len(new) > 1 and entered.feed is not None and entered.feed <= plunge + 1e-6:
        # what is left of the move it enters on is the first of the rest
        tries = [(at + 1, list(new[2:])) for at in _entered(old, entered, new[1], near)]
    if not tries:
        yield _stop("The program enters at no place of the old path", file, entered.line)
        return
    # a lap that runs over its own start makes the same move twice: one of them must do
    faults = [list(_goes_on(old, rest, at, whole, file, new[-1].line)) for at, rest in tries]
    yield from min(faults, key=len)


def _goes_on(
    old: Sequence[TraceMove],
    rest: Sequence[TraceMove],
    at: int,
    whole: bool,
    file: str,
    last: int,
) -> Iterator[Finding]:
    """What is wrong behind an entry before the old move `at`."""
    for move in rest:
        index = _index(old, move, at)
        if index is None:
            yield _stop("A move is not one of the old program, or comes too early", file, move.line)
            return
        if whole and index != at:
            line = old[at].line
            yield _stop(f"Line {line} of the old program is left out before this", file, move.line)
            return
        at = index + 1
    if whole and at != len(old):
        yield _stop(f"The old program goes on with line {old[at].line}", file, last)


def _everywhere(old: Sequence[TraceMove], move: TraceMove) -> list[int]:
    """All places in the old program where this very move is made."""
    return [at for at, old_move in enumerate(old) if _same(old_move, move)]


def _index(old: Sequence[TraceMove], move: TraceMove, start: int) -> int | None:
    """Where in the old program this very move is made, at or behind `start`."""
    for at in range(start, len(old)):
        if _same(old[at], move):
            return at
    return None


def _same(trace_move: TraceMove, other: TraceMove) -> bool:
    """Whether two moves are the same; going down in one stroke may begin at another height."""
    if (trace_move.kind, trace_move.end, trace_move.feed) != (other.kind, other.end, other.feed):
        return False
    if trace_move.start != other.start:
        straight = trace_move.start[:2] == other.start[:2] == trace_move.end[:2]
        if not straight or other.start[2] < trace_move.start[2]:
            return False
    if trace_move.centre is None or other.centre is None:
        return trace_move.centre == other.centre
    return math.dist(trace_move.centre, other.centre) <= SAME


def _entered(old: Sequence[TraceMove], down: TraceMove, part: TraceMove, near: float) -> list[int]:
    """The old moves whose rest `part` is, when `down` leads straight down to its start."""
    if down.start[:2] != down.end[:2] or down.end[2] >= down.start[2] or down.end != part.start:
        return []
    result = []
    for at, move in enumerate(old):
        if (move.kind, move.end, move.feed) != (part.kind, part.end, part.feed):
            continue
        # rounded ends give an arc another centre; what counts is where it runs
        if all(_on(move, place, near) for place in _samples(part)):
            result.append(at)
    return result


def _samples(move: TraceMove) -> list[tuple[float, float, float]]:
    """The start of a move and, of an arc, places along it."""
    if move.centre is None:
        return [move.start]
    u, v = move.centre
    angles, radii, heights = arc_samples(
        move.start, move.end, move.centre, move.kind == "arc_cw", 1e-3
    )
    along = zip(angles.tolist(), radii.tolist(), heights.tolist(), strict=True)
    return [(u + r * math.cos(a), v + r * math.sin(a), z) for a, r, z in along]


def _on(move: TraceMove, place: tuple[float, float, float], near: float) -> bool:
    """Whether a place lies on a move."""
    (x0, y0, z0), z1 = move.start, move.end[2]
    x, y, z = place
    if move.centre is None:
        along = math.dist(move.start, move.end)
        if not along:
            return False
        share = sum(
            (p - a) * (b - a) for p, a, b in zip(place, move.start, move.end, strict=True)
        ) / (along * along)
        foot = [a + (b - a) * share for a, b in zip(move.start, move.end, strict=True)]
        return -1e-9 <= share <= 1 + 1e-9 and math.dist(foot, place) <= near
    u, v = move.centre
    angles, _, _ = arc_samples(move.start, move.end, move.centre, move.kind == "arc_cw", 1.0)
    sweep = float(angles[-1] - angles[0])
    turn = math.atan2(y - v, x - u) - math.atan2(y0 - v, x0 - u)
    turned = (turn if sweep > 0 else -turn) % math.tau
    if (math.tau - turned) * math.hypot(x0 - u, y0 - v) <= near:
        # a digit before its start
        turned = 0.0
    share = min(turned / abs(sweep), 1.0) if turned <= abs(sweep) + near else math.inf
    round_ = abs(math.hypot(x - u, y - v) - math.hypot(x0 - u, y0 - v)) <= near
    return round_ and share <= 1 and abs(z0 + (z1 - z0) * share - z) <= near


def _stop(words: str, file: str, line: int) -> Finding:
    return Finding(
        code="resume-differs",
        severity="stop",
        message=f"{words}. The program was not written; please report this.",
        file=file,
        line=line,
    )
