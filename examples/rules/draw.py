"""Draw the boards of these examples: `python draw.py` writes the DXF files beside it."""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

import ezdxf
from ezdxf import units
from ezdxf.document import Drawing
from ezdxf.enums import TextEntityAlignment

FOIL, RIM, BORES, NOTES, NAMES = "foil", "rim", "bores", "notes", "names"
Point = tuple[float, float]


class Sheet:
    """A drawing seen from the copper, mm."""

    def __init__(self, width: float, height: float) -> None:
        ezdxf.options.write_fixed_meta_data_for_testing = True
        self.doc: Drawing = ezdxf.new("R2010", units=units.MM)
        for name, colour in ((FOIL, 32), (RIM, 8), (BORES, 4), (NOTES, 3)):
            self.doc.layers.add(name, color=colour)
        self.space = self.doc.modelspace()
        corners = [(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)]
        self.space.add_lwpolyline(corners, close=True, dxfattribs={"layer": RIM})

    def track(self, points: Sequence[Point], width: float) -> None:
        look = {"layer": FOIL, "const_width": width}
        self.space.add_lwpolyline(points, dxfattribs=look)

    def pad(self, at: Point, size: float, hole: float) -> None:
        hatch = self.space.add_hatch(color=256, dxfattribs={"layer": FOIL})
        hatch.paths.add_edge_path(flags=1).add_arc(at, size / 2, 0, 360)
        self.hole(at, hole)

    def hole(self, at: Point, diameter: float) -> None:
        self.space.add_circle(at, diameter / 2, dxfattribs={"layer": BORES})

    def words(self, text: str, at: Point, layer: str = NOTES) -> None:
        note = self.space.add_text(text, height=1.2, dxfattribs={"layer": layer})
        note.set_placement(at, align=TextEntityAlignment.MIDDLE_CENTER)

    def write(self, file: Path) -> None:
        for kind in sorted(self.doc.entitydb.dxf_types_in_use()):
            self.doc.classes.add_class(kind)  # else they are listed in the order of a hash
        self.doc.saveas(file)


def supply() -> Sheet:
    """A supply of 300 V, two anode leads and the common rail; a screw in a corner."""
    sheet = Sheet(50.0, 30.0)
    for name, y, x0, x1, width in (
        ("B+", 22.0, 6.0, 34.0, 1.2),
        ("0V", 6.0, 6.0, 44.0, 1.6),
        ("A1", 14.0, 6.0, 18.0, 0.8),
        ("A2", 14.0, 24.0, 36.0, 0.8),
    ):
        sheet.track([(x0, y), (x1, y)], width)
        for x in (x0, (x0 + x1) / 2, x1):
            sheet.pad((x, y), 2.4, 1.0)
        sheet.words(name, ((3 * x0 + x1) / 4, y))
    sheet.hole((44.0, 24.0), 3.2)
    return sheet


def heaters() -> Sheet:
    """A heater rail for four valves that somebody drew too thin behind the first of them."""
    sheet = Sheet(80.0, 20.0)
    places = [8.0, 20.0, 38.0, 56.0, 72.0]
    widths = (2.0, 0.5, 2.0, 2.0)
    for (x0, x1), width in zip(pairwise(places), widths, strict=True):
        sheet.track([(x0, 10.0), (x1, 10.0)], width)
    sheet.doc.layers.add(NAMES, color=2)
    for part, x in zip(("T1", "V1", "V2", "V3", "V4"), places, strict=True):
        sheet.pad((x, 10.0), 3.0, 1.0)
        sheet.words(part, (x, 13.0), NAMES)
    sheet.words("H1", (14.0, 10.0))
    return sheet


def socket() -> Sheet:
    """A 7-pin base on a circle of 9.8 mm: its own is 9.53. The gap is upward, on the copper."""
    sheet = Sheet(30.0, 24.0)
    for pin in range(1, 8):
        turn = math.radians(90.0 - 45.0 * pin)
        x = round(15.0 + 4.9 * math.cos(turn), 6)
        y = round(12.0 + 4.9 * math.sin(turn), 6)
        sheet.pad((x, y), 2.2, 1.3)
    return sheet


def main() -> None:
    here = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent
    for draw in (supply, heaters, socket):
        draw().write(here / f"{draw.__name__}.dxf")


if __name__ == "__main__":
    main()
