"""A job whose drawings are refused, as far as there is something to show of it."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from millprep.drawing.sketch import sketch
from millprep.geometry.pose import Pose
from millprep.model.blank import Blank, Placement
from millprep.model.board import Board
from millprep.model.finding import Finding
from millprep.model.job.board import BoardPlan
from millprep.model.job.job import JobPlan
from millprep.model.set_of_programs import BoardCopy, CutSet, InputFile, MilledBlank
from millprep.workflow.identity import read_inputs, set_id

LAMINATE = (1.6, 0.035)
"""Thickness and copper of the sheets that drawings are shown on, mm; nothing shows them."""


def unread(
    plan: JobPlan, job_file: Path, findings: Sequence[Finding], *, repair: bool
) -> tuple[CutSet, CutSet]:
    """The set of which nothing is made, and the same with each refused drawing on a sheet."""
    inputs: tuple[InputFile, ...] = ()
    with suppress(OSError):
        inputs = read_inputs(plan, job_file)
    bare = CutSet(
        id=set_id(inputs),
        job=plan.name,
        machine=plan.machine,
        clamps=(),
        cutters=(),
        gap=plan.isolation.gap,
        inputs=inputs,
        findings=tuple(findings),
    )
    refused = {finding.board for finding in findings}
    sketches = [_sketch(board, repair=repair) for board in plan.boards if board.name in refused]
    sheets = [_sheet(n, board) for n, board in enumerate(filter(None, sketches))]
    return bare, replace(bare, blanks=tuple(sheets))


def _sketch(plan: BoardPlan, *, repair: bool) -> Board | None:
    files = plan.drawing
    return sketch(
        files.copper.file,
        name=plan.name,
        layers=plan.roles,
        unit=plan.unit,
        outline_file=files.outline and files.outline.file,
        holes_files=None if files.holes is None else tuple(h.file for h in files.holes),
        repair=repair,
        accepted=plan.accepted,
    )


def _sheet(index: int, board: Board) -> MilledBlank:
    """A sheet as large as the drawing."""
    x0, y0, x1, y1 = board.outline.bounds
    sheet = Blank(index + 1, (x1 - x0, y1 - y0), *LAMINATE)
    placement = Placement(index, board, 1, sheet.number, Pose.shift(-x0, -y0))
    return MilledBlank(sheet, (BoardCopy(placement),))
