"""The as-cut copper as SVG and DXF, for other programs to look at: blank frame, mm.

Both are written by hand: a drawing library puts times and random ids into its files, and the
same inputs must give the same bytes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import shapely

from millprep.report.words import plain

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from millprep.model.as_cut import CopperPart
    from millprep.model.set_of_programs import CutSet

FOLDER = "as-cut"
WITHIN = 0.002
"""Edges are thinned out by at most this, mm."""
PIECES, BACKGROUND = "AS_CUT_PIECES", "AS_CUT_BACKGROUND"
"""DXF layers: copper that carries pieces of the design, and what is left around it."""
_COLOUR = {PIECES: "#b8860b", BACKGROUND: "#d9cfa8"}
_NUMBER = {PIECES: 30, BACKGROUND: 8}


def write_as_cut(cut_set: CutSet, folder: Path) -> None:
    """Write `as-cut/blank-N.svg` and `.dxf` for every blank of the set into its folder."""
    sizes = {blank.number: blank.size for blank in cut_set.layout.blanks}
    for cut in cut_set.as_cut:
        (folder / FOLDER).mkdir(exist_ok=True)
        stem = folder / FOLDER / f"blank-{cut.blank}"
        words = f"{plain(cut_set.job)}, set {plain(cut_set.id)}, blank {cut.blank}"
        text = svg(cut.parts, sizes[cut.blank], words)
        stem.with_suffix(".svg").write_bytes(text.encode("utf-8", "replace"))
        stem.with_suffix(".dxf").write_bytes(dxf(cut.parts, words).encode("ascii", "replace"))


def svg(parts: Sequence[CopperPart], size: tuple[float, float], words: str) -> str:
    """The parts at the foot of the copper as SVG, one user unit for a mm, y up."""
    from xml.sax.saxutils import escape

    x, y = size
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{x:.3f}mm" height="{y:.3f}mm" '
        f'viewBox="0 0 {x:.3f} {y:.3f}">',
        f"<title>{escape(words)}</title>",
        f'<g transform="matrix(1 0 0 -1 0 {y:.3f})" fill-rule="evenodd">',
    ]
    for part, rings in _thinned(parts):
        layer = _layer(part)
        path = "".join(
            "M" + "L".join(f"{px:.3f} {py:.3f}" for px, py in ring[:-1]) + "Z" for ring in rings
        )
        names = " ".join(f"{copy + 1}:{piece}" for copy, piece in part.pieces)
        title = f"<title>{escape(names)}</title>" if names else ""
        lines.append(f'<path fill="{_COLOUR[layer]}" d="{path}">{title}</path>')
    return "\n".join([*lines, "</g>", "</svg>", ""])


def dxf(parts: Sequence[CopperPart], words: str) -> str:
    """The edges of the parts as closed polylines, in the oldest DXF that all programs read."""
    lines = ["999", words, "0", "SECTION", "2", "HEADER", "9", "$ACADVER", "1", "AC1009"]
    lines += ["0", "ENDSEC", "0", "SECTION", "2", "TABLES", "0", "TABLE", "2", "LAYER", "70", "2"]
    for layer in (PIECES, BACKGROUND):
        lines += ["0", "LAYER", "2", layer, "70", "0", "62", str(_NUMBER[layer]), "6", "CONTINUOUS"]
    lines += ["0", "ENDTAB", "0", "ENDSEC", "0", "SECTION", "2", "ENTITIES"]
    for part, rings in _thinned(parts):
        layer = _layer(part)
        for ring in rings:
            lines.append(
                f"0\nPOLYLINE\n8\n{layer}\n66\n1\n10\n0.0\n20\n0.0\n30\n0.0\n70\n1"
            )
            lines += [
                f"0\nVERTEX\n8\n{layer}\n10\n{x:.3f}\n20\n{y:.3f}\n30\n0.0" for x, y in ring[:-1]
            ]
            lines.append(f"0\nSEQEND\n8\n{layer}")
    return "\n".join([*lines, "0", "ENDSEC", "0", "EOF", ""])


def _layer(part: CopperPart) -> str:
    return PIECES if part.pieces else BACKGROUND


def _thinned(
    parts: Sequence[CopperPart],
) -> Iterator[tuple[CopperPart, list[list[list[float]]]]]:
    """Each part with its rings as points, of fewer corners."""
    shapes = shapely.simplify([part.shape for part in parts], WITHIN)
    for part, shape in zip(parts, shapes, strict=True):
        rings = shapely.get_rings(shape)
        yield part, [shapely.get_coordinates(ring).tolist() for ring in rings]
