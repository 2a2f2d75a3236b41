"""A sheet as a DXF file: the same bytes each time it is written."""

from __future__ import annotations

import math
from pathlib import Path

import ezdxf
from copper import Pad, Sheet, edges
from ezdxf import units
from ezdxf.layouts import BlockLayout, Modelspace

COPPER, RIM, BORES, NOTES = "foil", "rim", "bores", "notes"
INCH = 25.4


def write_dxf(sheet: Sheet, file: Path, inches: bool = False) -> None:
    """Write a sheet with its copper on "foil", outline on "rim", holes on "bores"."""
    ezdxf.options.write_fixed_meta_data_for_testing = True
    scale = 1 / INCH if inches else 1.0

    def mm(value: float) -> float:
        return round(value * scale, 9)

    def spot(at: tuple[float, float]) -> tuple[float, float]:
        return (mm(at[0]), mm(at[1]))

    doc = ezdxf.new("R2010", units=units.IN if inches else units.MM)
    for name, colour in ((COPPER, 32), (RIM, 8), (BORES, 4), (NOTES, 3)):
        doc.layers.add(name, color=colour)
    space = doc.modelspace()
    blocks: dict[tuple[float, float, bool], str] = {}
    for pad in sheet.pads:
        key = (pad.size, pad.hole, pad.donut)
        if key not in blocks:
            blocks[key] = pad_name(pad)
            draw_pad(doc.blocks.new(blocks[key]), pad, mm)
        space.add_blockref(blocks[key], spot(pad.at), dxfattribs={"layer": COPPER})
        hole(space, spot(pad.at), mm(pad.hole / 2))
    for track in sheet.tracks:
        space.add_lwpolyline(
            [spot(point) for point in track.points],
            dxfattribs={"layer": COPPER, "const_width": mm(track.width)},
        )
    for area in sheet.areas:
        hatch = space.add_hatch(color=256, dxfattribs={"layer": COPPER})
        hatch.paths.add_polyline_path([spot(corner) for corner in area.corners], flags=1)
        for x, y, radius in area.openings:
            edge = hatch.paths.add_edge_path(flags=0)
            edge.add_arc(spot((x, y)), mm(radius), 0, 360)
    for x, y, diameter in sheet.mounts:
        hole(space, spot((x, y)), mm(diameter / 2))
    draw_rim(space, sheet, spot, mm)
    for words, x, y, turn in sheet.notes:
        text = space.add_text(words, height=mm(1.2), rotation=turn, dxfattribs={"layer": NOTES})
        text.set_placement(spot((x, y)), align=ezdxf.enums.TextEntityAlignment.MIDDLE_CENTER)
    for link in sheet.links:
        space.add_line(spot(link.a), spot(link.b), dxfattribs={"layer": NOTES})
    for kind in sorted(doc.entitydb.dxf_types_in_use()):
        doc.classes.add_class(kind)  # else they are listed in the order of a hash
    doc.saveas(file)


def hole(space: Modelspace, at: tuple[float, float], radius: float) -> None:
    space.add_circle(at, radius, dxfattribs={"layer": BORES})


def pad_name(pad: Pad) -> str:
    kind = "donut" if pad.donut else "disc"
    return f"{kind}-{pad.size * 10:.0f}-{pad.hole * 10:.0f}"


def draw_pad(block: BlockLayout, pad: Pad, mm) -> None:  # type: ignore[no-untyped-def]
    """A disc is a filled circle; a donut is a wide ring of two half circles."""
    outer = pad.size / 2
    if pad.donut:
        inner = 0.3  # a dimple for the drill, smaller than the hole
        middle = (outer + inner) / 2
        block.add_lwpolyline(
            [(mm(-middle), 0, 1.0), (mm(middle), 0, 1.0)],
            format="xyb",
            close=True,
            dxfattribs={"layer": COPPER, "const_width": mm(outer - inner)},
        )
    else:
        hatch = block.add_hatch(color=256, dxfattribs={"layer": COPPER})
        hatch.paths.add_edge_path(flags=1).add_arc((0, 0), mm(outer), 0, 360)


def draw_rim(space: Modelspace, sheet: Sheet, spot, mm) -> None:  # type: ignore[no-untyped-def]
    """Loose lines and arcs, in the order a draughtsman might have left them in."""
    look = {"layer": RIM}
    pieces = edges(sheet.corners)
    for kind in ("line", "arc"):
        for what, data in pieces:
            if what != kind:
                continue
            if kind == "line":
                space.add_line(spot(data[0]), spot(data[1]), dxfattribs=look)
            else:
                x, y, radius, start, end, _ = data
                space.add_arc(spot((x, y)), mm(radius), start, end, dxfattribs=look)
    quarter = math.tan(math.pi / 8)
    for x0, y0, x1, y1, r in sheet.windows:
        corners = [
            (x0 + r, y0, 0.0), (x1 - r, y0, quarter), (x1, y0 + r, 0.0), (x1, y1 - r, quarter),
            (x1 - r, y1, 0.0), (x0 + r, y1, quarter), (x0, y1 - r, 0.0), (x0, y0 + r, quarter),
        ]  # fmt: skip
        space.add_lwpolyline(
            [(*spot((x, y)), bulge) for x, y, bulge in corners],
            format="xyb",
            close=True,
            dxfattribs=look,
        )
