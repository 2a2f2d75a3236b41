"""How a drawing is to be read."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

CopperMode = Literal["strokes", "fills", "nested outlines", "overlapping outlines"]
"""What draws copper on a layer: lines with a width; filled areas; closed lines of no width,
read even-odd; closed lines of no width, each of them filled."""
DrawnFrom = Literal["components", "copper"]
Unit = Literal["mm", "inch", "mil", "cm", "m", "point"]


@dataclass(frozen=True, slots=True)
class Selection:
    """Shapes of a drawing picked out by more than their layer, and named like a layer.

    What meets every stated condition counts as drawn on a layer called `name`, and no longer
    on its own; of several selections that it meets the first has it.

    Attributes:
        name: unlike any layer of the drawing.
        layer: name of the layer it is drawn on.
        colour: number of the colour in the drawing's index (1 to 255), as shown: a colour "by
            layer" or "by block" is followed.
        line_type: name of the line type, as shown.
        block: name of the block that it is drawn in, at any depth.
        shape: whether its line closes on itself.
        region: (x0, y0, x1, y1) that holds it wholly, drawing frame, mm.

    Raises:
        ValueError: for a colour outside the index or a region without an area.
    """

    name: str
    layer: str | None = None
    colour: int | None = None
    line_type: str | None = None
    block: str | None = None
    shape: Literal["closed", "open"] | None = None
    region: tuple[float, float, float, float] | None = None

    def __post_init__(self) -> None:
        if not self.name:
            raise ValueError("a selection needs a name")
        if self.colour is not None and not 1 <= self.colour <= 255:
            raise ValueError(f"selection {self.name}: colours go from 1 to 255")
        if self.region is not None:
            x0, y0, x1, y1 = self.region
            if not (x0 < x1 and y0 < y1 and all(map(math.isfinite, self.region))):
                raise ValueError(f"selection {self.name}: its region has no area")


@dataclass(frozen=True, slots=True)
class LayerRoles:
    """Which layers of a drawing play which role; a layer may play several.

    Attributes:
        copper_modes: (layer, mode) pairs, several for one layer if it is mixed: only what they
            name is read as copper there. A layer without any is read by what is drawn on it.
        line_widths: (layer, mm): width of the tracks that the drawing gives as bare centre lines.
        close_gaps: gaps in the outline up to this are closed, mm.
        outline_box: (x0, y0, x1, y1) of a board whose outline is not drawn, drawing frame, mm.
        outline_margin: the board is the copper's box and this much around it, mm.
        selections: shapes that are named apart from their layer; the other fields may name them.
    """

    copper: tuple[str, ...]
    outline: tuple[str, ...]
    holes: tuple[str, ...]
    copper_modes: tuple[tuple[str, CopperMode], ...] = ()
    line_widths: tuple[tuple[str, float], ...] = ()
    close_gaps: float = 0.0
    outline_box: tuple[float, float, float, float] | None = None
    outline_margin: float | None = None
    selections: tuple[Selection, ...] = ()
