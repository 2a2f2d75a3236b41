"""Why registration holes have no room, and the least that would give them some."""

from __future__ import annotations

import math
from collections.abc import Callable

import shapely

from millprep.model.finding import Finding
from millprep.passes.clamping import Clamping, denied, words
from millprep.passes.hole_room import HoleRoom

DIRECTIONS = {"left": (-1, 0), "right": (1, 0), "towards the front": (0, -1), "back": (0, 1)}
"""Ways a clamp may be moved: words and machine axes."""
FINE = 0.1
"""A move is told to this, mm."""
FARTHEST = 400.0
"""No clamp is moved farther, mm."""


def no_room(
    room: HoleRoom,
    clamping: Clamping,
    number: int,
    kerf: float,
    fits: Callable[[HoleRoom], bool],
) -> Finding:
    """The reason for which a pass finds no place for its holes, with the remedy.

    Args:
        room: in which no hole fits.
        clamping: the clamps on it.
        number: of the pass.
        kerf: what of the margin the boards' profiles take.
        fits: whether holes find room on another ground.
    """
    nothing = [shapely.Polygon()] * len(room.clamped)
    if fits(room.clamped_by(nothing)):
        message = _clamp(room, clamping, fits)
    elif not _reaches_an_edge(room, number - 1):
        spacing = 2 * (room.edge + kerf)
        message = (
            "it lies in the middle of the blank and reaches none of its edges. Its holes would "
            "have to stand between boards: several boards with a [[blank]] spacing of at least "
            f"{spacing:g} mm would do, or a machine with more travel in one of the two."
        )
    elif fits(room.clamped_by(nothing).without_cuts()):
        margin = 2 * room.edge + kerf
        message = (
            "the strips along the edges that both passes reach are too narrow beside the boards. "
            f"A margin of at least {math.ceil(margin * 1000 - 1e-6) / 1000:g} mm free of boards "
            "along both long edges would do, on a blank that leaves it"
        )
        if kerf:
            message += f" ({kerf:g} mm of it go to the cut around the boards)"
        message += "; or lower [registration] wall."
    else:
        message = (
            "the passes share too little of the blank, even without boards and clamps. A blank "
            "that is wider or a machine with more travel would do; or lower [registration] wall."
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
    """Whether what a pass (from 0) shares with earlier ones holds a hole beside an edge."""
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
            # no farther than the best so far: most ways end with one look
            less = move - FINE if direction else move
            if found := _least(_mover(free, clamping, n, x, y), less):
                move, direction = found, way
        if not direction:
            return f"{words(clamp)} stands where they would be. Take it off or put it elsewhere."
        return (
            f"{words(clamp)} stands in the way. Moved {direction} by {move:.1f} mm it leaves room."
        )
    named = "; ".join(words(clamp) for clamp in clamping.clamps)
    return f"the clamps leave none, several of them together: {named}. Move them apart."


def _mover(
    free: Callable[[Clamping], bool], clamping: Clamping, n: int, x: float, y: float
) -> Callable[[float], bool]:
    """Whether a clamp moved this far in one direction leaves room."""
    return lambda by: free(clamping.moved(n, by * x, by * y))


def _least(free: Callable[[float], bool], most: float) -> float | None:
    """The least move, in steps of `FINE`, that frees; None where even the farthest does not."""
    low, high = 0, round(most / FINE)
    if high < 1 or not free(high * FINE):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if free(middle * FINE) else (middle, high)
    return high * FINE
