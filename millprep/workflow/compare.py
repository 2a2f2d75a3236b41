"""Two sets compared: the boards whose cuts differ, wherever they are on the blanks.

Every cut is brought into the drawing frame of the board it is made on, so a board that was moved,
turned, or cut in another order is still the same. Travel moves do not count.
"""

from __future__ import annotations

import csv
import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import shapely

from millprep.geometry.pose import Pose
from millprep.report import report_file
from millprep.report.report_model import Report
from millprep.report.set_rows import RoundCutterRow

SAME = 1.5e-3
"""Places in the drawing frame are the same within this, mm: both sets round to 1e-4, and a turned
place rounds differently from an upright one."""

BEYOND = 0.5
"""A cut is at most this and the cutter's radius outside its board, mm."""

Copy = tuple[str, int]
Cut = tuple[str, str, tuple[float, ...]]
"""Cutter, motion, and its numbers: start, end, and centre of an arc, drawing frame."""


@dataclass(frozen=True, slots=True)
class Compared:
    """One copy in both sets.

    Attributes:
        board, copy: which.
        only_in: the only set that has it, 1 or 2; None when both have it.
        differs: number of cuts that only one set has.
        at: where one of them is, drawing frame, mm.
        cutters: names of their cutters.
    """

    board: str
    copy: int
    only_in: int | None = None
    differs: int = 0
    at: tuple[float, float] | None = None
    cutters: tuple[str, ...] = ()

    @property
    def same(self) -> bool:
        """Whether both sets make the same cuts."""
        return self.only_in is None and self.differs == 0


def compare(first: Path, second: Path) -> tuple[Compared, ...]:
    """Every copy of both sets, in the order of the first.

    Raises:
        Refusal: exit code 2, for a folder that holds no set that this version understands.
    """
    cuts, others = _cuts_of(first), _cuts_of(second)
    copies: list[Compared] = []
    for key in dict.fromkeys((*cuts, *others)):
        if key not in others or key not in cuts:
            copies.append(Compared(*key, only_in=1 if key in cuts else 2))
            continue
        odd = [*_lacking(cuts[key], others[key]), *_lacking(others[key], cuts[key])]
        at = (round(odd[0][2][0], 4), round(odd[0][2][1], 4)) if odd else None
        cutters = tuple(sorted({cutter for cutter, _, _ in odd}))
        copies.append(Compared(*key, differs=len(odd), at=at, cutters=cutters))
    return tuple(copies)


def _lacking(some: Sequence[Cut], others: Sequence[Cut]) -> Iterator[Cut]:
    """Cuts of a board that have no equal among others."""
    near: dict[tuple[str, str, int, int], list[tuple[float, ...]]] = defaultdict(list)
    for cutter, motion, numbers in others:
        near[cutter, motion, *_cell(numbers)].append(numbers)
    for cutter, motion, numbers in some:
        x, y = _cell(numbers)
        if not any(
            _equal(numbers, other)
            for i in (x - 1, x, x + 1)
            for j in (y - 1, y, y + 1)
            for other in near.get((cutter, motion, i, j), ())
        ):
            yield cutter, motion, numbers


def _cell(numbers: Sequence[float]) -> tuple[int, int]:
    return (math.floor(numbers[0] * 100), math.floor(numbers[1] * 100))


def _equal(numbers: Sequence[float], other: Sequence[float]) -> bool:
    return all(abs(a - b) <= SAME for a, b in zip(numbers, other, strict=True))


def _cuts_of(folder: Path) -> Mapping[Copy, list[Cut]]:
    """All cuts of a set by the copy they are made on."""
    report = report_file.read(folder)
    try:
        with (folder / "toolpaths.csv").open(encoding="ascii", newline="") as file:
            return _by_copy(report, list(csv.DictReader(file)))
    except (OSError, KeyError, TypeError, ValueError) as fault:
        words = f"and toolpaths.csv do not fit each other ({type(fault).__name__}: {fault})"
        raise report_file.unreadable(words, folder / "report.json") from None


def _by_copy(report: Report, table: Sequence[Mapping[str, str]]) -> dict[Copy, list[Cut]]:
    """Every cut at the nearest copy; marks in the margins belong to none."""
    names: dict[Place, list[tuple[int, str]]] = defaultdict(list)
    for row in report.passes:
        for program in row.programs:
            place = (*row.pass_id, program.file.rsplit("/", 1)[-1])
            # a file may hold the programs of several cutters, one after the other
            names[place].append(((program.lines or (1,))[0], program.cutter))
    poses = {key: pose.inverse() for key, pose in report.poses.items()}
    boards: dict[int, list[tuple[Copy, Pose, shapely.Polygon]]] = defaultdict(list)
    for board in report.boards:
        shape = board.pose.shape(shapely.Polygon(board.outline))
        copy = (board.name, board.copy_number)
        boards[board.blank].append((copy, board.pose.inverse(), shape))
    by_copy: dict[Copy, list[Cut]] = {key: [] for all_ in boards.values() for key, _, _ in all_}
    for place, line, run in _runs(table):
        if place not in names:
            continue
        to_blank = poses[place[:2]]
        name = max(part for part in names[place] if part[0] <= line)[1]
        cutter = report.cutters[name]
        # a groove is at least as wide as the tip; of a vee that is little
        radius = cutter.diameter / 2 if isinstance(cutter, RoundCutterRow) else 0.0
        points = shapely.points([to_blank.point((x, y)) for _, (_, _, _, x, y, *_) in run])
        nearest = [
            (float(shapely.distance(shape, points).mean()), key, pose)
            for key, pose, shape in boards[place[0]]
        ]
        if not nearest:
            continue
        away, key, pose = min(nearest, key=lambda copy: copy[0])
        if away <= radius + BEYOND:
            frame = to_blank.then(pose)
            by_copy[key] += [_drawn(name, motion, numbers, frame) for motion, numbers in run]
    return by_copy


Place = tuple[int, int, str]
Run = list[tuple[str, tuple[float, ...]]]


def _runs(table: Sequence[Mapping[str, str]]) -> Iterator[tuple[Place, int, Run]]:
    """Runs of cuts without travel moves between them, with a line of each, machine frame.

    A cut is its motion, start, end, and the centre of arcs.
    """
    here: Place | None = None
    last = (0.0, 0.0, 0.0)
    at_line = 0
    run: Run = []
    for line in table:
        place = (int(line["blank"]), int(line["pass"]), line["program"])
        at = (float(line["x"]), float(line["y"]), float(line["z"]))
        cuts = place == here and line["motion"] != "rapid" and min(at[2], last[2]) < 0
        if run and not cuts:
            assert here is not None
            yield here, at_line, run
            run = []
        if cuts and (at != last or line["i"]):
            centre: tuple[float, ...] = ()
            if line["i"]:
                centre = (last[0] + float(line["i"]), last[1] + float(line["j"]))
            run.append((line["motion"], (*last, *at, *centre)))
        here, last, at_line = place, at, int(line["line"])
    if run and here is not None:
        yield here, at_line, run


def _drawn(cutter: str, motion: str, numbers: tuple[float, ...], frame: Pose) -> Cut:
    """A cut in the drawing frame; mirrored, an arc turns the other way."""
    x, y, z, u, v, w, *centre = numbers
    if frame.mirrored and motion.startswith("arc"):
        motion = "arc_cw" if motion == "arc_ccw" else "arc_ccw"
    drawn_centre = frame.point((centre[0], centre[1])) if centre else ()
    return cutter, motion, (*frame.point((x, y)), z, *frame.point((u, v)), w, *drawn_centre)
