"""Islands of copper, and what laps sweep."""

from __future__ import annotations

from collections.abc import Sequence

import shapely
from hypothesis import strategies as st
from shapely.geometry.base import BaseGeometry

from millprep.model.cut import Lap
from millprep.model.cutter import Cutter
from millprep.model.job.isolation import IsolationPlan
from millprep.toolpaths.isolation import Island
from tests.helpers.workshop import disc


def islands(*shapes: shapely.Polygon) -> list[Island]:
    return [Island(0, f"c{n}", shape) for n, shape in enumerate(shapes, 1)]


def swept(
    laps: Sequence[Lap], cutters: Sequence[Cutter], level: float, plan: IsolationPlan
) -> BaseGeometry:
    """What the laps take away at a level below the surface."""
    named = {c.name: c for c in cutters}
    return shapely.union_all(
        [
            r.path.line(2e-4).buffer(named[r.cutter].width(plan.depth, level) / 2, quad_segs=64)
            for r in laps
        ]
    )


shapes = st.one_of(
    st.tuples(st.integers(5, 20), st.integers(5, 20)).map(
        lambda wh: shapely.box(0, 0, wh[0] / 10, wh[1] / 10)
    ),
    st.integers(3, 12).map(lambda r: disc(0, 0, r / 10)),
    st.integers(5, 30).map(
        lambda n: shapely.LineString([(0, 0), (n / 10, n / 20), (n / 10, 2)]).buffer(0.25)
    ),
)
