"""Lines and texts of the layers that are engraved into the component side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from millprep.drawing.ledger import Ledger
from millprep.drawing.marks.mark import Curve, Fill, Mark, Stroke, Words
from millprep.geometry.path import Path
from millprep.model.board import Legend, Lettering


def legend_of(
    by_layer: Mapping[str, Sequence[Mark]], names: Sequence[str], ledger: Ledger
) -> Legend | None:
    """The legend that layers of these names draw; None without any name.

    A line is engraved along its centre, whatever its width. A filled area has no line to follow
    and is left out.
    """
    lines: list[Path] = []
    texts: list[Lettering] = []
    for name in dict.fromkeys(name.casefold() for name in names):
        before = len(lines) + len(texts)
        for mark in by_layer.get(name, ()):
            if isinstance(mark, Words):
                texts.append(replace(mark.text, layer=mark.source.layer))
            elif isinstance(mark, Curve | Stroke):
                curve = mark if isinstance(mark, Curve) else mark.curve
                ends = curve.points[:1] if curve.closed else curve.points[:0]
                lines.append(Path.lines(np.vstack((curve.points, ends))))
                ledger.use(mark.source, "legend")
            elif isinstance(mark, Fill):
                ledger.leave(mark.source, "a filled area is not engraved")
        if len(lines) + len(texts) == before:
            ledger.stop(
                "legend-empty",
                f"layer {name!r} (legend) holds no line and no text in the drawing of the copper",
                "name the layer that holds the legend, or leave layers.legend out",
            )
    return Legend(tuple(lines), tuple(texts)) if names else None
