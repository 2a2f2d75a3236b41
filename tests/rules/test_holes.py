"""Valve bases among holes."""

from __future__ import annotations

import shapely

from millprep.rules.holes import bases
from millprep.trade.bases import BASES
from millprep.values.board import Hole
from millprep.values.pose import Pose
from tests.rules.scene import placed


def socket(scale: float = 1.0, hole: float = 1.3) -> list[Hole]:
    places = BASES[0].places() * scale + (50, 25)
    return [Hole(f"h{n}", (x, y), hole) for n, (x, y) in enumerate(places.tolist(), 1)]


def test_pins_are_numbered_as_the_board_is_milled() -> None:
    away = [shapely.box(1, 1, 2, 2)]
    (seen,), faults = bases(placed(away, socket()))
    assert faults == ()
    assert seen.pins == ("h1", "h2", "h3", "h4", "h5", "h6", "h7")
    mirrored = placed(away, socket(), pose=Pose.mirror_y(50))
    (turned,), _ = bases(mirrored)
    assert turned.pins == seen.pins[::-1]


def test_a_circle_that_is_off_and_holes_too_narrow_are_told() -> None:
    placement = placed([shapely.box(1, 1, 2, 2)], socket(9.8 / 9.53, 1.0))
    (seen,), faults = bases(placement)
    assert seen.wrong
    # The radii differ by 0.135; the gap lets the best fit lean away from it.
    assert 0.135 < seen.error < 0.16
    assert {(f.code, f.severity) for f in faults} == {
        ("base-off-pattern", "warn"),
        ("base-holes-narrow", "note"),
    }
