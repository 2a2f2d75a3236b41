"""The as-cut copper as SVG and DXF, for other programs to look at: blank frame, mm.

The DXF is written by hand: a drawing library puts times and random ids into its files, and the
same inputs must give the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import shapely

from millprep.geometry.path import FloatArray
from millprep.model.as_cut import CopperPart
from millprep.model.set_of_programs import CutSet
from millprep.report.scene import Area, Scene
from millprep.report.svg import svg
from millprep.report.words import plain

FOLDER = "as-cut"
WITHIN = 0.002
"""Edges are simplified by at most this, mm."""
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
        text = svg(scene(cut.parts, blank.laminate.size, words))
        stem.with_suffix(".svg").write_bytes(text.encode("utf-8", "replace"))
        stem.with_suffix(".dxf").write_bytes(dxf(cut.parts, words).encode("ascii", "replace"))


def scene(parts: Sequence[CopperPart], size: tuple[float, float], words: str) -> Scene:
    """The parts at the foot of the copper, on a page that is the blank."""
    # rounded first, so that coordinates keep their last digit although y is turned over
    x, y = (round(length, 3) for length in size)
    areas = []
    for part, shape in _simplified(parts):
        shape = shapely.transform(shape, lambda xy: turned_over(xy.round(3), y))
        names = " ".join(f"{copy + 1}:{piece}" for copy, piece in part.pieces)
        role = "piece" if part.pieces else "copper"
        areas.append(Area((shape,), role, title=names))
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
    for part, shape in _simplified(parts):
        layer = PIECES if part.pieces else FLOATING
        rims = [shapely.get_coordinates(rim).tolist() for rim in shapely.get_rings(shape)]
        for rim in rims:
            lines.append(f"0\nPOLYLINE\n8\n{layer}\n66\n1\n10\n0.0\n20\n0.0\n30\n0.0\n70\n1")
            lines += [
                f"0\nVERTEX\n8\n{layer}\n10\n{x:.3f}\n20\n{y:.3f}\n30\n0.0" for x, y in rim[:-1]
            ]
            lines.append(f"0\nSEQEND\n8\n{layer}")
    return "\n".join([*lines, "0", "ENDSEC", "0", "EOF", ""])


def _simplified(parts: Sequence[CopperPart]) -> Iterator[tuple[CopperPart, shapely.Polygon]]:
    """Each part with its shape, of fewer corners."""
    shapes = shapely.simplify([part.shape for part in parts], WITHIN)
    yield from zip(parts, shapes, strict=True)
