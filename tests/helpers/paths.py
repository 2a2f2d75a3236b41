"""Paths of lines and arcs, drawn by chance."""

from __future__ import annotations

import itertools
import math

import numpy as np
from hypothesis import assume
from hypothesis import strategies as st

from millprep.geometry.path import Path

coordinate = st.integers(-5000, 5000).map(lambda n: n / 100)


bulge = st.one_of(st.just(0.0), st.integers(-100, 100).map(lambda n: n / 100))


@st.composite
def paths(draw: st.DrawFn, closed: bool | None = None) -> Path:
    """Chains of 2 to 8 lines and arcs of up to half a turn; neighbours at least 0.1 mm apart."""
    points = draw(st.lists(st.tuples(coordinate, coordinate), min_size=3, max_size=8))
    if draw(st.booleans()) if closed is None else closed:
        points.append(points[0])
    assume(all(math.dist(a, b) >= 0.1 for a, b in itertools.pairwise(points)))
    bulges = draw(st.lists(bulge, min_size=len(points) - 1, max_size=len(points) - 1))
    return Path(np.array(points), np.array(bulges))
