"""A scene as SVG 1.1, and that as PNG, rasterised with the package's own font and no other.

One user unit is a millimetre, words are text, colours are presentation attributes.

The as-cut copper is written as SVG and DXF, for other programs to look at: blank frame, mm. The DXF
is written by hand: a drawing library puts times and random ids into its files, and the same inputs
must give the same bytes.
"""

from __future__ import annotations

import itertools
import math
import threading
from collections.abc import Sequence
from functools import cache
from html import escape
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.cache import cached
from millprep.geometry.path import FloatArray
from millprep.model.as_cut import AsCut, CopperPart
from millprep.model.set_of_programs import CutSet
from millprep.report.compact import thinned
from millprep.report.palette import COLOURS
from millprep.report.scene import (
    BOLD,
    FAMILY,
    REGULAR,
    Area,
    Circle,
    Flag,
    Line,
    Scene,
    Shape,
    Text,
    WideLine,
    font_file,
    width_of,
)
from millprep.report.words import plain

FINE = 50.0
"""Pages narrower than this have a digit more, mm."""
SEEN_THROUGH = "0.85"
"""Opacity of a paper box."""


def svg(scene: Scene, *, inline: bool = False) -> str:
    """The scene as text.

    An inline picture takes its size and font from the page around it; any other one is a file
    that is as large as its page and asks for the font that its words were measured with.
    """
    writer = _Writer(3 if scene.size[0] >= FINE else 4, measured=not inline)
    wide, high = map(writer.figure, scene.size)
    head = f'viewBox="0 0 {wide} {high}"'
    if inline:
        head += ' role="img"'
    else:
        head += f' width="{wide}mm" height="{high}mm" font-family="{FAMILY}"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" {head}>'
        f"<title>{_escaped(scene.title)}</title>\n{writer.all(scene.shapes)}</svg>\n"
    )


def _escaped(words: str) -> str:
    """Words as text of XML, which knows no control characters."""
    return escape(plain(words, len(words)))


class _Writer:
    """Shapes as elements, with so many digits of a mm."""

    def __init__(self, digits: int, *, measured: bool) -> None:
        self.digits = digits
        self.unit = 10.0**digits
        self.measured = measured

    def all(self, shapes: Sequence[Shape]) -> str:
        return "".join(map(self.element, shapes, self._runs(shapes)))

    def element(self, shape: Shape, run: str) -> str:
        """A shape, with the run of its points where it has some."""
        match shape:
            case Area():
                return self._area(shape, run)
            case WideLine():
                return self._path(
                    run,
                    f' fill="none" stroke="{COLOURS[shape.role]}"'
                    f' stroke-width="{self.figure(shape.width)}"'
                    ' stroke-linecap="round" stroke-linejoin="round"',
                )
            case Line():
                edge = self._edge(shape.role, shape.width, shape.dash)
                return self._path(run, f' fill="none"{edge}')
            case Circle():
                return self._circles(shape)
            case Text():
                return self._text(shape)
            case Flag():
                return self._flag(shape)

    def figure(self, value: float) -> str:
        """A length without needless zeros."""
        text = f"{value:.{self.digits}f}"
        text = text.rstrip("0").rstrip(".")
        return "0" if text in ("-0", "") else text

    def _area(self, area: Area, run: str) -> str:
        fill = "none" if area.role is None else COLOURS[area.role]
        edge = self._edge(area.edge, area.width, area.dash)
        title = f"<title>{_escaped(area.title)}</title>" if area.title else ""
        return self._path(run, f' fill="{fill}" fill-rule="evenodd"{edge}', title)

    def _edge(self, role: str | None, width: float, dash: Sequence[float]) -> str:
        if role is None:
            return ""
        lengths = " ".join(map(self.figure, dash))
        dashes = f' stroke-dasharray="{lengths}"' if dash else ""
        return f' stroke="{COLOURS[role]}" stroke-width="{self.figure(width)}"{dashes}'

    def _runs(self, shapes: Sequence[Shape]) -> list[str]:
        """Points of every area and line in steps of the last digit, which sum up without drift.

        Of all shapes at once, because there are many short ones; "" for those without points.
        """
        runs = [""] * len(shapes)
        xy, counts, owner, rings = _points(shapes)
        if len(xy) == 0:
            return runs
        whole = np.rint(xy * self.unit).astype(np.int64)
        steps, first = np.diff(whole, axis=0, prepend=0), np.cumsum(counts) - counts
        steps[first] = whole[first]
        kept = np.any(steps != 0, axis=1)
        kept[first] = True
        # the last point of a ring is its first
        kept[(first + counts - 1)[:rings]] = False
        counts = np.add.reduceat(kept, first, dtype=np.int64)
        figures = (steps[kept] / self.unit).ravel().tolist()
        starts = [0, *(2 * np.cumsum(counts)).tolist()]
        ways = [_way(n, "z" if k < rings else "") for k, n in enumerate(counts.tolist())]
        edges = np.flatnonzero(np.diff(owner, prepend=-1, append=-1)).tolist()
        for a, b in itertools.pairwise(edges):
            runs[owner[a]] = "".join(ways[a:b]) % tuple(figures[starts[a] : starts[b]])
        return runs

    def _path(self, run: str, more: str, inner: str = "") -> str:
        if not run:
            return ""
        return f'<path d="{run}"{more}>{inner}</path>\n' if inner else f'<path d="{run}"{more}/>\n'

    def _circles(self, shape: Circle) -> str:
        """Circles as one path of half circles, which is quicker drawn than many elements."""
        if not shape.centres:
            return ""
        fill = "none" if shape.role is None else COLOURS[shape.role]
        r, d = self.figure(shape.radius), self.figure(2 * shape.radius)
        arcs = f"a{r} {r} 0 1 0 {d} 0a{r} {r} 0 1 0 -{d} 0z"
        lefts = np.array(shape.centres) - (shape.radius, 0.0)
        places = lefts.round(self.digits).ravel().tolist()
        run = f"M%.9g %.9g{arcs}" * len(lefts) % tuple(places)
        edge = self._edge(shape.edge if shape.width > 0 else None, shape.width, ())
        return self._path(run, f' fill="{fill}"{edge}')

    def _text(self, text: Text) -> str:
        x, y = map(self.figure, text.at)
        more = f' fill="{COLOURS[text.role]}"'
        if text.anchor != "start":
            more += f' text-anchor="{text.anchor}"'
        if text.turn:
            more += f' transform="rotate({self.figure(text.turn)} {x} {y})"'
        if text.halo:
            more += (
                f' stroke="{COLOURS["paper"]}" stroke-width="{self.figure(text.halo)}"'
                ' stroke-linejoin="round" paint-order="stroke"'
            )
        return self._words(x, y, text.words, text.size, text.bold, more)

    def _flag(self, flag: Flag) -> str:
        x0, y0, x1, y1 = flag.box
        x, y, wide, high = map(self.figure, (x0, y0, x1 - x0, y1 - y0))
        more, words = f' fill="{COLOURS[flag.role]}"', "paper" if flag.role == "ink" else "ink"
        if flag.role == "paper":
            more += f' fill-opacity="{SEEN_THROUGH}"'
        else:
            more += f' rx="{self.figure(flag.size * 0.2)}"'
        at = self.figure((x0 + x1) / 2), self.figure((y0 + y1) / 2 + flag.size * 0.36)
        ink = f' fill="{COLOURS[words]}" text-anchor="middle"'
        return f'<rect x="{x}" y="{y}" width="{wide}" height="{high}"{more}/>' + self._words(
            *at, flag.words, flag.size, flag.bold, ink
        )

    def _words(self, x: str, y: str, words: str, size: float, bold: bool, more: str) -> str:
        """Text; in a file it is as wide in any font as in the one it was measured with."""
        weight = ' font-weight="bold"' if bold else ""
        long = ""
        if self.measured and words:
            wide = self.figure(width_of(plain(words, len(words)), size, bold=bold))
            long = f' textLength="{wide}" lengthAdjust="spacingAndGlyphs"'
        return (
            f'<text x="{x}" y="{y}" font-size="{self.figure(size)}"{weight}{more}{long}>'
            f"{_escaped(words)}</text>\n"
        )


def _points(
    shapes: Sequence[Shape],
) -> tuple[FloatArray, NDArray[np.int64], NDArray[np.int64], int]:
    """(n, 2) points of all rings of areas, then of all lines.

    With how many points each has, the index of the shape that it is of, and how many are rings.
    """
    areas = [(k, a) for k, shape in enumerate(shapes) if isinstance(shape, Area)
             for a in shape.shapes]  # fmt: skip
    lines = [(k, line) for k, shape in enumerate(shapes) if isinstance(shape, Line | WideLine)
             for line in shape.lines if len(line)]  # fmt: skip
    parts, area = shapely.get_parts(np.array([a for _, a in areas], object), return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    every = [shapely.get_coordinates(rings), *(line for _, line in lines)]
    counts = [*shapely.get_num_coordinates(rings).tolist(), *(len(line) for _, line in lines)]
    owner = [*(areas[k][0] for k in area[part].tolist()), *(k for k, _ in lines)]
    return np.concatenate(every), np.array(counts, int), np.array(owner, int), len(rings)


@cache
def _way(points: int, end: str) -> str:
    """The format of a run of so many points."""
    steps = f"l{' '.join(['%g %g'] * (points - 1))}" if points > 1 else "h0"
    return f"M%.9g %.9g{steps}{end}"


@cached
def rasterised(text: str, page: tuple[float, float], width: int) -> bytes:
    """SVG of a page in mm as PNG, so many pixels wide."""
    import resvg

    scale = width / page[0]
    size = width, math.ceil(page[1] * scale)
    tree = resvg.usvg.Tree.from_str(text, _rasteriser())
    return resvg.render(
        tree, (scale, 0.0, 0.0, 0.0, scale, 0.0), bg_size=size, bg_color=(255, 255, 255, 255)
    )


_of_thread = threading.local()


def _rasteriser() -> Any:
    """Settings of the rasteriser: a pixel for a mm, and the package's own font, read once.

    Each thread has its own: the library refuses those of another.
    """
    options = getattr(_of_thread, "options", None)
    if options is None:
        from resvg import usvg

        options = _of_thread.options = usvg.Options.default()
        options.dpi = 25.4
        for name in (REGULAR, BOLD):
            # the file's name alone would have it opened again for every letter
            options.load_font_data(Path(font_file(name)).read_bytes())
    return options


FOLDER = "as-cut"
PIECES, FLOATING = "AS_CUT_PIECES", "AS_CUT_BACKGROUND"
"""DXF layers: copper that carries pieces of the design, and what is left around it."""
_NUMBER = {PIECES: 30, FLOATING: 8}


def write_as_cut(cut_set: CutSet, folder: Path) -> None:
    """Write `as-cut/blank-N.svg` and `.dxf` for every blank of the set into its folder."""
    for blank in cut_set.blanks:
        cut = blank.as_cut
        if cut is None:
            continue
        (folder / FOLDER).mkdir(exist_ok=True)
        stem = folder / FOLDER / f"blank-{blank.number}"
        words = f"{plain(cut_set.job)}, set {plain(cut_set.id)}, blank {blank.number}"
        drawn, exchanged = _as_cut_texts(cut, blank.laminate.size)
        # the title comes first in both
        drawn = drawn.replace(TITLE, _escaped(words), 1)
        stem.with_suffix(".svg").write_bytes(drawn.encode("utf-8", "replace"))
        exchanged = exchanged.replace(TITLE, words, 1)
        stem.with_suffix(".dxf").write_bytes(exchanged.encode("ascii", "replace"))


TITLE = "title of this blank"
"""It holds the set's id, which changes with every change of the job; the edges do not."""


@cached
def _as_cut_texts(cut: AsCut, size: tuple[float, float]) -> tuple[str, str]:
    """SVG and DXF of a blank."""
    return svg(scene(cut.parts, size, TITLE)), dxf(cut.parts, TITLE)


def scene(parts: Sequence[CopperPart], size: tuple[float, float], words: str) -> Scene:
    """The parts at the foot of the copper, on a page that is the blank."""
    # rounded first, so that coordinates keep their last digit although y is turned over
    x, y = (round(length, 3) for length in size)
    fewer = thinned(tuple(part.shape for part in parts))
    shapes: Any = shapely.transform(list(fewer), lambda xy: turned_over(xy.round(3), y))
    areas = []
    for part, shape in zip(parts, shapes, strict=True):
        names = " ".join(f"{copy + 1}:{piece}" for copy, piece in part.pieces)
        if part.pieces:
            areas.append(Area((shape,), "copper", title=names))
        else:
            areas.append(Area((shape,), None, "copper", 0.05))
    return Scene((x, y), words, tuple(areas))


def turned_over(xy: FloatArray, high: float) -> FloatArray:
    """(n, 2) places with y down from a height."""
    return np.column_stack((xy[:, 0], high - xy[:, 1]))


def dxf(parts: Sequence[CopperPart], words: str) -> str:
    """The edges of the parts as closed polylines, in the oldest DXF that all programs read."""
    lines = ["999", words, "0", "SECTION", "2", "HEADER", "9", "$ACADVER", "1", "AC1009"]
    lines += ["0", "ENDSEC", "0", "SECTION", "2", "TABLES", "0", "TABLE", "2", "LAYER", "70", "2"]
    for layer in (PIECES, FLOATING):
        lines += ["0", "LAYER", "2", layer, "70", "0", "62", str(_NUMBER[layer]), "6", "CONTINUOUS"]
    lines += ["0", "ENDTAB", "0", "ENDSEC", "0", "SECTION", "2", "ENTITIES"]
    for part, shape in zip(parts, thinned(tuple(part.shape for part in parts)), strict=True):
        layer = PIECES if part.pieces else FLOATING
        vertex = f"0\nVERTEX\n8\n{layer}\n10\n%.3f\n20\n%.3f\n30\n0.0"
        for rim in shapely.get_rings(shape):
            xy = shapely.get_coordinates(rim)[:-1]
            lines.append(f"0\nPOLYLINE\n8\n{layer}\n66\n1\n10\n0.0\n20\n0.0\n30\n0.0\n70\n1")
            # all at once: one vertex at a time takes twice as long
            lines.append("\n".join([vertex] * len(xy)) % tuple(xy.ravel().tolist()))
            lines.append(f"0\nSEQEND\n8\n{layer}")
    return "\n".join([*lines, "0", "ENDSEC", "0", "EOF", ""])
