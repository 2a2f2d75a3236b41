"""What each join stands, on its own and with the closed forms beside it in mind."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.model.blank import Blank
from millprep.model.milling_pass import Join
from millprep.verify.certificate import MOST, Key, least_misalignment
from millprep.verify.contact import Axes, Cuts
from millprep.verify.separation import (
    ContinuityTest,
    IsolationTest,
    Labels,
    Surroundings,
)
from millprep.verify.sweep import steps_of

Grooves = Mapping[int, shapely.MultiPolygon]
"""What each pass sweeps near the places that matter, by pass."""
SIDE = 2.5
"""Half the side of the window around a join, mm."""
CORE = 0.03
"""A piece is looked for in copper where it would be if shrunk by this much, mm."""


def by_pieces(pieces: Sequence[shapely.Geometry], inside: float) -> Labels:
    """Labels by the pieces, counted from 1, whose inner part a part of the copper touches."""
    cores = shapely.buffer(np.array(list(pieces), dtype=object), -inside)

    def label(parts: NDArray[np.object_]) -> NDArray[np.int64]:
        result = np.zeros(len(parts), dtype=np.int64)
        for number, core in enumerate(cores.tolist(), 1):
            result[shapely.intersects(parts, core)] = number
        return result

    return label


@dataclass(frozen=True, slots=True)
class JoinTolerance:
    """What one join stands.

    Attributes:
        electrical: mismatch before copper joins the two sides of the groove, mm.
        gap: mismatch before they come nearer than the asked gap; None when none was asked.
        whole: mismatch before the piece is parted, looked for as far as `electrical`; None when
            that was not asked.
    """

    join: Join
    electrical: float
    gap: float | None
    whole: float | None = None


def pass_grooves(
    blank: Blank, cuts: Cuts, joins: Sequence[Join], *, surface: bool = False
) -> dict[int, shapely.MultiPolygon]:
    """What each pass sweeps near some joins, at the foot of the copper or at its surface."""
    around = SIDE + 2 * MOST + 1.0
    boxes = shapely.buffer([shapely.Point(join.at) for join in joins], around, cap_style="square")
    near = Axes.of(steps_of(cuts)).near(np.asarray(boxes))
    return near.grooves(0.0 if surface else blank.copper)


def certify(
    joins: Sequence[Join],
    grooves: Grooves,
    pieces: Mapping[Key, shapely.Polygon],
    *,
    gap: float | None = None,
    surface: Grooves | None = None,
) -> tuple[JoinTolerance, ...]:
    """What each join on a copper piece stands of a shift between its two passes, on its own.

    `grooves` as from `pass_grooves`, `surface` likewise at the surface, where opens are judged;
    `pieces` by (placement, piece) in the blank frame. `gap` is what must be left; a band no
    wider than the asked gap has none to give, so ask for the gap less the tolerances of its
    edges. A turn t about a point r away shifts by t·r: add it to the shift before comparing.
    """
    found: list[JoinTolerance] = []
    for join in joins:
        if join.piece is None:
            continue
        label = by_pieces([pieces[(join.placement, join.piece)]], CORE)
        foot = _around(join, grooves, label, MOST)
        sides = IsolationTest(foot, 0.0)
        leaks = least_misalignment(sides, MOST) if sides.seen else 0.0
        left = None
        if gap is not None:
            near = IsolationTest(foot, gap - 1e-6)
            left = least_misalignment(near, MOST) if near.seen and not near.narrow else 0.0
        whole = None
        if surface is not None:
            upper = ContinuityTest(_around(join, surface, label, leaks))
            whole = least_misalignment(upper, leaks) if upper.seen else leaks
        found.append(JoinTolerance(join, leaks, left, whole))
    return tuple(found)


def _around(join: Join, grooves: Grooves, label: Labels, most: float) -> Surroundings:
    first, second = (grooves[number] for number in join.passes)
    (x, y) = join.at
    window = shapely.box(x - SIDE, y - SIDE, x + SIDE, y + SIDE)
    return Surroundings(first, second, window, label, most)
