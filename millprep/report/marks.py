"""What is drawn on a canvas: areas, strokes of true width, holes, flags."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.report.palette import FLAG, INK, PAPER

if TYPE_CHECKING:
    from matplotlib.path import Path as Outline

    from millprep.model.board import Hole
    from millprep.model.cut import HoleCut
    from millprep.report.canvas import Canvas

FloatArray = NDArray[np.float64]
Point = tuple[float, float]


def outline(shapes: Iterable[shapely.Geometry], tolerance: float) -> Outline | None:
    """All polygons as one compound outline, thinned by `tolerance`; None when there are none."""
    from matplotlib.path import Path as Outline

    parts = shapely.get_parts(np.array(list(shapes), dtype=object))
    parts = parts[shapely.get_type_id(parts) == shapely.GeometryType.POLYGON]
    if len(parts) == 0:
        return None
    thin = shapely.simplify(parts, tolerance, preserve_topology=False)
    gone = shapely.is_empty(thin)
    thin[gone] = parts[gone]
    # opposite turns for holes: every renderer then leaves them empty
    rings = shapely.get_rings(shapely.orient_polygons(shapely.get_parts(thin)))
    xy, which = shapely.get_coordinates(rings, return_index=True)
    codes = np.full(len(xy), Outline.LINETO, dtype=Outline.code_type)
    starts = np.searchsorted(which, np.arange(len(rings)))
    codes[starts] = Outline.MOVETO
    codes[np.append(starts[1:], len(xy)) - 1] = Outline.CLOSEPOLY
    return Outline(xy, codes)


def fill(
    on: Canvas,
    shapes: Iterable[shapely.Geometry],
    colour: str,
    *,
    edge: str = "none",
    hatch: str = "",
    width: float = 0.0,
    style: str = "-",
    over: float = 1.0,
) -> None:
    """Fill areas; `width` of the edge in points, `over` is the height in the stack."""
    from matplotlib.patches import PathPatch

    path = outline(shapes, on.tolerance)
    if path is not None:
        # not add_patch: that walks every vertex to widen limits which are fixed here
        on.axes.add_artist(
            PathPatch(
                path, facecolor=colour, edgecolor=edge, hatch=hatch or None, linewidth=width,
                linestyle=style, zorder=over,
            )
        )  # fmt: skip


def stroke(
    on: Canvas, lines: Sequence[FloatArray], width: float, colour: str, *, over: float = 2.0
) -> None:
    """Draw what a round cutter of this width in mm leaves along the lines."""
    from matplotlib.collections import LineCollection

    if lines:
        on.axes.add_collection(
            LineCollection(
                [_thinned(line, on.tolerance) for line in lines],
                linewidths=on.points(width), colors=colour, capstyle="round", joinstyle="round",
                zorder=over,
            ),
            autolim=False,
        )  # fmt: skip


def hairline(
    on: Canvas,
    lines: Sequence[FloatArray],
    colour: str = INK,
    *,
    points: float = 0.6,
    style: Any = "-",
    over: float = 3.0,
) -> None:
    """Draw lines whose width means nothing."""
    from matplotlib.collections import LineCollection

    if lines:
        on.axes.add_collection(
            LineCollection(
                [_thinned(line, on.tolerance) for line in lines],
                linewidths=points, colors=colour, linestyles=style, zorder=over,
            ),
            autolim=False,
        )  # fmt: skip


def _thinned(line: FloatArray, tolerance: float) -> FloatArray:
    if len(line) < 3:
        return line
    thin: FloatArray = shapely.get_coordinates(
        shapely.simplify(shapely.LineString(line), tolerance, preserve_topology=False)
    )
    return thin if len(thin) > 1 else line


def discs(
    on: Canvas,
    at: Sequence[Point],
    diameter: float,
    colour: str,
    *,
    edge: str = INK,
    points: float = 0.4,
    hatch: str = "",
    over: float = 4.0,
) -> None:
    """Round holes at their true diameter, mm."""
    from matplotlib.collections import EllipseCollection

    if at:
        size = np.full(len(at), diameter)
        on.axes.add_collection(
            EllipseCollection(
                size, size, np.zeros(len(at)), units="xy", offsets=np.array(at),
                offset_transform=on.axes.transData, facecolors=colour, edgecolors=edge,
                linewidths=points, hatch=hatch or None, zorder=over,
            ),
            autolim=False,
        )  # fmt: skip


def holes(
    on: Canvas,
    some: Iterable[Hole | HoleCut],
    colour: str,
    *,
    edge: str = INK,
    points: float = 0.4,
    hatch: str = "",
    over: float = 4.0,
) -> None:
    """Holes and slots, true to size."""
    sizes: dict[float, list[Point]] = {}
    slots: list[shapely.Polygon] = []
    for hole in some:
        if hole.end is None:
            sizes.setdefault(hole.diameter, []).append(hole.at)
        else:
            slots.append(hole.spine.buffer(hole.diameter / 2, quad_segs=32))
    for diameter, at in sizes.items():
        discs(on, at, diameter, colour, edge=edge, points=points, hatch=hatch, over=over)
    if slots:
        fill(on, slots, colour, edge=edge, hatch=hatch, width=points, over=over)


def signs(
    on: Canvas, at: Sequence[Point], marker: str, *, size: float = 6.0, over: float = 6.0
) -> None:
    """Signs of a fixed size in points, ink on a paper ground so they show on any colour."""
    if at:
        x, y = zip(*at, strict=True)
        on.axes.plot(
            x, y, linestyle="none", marker=marker, markersize=size, markerfacecolor=PAPER,
            markeredgecolor=INK, markeredgewidth=1.0, zorder=over,
        )  # fmt: skip


def label(
    on: Canvas, at: Point, words: str, *, away: Point = (6.0, 6.0), size: float = 7.5,
    over: float = 8.0,
) -> None:  # fmt: skip
    """Words beside a point, on a paper ground.

    `away` leads in points to their nearer end; more than 5 down, the words hang below it.
    """
    on.axes.annotate(
        words, at, xytext=away, textcoords="offset points", fontsize=size, color=INK,
        ha="left" if away[0] >= 0 else "right", va="top" if away[1] < -5 else "bottom",
        bbox={"boxstyle": "square,pad=0.12", "facecolor": PAPER, "edgecolor": "none",
              "alpha": 0.85},
        zorder=over, annotation_clip=True,
    )  # fmt: skip


def flags(on: Canvas, places: Sequence[tuple[str, Point]]) -> None:
    """A ring around every place; one flag for places that would crowd each other."""
    for words, at in crowds(on, places):
        for size, style in ((12.0, (PAPER, 3.5)), (12.0, (INK, 1.5))):
            on.axes.plot(
                *at, linestyle="none", marker="o", markersize=size, markerfacecolor="none",
                markeredgecolor=style[0], markeredgewidth=style[1], zorder=9,
            )  # fmt: skip
        if words:
            _flag(on, at, words, 11.0)


def crowds(on: Canvas, places: Sequence[tuple[str, Point]]) -> list[tuple[str, Point]]:
    """The places with the words of their flags; flags that would hide each other are one.

    The flag of a crowd stands at its first place and names up to three, "F5, F8"; of more it
    names one and counts the others, "F5 +3". The others have no words.
    """
    near = 30.0 / on.per_mm
    held: dict[int, list[str]] = {}
    for n, (words, at) in enumerate(places):
        for one, names in held.items():
            there = places[one][1]
            if abs(there[0] - at[0]) < near and abs(there[1] - at[1]) < near * 0.7:
                names.append(words)
                break
        else:
            held[n] = [words]
    return [(_together(held.get(n, [])), at) for n, (_, at) in enumerate(places)]


def _together(names: Sequence[str]) -> str:
    return ", ".join(names) if len(names) <= 3 else f"{names[0]} +{len(names) - 1}"


def ringed(on: Canvas, at: Point, words: str, radius: float) -> None:
    """A ring of this radius in mm with its flag outside it; without words, none."""
    discs(on, [at], 2 * radius, "none", edge=PAPER, points=4.0, over=9)
    discs(on, [at], 2 * radius, "none", edge=INK, points=1.8, over=9.1)
    if words:
        _flag(on, at, words, radius * on.per_mm * 0.75 + 2.0)


def _flag(on: Canvas, at: Point, words: str, away: float) -> None:
    """Words on a flag to the upper right of a place; long ones lean toward the middle."""
    x0, x1 = on.axes.get_xlim()
    left = len(words) > 8 and at[0] > (x0 + x1) / 2
    on.axes.annotate(
        words, at, xytext=(-away if left else away, away), textcoords="offset points",
        ha="right" if left else "left", fontsize=8.5, weight="bold", color=INK, zorder=9.2,
        bbox={"boxstyle": "round,pad=0.2", "facecolor": FLAG, "edgecolor": INK, "linewidth": 0.8},
    )  # fmt: skip


def swatch(colour: str, words: str, *, hatch: str = "", edge: str = INK) -> Any:
    """A legend entry for an area."""
    from matplotlib.patches import Patch

    return Patch(
        facecolor=colour, edgecolor=edge, hatch=hatch or None, linewidth=0.5, label=words
    )


def sign_swatch(marker: str, words: str) -> Any:
    """A legend entry for a sign."""
    from matplotlib.lines import Line2D

    return Line2D(
        [], [], linestyle="none", marker=marker, markersize=6, markerfacecolor=PAPER,
        markeredgecolor=INK, markeredgewidth=1.0, label=words,
    )  # fmt: skip


def line_swatch(colour: str, words: str, *, style: Any = "-", points: float = 1.2) -> Any:
    """A legend entry for a line."""
    from matplotlib.lines import Line2D

    return Line2D([], [], color=colour, linestyle=style, linewidth=points, label=words)
