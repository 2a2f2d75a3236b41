"""Jobs that clear floating copper."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import shapely

from fixtures.valve_boards import Pad, round_
from fixtures.wide_boards import write_job
from millprep.model.board import Board, CopperPiece, Hole
from millprep.model.set_of_programs import CutSet

NETS = """
[[board.net]]
name = "supply"
at = [10.0, 10.0]
volts = 300.0
[[board.net]]
name = "grid"
at = [10.0, 14.0]
volts = [0.0, 1.0]
[[board.net]]
name = "heater"
at = [10.0, 20.0]
volts = [0.0, 6.3]

[cutters"""


MILL = """
[cutters.clear]
kind = "endmill"
diameter = 0.8
shank = 3.175
flute = 4
stickout = 20
spindle = 10000
feed = 400
plunge = 100
step = 0.4

[clearing]
cutters = ["clear"]
"""


def lamp_board(length: float = 60.0) -> Board:
    """Three rails, all invented: 2.2 mm of laminate between the first two, 4.8 to the third."""
    copper, pads = [], []
    for y, width in ((10.0, 1.6), (14.0, 2.0), (20.0, 1.2)):
        mine = [Pad((x, y), 2.4, 1.0) for x in (8.0, 30.0, length - 8.0)]
        rail = round_(shapely.LineString([(6.0, y), (length - 6.0, y)]), width)
        copper.append(shapely.union_all([rail, *(pad.disc for pad in mine)]))
        pads += mine
    pieces = tuple(
        CopperPiece(f"c{n}", shape)
        for n, shape in enumerate(copper, 1)
        if isinstance(shape, shapely.Polygon)
    )
    holes = tuple(
        Hole(f"h{n}", pad.at, pad.hole, f"c{(n - 1) // 3 + 1}") for n, pad in enumerate(pads, 1)
    )
    return Board("lamps", shapely.box(0, 0, length, 30.0), pieces, holes)


def job(
    folder: Path, gap: str, more: str = "", nets: bool = True, length: float = 60.0, **words: Any
) -> Path:
    given = {"travel": (300.0, 180.0), "size": (length + 40.0, 70.0), "margin": 18.0} | words
    file = write_job(lamp_board(length), folder, gap=gap, **given)
    text = file.read_text("utf-8")
    if nets:
        text = text.replace("\n[cutters", NETS, 1)
    file.write_text(text + more, encoding="utf-8")
    return file


def stops(cut_set: CutSet) -> list[str]:
    return [finding.code for finding in cut_set.findings if finding.severity == "stop"]
