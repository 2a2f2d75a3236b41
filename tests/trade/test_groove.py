from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from millprep.trade.groove import groove_depth, groove_width

TIPS = st.floats(0, 5)
ANGLES = st.floats(1, 170)
DEPTHS = st.floats(0, 5)


@given(TIPS, ANGLES, DEPTHS)
def test_depth_is_the_inverse_of_width(tip: float, angle: float, depth: float) -> None:
    width = groove_width(tip, angle, depth)
    assert groove_depth(tip, angle, width) == pytest.approx(depth, abs=1e-9)


@given(TIPS, ANGLES, DEPTHS, st.floats(0.01, 1))
def test_a_deeper_groove_is_wider(tip: float, angle: float, depth: float, more: float) -> None:
    assert groove_width(tip, angle, depth + more) > groove_width(tip, angle, depth) >= tip


@pytest.mark.parametrize(
    ("tip", "angle", "depth", "words"),
    [(-0.1, 30, 0.1, "tip"), (0.1, 0, 0.1, "angle"), (0.1, 180, 0.1, "angle"),
     (0.1, 30, -0.1, "depth"), (0.1, 30, float("nan"), "depth")],
)  # fmt: skip
def test_impossible_cutters_are_refused(tip: float, angle: float, depth: float, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        groove_width(tip, angle, depth)


def test_no_groove_is_narrower_than_the_tip() -> None:
    with pytest.raises(ValueError, match=r"a tip of 0\.2 cannot cut a groove 0\.1 wide"):
        groove_depth(0.2, 30, 0.1)
