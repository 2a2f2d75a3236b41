"""Registration holes: where they stand, and how well they find the blank again.

A pass is found by holes that earlier passes have drilled, each within the windows of both. On
pins two holes locate and a larger third, the key, goes on one way round only. Measured holes
all locate, and there is at least one from every earlier pass beside. Passes that were reached
by the same move share their places on the bed, so a row of passes needs one set of pins.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from shapely.geometry.base import BaseGeometry

from millprep.passes import foolproof
from millprep.passes.clamping import Clamping, denied
from millprep.passes.ground import Ground, Spots
from millprep.passes.network import Network, arms
from millprep.passes.no_room import no_room
from millprep.passes.seams import Seam, expected
from millprep.passes.shift import Cell, ShiftPlan
from millprep.values.blank import Blank, Box
from millprep.values.finding import Finding, Refusal
from millprep.values.milling_pass import RegistrationHole
from millprep.values.path import FloatArray
from millprep.values.plan import RegistrationPlan

SCALENE = 2.0
"""Sides of the triangle of holes differ by at least this much, so that a turned or flipped
blank fits no pins, mm."""
FAR = 0.25
"""What the error at the far end counts beside that at the worst join."""
MEASURED = 3
"""Locating holes beside the key when holes are measured: with the key four, so that readings
tell which hole is bad."""
TRIED = 400
"""Sets that are tried, the best first, before a pass counts as without room."""


def least_overlap(plan: RegistrationPlan) -> float:
    """What two windows must share: room for a hole with its walls, and for the key beside it."""
    return 2 * (plan.hole + 2 * plan.wall) + plan.key + plan.overrun * 2


def beyond(plan: RegistrationPlan, kerf: float) -> float:
    """How much farther than a profile's axis a window reaches to hold a hole beside it."""
    return kerf / 2 + plan.wall + plan.key


def choose(
    shift: ShiftPlan,
    blank: Blank,
    plan: RegistrationPlan,
    keep_out: BaseGeometry,
    clamping: Clamping,
    need: Box,
    kerf: float = 0.0,
    seams: Sequence[Seam] | None = None,
) -> tuple[RegistrationHole, ...]:
    """Two locating holes and a key, or more holes to be measured, for every pass after the first.

    Args:
        shift: windows and poses.
        blank: the laminate.
        plan: diameters and wall.
        keep_out: what is cut on the blank, grown to where no hole's wall may reach.
        clamping: the clamps, which stand in the way of a drill and of a look at the hole.
        need: extent of all cuts, blank frame; its far corners show an error in angle.
        kerf: what of the margin the boards' profiles take, for the refusal.
        seams: where the passes meet; None takes where joins are to be expected.

    Raises:
        Refusal: when a pass has no room for its holes, with what would do.
    """
    count = len(shift.poses)
    if count == 1:
        return ()
    ground = Ground.of(shift, blank, plan, keep_out, denied(clamping, count))
    known = expected(shift, need) if seams is None else tuple(seams)
    found: list[RegistrationHole] = []
    for members in _classes(shift):
        made = _for_class(ground, members, found, known, need)
        if made is None and len(members) > 1:
            # no place on the bed serves them all: each gets its own
            made = []
            for member in members:
                mine = _for_class(ground, [member], [*found, *made], known, need)
                if mine is None:
                    made = None
                    break
                made += mine
        if made is None:
            raise Refusal([_refused(ground, clamping, members, found, known, need, kerf)])
        found += made
    found.sort(key=lambda hole: hole.used_in)
    return tuple(
        RegistrationHole(
            f"r{n}", h.blank, h.machine, h.diameter, h.role, h.drilled_in, h.used_in
        )
        for n, h in enumerate(found, 1)
    )


def _classes(shift: ShiftPlan) -> list[list[int]]:
    """Passes after the first, those together whose earlier neighbours lie alike."""
    classes: dict[tuple[Cell, ...], list[int]] = {}
    for k in range(1, len(shift.poses)):
        beside = tuple(sorted(shift.step(k, q) for q in _sources(shift, k)))
        classes.setdefault(beside, []).append(k)
    return sorted(classes.values())


def _sources(shift: ShiftPlan, k: int) -> list[int]:
    """Earlier passes whose windows share an area with that of pass k."""
    return [a for a, b in shift.pairs if b == k]


def _for_class(
    ground: Ground,
    members: Sequence[int],
    found: Sequence[RegistrationHole],
    seams: Sequence[Seam],
    need: Box,
) -> list[RegistrationHole] | None:
    """The best holes that serve all of some passes, or None."""
    for ends in (False, True):
        spots = ground.spots(members, ends=ends)
        if len(spots.at) >= 3:
            made = _best(ground, members, spots, found, seams, need)
            if made is not None:
                return made
    return None


def _best(
    ground: Ground,
    members: Sequence[int],
    spots: Spots,
    found: Sequence[RegistrationHole],
    seams: Sequence[Seam],
    need: Box,
) -> list[RegistrationHole] | None:
    shift, plan = ground.shift, ground.plan
    score = _Score.of(ground, members, spots, found, seams, need)
    for pair, key in itertools.islice(_triples(spots, score, plan), TRIED):
        chosen = list(pair)
        if plan.method == "measure":
            chosen = _more(spots, score, chosen, key, plan)
        made = [
            RegistrationHole(
                id=f"s{member}-{n}",
                blank=ground.place(members[0], member, spots.at[n]),
                machine=shift.poses[members[0]].point(tuple(spots.at[n].tolist())),
                diameter=plan.key if n == key else plan.hole,
                role="key" if n == key else "locate",
                drilled_in=ground.source(members[0], member, int(spots.source[n])) + 1,
                used_in=member + 1,
            )
            for member in members
            for n in (*chosen, key)
        ]
        if _sound([*found, *made], plan):
            return made
    return None


def _sound(holes: Sequence[RegistrationHole], plan: RegistrationPlan) -> bool:
    """Whether walls are left between all holes, and no blank fits any pins wrongly."""
    at = np.array([hole.blank for hole in holes])
    wide = np.array([hole.diameter for hole in holes]) / 2
    apart = np.hypot(*np.moveaxis(at[:, None] - at[None, :], -1, 0))
    wall = apart - wide[:, None] - wide[None, :]
    np.fill_diagonal(wall, np.inf)
    if wall.min() < plan.wall - 1e-9:
        return False
    for number in {hole.used_in for hole in holes}:
        mine = [hole for hole in holes if hole.used_in == number]
        locating = [hole for hole in mine if hole.role == "locate"][:2]
        pins = [*locating, *(hole for hole in mine if hole.role == "key")]
        if foolproof.wrong_ways(pins, holes):
            return False
    return True


@dataclass(frozen=True, slots=True, eq=False)
class _Score:
    """What sets of holes are worth: the mismatch they leave, per unit σ.

    Attributes:
        arms: (n, 2, 3) of every spot.
        inherited: (n, 2, m) what the pass that drills at a spot is off there.
        rows: per earlier pass its errors (3, m) and the (j, 3) rows of the places that count.
        far: the same for the far corners, in both directions.
    """

    arms: FloatArray
    inherited: FloatArray
    rows: tuple[tuple[FloatArray, FloatArray], ...]
    far: tuple[FloatArray, FloatArray]

    @classmethod
    def of(
        cls,
        ground: Ground,
        members: Sequence[int],
        spots: Spots,
        found: Sequence[RegistrationHole],
        seams: Sequence[Seam],
        need: Box,
    ) -> _Score:
        shift, lead = ground.shift, members[0]
        network = Network.of(found, lead, keys=ground.plan.method == "measure")
        here = arms(spots.at, network.centre)
        errors = np.array([network.errors[q] for q in spots.source.tolist()])
        rows: dict[int, list[FloatArray]] = {}
        for seam in seams:
            q, k = seam.passes
            if k in members:
                at = np.array([ground.place(k, lead, at) for at in seam.at])
                source = ground.source(k, lead, q)
                rows.setdefault(source, []).append(
                    np.einsum("ji,jik->jk", seam.across, arms(at, network.centre))
                )
        window = shift.windows[lead]
        corners = [
            (min(max(x, window.x0), window.x1), min(max(y, window.y0), window.y1))
            for x in (need.x0, need.x1)
            for y in (need.y0, need.y1)
        ]
        last = _sources(shift, lead)[-1]
        far = arms(corners, network.centre).reshape(-1, 3)
        return cls(
            here,
            here @ errors,
            tuple((network.errors[q], np.vstack(some)) for q, some in sorted(rows.items())),
            (network.errors[last], far),
        )

    def __call__(self, sets: FloatArray) -> FloatArray:
        """(p,) scores of (p, n) sets of spots; less is better."""
        sets = sets.astype(int)
        p, n = sets.shape
        fit = np.linalg.pinv(self.arms[sets].reshape(p, 2 * n, 3))
        inherited = fit @ self.inherited[sets].reshape(p, 2 * n, -1)

        def spread(error: FloatArray, rows: FloatArray) -> FloatArray:
            own, passed_on = rows @ fit, rows @ (inherited - error)
            found: FloatArray = np.sqrt((own**2).sum(axis=2) + (passed_on**2).sum(axis=2))
            return found

        worst = np.zeros(p)
        for error, rows in self.rows:
            worst = np.maximum(worst, spread(error, rows).max(axis=1))
        found: FloatArray = worst + FAR * spread(*self.far).max(axis=1)
        return found


def _triples(
    spots: Spots, score: _Score, plan: RegistrationPlan
) -> Iterator[tuple[tuple[int, int], int]]:
    """Pairs with keys that fit them, the best pair first."""
    outer = spots.outer()
    pairs = np.array(list(itertools.combinations(outer.tolist(), 2)), dtype=int).reshape(-1, 2)
    apart = np.hypot(*(spots.at[pairs[:, 0]] - spots.at[pairs[:, 1]]).T)
    pairs = pairs[apart >= max(3 * SCALENE, plan.hole + plan.wall)]
    if not len(pairs):
        return
    order = np.argsort(np.round(score(pairs), 9), kind="stable")
    every = np.arange(len(spots.at))
    # in a short overlap only a key farther in makes the sides differ
    for keys in (outer, every):
        for i, j in pairs[order].tolist():
            for key in _keys(spots.at[[i, j]], spots.at[keys], plan):
                yield (i, j), int(keys[key])


def _keys(pair: FloatArray, places: FloatArray, plan: RegistrationPlan) -> list[int]:
    """The places whose triangle with the pair is the most unlike its own images; three of them."""
    a, b = pair
    side = np.hypot(*(b - a))
    to_a, to_b = np.hypot(*(places - a).T), np.hypot(*(places - b).T)
    differ = np.minimum.reduce((np.abs(to_a - to_b), np.abs(to_a - side), np.abs(to_b - side)))
    least = max(3 * SCALENE, (plan.hole + plan.key) / 2 + plan.wall)
    differ = np.where(np.minimum(to_a, to_b) < least, 0.0, np.round(differ, 6))
    best = np.argsort(-differ, kind="stable")[:3]
    return [int(n) for n in best if differ[n] >= SCALENE]


def _more(
    spots: Spots, score: _Score, chosen: list[int], key: int, plan: RegistrationPlan
) -> list[int]:
    """More holes to measure: up to `MEASURED`, and one from every earlier pass."""
    outer = spots.outer()
    wall = max(3 * SCALENE, plan.key + plan.wall)
    sources = set(spots.source.tolist())
    while True:
        used = [*chosen, key]
        missing = sources - {int(spots.source[n]) for n in used}
        if len(chosen) >= MEASURED and not missing:
            return chosen
        free = [
            n
            for n in outer.tolist()
            if np.hypot(*(spots.at[used] - spots.at[n]).T).min() >= wall
            and (len(chosen) < MEASURED or int(spots.source[n]) in missing)
        ]
        if not free:
            return chosen
        sets = np.array([[*used, n] for n in free])
        chosen = [*chosen, free[int(np.argmin(np.round(score(sets), 9)))]]


def _refused(
    ground: Ground,
    clamping: Clamping,
    members: Sequence[int],
    found: Sequence[RegistrationHole],
    seams: Sequence[Seam],
    need: Box,
    kerf: float,
) -> Finding:
    """Why some passes have no room for their holes."""

    def fits(other: Ground) -> bool:
        return any(
            all(_for_class(other, some, found, seams, need) is not None for some in split)
            for split in ([list(members)], [[member] for member in members])
        )

    return no_room(ground, clamping, members[0] + 1, kerf, fits)
