"""Potential and current density of a net that was solved, as pictures."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from millprep.model.blank import Box
from millprep.report import marks
from millprep.report.blank_views import BLANK_AXES
from millprep.report.canvas import Canvas, canvas
from millprep.report.palette import COPPER, INK, QUIET
from millprep.report.picture_words import say
from millprep.report.words import number, plain

if TYPE_CHECKING:
    from typing import Any

    from millprep.geometry.path import FloatArray
    from millprep.model.judged import NetJudged
    from millprep.report.scene import Scene

AROUND = 4.0
"""Shown around the net, mm."""
STEPS = 8
"""Colours of a picture."""
MOST = 99.5
"""Density is shown up to this percentile of the area: at a joint's rim it has no bound."""
MAP = "viridis"
PER_LINE = 6
"""Loads told in one line below the picture."""


def potential_view(scene: Scene, job: str, set_id: str, one: NetJudged) -> Canvas:
    """The volts lost since the feed, everywhere on the net."""
    field = one.field
    assert field is not None
    lost = -field.potential[field.triangles].mean(axis=1)
    feed = plain(one.feed or "")
    words = say("net.lost" if feed else "net.lost_feed", feed=feed)
    return _view(scene, job, set_id, one, lost, words, "V", say("title.potential"))


def density_view(scene: Scene, job: str, set_id: str, one: NetJudged) -> Canvas:
    """The current for each millimetre of width, everywhere on the net."""
    field = one.field
    assert field is not None
    words = say("net.density")
    return _view(scene, job, set_id, one, field.density, words, "A/mm", say("title.current"))


def _view(
    scene: Scene, job: str, set_id: str, one: NetJudged, values: FloatArray, words: str, unit: str,
    title: str,
) -> Canvas:  # fmt: skip
    import matplotlib
    from matplotlib.collections import PolyCollection

    field = one.field
    assert field is not None
    corners = field.points[field.triangles]
    levels = _levels(values, _areas(corners))
    colours = matplotlib.colormaps[MAP](np.linspace(0.0, 1.0, STEPS))
    place = np.clip(np.searchsorted(levels, values, side="right") - 1, 0, STEPS - 1)
    legend: list[Any] = [
        marks.swatch(
            matplotlib.colors.to_hex(colour),
            say("net.range", low=_figure(low), high=_figure(high), unit=unit),
        )
        for colour, low, high in zip(colours, levels[:-1], levels[1:], strict=True)
    ]
    legend += [
        marks.swatch(COPPER, say("copper.other")),
        marks.sign_swatch("o", say("net.load")),
    ]
    x0, y0 = field.points.min(axis=0) - AROUND
    x1, y1 = field.points.max(axis=0) + AROUND
    on = canvas(
        Box(float(x0), float(y0), float(x1), float(y1)),
        say("title.net", job=job, net=one.net.name, what=title),
        words, set_id,
        axis_words=BLANK_AXES, legend=legend,
        below=_rows([f"{n} {plain(at.load.name, 24)}" for n, at in enumerate(one.loads, 1)]),
    )  # fmt: skip
    view = shapely.box(float(x0), float(y0), float(x1), float(y1))
    others = [shape for shape in scene.pieces if shape.intersects(view)]
    marks.fill(on, others, COPPER, over=1.1)
    on.axes.add_collection(
        PolyCollection(
            list(corners),
            facecolors=colours[place],
            edgecolors="none",
            antialiased=False,
            zorder=2,
        )
    )
    for n, at in enumerate(one.loads, 1):
        on.axes.annotate(
            str(n), at.at, ha="center", va="center", fontsize=6, color=INK, zorder=6,
            bbox={"boxstyle": "circle,pad=0.15", "facecolor": "white", "edgecolor": QUIET,
                  "linewidth": 0.4},
        )  # fmt: skip
    return on


def _levels(values: FloatArray, areas: FloatArray) -> FloatArray:
    """Bounds of the colours, from the least value to nearly the largest."""
    order = np.argsort(values, kind="stable")
    share = np.cumsum(areas[order]) / areas.sum()
    least = float(values.min())
    most = float(values[order][min(int(np.searchsorted(share, MOST / 100)), len(values) - 1)])
    return np.linspace(least, max(most, least + 1e-9), STEPS + 1)


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

