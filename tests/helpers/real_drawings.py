"""Real drawings by others: where they are, and what reading each must give."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest

from millprep.drawing import read
from millprep.model.board import Board
from millprep.model.job.layers import LayerRoles, Selection, Unit

SHARED = os.environ.get("MILLPREP_SHARED")


BOARDS = Path(SHARED or ".") / "boards"


pytestmark = pytest.mark.skipif(
    SHARED is None, reason="MILLPREP_SHARED does not name the folder with the real drawings"
)


def copper(
    *names: str, holes: tuple[str, ...] = (), outline: tuple[str, ...] = (), **more: Any
) -> LayerRoles:
    """Roles for a drawing whose board is the copper's box, unless it draws an outline."""
    if not outline:
        more.setdefault("outline_margin", 0.0)
    return LayerRoles(names, outline, holes, **more)


def edge(*names: str, **more: Any) -> LayerRoles:
    """Roles for a drawing that holds only an outline; the copper is a pad of our own."""
    return LayerRoles(("foil",), names, names, **more)


def picked(*selections: Selection) -> LayerRoles:
    """Roles by the selections' names: what is called edge is the outline, the rest copper."""
    names = tuple(one.name for one in selections)
    return copper(
        *(name for name in names if name != "edge"),
        outline=("edge",) if "edge" in names else (),
        line_widths=tuple((name, 0.25) for name in names if name == "tracks"),
        selections=selections,
    )


class Read:
    """Expected: so many pieces, holes and cut-outs."""

    def __init__(self, pieces: int, holes: int = 0, cut_outs: int = 0) -> None:
        self.counts = (pieces, holes, cut_outs)


class Refused:
    """Expected: a refusal with exactly these codes."""

    def __init__(self, *codes: str) -> None:
        self.codes = set(codes)


BLACK = {"holes": ("BLACK",)}


BADGE = ("BottomLayer", "Multi-Layer")


OUTCOMES: list[tuple[str, Unit | None, LayerRoles, Read | Refused]] = [
    # verified: 46 and 11 pieces
    ("copper/lgh-main-B_Cu.dxf", "mm", copper("BLACK", **BLACK), Read(46, 102)),
    ("copper/lgh-main-B_Cu.dxf", None, copper("BLACK", **BLACK), Refused("drawing-no-unit")),
    ("copper/lgh-facade-B_Cu-inch.dxf", "inch", copper("BLACK", **BLACK), Read(11, 36)),
    ("copper/lgh-facade-B_Cu-inch.dxf", None, copper("BLACK"), Refused("drawing-no-unit")),
    # judged by eye: 7 pieces
    ("copper/meow-badge.dxf", None, copper(*BADGE, holes=("Multi-Layer",)), Read(7, 7)),
    ("copper/meow-badge.dxf", None, copper(*BADGE, outline=("BoardOutLine",)),
     Refused("outline-open")),
    # its outline is drawn across itself
    ("copper/meow-badge.dxf", None, copper(*BADGE, outline=("BoardOutLine",), close_gaps=0.2),
     Refused("outline-crosses")),
    # tracks lost their width; the unit is a printer's point, which nothing in the file says
    ("copper/simplealarmclock-splined.dxf", "point",
     copper("BottomLayer", holes=("Hole",), outline=("BoardOutLine",)),
     Refused("copper-zero-width")),
    ("copper/simplealarmclock-splined.dxf", None, copper("BottomLayer"),
     Refused("drawing-no-unit")),
    ("copper/simplealarmclock-splined.dxf", "point",
     copper("BottomLayer", holes=("Hole",), outline=("BoardOutLine",),
            line_widths=(("BottomLayer", 0.5),)), Read(24, 11)),
    # copper, legend and outline mixed on one layer
    ("copper/esp8266-flat0.dxf", None, copper("0", outline=("0",)), Refused("layer-mixed")),
    ("copper/esp8266-flat0.dxf", None, copper("0", holes=("0",)),
     Refused("copper-zero-width", "copper-ambiguous")),
    ("copper/wifi-led-flat0.dxf", None, copper("0", outline=("0",)), Refused("layer-mixed")),
    ("copper/wifi-led-flat0.dxf", None, copper("0", holes=("0",)),
     Refused("copper-zero-width", "copper-ambiguous")),
    # judged by eye: both drawings show all in colour 7, continuous, without blocks or widths.
    # Open lines are tracks and legend alike, closed ones pads, bodies of parts and areas free of
    # solder resist, and legend runs across the copper everywhere, so that no region parts them;
    # on the first, tracks of both sides cross each other. No selection reads them truly, and
    # the likely ones are refused.
    *((file, None, roles, Refused(*codes)) for file, plain, shaped, placed in (
        ("copper/esp8266-flat0.dxf", (5.7, -103.7, 28.7, -72.3), ("outline-crosses",),
         ("outline-open", "copper-ambiguous")),
        ("copper/wifi-led-flat0.dxf", (12.9, -60.6, 112.6, -12.9), ("outline-branches",),
         ("copper-zero-width", "copper-ambiguous")),
      ) for roles, codes in (
        (picked(Selection("red", layer="0", colour=1)), ("selection-empty",)),
        (picked(Selection("tracks", shape="open"), Selection("edge", shape="closed")), shaped),
        (picked(Selection("tracks", region=plain, shape="open"), Selection("pads", region=plain),
                Selection("edge", layer="0")), placed),
      )),
    ("large/acs-ac1027-ascii.dxf", None, copper("0"),
     Refused("entity-unsupported", "hatch-not-solid", "block-clipped")),
    ("large/closed-loop-with-arcs.dxf", None, edge("0"), Refused("outline-crosses")),
    ("large/us-main-edges.dxf", "mm", edge("LAYER_1"), Read(1)),
    ("nasty/ac1003_line_example.dxf", "mm", copper("1"), Refused("drawing-unreadable")),
    ("nasty/acs-sample_ac1009_ascii.dxf", "mm", copper("0"), Refused("entity-unsupported")),
    ("nasty/acs-sample_ac1032_binary.dxf", None, copper("0"),
     Refused("entity-unsupported", "hatch-not-solid", "block-clipped")),
    ("nasty/bin_dxf_r12.dxf", "mm", copper("0"), Refused("copper-zero-width")),
    ("nasty/bin_dxf_r14.dxf", "mm", copper("0"), Refused("copper-zero-width")),
    # one radius is 0, one below
    ("nasty/circle_radius_le_0.dxf", None, copper("0"), Refused("entity-damaged")),
    ("nasty/clockwise_arcs_hatch.dxf", None, copper("HATCH"), Read(1)),
    ("nasty/duplicate_handles.dxf", "mm", copper("CK_LEVEL_1"), Refused("copper-zero-width")),
    ("nasty/dxf_unicode.dxf", None, copper("0"), Refused("drawing-empty")),
    ("nasty/gds-arcs-as-splines.dxf", "mm", copper("0"), Refused("entity-damaged")),
    ("nasty/gds-blocks.dxf", "mm", copper("0"), Refused("drawing-unreadable")),
    # two ellipses that overlap: copper on copper, but no outline
    ("nasty/gds-ellipse.dxf", "mm", copper("0"), Read(1)),
    ("nasty/gds-ellipse.dxf", "mm", edge("0"), Refused("outline-crosses")),
    ("nasty/gds-extendeddata.dxf", None, copper("0"), Refused("copper-zero-width")),
    ("nasty/gds-extendeddata.dxf", None, edge("0"), Refused("outline-branches")),
    ("nasty/hatches_1.dxf", None, copper("0"), Read(10)),
    ("nasty/hatches_2.dxf", None, copper("0"), Read(2)),
    ("nasty/layout_missing_block_definition.dxf", None, copper("0"), Refused("drawing-empty")),
    ("nasty/leica_disto_s910.dxf", "mm", copper("LEICA_DISTO_3D"), Refused("copper-zero-width")),
    ("nasty/leica_disto_s910.dxf", "mm", copper("LEICA_DISTO_POINT_ENTITY"),
     Refused("entity-unsupported")),
    ("nasty/multi_insert_with_attribs.dxf", None, copper("FLAGS"), Refused("copper-zero-width")),
    ("nasty/poli-all210-r12.dxf", "mm", copper("T-2DPLINE-ALL"), Refused("entity-not-flat")),
    ("nasty/r12_with_trash_beyond_eof.dxf", "mm", copper("Layer_is_a_required_tag"), Read(1)),
    ("nasty/recover01.dxf", "mm", copper("0"), Refused("drawing-unreadable")),
    ("nasty/sk-array-rotated.dxf", None, copper("0"), Read(6)),
    ("nasty/sk-array-rotated.dxf", None, edge("0"), Refused("outline-several")),
    ("nasty/sk-export.dxf", "mm", copper("0"), Read(5)),
    # the edge and four holes, each by both rims of a line
    ("nasty/sk-export.dxf", "mm", edge("0"), Refused("outline-of-a-pen")),
    ("nasty/sk-lwpolylines.dxf", None, edge("0"), Refused("outline-open")),
    ("nasty/visibility.dxf", None, copper("text-layer"), Refused("copper-empty")),
    ("nasty/xclip.dxf", None, copper("0"), Refused("block-clipped")),
    # lines for the bend of a ribbon lie among the edges
    ("outline/adapter-blackpill-outline.dxf", None, edge("0"),
     Refused("outline-branches", "outline-open")),
    ("outline/cargas-spline-outline.dxf", None, edge("Capa 1"), Read(1)),
    ("outline/fc660c-outline.dxf", None, edge("0"), Refused("outline-open")),
    ("outline/gameboard-outline.dxf", None, edge("0"), Read(1)),
    ("outline/lgh-main-Edge_Cuts-EMPTY.dxf", "mm", edge("0"), Refused("drawing-empty")),
    ("outline/shd18-drawing1-splines.dxf", "mm", edge("Layer_1"), Read(1, 0, 2)),
    # gaps of 9.6 µm, closed only when the job says so
    ("outline/shd18-outline2-r12.dxf", "mm", edge("Layer_1"), Refused("outline-open")),
    ("outline/shd18-outline2-r12.dxf", "mm", edge("Layer_1", close_gaps=0.02), Read(1, 0, 2)),
]  # fmt: skip


def attempt(file: str, unit: Unit | None, roles: LayerRoles, pad: Path) -> Board:
    real = BOARDS / file
    if roles.copper == ("foil",):
        return read(
            pad, name="b", shown_as="pad.dxf", layers=roles, unit=unit,
            outline_file=real, holes_files=(real,),
        )  # fmt: skip
    return read(real, name="b", shown_as=file, layers=roles, unit=unit)
