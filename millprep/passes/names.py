"""Names of copies and the set's id, engraved outside the boards where there is room.

A name lies along one side of the box around its copy, as near as there is room, and nearer to its
own copy than to any other. Below and above it reads from left to right, at the sides upwards.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry import letters
from millprep.geometry.path import FloatArray, Path
from millprep.geometry.pose import Pose
from millprep.model.blank import Box, Placement, on_blank
from millprep.model.cut import Engraving
from millprep.model.finding import Finding
from millprep.model.milling_pass import MarginText

HEIGHTS = ((3.0, 8.0), (2.0, 5.0))
"""Least height of letters, mm, and how many times as high as the groove is wide they are at least;
the second where the first finds no room."""
NEAR = 15.0
"""A name is within this distance of the box around its copy, mm."""
STEP = 0.5
"""Places are tried this far from each other, away from the copy, and twice as far along it, mm."""


@dataclass(frozen=True, slots=True)
class NamePlan:
    """The texts of a blank.

    Attributes:
        by_pass: by the number of the pass that engraves them, each with the index of the copy
            that it names.
        taken: where they are, blank frame.
        findings: what had no room, and what letters are left out.
    """

    by_pass: Mapping[int, Sequence[tuple[MarginText, int | None]]] = field(default_factory=dict)
    taken: BaseGeometry = field(default_factory=shapely.Polygon)
    findings: tuple[Finding, ...] = ()


def plan(
    placements: Sequence[Placement],
    set_id: str,
    rooms: Mapping[int, BaseGeometry],
    groove: float,
    clear: float,
) -> NamePlan:
    """A place for the name of every copy, and one for the id of the set.

    Args:
        placements: the copies on the blank.
        set_id: that is engraved.
        rooms: by the number of a pass that may engrave, where it may, blank frame.
        groove: width at the surface, mm.
        clear: laminate that is left around a text, mm.
    """
    outlines = [p.pose.shape(p.board.outline) for p in placements]
    around = Box(*shapely.total_bounds(np.array(outlines, dtype=object)).tolist())
    wanted: list[tuple[str, Placement | None, Box, BaseGeometry]] = [
        (_name(p), p, Box(*outline.bounds), outline)
        for p, outline in zip(placements, outlines, strict=True)
    ]
    wanted.append((f"SET {set_id.upper()}", None, around, shapely.Polygon()))
    by_pass: dict[int, list[tuple[MarginText, int | None]]] = {}
    taken: list[BaseGeometry] = []
    findings = list(_left_out(placements))
    for text, placement, box, own in wanted:
        others = [outline for outline in outlines if outline is not own] if placement else []
        placed = _placed(text, box, own, others, rooms, groove, taken)
        if placed is None:
            findings.append(_no_room(text, placement))
            continue
        number, height, (x, y, turn) = placed
        board, copy, index = (None, None, None)
        if placement is not None:
            board, copy, index = placement.board.name, placement.copy, placement.index
        mine = MarginText(text, (x, y), turn, height, board, copy, 0.0)
        by_pass.setdefault(number, []).append((mine, index))
        x0, y0, x1, y1 = (float(side) for side in _corners(text, height, x, y, turn))
        taken.append(shapely.box(x0, y0, x1, y1).buffer(clear + groove))
    return NamePlan(by_pass, shapely.union_all(taken), tuple(findings))


def engraved(
    text: MarginText, placement: int | None, cutter: str, depth: float
) -> tuple[Engraving, ...]:
    """The lines of a text, blank frame."""
    pose = Pose.turn(text.turn).then(Pose(c=text.at[0], f=text.at[1]))
    mark = "set id" if placement is None else f"name {text.text}"
    return tuple(
        Engraving(Path(pose.points(path.xy), path.bulge), cutter, depth, mark, placement)
        for path in letters.strokes(text.text, text.height)
    )


def _name(placement: Placement) -> str:
    """Board and copy in the letters there are."""
    return letters.drawable(f"{placement.board.name} {placement.copy}")[0].strip()


def _left_out(placements: Sequence[Placement]) -> Iterator[Finding]:
    """What of the boards' names has no letters."""
    for placement in placements:
        drawn, left = letters.drawable(placement.board.name)
        if left and placement.copy == 1:
            yield Finding(
                code="name-letters-missing",
                severity="note",
                message=f"The name is engraved as {drawn.strip() or 'its number alone'}: there are "
                f"no letters for {' '.join(left)}. Use A to Z, digits and - . _ / + # ( ).",
                board=placement.board.name,
                copy=placement.copy,
                blank=placement.blank,
            )


def _placed(
    text: str,
    box: Box,
    own: BaseGeometry,
    others: Sequence[BaseGeometry],
    rooms: Mapping[int, BaseGeometry],
    groove: float,
    taken: Sequence[BaseGeometry],
) -> tuple[int, float, tuple[float, float, int]] | None:
    """Pass, height and place of a text; the largest letters, then the nearest place."""
    blocked = shapely.union_all(list(taken))
    for height in dict.fromkeys(max(least, grooves * groove) for least, grooves in HEIGHTS):
        places = _places(box, letters.width(text, height), height)
        boxes = shapely.box(*_corners(text, height, *places.T))
        fitting: list[tuple[int, int]] = []
        for number, room in rooms.items():
            fits = np.flatnonzero(shapely.covers(room, boxes) & ~shapely.intersects(blocked, boxes))
            near = (n for n in fits.tolist() if _is_nearest(boxes[n], own, others))
            fitting += [(n, number) for n in (next(near, None),) if n is not None]
        if fitting:
            n, number = min(fitting)
            x, y, turn = places[n].tolist()
            return number, height, (x, y, int(turn))
    return None


def _is_nearest(box: BaseGeometry, own: BaseGeometry, others: Sequence[BaseGeometry]) -> bool:
    """Whether no other copy is as near as the one that is named."""
    away = shapely.distance(box, own)
    return all(shapely.distance(box, other) > away for other in others)


def _places(box: Box, length: float, height: float) -> FloatArray:
    """(n, 3) places for a text around a box, x, y and turn, the nearest to the box first.

    Of equally near ones those below come first, then above, left and right, each from the
    middle of the side outwards.
    """
    rows: list[tuple[float, int, float, float, float, int]] = []
    for k in range(int(NEAR / STEP) + 1):
        away = k * STEP
        for side, (low, high) in enumerate(
            [(box.x0, box.x1), (box.x0, box.x1), (box.y0, box.y1), (box.y0, box.y1)]
        ):
            middle = (low + high - length) / 2
            for n in range(int(max(high - low - length, 0.0) / (4 * STEP)) + 1):
                for along in dict.fromkeys((middle + 2 * n * STEP, middle - 2 * n * STEP)):
                    x, y, turn = (
                        (along, box.y0 - away - height, 0),
                        (along, box.y1 + away, 0),
                        # turned, letters lie to the left of their foot
                        (box.x0 - away, along, 90),
                        (box.x1 + away + height, along, 90),
                    )[side]
                    rows.append((away, side, n, x, y, turn))
    return np.round(np.array([row[3:] for row in rows], dtype=float), 4)


def _corners(
    text: str, height: float, x: FloatArray | float, y: FloatArray | float, turn: FloatArray | int
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Low and high corners of the boxes of a text at places."""
    length = letters.width(text, height)
    up = np.asarray(turn) == 90
    x0, wide = np.where(up, x - height, x), np.where(up, height, length)
    return x0, np.asarray(y, dtype=float), x0 + wide, y + np.where(up, length, height)


def _no_room(text: str, placement: Placement | None) -> Finding:
    message = (
        f"There is no room outside the boards to engrave {text}. Write it on the blank by hand, "
        "or use a wider margin."
    )
    if placement is None:
        return Finding(code="no-room-for-name", severity="note", message=message)
    at = placement.board.outline.representative_point()
    return on_blank(
        placement, "no-room-for-name", "note", message, placement.pose.point((at.x, at.y))
    )
