"""Programs over flat copper."""

from __future__ import annotations

from millprep.model.program import Move, Program
from tests.helpers.workshop import MACHINE, mill, vee

UP = MACHINE.clearance


def program(*moves: Move, cutter: float = 0.0) -> Program:
    return Program(
        file="blank-1/pass-1/01-isolate-vee.ngc", blank=1, mill_pass=1,
        cutter=mill(cutter) if cutter else vee(), works=("isolate",), depth=0.1, spindle=1e4,
        start=(5.0, 5.0, UP), moves=moves,
    )  # fmt: skip


def cut(*moves: Move, at: tuple[float, float] = (12.0, 13.0), depth: float = 0.1) -> Program:
    last = moves[-1]
    return program(
        Move("rapid", *at, UP), Move("feed", *at, -depth, feed=100.0), *moves,
        Move("rapid", last.x, last.y, UP),
    )  # fmt: skip
