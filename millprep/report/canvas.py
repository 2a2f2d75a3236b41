"""A picture on paper: a drawing at a known scale, words around it, nothing on top of it.

The axes are placed by hand, so a millimetre of the drawing is a known number of points and
a groove can be drawn as a stroke of its true width. matplotlib comes late and without its
interactive layer.
"""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, cast

from millprep.model.blank import Box
from millprep.report.palette import INK, PAPER, QUIET
from millprep.report.picture_words import say
from millprep.report.words import number, plain

if TYPE_CHECKING:
    from pathlib import Path

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDEST, HIGHEST = 14.0, 8.5
NARROWEST = 7.5
"""Limits of the figure in inches; the drawing is as large as they allow."""
DPI = 150
LEFT, RIGHT, TOP, AXIS = 0.75, 0.3, 0.72, 0.5
"""Inches kept free around the drawing: y axis, right edge, title, x axis."""
ROW = 0.2
STEPS = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500)
"""Round numbers of mm for axes and scale bar."""
ANY_STEPS = tuple(m * 10.0**k for k in range(-5, 9) for m in (1, 2, 5))
"""The same for a unit that may be of any size."""

_RC: dict[str, Any] = {
    "font.family": ["DejaVu Sans"],
    "font.size": 8.0,
    "text.parse_math": False,
    "svg.hashsalt": "millprep",
    "svg.fonttype": "path",
    "hatch.linewidth": 0.5,
    "path.simplify": False,
    "axes.linewidth": 0.6,
}


@contextmanager
def drawing_settings() -> Iterator[None]:
    """The settings all pictures are drawn under, whatever this machine's own are."""
    import matplotlib

    with matplotlib.rc_context(), warnings.catch_warnings():
        # a name in a script our font lacks shows as boxes; that is no news for the terminal
        warnings.filterwarnings("ignore", message=".*[Gg]lyph.*")
        theirs: Any = matplotlib.rcParamsDefault
        matplotlib.rcParams.update(
            {key: theirs[key] for key in theirs if not key.startswith("backend")}
        )
        matplotlib.rcParams.update(cast("Any", _RC))
        yield


@dataclass(frozen=True, slots=True)
class Canvas:
    """One picture being made.

    Attributes:
        view: what the drawing shows, mm.
        per_mm: points (1/72 inch) for one millimetre.
        dpi: pixels for one inch.
        tolerance: a tenth of a pixel in mm, never below 5 µm: shapes may be thinned by it.
    """

    figure: Figure
    axes: Axes
    view: Box
    per_mm: float
    dpi: int
    tolerance: float

    def points(self, width: float) -> float:
        """Line width in points for a groove of this width in mm; thin ones stay visible."""
        return max(width * self.per_mm, 0.3)


def canvas(
    view: Box,
    title: str,
    words: str,
    set_id: str,
    *,
    axis_words: tuple[str, str] = ("X, mm", "Y, mm"),
    legend: Sequence[Any] = (),
    below: Sequence[str] = (),
    turned_over: bool = False,
    widest: float = WIDEST,
    dpi: int = DPI,
    unit: str = "mm",
) -> Canvas:
    """Open a picture of `view`, mm.

    `title` says what the picture is, `words` beneath it how to read it. `legend` holds
    matplotlib handles with labels and stands outside the drawing, the sentences `below`
    under it. `turned_over` lets y grow downward, for views from the other face of the
    laminate. `widest` is in inches, `dpi` in pixels for one inch. `unit` names the unit of the
    view where it is not mm; a picture that belongs to no set has no `set_id`.
    """
    from matplotlib.figure import Figure

    wide, high = view.x1 - view.x0, view.y1 - view.y0
    columns, rows = _grid(legend, widest)
    foot = AXIS + ROW * (rows + len(below)) + 0.35
    scale = min((widest - LEFT - RIGHT) / wide, (HIGHEST - TOP - foot) / high)
    if wide * scale + LEFT + RIGHT < NARROWEST:
        columns, rows = _grid(legend, NARROWEST)
        foot = AXIS + ROW * (rows + len(below)) + 0.35
        scale = min((widest - LEFT - RIGHT) / wide, (HIGHEST - TOP - foot) / high)
    width = max(wide * scale + LEFT + RIGHT, NARROWEST)
    height = high * scale + TOP + foot
    figure = Figure(figsize=(width, height), dpi=dpi, facecolor=PAPER)
    axes = figure.add_axes(
        (LEFT / width, foot / height, wide * scale / width, high * scale / height)
    )
    axes.set_xlim(view.x0, view.x1)
    axes.set_ylim(*((view.y1, view.y0) if turned_over else (view.y0, view.y1)))
    axes.set_facecolor(PAPER)
    axes.set_xlabel(axis_words[0], labelpad=2)
    axes.set_ylabel(axis_words[1], labelpad=2)
    axes.tick_params(labelsize=7, colors=QUIET, width=0.5, length=3)
    steps = STEPS if unit == "mm" else ANY_STEPS
    step = next((s for s in steps if wide / s <= 16), steps[-1])
    axes.xaxis.set_major_locator(_multiples(step))
    axes.yaxis.set_major_locator(_multiples(next((s for s in steps if high / s <= 8), steps[-1])))
    x = LEFT / width
    figure.text(
        x, 1 - 0.26 / height, plain(title, int(width * 9.5)), fontsize=11, weight="bold", color=INK
    )
    figure.text(x, 1 - 0.5 / height, plain(words, int(width * 14)), fontsize=8.5, color=INK)
    if set_id:
        figure.text(
            1 - RIGHT / width, 0.08 / height, say("set", set=plain(set_id, 24)),
            ha="right", fontsize=7, color=QUIET,
        )  # fmt: skip
    length = max((s for s in steps if s <= wide / 4), default=steps[0])
    bar = f"{number(length, 5)} {unit}"
    _scale_bar(figure, scale, (x, 0.12 / height), (width, height), length, bar)
    if legend:
        figure.legend(
            handles=list(legend), loc="upper left", ncols=columns, frameon=False, fontsize=8,
            bbox_to_anchor=(x, (foot - AXIS + 0.06) / height), borderaxespad=0.0, borderpad=0.0,
            labelspacing=0.55, handlelength=2.2, columnspacing=1.6,
        )  # fmt: skip
    for i, sentence in enumerate(below):
        y = (foot - AXIS - ROW * rows - ROW * (i + 0.6)) / height
        figure.text(x, y, plain(sentence, int(width * 15)), fontsize=8, color=INK)
    per_mm = scale * 72
    return Canvas(figure, axes, view, per_mm, dpi, max(0.005, 0.1 / (scale * dpi)))


def _multiples(step: float) -> Any:
    from matplotlib.ticker import MultipleLocator

    return MultipleLocator(step)


def _grid(legend: Sequence[Any], width: float) -> tuple[int, int]:
    """Columns and rows of the legend in a figure this wide."""
    if not legend:
        return 1, 0
    longest = max(len(str(handle.get_label())) for handle in legend)
    columns = max(1, min(len(legend), int((width - LEFT - RIGHT) / (longest * 0.072 + 0.55))))
    return columns, -(-len(legend) // columns)


def _scale_bar(
    figure: Figure,
    scale: float,
    at: tuple[float, float],
    size: tuple[float, float],
    length: float,
    words: str,
) -> None:
    """A bar of a round length, between a tenth and a quarter of the drawing."""
    from matplotlib.patches import Rectangle

    x, y = at
    for half, colour in ((0, INK), (1, PAPER)):
        figure.add_artist(
            Rectangle(
                (x + half * length * scale / 2 / size[0], y), length * scale / 2 / size[0],
                0.07 / size[1], facecolor=colour, edgecolor=INK, linewidth=0.6,
            )
        )  # fmt: skip
    figure.text(x + (length * scale + 0.08) / size[0], y, words, fontsize=8, color=INK)


_BEYOND_THREE = re.compile(r"(?<=\.\d{3})\d+")


def save(picture: Canvas, stem: Path, *, svg: bool) -> None:
    """Write `stem`.png and, when asked, `stem`.svg; no clock and no program name goes in."""
    figure = picture.figure
    figure.savefig(
        stem.with_suffix(".png"), format="png", dpi=picture.dpi, metadata={"Software": None},
        pil_kwargs={"compress_level": 4},
    )  # fmt: skip
    if svg:
        text = io.StringIO()
        nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
        figure.savefig(text, format="svg", metadata=nothing)
        # a thousandth of a point is finer than any of these pictures can show
        stem.with_suffix(".svg").write_text(
            _BEYOND_THREE.sub("", text.getvalue()), encoding="utf-8", newline="\n"
        )
