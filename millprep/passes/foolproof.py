"""Every way in which a blank could be dropped on the pins, and which of them are wrong.

A blank fits the pins of a pass when some rigid motion, turned over or not, brings a hole that
is wide enough over every pin. All pairs of holes over the two locating pins are tried, so
the list of ways is complete. A way that only shifts the blank brings another set of holes
over the pins: with a constant shift that cannot be ruled out, and sets are numbered for it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from millprep.values.milling_pass import RegistrationHole
from millprep.values.path import FloatArray, Point
from millprep.values.pose import Pose

NEAR = 1.0
"""A hole this far from its pin still counts as over it, mm; a slip fit leaves a twentieth."""


@dataclass(frozen=True, slots=True)
class Way:
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


def ways(
    pins: Sequence[RegistrationHole], holes: Sequence[RegistrationHole]
) -> tuple[Way, ...]:
    """All ways in which a blank with these holes fits on the pins of one set.

    Args:
        pins: two locating holes and a key, which stand for the pins below them.
        holes: all that the blank has at that time.
    """
    first, second = (hole for hole in pins if hole.role == "locate")
    (key,) = (hole for hole in pins if hole.role == "key")
    a, b, c = (np.array(hole.blank) for hole in (first, second, key))
    base = float(np.hypot(*(b - a)))
    wide = [hole for hole in holes if hole.diameter >= first.diameter - 1e-9]
    keys = [hole for hole in holes if hole.diameter >= key.diameter - 1e-9]
    if len(wide) < 2 or not keys:
        return ()
    places = np.array([hole.blank for hole in wide])
    key_places = np.array([hole.blank for hole in keys])
    apart = np.hypot(*np.moveaxis(places[:, None] - places[None, :], -1, 0))
    found = []
    for i, j in np.argwhere(np.abs(apart - base) <= NEAR).tolist():
        if i == j:
            continue
        for mirrored in (False, True):
            pose = _onto(places[i], places[j], a, b, mirrored=mirrored)
            off = np.hypot(*(pose.points(key_places) - c).T)
            found += [
                Way(pose, (wide[i].id, wide[j].id, keys[n].id))
                for n in np.flatnonzero(off <= NEAR).tolist()
                if keys[n].id not in {wide[i].id, wide[j].id}
            ]
    return tuple(found)


def wrong_ways(
    pins: Sequence[RegistrationHole], holes: Sequence[RegistrationHole]
) -> tuple[Way, ...]:
    """The ways in which a turned or flipped blank fits on the pins of one set."""
    return tuple(way for way in ways(pins, holes) if not way.shifted)


def other_sets(
    pins: Sequence[RegistrationHole], holes: Sequence[RegistrationHole]
) -> tuple[Way, ...]:
    """The ways in which a blank that only lies too far along fits on the pins of one set."""
    return tuple(way for way in ways(pins, holes) if way.shifted and not way.right)


def _onto(
    p: FloatArray, q: FloatArray, a: FloatArray, b: FloatArray, *, mirrored: bool
) -> Pose:
    """The motion that brings p on a and q towards b, so that both miss by as much."""
    from_p, to_b = complex(*(q - p)), complex(*(b - a))
    if mirrored:
        from_p = from_p.conjugate()
    turn = to_b / from_p
    turn /= abs(turn)
    cos, sin = turn.real, turn.imag
    pose = Pose(cos, sin, 0.0, sin, -cos, 0.0) if mirrored else Pose(cos, -sin, 0.0, sin, cos, 0.0)
    middle: Point = pose.point(tuple(((p + q) / 2).tolist()))
    return pose.then(
        Pose.shift(float((a[0] + b[0]) / 2) - middle[0], float((a[1] + b[1]) / 2) - middle[1])
    )
