"""What sets of registration holes are worth: the mismatch that they leave, per unit of error."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from millprep.geometry.path import FloatArray
from millprep.model.blank import Box
from millprep.model.milling_pass import RegistrationHole
from millprep.passes.expected_joins import JoinPlaces
from millprep.passes.hole_room import HoleRoom, Spots
from millprep.passes.misalignment import HoleErrors, arms

FAR = 0.25
"""What the error at the far end counts beside that at the worst join."""


@dataclass(frozen=True, slots=True, eq=False)
class Score:
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
        room: HoleRoom,
        members: Sequence[int],
        spots: Spots,
        found: Sequence[RegistrationHole],
        join_places: Sequence[JoinPlaces],
        need: Box,
    ) -> Score:
        """The score of sets of these spots, for some passes alike, beside the holes found."""
        shift, lead = room.shift, members[0]
        hole_errors = HoleErrors.of(found, lead, keys=room.plan.method == "measure")
        here = arms(spots.at, hole_errors.centre)
        errors = np.array([hole_errors.errors[q] for q in spots.source.tolist()])
        rows: dict[int, list[FloatArray]] = {}
        for places in join_places:
            q, k = places.passes
            if k in members:
                at = np.array([room.place(k, lead, at) for at in places.at])
                source = room.source(k, lead, q)
                rows.setdefault(source, []).append(
                    np.einsum("ji,jik->jk", places.across, arms(at, hole_errors.centre))
                )
        window = shift.windows[lead]
        corners = [
            (min(max(x, window.x0), window.x1), min(max(y, window.y0), window.y1))
            for x in (need.x0, need.x1)
            for y in (need.y0, need.y1)
        ]
        last = shift.sources(lead)[-1]
        far = arms(corners, hole_errors.centre).reshape(-1, 3)
        return cls(
            here,
            here @ errors,
            tuple((hole_errors.errors[q], np.vstack(some)) for q, some in sorted(rows.items())),
            (hole_errors.errors[last], far),
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
