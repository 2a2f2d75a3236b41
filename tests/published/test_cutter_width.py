"""Width of a vee groove: w = tip + 2·d·tan(a / 2).

The identity is plane geometry and stands in every text. The figures were worked out from it
with a calculator of their own, apart from this package; to five digits.
"""

from __future__ import annotations

import pytest

from millprep.model.cutter import Vee

# included angle, tip, depth, width
FIGURES = [
    (30, 0.1, 0.05, 0.12679),
    (30, 0.1, 0.1, 0.15359),
    (30, 0.1, 0.127, 0.16806),
    (60, 0.1, 0.1, 0.21547),
    (60, 0.2, 0.05, 0.25774),
    (20, 0.1, 0.1, 0.13527),
    (45, 0.1, 0.1, 0.18284),
    (60, 0.0, 1.0, 1.15470),
    (90, 0.0, 1.0, 2.00000),
]


def vee(tip: float, angle: float) -> Vee:
    return Vee(
        name="v", tip=tip, angle=angle, shank=3.175, flute=5, stickout=20, spindle=1, feed=1,
        plunge=1,
    )  # fmt: skip


@pytest.mark.parametrize(("angle", "tip", "depth", "width"), FIGURES)
def test_width_at_depth(angle: float, tip: float, depth: float, width: float) -> None:
    assert vee(tip, angle).width(depth) == pytest.approx(width, abs=5e-6)


@pytest.mark.parametrize(("angle", "tip", "depth", "width"), FIGURES)
def test_depth_for_width(angle: float, tip: float, depth: float, width: float) -> None:
    # Half the last digit of the width, through the slope of the steepest cutter here (20 deg).
    slack = 5e-6 / (2 * 0.17632)
    assert vee(tip, angle).depth_for(width) == pytest.approx(depth, abs=slack)


def test_the_half_width_is_not_the_width() -> None:
    """A forum's figure of 0.134 for 30 degrees, tip 0.1, depth 0.127 counts one flank only."""
    assert vee(0.1, 30).width(0.127) != pytest.approx(0.134, abs=0.02)


def test_the_groove_is_narrower_at_the_foot_of_the_copper() -> None:
    """30 degrees, tip 0.1, depth 0.05 through 35 µm: 0.127 at the surface, 0.108 at the foot."""
    cutter = vee(0.1, 30)
    assert cutter.width(0.05) == pytest.approx(0.127, abs=5e-4)
    assert cutter.width(0.05, level=0.035) == pytest.approx(0.108, abs=5e-4)


def test_an_error_in_depth_changes_the_width_by_two_flanks() -> None:
    """dw = 2·dz·tan(a / 2): 0.05 mm at 30 degrees is 0.0268 mm."""
    change = vee(0.1, 30).width(0.15) - vee(0.1, 30).width(0.10)
    assert change == pytest.approx(0.0268, abs=5e-5)
