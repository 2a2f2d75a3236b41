"""Every way in which a blank could be dropped on the pins, and which of them are wrong.

A blank fits the pins of a pass when some rigid motion, turned over or not, brings a hole that
is wide enough over every pin. All pairs of holes over the two locating pins are tried, so
the list of ways is complete. A way that only shifts the blank brings another set of holes
over the pins: with a constant shift that cannot be ruled out, and sets are numbered for it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from millprep.geometry.pose import Pose
from millprep.model.milling_pass import RegistrationHole

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
    def right(self) -> bool:
        """Whether the blank lies as it is meant to."""
        return self.shifted and math.hypot(self.pose.c, self.pose.f) <= NEAR

    @property
    def shifted(self) -> bool:
        """Whether the blank is neither turned nor flipped, by more than a clearance allows."""
        return not self.pose.mirrored and self.pose.a > 0.9


def pin_fits(
    pins: Sequence[RegistrationHole], holes: Sequence[RegistrationHole]
) -> tuple[PinFit, ...]:
    """All ways in which a blank with these holes fits on the pins of one set.

    Args:
        pins: two locating holes and a key, which stand for the pins below them.
        holes: all that the blank has at that time.
    """
    first, second = (hole for hole in pins if hole.role == "locate")
    (key,) = (hole for hole in pins if hole.role == "key")
    # places as complex numbers: turning is a product, and few holes are quicker without arrays
    a, b, c = (complex(*hole.blank) for hole in (first, second, key))
    base = abs(b - a)
    wide = [(h.id, complex(*h.blank)) for h in holes if h.diameter >= first.diameter - 1e-9]
    keys = [(h.id, complex(*h.blank)) for h in holes if h.diameter >= key.diameter - 1e-9]
    found = []
    for (i, p), (j, q) in itertools.permutations(wide, 2):
        if abs(abs(q - p) - base) > NEAR:
            continue
        for mirrored in (False, True):
            turn, shift = _onto(p, q, a, b, mirrored=mirrored)
            found += [
                PinFit(_pose(turn, shift, mirrored=mirrored), (i, j, n))
                for n, k in keys
                if abs(turn * (k.conjugate() if mirrored else k) + shift - c) <= NEAR
                and n not in (i, j)
            ]
    return tuple(found)


def wrong_pin_fits(
    pins: Sequence[RegistrationHole], holes: Sequence[RegistrationHole]
) -> tuple[PinFit, ...]:
    """The ways in which a turned or flipped blank fits on the pins of one set."""
    return tuple(fit for fit in pin_fits(pins, holes) if not fit.shifted)


def other_sets(
    pins: Sequence[RegistrationHole], holes: Sequence[RegistrationHole]
) -> tuple[PinFit, ...]:
    """The ways in which a blank that only lies too far along fits on the pins of one set."""
    return tuple(fit for fit in pin_fits(pins, holes) if fit.shifted and not fit.right)


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
