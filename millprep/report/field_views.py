"""Pictures in steps of colour: a surface map, grooves without it, and nets that were solved."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import shapely

from millprep.geometry.path import FloatArray
from millprep.model.blank import Box
from millprep.model.judged import NetJudged
from millprep.model.milling_pass import CELL, Holding, MillingPass
from millprep.model.set_of_programs import CutSet
from millprep.model.surface_map import Levelling, Uncorrected
from millprep.report import marks
from millprep.report.blank_contents import BlankContents, around, posed
from millprep.report.blank_views import BLANK_AXES, titled
from millprep.report.canvas import (
    PRINTED,
    PRINTED_DPI,
    Canvas,
    LegendEntry,
    canvas,
)
from millprep.report.palette import ColourBar
from millprep.report.pass_view import WORK_AXES, clamp_corners
from millprep.report.scene import Flag, width_of
from millprep.report.words import number, plain

SHARES = (0.5, 0.35, 0.65, 0.2, 0.8)
"""Where along a contour its height is tried."""
FINE = 8
"""Each cell is drawn so many times finer each way: contours of it are curves."""


def relief_view(
    contents: BlankContents, cut_set: CutSet, milling_pass: MillingPass, levelling: Levelling
) -> Canvas:
    """Heights of the copper in µm, on the machine."""
    surface = levelling.surface
    low, high = surface.lowest * 1000, surface.highest * 1000
    x, y = _finer(surface.x), _finer(surface.y)
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    heights = surface.heights(grid).reshape(len(y), len(x)) * 1000
    least, most = float(heights.min()), float(heights.max())
    bar = ColourBar.over("height of the copper above Z0, µm", least, most)
    on = _open(
        contents,
        cut_set,
        milling_pass,
        [
            marks.swatch("laminate", "blank"),
            marks.sign_swatch("dot", "touched point"),
            marks.sign_swatch("triangle", "Z touch point"),
        ],
        f"height of the copper as probed, {_signed(low)} to {_signed(high)} µm; between touched "
        f"points it may be off by {levelling.left * 1000:.0f} µm",
        bar,
    )
    boards = [placed.outline for placed in contents.placed]
    edges = shapely.union_all([shape.exterior for shape in posed(boards, milling_pass.pose)])
    _contours(on, (x, y, heights), bar, edges)
    nodes = np.stack(np.meshgrid(surface.x, surface.y), axis=-1).reshape(-1, 2)
    marks.signs(on, [(float(u), float(v)) for u, v in nodes], "dot", size=3, over=4)
    _outlines(on, contents, milling_pass)
    return on


def _contours(
    on: Canvas, grid: tuple[FloatArray, FloatArray, FloatArray], bar: ColourBar,
    edges: shapely.Geometry,
) -> None:  # fmt: skip
    """Areas of colour between lines of equal height, each line with its height, µm."""
    from contourpy import FillType, LineType, contour_generator

    made: Any = contour_generator(
        *grid, line_type=LineType.Separate, fill_type=FillType.OuterOffset
    )
    for n, (low, role) in enumerate(zip(bar.values, bar.roles, strict=False)):
        # each area lies on the one below it, so that no gap shows between them
        points, offsets = made.filled(low, np.inf)
        areas = [_polygon(xy, cuts) for xy, cuts in zip(points, offsets, strict=True)]
        marks.fill(on, areas, role, over=2 + 0.01 * n)
    for level in bar.values:
        lines = made.lines(level)
        marks.hairline(on, lines, over=3)
        for line in lines:
            _height(on, line, _signed(level), edges)


def _polygon(xy: FloatArray, cuts: FloatArray) -> shapely.Polygon:
    """The outline and the holes that a run of points holds one after the other."""
    rims = [xy[a:b] for a, b in itertools.pairwise(cuts.tolist())]
    return shapely.Polygon(rims[0], rims[1:])


def _height(on: Canvas, line: FloatArray, words: str, edges: shapely.Geometry) -> None:
    """The height of a contour on it, off the edges of boards, where the line is long enough."""
    path = shapely.LineString(line)
    wide = width_of(words, 7.0) + 2
    if path.length * on.per_mm < 2.5 * wide:
        return
    for share in SHARES:
        at = path.interpolate(share, normalized=True)
        if shapely.distance(at, edges) * on.per_mm > wide / 2 + 2:
            marks.note(on, (at.x, at.y), words, 7.0, over=3.5)
            return


def _signed(height: float) -> str:
    """A height with its sign; 0 has none."""
    text = f"{height:+.0f}".replace("-", "−")
    return "0" if text[1:] == "0" else text


def widths_view(
    contents: BlankContents, cut_set: CutSet, milling_pass: MillingPass,
    grooves: list[Uncorrected],
) -> Canvas:  # fmt: skip
    """Widths that the grooves of a pass would have at the foot if they did not follow the map."""
    foot = np.concatenate([groove.foot for groove in grooves])
    path = np.concatenate([groove.segments for groove in grooves])
    top = np.concatenate([groove.surface for groove in grooves])
    cut = foot > 0
    low, high = (float(foot[cut].min()), float(foot[cut].max())) if cut.any() else (0.0, 0.0)
    bar = ColourBar.over("width of the groove at the foot of the copper, mm", low, high)
    which = np.digitize(foot, bar.values[1:-1])
    lost = sum(groove.lost_length for groove in grooves)
    legend = [
        marks.line_swatch("fault", f"not cut through: {lost:.0f} mm"),
        marks.swatch("copper", "copper as drawn"),
    ]
    on = _open(
        contents,
        cut_set,
        milling_pass,
        legend,
        f"grooves as they would be without the map: {foot.min():.3f} to {foot.max():.3f} mm wide "
        f"at the foot of the copper, {top.min():.3f} to {top.max():.3f} at its surface",
        bar,
    )
    marks.fill(on, posed(contents.pieces, milling_pass.pose), "copper", over=1)
    steps = path.reshape(-1, 2, 2)
    for n, role in enumerate(bar.roles):
        lines = list(steps[cut & (which == n)])
        marks.hairline(on, lines, role, points=1.0, over=2 + 0.01 * n)
    marks.hairline(on, list(steps[~cut]), "fault", points=2.4, over=3)
    _outlines(on, contents, milling_pass)
    return on


def lift_view(
    contents: BlankContents, cut_set: CutSet, milling_pass: MillingPass, holding: Holding
) -> Canvas:
    """How far the blank lifts under a pull at every cut, on the machine."""
    used = 100 * holding.places[:, 2] / holding.places[:, 3]
    bar = ColourBar.over("lift, % of what is allowed there", 0.0, min(float(used.max()), 100.0))
    which = np.digitize(used, bar.values[1:-1], right=True)
    which[used > 100] = len(bar.roles)
    legend = [marks.sign_swatch("triangle", "Z touch point")]
    if (used > 100).any():
        legend.insert(0, marks.swatch("fault", "lifts more than is allowed"))
    if not isinstance(cut_set.tape, bool):
        legend.append(marks.line_swatch("ink", "tape under the blank", dash=marks.TAPE))
    if holding.room:
        legend.append(marks.line_swatch("ink", "room for more clamps", dash=marks.DOTTED))
    if holding.better:
        kinds = " or ".join(support.kind for support in holding.better)
        legend.append(marks.swatch("paper", f"one more {kinds} helps most here"))
    on = _open(
        contents,
        cut_set,
        milling_pass,
        legend,
        f"lift under a pull of {number(holding.force)} N at each cut; the worst place, circled, "
        f"lifts {number(holding.lift, 3)} mm and may lift {number(holding.allowed, 3)} mm",
        bar,
    )
    x, y = (np.floor(holding.places[:, k] / CELL) * CELL for k in (0, 1))
    cells = shapely.box(x, y, x + CELL, y + CELL)
    for n, role in enumerate((*bar.roles, "fault")):
        marks.fill(on, [shapely.coverage_union_all(cells[which == n])], role, over=2 + 0.01 * n)
    marks.strips(on, cut_set.tape)
    for box in holding.room:
        marks.fill(on, [box.shape], None, edge="ink", width=1.0, dash=marks.DOTTED, over=4.6)
    for support in holding.better:
        marks.fill(on, [support.box.shape], "paper", edge="ink", width=2.0, over=4.8)
    marks.circled(on, holding.at, "", 8.0 / on.per_mm)
    _outlines(on, contents, milling_pass)
    return on


def _open(
    contents: BlankContents, cut_set: CutSet, milling_pass: MillingPass,
    legend: list[LegendEntry], words: str, bar: ColourBar,
) -> Canvas:  # fmt: skip
    """The blank on the machine with its clamps, and a colour bar."""
    blank = milling_pass.pose.shape(shapely.box(0, 0, *contents.blank.size))
    reach = cut_set.machine.travel.shape
    # what is beyond the travel is not cut in this pass
    shown = shapely.intersection(blank, shapely.buffer(reach, 10, join_style="mitre"))
    held = [clamp for clamp in cut_set.clamps if clamp.on_in(milling_pass.number)]
    corners = [(x, y) for x, y in shapely.get_coordinates(shown).tolist()]
    if held:
        legend.append(marks.clamp_swatch("clamp"))
    legend.append(marks.line_swatch("ink", "edge of a board"))
    on = canvas(
        around([*corners, *clamp_corners(held)], 0.03),
        titled(cut_set.job, contents.blank.number, f"pass {milling_pass.number}"),
        words,
        axis_words=WORK_AXES,
        legend=legend,
        bar=bar,
        widest=PRINTED,
        dpi=PRINTED_DPI,
    )
    marks.fill(on, [blank], "laminate", edge="ink", width=0.9, over=0.5)
    marks.clamps(on, held)
    return on


def _outlines(on: Canvas, contents: BlankContents, milling_pass: MillingPass) -> None:
    """The edges of the boards, and where Z is zeroed."""
    rims = [
        shapely.get_coordinates(shape.exterior)
        for shape in posed([placed.outline for placed in contents.placed], milling_pass.pose)
    ]
    marks.hairline(on, rims, "paper", points=2.6, over=4.4)
    marks.hairline(on, rims, points=1.2, over=4.5)
    marks.signs(on, [milling_pass.touch], "triangle", size=8, over=7)


def _finer(lines: FloatArray) -> FloatArray:
    """Each step divided evenly; all lines stay."""
    steps = itertools.pairwise(lines.tolist())
    parts = [np.linspace(a, b, FINE, endpoint=False) for a, b in steps]
    return np.concatenate((*parts, lines[-1:]))


AROUND = 4.0
"""Shown around the net, mm."""
MOST = 99.5
"""Density is shown up to this percentile of the area: at the rim of a joint it has no bound."""
PER_LINE = 6
"""Loads in one line below the picture."""


def potential_view(contents: BlankContents, job: str, net: NetJudged) -> Canvas:
    """The voltage drop from the feed, everywhere on the net."""
    field = net.field
    assert field is not None
    drop = -field.potential[field.triangles].mean(axis=1)
    words = f"voltage drop from {plain(net.feed or '') or 'the feed'}, all loads on"
    return _view(contents, job, net, drop, words, "V", "potential")


def density_view(contents: BlankContents, job: str, net: NetJudged) -> Canvas:
    """The current for each millimetre of width, everywhere on the net."""
    field = net.field
    assert field is not None
    words = "current per mm of track width"
    return _view(contents, job, net, field.density, words, "A/mm", "current density")


def _view(
    contents: BlankContents, job: str, net: NetJudged, values: FloatArray, words: str,
    unit: str, title: str,
) -> Canvas:  # fmt: skip
    field = net.field
    assert field is not None
    corners = field.points[field.triangles]
    least, most = _range(values, _areas(corners))
    more = "" if most >= float(values.max()) else "; what is above has the last colour"
    bar = ColourBar.over(f"{words}, {unit}{more}", least, most)
    legend = [
        marks.swatch("copper", "other copper as drawn"),
        marks.sign_swatch("circle", "load by its number"),
    ]
    x0, y0 = (float(v) for v in field.points.min(axis=0) - AROUND)
    x1, y1 = (float(v) for v in field.points.max(axis=0) + AROUND)
    loads = [f"{n} {plain(at.load.name, 24)}" for n, at in enumerate(net.loads, 1)]
    on = canvas(
        Box(x0, y0, x1, y1),
        f"{job} · net {net.net.name} · {title}",
        words,
        axis_words=BLANK_AXES,
        legend=legend,
        below=_rows(loads),
        bar=bar,
    )
    view = shapely.box(x0, y0, x1, y1)
    others = [shape for shape in contents.pieces if shape.intersects(view)]
    marks.fill(on, others, "copper", over=1.1)
    step = np.digitize(values, bar.values[1:-1])
    triangles: Any = shapely.polygons(corners)
    for n, role in enumerate(bar.roles):
        # each step lies on the one below it, so that no gap shows between them
        at_least = triangles[step >= n]
        if len(at_least):
            marks.fill(on, [shapely.coverage_union_all(at_least)], role, over=2 + n / 100)
    for n, load in enumerate(net.loads, 1):
        _load(on, load.at, str(n))
    return on


def _load(on: Canvas, at: tuple[float, float], words: str) -> None:
    """The number of a load in a circle."""
    marks.discs(on, [at], 9.0 / on.per_mm, "paper", edge="quiet", points=0.4, over=6)
    x, y = on.at(at)
    on.draw(Flag((x, y, x, y), words, 6 * on.point, "paper", bold=False), 6.1)


def _range(values: FloatArray, areas: FloatArray) -> tuple[float, float]:
    """The least value, and nearly the largest."""
    order = np.argsort(values, kind="stable")
    covered = np.cumsum(areas[order]) / areas.sum()
    most = float(values[order][min(int(np.searchsorted(covered, MOST / 100)), len(values) - 1)])
    return float(values.min()), most


def _areas(corners: FloatArray) -> FloatArray:
    u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    area: FloatArray = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) / 2
    return area


def _rows(loads: list[str]) -> list[str]:
    """The loads by their numbers, some in a line."""
    lines = [loads[k : k + PER_LINE] for k in range(0, len(loads), PER_LINE)]
    return [", ".join(line) for line in lines]
