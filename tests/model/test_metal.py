"""What may be metal at 0 V beside copper."""

from __future__ import annotations

import math

import pytest
import shapely

from millprep.geometry.pose import Pose
from millprep.model.blank import WASHER, is_fixing, metal
from millprep.model.board import Hole
from tests.helpers.rules_scene import OUTLINE, placed


def test_what_a_screw_goes_through() -> None:
    assert is_fixing(Hole("h1", (0, 0), 3.2))
    assert not is_fixing(Hole("h1", (0, 0), 1.1))
    assert not is_fixing(Hole("h1", (0, 0), 3.2, "c1"))


@pytest.mark.parametrize(("covered", "width"), [(None, WASHER * 3.2), (5.5, 5.5), (1.0, 3.2)])
def test_screws_cover_what_the_job_says_and_never_less_than_their_hole(
    covered: float | None, width: float
) -> None:
    holes = [Hole("h1", (5.0, 6.0), 3.2), Hole("h2", (20.0, 20.0), 1.0)]
    placement = placed([shapely.box(10, 10, 12, 12)], holes, pose=Pose.shift(100.0, 0.0))
    (edge, line), (name, disc) = metal(placement, covered)
    assert edge == "the board's edge"
    assert line.length == pytest.approx(OUTLINE.length)
    assert name == "the screw in hole h1 of 3.20 mm"
    assert disc.area == pytest.approx(math.pi * width**2 / 4, rel=2e-3)
    assert (disc.centroid.x, disc.centroid.y) == pytest.approx((105.0, 6.0))
