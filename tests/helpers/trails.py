"""Invented sets as if their programs had been read back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from millprep.model.program import ARC_CCW, ARC_CW, FEED, RAPID, Program, Trail
from millprep.model.set_of_programs import CutSet

KINDS = {"rapid": RAPID, "feed": FEED, "arc_cw": ARC_CW, "arc_ccw": ARC_CCW}
FIRST = 12
"""The line of the first move."""


def trail(program: Program) -> Trail:
    moves = program.moves
    xyz = np.array([program.start, *((m.x, m.y, m.z) for m in moves)])
    centre = np.full((len(moves), 2), np.nan)
    for i, move in enumerate(moves):
        if move.i is not None and move.j is not None:
            centre[i] = xyz[i, 0] + move.i, xyz[i, 1] + move.j
    wait = [0.0, *(move.wait for move in moves)]
    return Trail(
        file=program.file,
        xyz=xyz,
        kind=np.array([KINDS[m.motion] for m in moves], dtype=np.int64),
        centre=centre,
        feed=np.array([np.nan if m.feed is None else m.feed for m in moves]),
        line=np.arange(FIRST, FIRST + len(moves), dtype=np.int64),
        wait=np.array(wait[: len(moves)]),
    )


def with_trails(cut_set: CutSet) -> CutSet:
    return cut_set.with_programs(
        replace(program, trail=trail(program)) for program in cut_set.programs
    )
