"""Potential and current density of a net that was solved, as pictures."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from millprep.model.blank import Box
from millprep.report import marks
from millprep.report.blank_views import BLANK_AXES
from millprep.report.canvas import Canvas, canvas
from millprep.report.palette import FIELD
from millprep.report.scene import Flag
from millprep.report.words import number, plain

if TYPE_CHECKING:
    from millprep.geometry.path import FloatArray
    from millprep.model.judged import NetJudged
    from millprep.report.blank_contents import BlankContents

AROUND = 4.0
"""Shown around the net, mm."""
MOST = 99.5
"""Density is shown up to this percentile of the area: at the rim of a joint it has no bound."""
PER_LINE = 6
"""Loads in one line below the picture."""


def potential_view(contents: BlankContents, job: str, set_id: str, net: NetJudged) -> Canvas:
    """The voltage drop from the feed, everywhere on the net."""
    field = net.field
    assert field is not None
    drop = -field.potential[field.triangles].mean(axis=1)
    words = f"voltage drop from {plain(net.feed or '') or 'the feed'}, all loads on"
    return _view(contents, job, set_id, net, drop, words, "V", "potential")


def density_view(contents: BlankContents, job: str, set_id: str, net: NetJudged) -> Canvas:
    """The current for each millimetre of width, everywhere on the net."""
    field = net.field
    assert field is not None
    words = "current per mm of track width"
    return _view(contents, job, set_id, net, field.density, words, "A/mm", "current density")


def _view(
    contents: BlankContents, job: str, set_id: str, net: NetJudged, values: FloatArray, words: str,
    unit: str, title: str,
) -> Canvas:  # fmt: skip
    field = net.field
    assert field is not None
    corners = field.points[field.triangles]
    levels = _levels(values, _areas(corners))
    legend = [
        marks.swatch(f"field {n}", f"{_figure(levels[n])} to {_figure(levels[n + 1])} {unit}")
        for n in range(len(FIELD))
    ]
    legend.append(marks.swatch("copper", "other copper as drawn"))
    legend.append(marks.sign_swatch("circle", "load by its number"))
    x0, y0 = (float(v) for v in field.points.min(axis=0) - AROUND)
    x1, y1 = (float(v) for v in field.points.max(axis=0) + AROUND)
    loads = [f"{n} {plain(at.load.name, 24)}" for n, at in enumerate(net.loads, 1)]
    on = canvas(
        Box(x0, y0, x1, y1),
        f"{job} · net {net.net.name} · {title}",
        words,
        set_id,
        axis_words=BLANK_AXES,
        legend=legend,
        below=_rows(loads),
    )
    view = shapely.box(x0, y0, x1, y1)
    others = [shape for shape in contents.pieces if shape.intersects(view)]
    marks.fill(on, others, "copper", over=1.1)
    step = np.clip(np.searchsorted(levels, values, side="right") - 1, 0, len(FIELD) - 1)
    triangles: Any = shapely.polygons(corners)
    for n in range(len(FIELD)):
        # each step lies on the one below it, so that no gap shows between them
        at_least = triangles[step >= n]
        if len(at_least):
            marks.fill(on, [shapely.coverage_union_all(at_least)], f"field {n}", over=2 + n / 100)
    for n, load in enumerate(net.loads, 1):
        _load(on, load.at, str(n))
    return on


def _load(on: Canvas, at: tuple[float, float], words: str) -> None:
    """The number of a load in a circle."""
    marks.discs(on, [at], 9.0 / on.per_mm, "paper", edge="quiet", points=0.4, over=6)
    x, y = on.at(at)
    on.draw(Flag((x, y, x, y), words, 6 * on.point, "paper", None, bold=False), 6.1)


def _levels(values: FloatArray, areas: FloatArray) -> FloatArray:
    """Bounds of the colours, from the least value to nearly the largest."""
    order = np.argsort(values, kind="stable")
    covered = np.cumsum(areas[order]) / areas.sum()
    least = float(values.min())
    most = float(values[order][min(int(np.searchsorted(covered, MOST / 100)), len(values) - 1)])
    return np.linspace(least, max(most, least + 1e-9), len(FIELD) + 1)


def _areas(corners: FloatArray) -> FloatArray:
    u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    area: FloatArray = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) / 2
    return area


def _figure(value: float) -> str:
    return number(value, 4 if abs(value) < 0.1 else 3)


def _rows(loads: list[str]) -> list[str]:
    """The loads by their numbers, some in a line."""
    lines = [loads[k : k + PER_LINE] for k in range(0, len(loads), PER_LINE)]
    return [", ".join(line) for line in lines]
