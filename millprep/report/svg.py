"""Few elements of SVG as text; attributes are presentation attributes, which need no style."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

import numpy as np
import shapely
from numpy.typing import NDArray

Point = tuple[float, float]
NARROW_LETTER = 0.53
"""Width of a letter in sizes of the type, on the safe side for common fonts without serifs."""


def figure(value: float) -> str:
    """A coordinate of the picture, to a hundredth of its unit."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def line(a: Point, b: Point, **more: str) -> str:
    """A straight line."""
    x0, y0, x1, y1 = map(figure, (*a, *b))
    return f'<line x1="{x0}" y1="{y0}" x2="{x1}" y2="{y1}"{_rest(more)}/>'


def chain(points: Sequence[Point], *, closed: bool = False, **more: str) -> str:
    """Straight lines from point to point."""
    name = "polygon" if closed else "polyline"
    xy = " ".join(f"{figure(x)},{figure(y)}" for x, y in points)
    return f'<{name} points="{xy}"{_rest(more)}/>'


def circle(at: Point, radius: float, **more: str) -> str:
    """A circle."""
    x, y = at
    return f'<circle cx="{figure(x)}" cy="{figure(y)}" r="{figure(radius)}"{_rest(more)}/>'


def text(at: Point, words: str, *, size: float, turn: float = 0.0, **more: str) -> str:
    """Words from a point on, turned about it by `turn` degrees clockwise."""
    x, y = figure(at[0]), figure(at[1])
    turned = f' transform="rotate({figure(turn)} {x} {y})"' if turn else ""
    return (
        f'<text x="{x}" y="{y}" font-size="{figure(size)}"{turned}{_rest(more)}>'
        f"{escape(words)}</text>"
    )


def areas(shapes: Iterable[shapely.Geometry], **more: str) -> str:
    """Polygons as one path, in which holes stay open; empty when there are none."""
    runs = []
    for shape in shapely.get_parts(np.array(list(shapes), dtype=object)):
        if shape.geom_type == "Polygon":
            runs += [_ring(shapely.get_coordinates(r)) for r in (shape.exterior, *shape.interiors)]
    return f'<path d="{"".join(runs)}" fill-rule="evenodd"{_rest(more)}/>' if runs else ""


def _ring(xy: NDArray[np.float64]) -> str:
    """A closed run in steps of a tenth, which sum up without drift."""
    whole = np.round(xy * 10).astype(int)
    steps = np.diff(whole, axis=0)
    steps = steps[np.any(steps != 0, axis=1)][:-1]
    first = f"M{_tenth(whole[0, 0])} {_tenth(whole[0, 1])}l"
    return first + " ".join(f"{_tenth(dx)} {_tenth(dy)}" for dx, dy in steps) + "z"


def _tenth(value: int) -> str:
    return f"{value / 10:g}"


def _rest(more: dict[str, str]) -> str:
    return "".join(f' {key.replace("_", "-")}="{escape(value)}"' for key, value in more.items())
