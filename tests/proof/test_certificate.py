"""The certificate of a join against closed forms.

For one groove of width w cut from both sides with overrun e and mismatch (dx, dy), with
l = 2 e - dx: closed if and only if hypot(max(0, -l), dy) < w (geometry of two round ends).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np
import pytest
import shapely

from millprep.proof.certificate import TOLERANCE, certify, pass_grooves
from millprep.proof.reader import read
from millprep.values.milling_pass import Join, MillingPass
from millprep.values.pose import Pose
from tests.proof.programs import BLANK, HEAD, PASS, TAIL, cut, end_mill

W = 0.2
SECOND = MillingPass(1, 2, PASS.window, Pose(), (), (1.0, 1.0))
# A rail of copper with grooves along both its edges, joined at x = 30.
RAIL = shapely.box(2, 14, 58, 20)
EDGES = (20 + W / 2,)
JOIN = Join(1, 0, "c1", (30.0, 20 + W / 2), (1, 2), 0.4, (0.0, 1.0))


def joined(
    overrun: float, laps: Sequence[float] = (0.0,), gap: float | None = None, width: float = W
) -> tuple[float, float | None]:
    left = "".join(cut([(5, y + k), (30 + overrun, y + k)]) for y in EDGES for k in laps)
    right = "".join(cut([(55, y + k), (30 - overrun, y + k)]) for y in EDGES for k in laps)
    cuts = [
        (read(HEAD + left + TAIL, file="a"), end_mill(width), PASS),
        (read(HEAD + right + TAIL, file="b"), end_mill(width), SECOND),
    ]
    join = dataclasses.replace(JOIN, overrun=overrun)
    (found,) = certify([join], pass_grooves(BLANK, cuts, [join]), {(0, "c1"): RAIL}, gap=gap)
    return found.electrical, found.gap


@pytest.mark.parametrize(("overrun", "exact"), [(0.4, W), (0.1, W), (0.0, W), (-0.05, W - 0.1)])
def test_one_groove(overrun: float, exact: float) -> None:
    electrical, _ = joined(overrun)
    assert exact - 0.005 <= electrical <= exact + 1e-4


def test_a_band_of_three_laps_stands_its_whole_width() -> None:
    electrical, _ = joined(0.4, (0.0, 0.15, 0.3))
    exact = W + 2 * 0.15
    assert exact - 0.005 <= electrical <= exact + 1e-4


@pytest.mark.parametrize("overrun", [0.0, 0.05, 0.4])
@pytest.mark.parametrize("asked", [0.05, 0.12, 0.19])
def test_the_asked_gap(overrun: float, asked: float) -> None:
    """While closed the gap is min(w, hypot(l + 2 q, w - |dy|)) with q = sqrt(w |dy| - dy²) if
    l >= -q, and sqrt(w² - l² - dy²) otherwise: two round ends and their cusp."""
    electrical, left = joined(overrun, gap=asked)
    assert left is not None
    dx, dy = np.meshgrid(np.arange(-0.3, 0.3, 0.0005), np.arange(0.0, 0.3, 0.0005))
    l = 2 * overrun - dx
    closed = np.hypot(np.maximum(0.0, -l), dy) < W
    q = np.sqrt(np.maximum(W * dy - dy * dy, 0.0))
    faced = np.minimum(W, np.hypot(l + 2 * q, W - dy))
    cusp = np.sqrt(np.maximum(W * W - l * l - dy * dy, 0.0))
    gap = np.where(closed, np.where(l >= -q, faced, cusp), 0.0)
    exact = float(np.hypot(dx, dy)[gap < asked].min())
    assert exact - 0.005 <= left <= exact + 0.001
    assert left <= electrical


def test_a_wider_groove_stands_more() -> None:
    one, _ = joined(0.4, width=0.2)
    other, _ = joined(0.4, width=0.3)
    assert other - one == pytest.approx(0.1, abs=2 * TOLERANCE)


def test_what_the_certificate_says_can_fail() -> None:
    """Just inside the certificate the join is closed, just outside the true one it leaks."""
    for off, parts in ((0.194, 2), (0.206, 1)):
        left = cut([(5, 20.1), (30.4, 20.1)])
        right = cut([(55, 20.1 + off), (29.6, 20.1 + off)])
        text = HEAD + left + right + TAIL
        groove = pass_grooves(BLANK, [(read(text, file="a"), end_mill(W), PASS)], [JOIN])[1]
        window = shapely.box(28, 18, 32, 22) - groove
        assert len(shapely.get_parts(window)) == parts
