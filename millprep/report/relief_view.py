"""The pictures of a surface map: its relief, and the grooves that would have come without it."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.report import clamps, marks
from millprep.report.blank_views import titled
from millprep.report.canvas import Canvas, canvas
from millprep.report.palette import COPPER, EARLIER, INK, LAMINATE, LOST, PAPER, WIDTHS
from millprep.report.picture_words import say
from millprep.report.scene import Scene, around, moved

if TYPE_CHECKING:
    from millprep.model.milling_pass import MillingPass
    from millprep.model.set_of_programs import CutSet
    from millprep.model.surface_map import Levelling, Uncorrected

FloatArray = NDArray[np.float64]

PRINTED = 9.5
"""Widest figure in inches whose words stay legible once printed 184 mm wide."""
RELIEF = "cividis"
"""Rises evenly in lightness, and looks much alike to all eyes; it is part of matplotlib."""
STEPS_UM = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
LINES = 12
"""Contours, at most."""
FINE = 8
"""Each cell is drawn so many times finer each way: contours of it are curves."""


def relief_view(scene: Scene, cut_set: CutSet, mill_pass: MillingPass, one: Levelling) -> Canvas:
    """Heights of the copper in µm, on the machine's bed."""
    legend: list[Any] = [
        marks.swatch(LAMINATE, say("relief.blank")),
        marks.line_swatch(INK, say("relief.height")),
        marks.sign_swatch(".", say("relief.touched")),
        marks.sign_swatch("v", say("relief.zero")),
    ]
    surface = one.surface
    off = f"{one.left * 1000:.0f}"
    on = _bed(
        scene, cut_set, mill_pass, legend,
        say(
            "relief.words", low=f"{surface.lowest * 1000:+.0f}",
            high=f"{surface.highest * 1000:+.0f}", off=off,
        ),
    )  # fmt: skip
    x, y = _finer(surface.x), _finer(surface.y)
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    z = surface.heights(grid).reshape(len(y), len(x)) * 1000
    levels = _levels(float(z.min()), float(z.max()))
    on.axes.contourf(x, y, z, levels=levels, cmap=RELIEF, zorder=2)
    lines = on.axes.contour(
        x, y, z, levels=levels, colors=INK, linewidths=0.6, zorder=3, linestyles="solid"
    )
    labels = on.axes.clabel(lines, fmt=lambda v: f"{v:+.0f}", fontsize=7, inline=True)
    for label in labels:
        label.set_bbox({"boxstyle": "square,pad=0.08", "facecolor": PAPER, "edgecolor": "none"})
    nodes = np.stack(np.meshgrid(surface.x, surface.y), axis=-1).reshape(-1, 2)
    marks.signs(on, [(float(u), float(v)) for u, v in nodes], ".", size=3, over=4)
    _outlines(on, scene, mill_pass)
    return on


def widths_view(
    scene: Scene, cut_set: CutSet, mill_pass: MillingPass, told: list[Uncorrected]
) -> Canvas:
    """Widths that the grooves of a pass would have had at the foot, had they not followed."""
    foot = np.concatenate([one.foot for one in told])
    course = np.concatenate([one.segments for one in told])
    cut = foot > 0
    low, high = (float(foot[cut].min()), float(foot[cut].max())) if cut.any() else (0.0, 0.0)
    edges = np.linspace(low, high, len(WIDTHS) + 1)
    which = np.clip(np.digitize(foot, edges[1:-1]), 0, len(WIDTHS) - 1)
    legend: list[Any] = [
        marks.line_swatch(
            colour, say("widths.foot", low=f"{edges[n]:.3f}", high=f"{edges[n + 1]:.3f}")
        )
        for n, colour in enumerate(WIDTHS)
        if high > low or n == 0
    ]
    lost = sum(one.lost_length for one in told)
    legend.append(marks.line_swatch(LOST, say("widths.lost", mm=f"{lost:.0f}")))
    legend.append(marks.swatch(COPPER, say("copper")))
    top = np.concatenate([one.surface for one in told])
    on = _bed(
        scene, cut_set, mill_pass, legend,
        say(
            "widths.words", low=f"{foot.min():.3f}", high=f"{foot.max():.3f}",
            top_low=f"{top.min():.3f}", top_high=f"{top.max():.3f}",
        ),
    )  # fmt: skip
    marks.fill(on, moved(scene.pieces, mill_pass.pose), COPPER, over=1)
    steps = course.reshape(-1, 2, 2)
    for n, colour in enumerate(WIDTHS):
        marks.hairline(on, list(steps[cut & (which == n)]), colour, points=1.0, over=2 + 0.1 * n)
    marks.hairline(on, list(steps[~cut]), LOST, points=2.4, over=3)
    _outlines(on, scene, mill_pass)
    return on


def _bed(
    scene: Scene, cut_set: CutSet, mill_pass: MillingPass, legend: list[Any], words: str
) -> Canvas:
    """The blank on the bed with its clamps, machine frame, to scale."""
    blank = mill_pass.pose.shape(shapely.box(0, 0, *scene.blank.size))
    travel = cut_set.machine.travel
    reach = shapely.box(travel.x0, travel.y0, travel.x1, travel.y1)
    # what lies beyond the travel is not cut in this pass
    shown = shapely.intersection(blank, shapely.buffer(reach, 10, join_style="mitre"))
    held = [clamp for clamp in cut_set.clamps if clamp.on_in(mill_pass.number)]
    corners = [tuple(xy) for xy in shapely.get_coordinates(shown).tolist()]
    corners += [(clamp.box.x0, clamp.box.y0) for clamp in held]
    corners += [(clamp.box.x1, clamp.box.y1) for clamp in held]
    if held:
        legend.append(clamps.swatch(say("pass.clamp_only")))
    legend.append(marks.line_swatch(EARLIER, say("edge.one")))
    on = canvas(
        around(corners, 0.03),
        titled(cut_set.job, scene, "list.pass", nth=mill_pass.number), words, cut_set.id,
        axis_words=(say("axis.x.machine"), say("axis.y.machine")),
        legend=legend, widest=PRINTED, dpi=200,
    )  # fmt: skip
    marks.fill(on, [blank], LAMINATE, edge=INK, width=0.9, over=0.5)
    clamps.draw(on, held)
    return on


def _outlines(on: Canvas, scene: Scene, mill_pass: MillingPass) -> None:
    """The edges of the boards, and where Z is zeroed."""
    rims = [
        shapely.get_coordinates(shape.exterior)
        for shape in moved([placed.outline for placed in scene.placed], mill_pass.pose)
    ]
    marks.hairline(on, rims, EARLIER, points=1.2, over=4.5)
    marks.signs(on, [mill_pass.touch], "v", size=8, over=7)


def _finer(lines: FloatArray) -> FloatArray:
    """Each step parted evenly; all lines stay."""
    steps = itertools.pairwise(lines.tolist())
    parts = [np.linspace(a, b, FINE, endpoint=False) for a, b in steps]
    return np.concatenate((*parts, lines[-1:]))


def _levels(low: float, high: float) -> FloatArray:
    """Round heights in µm from below the lowest place to above the highest."""
    step = next((s for s in STEPS_UM if (high - low) / s <= LINES), STEPS_UM[-1])
    return np.arange(np.floor(low / step), np.ceil(high / step) + 1.5) * float(step)

