"""Why boards were not placed, and what would give them a place."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from millprep.model.finding import Finding
from millprep.model.layout import Spot
from millprep.nesting.place import Lean
from millprep.nesting.search import Task
from millprep.nesting.wanted import StockSheet, Wanted, pose_of


def unplaced_findings(
    unplaced: Sequence[tuple[str, int]],
    wanted: Sequence[Wanted],
    sheets: Sequence[StockSheet],
    task: Task,
) -> Iterator[Finding]:
    """A `stop` for every board that fits no empty blank, and one for all others."""
    counts: dict[str, int] = {}
    for name, _ in unplaced:
        counts[name] = counts.get(name, 0) + 1
    too_many: list[str] = []
    for kind, board in enumerate(wanted):
        if board.name not in counts:
            continue
        empties = (task.placer.empty(n) for n in range(len(sheets)))
        if any(task.placer.best(empty, kind, Lean(0.0, 0.0)) is not None for empty in empties):
            too_many.append(f"{counts[board.name]} × {board.name}")
        else:
            yield _too_large(board, sheets)
    if too_many:
        yield Finding(
            code="blanks-used-up",
            severity="stop",
            message=f"All blanks are full. Not placed: {', '.join(too_many)}. "
            "Raise [[blank]] count or lower [[board]] count.",
        )


def _too_large(board: Wanted, sheets: Sequence[StockSheet]) -> Finding:
    margin = max(sheet.margin for sheet in sheets)
    boxes = []
    for turn in board.turns:
        pose = pose_of(board.outline, board.mirrored, Spot(board.name, 1, 1, 0.0, 0.0, turn))
        _, _, w, h = pose.shape(board.outline).bounds
        boxes.append((w, h))
    for sheet in sheets:
        x0, y0, x1, y1 = sheet.outline.bounds
        room = (x1 - x0 - 2 * sheet.margin + 1e-9, y1 - y0 - 2 * sheet.margin + 1e-9)
        if any(w <= room[0] and h <= room[1] for w, h in boxes):
            return Finding(
                code="board-finds-no-room",
                severity="stop",
                message=f"Board {board.name} fits the size of a blank, but clamps, registration "
                "holes or the blank's own outline leave no room for it. Move the clamps, allow "
                "more turns or add a [[blank]].",
                board=board.name,
            )
    w, h = min(boxes, key=lambda box: (box[0] * box[1], box))
    return Finding(
        code="board-larger-than-blank",
        severity="stop",
        message=f"Board {board.name} is {w:.2f} × {h:.2f} mm and fits no blank of the job. "
        f"Use a blank of at least {w + 2 * margin:.2f} × {h + 2 * margin:.2f} mm, or lower "
        "[[blank]] margin.",
        board=board.name,
    )
