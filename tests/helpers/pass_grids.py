"""Boards in grids of passes."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path as File
from typing import Any

from fixtures.wide_boards import wide_board, write_job
from millprep import drawing, job
from millprep.geometry.path import Point
from millprep.model.blank import Blank, Placement
from millprep.model.cut import Cuts
from millprep.model.finding import Finding
from millprep.model.job.job import JobPlan
from millprep.model.set_of_programs import BoardCopy, MilledBlank
from millprep.passes import blank_cuts, blank_passes
from millprep.workflow import laying

CASES: dict[str, tuple[int, Point, Point, Point, dict[str, Any]]] = {
    "grid": (3, (330.0, 240.0), (220.0, 160.0), (370.0, 280.0), {}),
    "measured": (5, (330.0, 240.0), (220.0, 160.0), (370.0, 280.0), {"method": "measure"}),
    "three by two": (4, (430.0, 200.0), (190.0, 150.0), (470.0, 240.0), {}),
    "four boards": (6, (160.0, 110.0), (220.0, 160.0), (400.0, 300.0), {"count": 4}),
    "two boards": (3, (330.0, 105.0), (220.0, 160.0), (370.0, 280.0), {"count": 2}),
    "turned": (3, (330.0, 100.0), (220.0, 160.0), (370.0, 136.0), {"setup": "turn = true\n"}),
}
"""Seed and size of the board, travel, size of the blank, what else the job says."""


@dataclass(frozen=True)
class Walked:
    """A job walked to its programs, none of them written."""

    job: JobPlan
    blank: Blank
    placements: tuple[Placement, ...]
    cuts: Cuts
    done: MilledBlank
    findings: tuple[Finding, ...]


def walk(
    folder: File, seed: int, size: Point, travel: Point, blank_size: Point, words: dict[str, Any]
) -> Walked:
    file = write_job(
        wide_board(seed, size), folder, travel=travel, size=blank_size, margin=18.0, **words
    )
    plan = job.load(file)
    (one,) = plan.boards
    board = drawing.read(
        one.drawing.copper.file,
        name=one.name,
        shown_as=one.drawing.copper.name,
        layers=one.roles,
        unit=one.unit,
    )
    layout = laying.lay(plan, [board]).layout([board], plan.blanks)
    (blank,) = layout.blanks
    cuts, _ = blank_cuts.cuts(plan, blank, layout.on(1))
    milled = MilledBlank(blank, tuple(map(BoardCopy, layout.on(1))), cuts)
    done, findings = blank_passes.passes(plan, milled, "0" * 12)
    return Walked(plan, blank, layout.on(1), cuts, done, findings)
