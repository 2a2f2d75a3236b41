"""Registration holes: where they are, how well they find the blank again, and that it fits one way.

A pass is found by holes that passes before it have drilled, each within the windows of both. On
pins two holes locate and a larger third, the key, goes on one way round only: it is wider than its
pin and locates nothing. Two round holes would fix the distance of the pins twice, so the second is
a slot along the line through both, or its pin is relieved along it: the hole fixes the place, the
slot the turn. Measured holes
all locate, and there is at least one from every pass next to it that comes before. Passes that are
reached by the same shift share their places on the spoilboard, so a row of passes needs one set of
pins.

A blank fits the pins of a pass when some rigid motion, turned over or not, brings a hole that
is wide enough over every pin. All pairs of holes over the two locating pins are tried, so
the list of fits is complete. A fit that only shifts the blank brings another set of holes
over the pins: with a constant shift that cannot be ruled out, and sets are numbered for it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.blank import Blank, Box
from millprep.model.finding import Finding, Refusal
from millprep.model.job.setup import RegistrationPlan
from millprep.model.milling_pass import RegistrationHole
from millprep.passes.clamping import Clamping, denied
from millprep.passes.hole_room import HoleRoom, Spots, no_room
from millprep.passes.hole_sets import JoinPlaces, Score, expected_joins, triples, with_more_holes
from millprep.passes.shift import Cell, ShiftPlan

TRIED = 400
"""Sets that are tried, the best first, before a pass counts as without room."""
SAME_PIN = 1e-6
"""Places on the spoilboard this near to each other are one pin, mm: rounding parts them."""


def least_overlap(plan: RegistrationPlan) -> float:
    """What two windows must share: room for a hole with its walls, and for the key next to it."""
    return 2 * (plan.hole + 2 * plan.wall) + plan.key + plan.overrun * 2


def reach_beyond(plan: RegistrationPlan, kerf: float) -> float:
    """How much farther than a profile's axis a window reaches to hold a hole next to it."""
    return kerf / 2 + plan.wall + plan.key


def choose(
    shift: ShiftPlan,
    blank: Blank,
    plan: RegistrationPlan,
    keep_out: BaseGeometry,
    clamping: Clamping,
    need: Box,
    kerf: float = 0.0,
    join_places: Sequence[JoinPlaces] | None = None,
) -> tuple[RegistrationHole, ...]:
    """Two locating holes and a key, or more holes to be measured, for every pass after the first.

    Args:
        shift: windows and poses.
        blank: the laminate.
        plan: diameters and wall.
        keep_out: what is cut on the blank, grown to where no hole's wall may reach.
        clamping: the clamps, which are in the way of a drill and of a look at the hole.
        need: extent of all cuts, blank frame; its far corners show an error in angle.
        kerf: what of the margin the boards' profiles take, for the refusal.
        join_places: where the passes meet; None takes where joins are to be expected.

    Raises:
        Refusal: when a pass has no room for its holes, with what would do.
    """
    count = len(shift.poses)
    if count == 1:
        return ()
    room = HoleRoom.of(shift, blank, plan, keep_out, denied(clamping, count))
    known = expected_joins(shift, need) if join_places is None else tuple(join_places)
    holes: list[RegistrationHole] = []
    for members in _classes(shift):
        made = _for_class(room, members, holes, known, need)
        if made is None and len(members) > 1:
            # no place on the spoilboard fits them all: each gets its own
            made = []
            for member in members:
                mine = _for_class(room, [member], [*holes, *made], known, need)
                if mine is None:
                    made = None
                    break
                made += mine
        if made is None:
            raise Refusal([_refused(room, clamping, members, holes, known, need, kerf)])
        holes += made
    holes.sort(key=lambda hole: hole.used_in)
    pins: dict[Point, str] = {}
    if plan.method == "pins":
        for hole in holes:
            pins.setdefault(_pin_place(hole), f"p{len(pins) + 1}")
    return tuple(
        replace(hole, id=f"r{n}", pin=pins.get(_pin_place(hole), ""))
        for n, hole in enumerate(holes, 1)
    )


def _pin_place(hole: RegistrationHole) -> Point:
    """Where a hole's pin is, the same for all holes that it serves."""
    x, y = hole.machine
    return (round(x, 5) + 0.0, round(y, 5) + 0.0)


def _classes(shift: ShiftPlan) -> list[list[int]]:
    """Passes after the first, grouped by the directions to the passes before."""
    classes: dict[tuple[Cell, ...], list[int]] = {}
    for k in range(1, len(shift.poses)):
        steps = tuple(sorted(shift.step(k, q) for q in shift.sources(k)))
        classes.setdefault(steps, []).append(k)
    return sorted(classes.values())


def _for_class(
    room: HoleRoom,
    members: Sequence[int],
    holes: Sequence[RegistrationHole],
    join_places: Sequence[JoinPlaces],
    need: Box,
) -> list[RegistrationHole] | None:
    """The best holes that serve all of some passes, or None."""
    for ends in (False, True):
        spots = _off_pins(room, members[0], room.spots(members, ends=ends), holes)
        if len(spots.at) >= 3:
            made = _best(room, members, spots, holes, join_places, need)
            if made is not None:
                return made
    return None


def _off_pins(room: HoleRoom, lead: int, spots: Spots, holes: Sequence[RegistrationHole]) -> Spots:
    """The spots below which the spoilboard has room for a pin, between the pins of other passes."""
    if room.plan.method != "pins" or not holes:
        return spots
    pins = np.array([hole.machine for hole in holes])
    places = room.shift.poses[lead].points(spots.at)
    away = np.hypot(*(places[:, None] - pins).T).T
    free = away >= room.plan.pin + room.plan.wall
    if room.plan.second_hole != "relieved pin":
        # a pin of another pass may serve this one too; flats lie along one line only
        free |= away <= SAME_PIN
    return Spots(spots.at[free.all(axis=1)], spots.source[free.all(axis=1)])


def _best(
    room: HoleRoom,
    members: Sequence[int],
    spots: Spots,
    holes: Sequence[RegistrationHole],
    join_places: Sequence[JoinPlaces],
    need: Box,
) -> list[RegistrationHole] | None:
    shift, plan = room.shift, room.plan
    score = Score.of(room, members, spots, holes, join_places, need)
    for pair, key in itertools.islice(triples(spots, score, plan), TRIED):
        chosen = list(pair)
        if plan.method == "measure":
            chosen = with_more_holes(spots, score, chosen, key, plan)
        made = [
            RegistrationHole(
                id=f"s{member}-{n}",
                blank=room.place(members[0], member, spots.at[n]),
                machine=shift.poses[members[0]].point(tuple(spots.at[n].tolist())),
                diameter=plan.key if n == key else plan.hole,
                role="key" if n == key else "locate",
                drilled_in=room.source(members[0], member, int(spots.source[n])) + 1,
                used_in=member + 1,
            )
            for member in members
            for n in (*chosen, key)
        ]
        if plan.slotted:
            made = list(_with_second(made, plan.slot))
        if _sound([*holes, *made], plan):
            return made
    return None


def _with_second(holes: Sequence[RegistrationHole], slot: float) -> Iterator[RegistrationHole]:
    """The holes of each pass, the second locating one free along the line through both."""
    firsts: dict[int, RegistrationHole] = {}
    for hole in holes:
        if hole.role != "locate" or firsts.setdefault(hole.used_in, hole) is hole:
            yield hole
            continue
        (x, y), (u, v) = firsts[hole.used_in].blank, hole.blank
        long = math.dist((x, y), (u, v))
        # to the digits of a report, so that what is read from it is the same slot
        free = (round((u - x) / long, 6) + 0.0, round((v - y) / long, 6) + 0.0)
        yield replace(hole, free=free, slot=slot)


def _sound(holes: Sequence[RegistrationHole], plan: RegistrationPlan) -> bool:
    """Whether walls are left between all holes, and no blank fits any pins wrongly."""
    # hundreds of sets of a few holes are tried, for which arrays are slow
    for hole, other in itertools.combinations(holes, 2):
        radii = (hole.diameter + hole.slot + other.diameter + other.slot) / 2
        wall = math.dist(hole.blank, other.blank) - radii
        if wall < plan.wall - 1e-9:
            return False
    for number in {hole.used_in for hole in holes}:
        mine = [hole for hole in holes if hole.used_in == number]
        locating = [hole for hole in mine if hole.role == "locate"][:2]
        pins = [*locating, *(hole for hole in mine if hole.role == "key")]
        if wrong_pin_fits(pins, holes):
            return False
    return True


def _refused(
    room: HoleRoom,
    clamping: Clamping,
    members: Sequence[int],
    holes: Sequence[RegistrationHole],
    join_places: Sequence[JoinPlaces],
    need: Box,
    kerf: float,
) -> Finding:
    """Why some passes have no room for their holes."""

    def fits(other: HoleRoom) -> bool:
        return any(
            all(_for_class(other, some, holes, join_places, need) is not None for some in split)
            for split in ([list(members)], [[member] for member in members])
        )

    return no_room(room, clamping, members[0] + 1, kerf, fits)


NEAR = 1.0
"""A hole this far from its pin still counts as over it, mm; a slip fit leaves a twentieth."""


@dataclass(frozen=True, slots=True)
class PinFit:
    """A motion that brings holes over all pins of a set: blank to the set's right place.

    Attributes:
        pose: how far the blank is from lying right, blank frame.
        holes: ids of the holes that come over the locating pins and the key's pin.
    """

    pose: Pose
    holes: tuple[str, str, str]

    @property
    def shifted(self) -> bool:
        """Whether the blank is neither turned nor flipped, by more than a clearance allows."""
        return not self.pose.mirrored and self.pose.a > 0.9


def pin_fits(
    pins: Sequence[RegistrationHole], holes: Sequence[RegistrationHole]
) -> tuple[PinFit, ...]:
    """All fits of a blank with these holes on the pins of one set.

    Args:
        pins: two locating holes and a key, as the pins below them.
        holes: all that the blank has at that time.
    """
    first, second = (hole for hole in pins if hole.role == "locate")
    (key,) = (hole for hole in pins if hole.role == "key")
    # places as complex numbers: turning is a product, and few holes are quicker without arrays
    a, b, c = (complex(*hole.blank) for hole in (first, second, key))
    base = abs(b - a)
    # the key's pin is as thick as the others, so every hole that takes one of them takes it
    wide = [(h.id, complex(*h.blank)) for h in holes if h.diameter >= first.diameter - 1e-9]
    fits = []
    for (i, p), (j, q) in itertools.permutations(wide, 2):
        if abs(abs(q - p) - base) > NEAR:
            continue
        for mirrored in (False, True):
            turn, shift = _onto(p, q, a, b, mirrored=mirrored)
            fits += [
                PinFit(_pose(turn, shift, mirrored=mirrored), (i, j, n))
                for n, k in wide
                if abs(turn * (k.conjugate() if mirrored else k) + shift - c) <= NEAR
                and n not in (i, j)
            ]
    return tuple(fits)


def wrong_pin_fits(
    pins: Sequence[RegistrationHole], holes: Sequence[RegistrationHole]
) -> tuple[PinFit, ...]:
    """The fits of a turned or flipped blank on the pins of one set."""
    return tuple(fit for fit in pin_fits(pins, holes) if not fit.shifted)


def _onto(
    p: complex, q: complex, a: complex, b: complex, *, mirrored: bool
) -> tuple[complex, complex]:
    """The turn and shift that bring p on a and q towards b, so that both miss by as much.

    A mirroring motion takes the conjugate first.
    """
    if mirrored:
        p, q = p.conjugate(), q.conjugate()
    turn = (b - a) / (q - p)
    turn /= abs(turn)
    return turn, (a + b) / 2 - turn * (p + q) / 2


def _pose(turn: complex, shift: complex, *, mirrored: bool) -> Pose:
    cos, sin = turn.real, turn.imag
    if mirrored:
        return Pose(cos, sin, shift.real, sin, -cos, shift.imag)
    return Pose(cos, -sin, shift.real, sin, cos, shift.imag)
