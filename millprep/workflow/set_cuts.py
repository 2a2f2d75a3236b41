"""The cuts of a set by the copy that they are made on, read back from its programs.

Every cut is brought into the drawing frame of its board, and to flat copper where a pass follows a
surface map, so a board that was moved, turned, levelled, or cut in another order is still the same.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

import shapely

from millprep.files.reading import contents
from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.cut import Work
from millprep.model.finding import many
from millprep.model.machine import Machine
from millprep.report import report_file
from millprep.report.report_model import Report
from millprep.report.set_rows import ProgramRow, RoundCutterRow
from millprep.report.words import WORK_WORDS
from millprep.verify import reader
from millprep.verify.cutter_changes import split_by_cutter
from millprep.verify.over_copper import over_flat_copper
from millprep.verify.trace import Kind, Place, Remark, Trace, TraceMove
from millprep.workflow.source_set import job_of

BEYOND = 0.5
"""A cut is at most this and the cutter's radius outside its board, mm."""
STRAIGHT = 1.5e-4
"""A place is on a move within this, mm: levelling parts moves at places that are rounded."""
SHALLOW = 1e-3
"""A move that stays above this depth cuts nothing, mm: over a surface map Z 0 is rounded."""
LEAST_TURN = 1e-6
"""An arc sweeps more than this, radians."""
IN_MARGINS: tuple[Work, ...] = ("register", "engrave")
"""Works that cut no copy: their cuts lie in the margins."""

Copy = tuple[str, int]
"""Name of the board, and number of the copy."""


class Cut(NamedTuple):
    """One move that cuts: its ends and an arc's centre in the drawing frame, mm; mm/min."""

    kind: Kind
    start: Place
    end: Place
    centre: Point | None
    feed: float | None

    @property
    def turn(self) -> float:
        """Angle that an arc sweeps, radians; 0 for a straight cut."""
        if self.centre is None:
            return 0.0
        (x0, y0), (x1, y1) = (
            (at[0] - self.centre[0], at[1] - self.centre[1]) for at in (self.start, self.end)
        )
        turn = math.atan2(y1, x1) - math.atan2(y0, x0)
        turn = (-turn if self.kind == "arc_cw" else turn) % (2 * math.pi)
        # an arc that ends where it starts is a full circle
        return turn if turn > LEAST_TURN else 2 * math.pi

    @property
    def length(self) -> float:
        """Of the path, mm."""
        if self.centre is None:
            return math.dist(self.start, self.end)
        around = self.turn * math.dist(self.start[:2], self.centre)
        return math.hypot(around, self.end[2] - self.start[2])

    def at(self, share: float) -> Place:
        """The place after a share of the path, 0 to 1."""
        (x, y, z), (x1, y1, z1) = self.start, self.end
        down = z + share * (z1 - z)
        if self.centre is None:
            return (x + share * (x1 - x), y + share * (y1 - y), down)
        turned = share * (-self.turn if self.kind == "arc_cw" else self.turn)
        u, v, c, s = x - self.centre[0], y - self.centre[1], math.cos(turned), math.sin(turned)
        return (self.centre[0] + c * u - s * v, self.centre[1] + s * u + c * v, down)

    @property
    def straight_down(self) -> bool:
        """Whether it only goes down or up."""
        return self.centre is None and math.dist(self.start[:2], self.end[:2]) < STRAIGHT

    def drawn(self, frame: Pose) -> Cut:
        """The cut in another frame; mirrored, an arc turns the other way."""
        kind = self.kind
        if frame.mirrored and kind in ("arc_cw", "arc_ccw"):
            kind = "arc_cw" if kind == "arc_ccw" else "arc_ccw"
        start, end = ((*frame.point((at[0], at[1])), at[2]) for at in (self.start, self.end))
        return Cut(kind, start, end, self.centre and frame.point(self.centre), self.feed)


class CutterTask(NamedTuple):
    """What one cutter does to copies in one program: its works and its name."""

    works: tuple[Work, ...]
    cutter: str

    @property
    def key(self) -> tuple[Work, str]:
        """What it has in common with its equal of another set, whose files may name fewer works."""
        return self.works[0], self.cutter


CutsByTask = Mapping[CutterTask, Sequence[Cut]]


def cuts_of(folder: Path, *, joined: bool = False) -> Mapping[Copy, CutsByTask]:
    """All cuts of a set by copy and task; cuts in the margins belong to no copy.

    Args:
        folder: of the set.
        joined: make one cut of consecutive ones that lie on one line or arc, because following a
            surface map parts them.

    Raises:
        Refusal: exit code 2 for a folder that holds no set that this version understands, 1 for
            programs that are missing or cannot be read.
    """
    report = report_file.read(folder)
    machine = job_of(report, folder, None).plan.machine
    by_copy: dict[Copy, dict[CutterTask, list[Cut]]] = {
        (board.name, board.copy_number): defaultdict(list) for board in report.boards
    }
    boards: dict[int, list[tuple[Copy, Pose, shapely.Polygon]]] = defaultdict(list)
    for board in report.boards:
        shape = board.pose.shape(shapely.Polygon(board.outline))
        copy = (board.name, board.copy_number)
        boards[board.blank].append((copy, board.pose.inverse(), shape))
    for place, task, trace in _traces(report, folder, machine):
        cutter = report.cutters[task.cutter]
        # a groove is at least as wide as the tip; of a vee that is little
        radius = cutter.diameter / 2 if isinstance(cutter, RoundCutterRow) else 0.0
        to_blank = report.poses[place].inverse()
        for run in _runs(trace.moves):
            points = shapely.points([to_blank.point(move.end[:2]) for move in run])
            nearest = [
                (float(shapely.distance(shape, points).mean()), copy, pose)
                for copy, pose, shape in boards[place[0]]
            ]
            if not nearest:
                continue
            away, copy, pose = min(nearest, key=lambda each: each[0])
            if away <= radius + BEYOND:
                frame = to_blank.then(pose)
                by_copy[copy][task] += [
                    cut.drawn(frame) for cut in (_joined(run) if joined else run)
                ]
    return by_copy


def _traces(
    report: Report, folder: Path, machine: Machine
) -> Iterator[tuple[tuple[int, int], CutterTask, Trace]]:
    """Every program that cuts a blank as its file has it, over flat copper, with its pass."""
    levellings = report.levellings
    for mill_pass in report.passes:
        files: dict[str, list[ProgramRow]] = defaultdict(list)
        for row in mill_pass.programs:
            files[row.file].append(row)
        for file, rows in files.items():
            try:
                text = contents(folder / file).decode("ascii")
            except (OSError, UnicodeDecodeError) as fault:
                words = f"names {file}, which cannot be read ({fault}). Prepare the set again"
                raise report_file.unreadable(words, folder / report_file.REPORT) from None
            whole = reader.read(text, file=file, dialect=machine.dialect)
            parts = split_by_cutter(whole)
            if len(parts) != len(rows):
                words = (
                    f"says that {file} holds {many(len(rows), 'program')}, and it holds "
                    f"{len(parts)}. Prepare the set again"
                )
                raise report_file.unreadable(words, folder / report_file.REPORT)
            for row, part in zip(rows, parts, strict=True):
                if row.work in ("probe", "dry-run"):
                    continue
                trace = part.trace
                if mill_pass.pass_id in levellings:
                    surface = levellings[mill_pass.pass_id].surface
                    trace = over_flat_copper(trace, surface, machine.clearance).trace
                works = _works(row, whole.remarks)
                mine = tuple(work for work in works if work not in IN_MARGINS)
                yield mill_pass.pass_id, CutterTask(mine or works, row.cutter), trace


def _works(row: ProgramRow, remarks: Sequence[Remark]) -> tuple[Work, ...]:
    """The kinds of work that the head of a program names; without a head, that of its row."""
    first, last = row.lines or (1, math.inf)
    for remark in remarks:
        words = remark.words.rpartition(", ")[2].split(" and ")
        works = tuple(work for work in WORK_WORDS if work in words)
        if len(works) == len(words) and first <= remark.line <= last:
            return works  # type: ignore[return-value]
    return (row.work,)


def _runs(moves: Sequence[TraceMove]) -> Iterator[list[Cut]]:
    """Runs of cuts without travel moves between them, machine frame."""
    run: list[Cut] = []
    for move in moves:
        cuts = move.kind != "rapid" and min(move.start[2], move.end[2]) < -SHALLOW
        if run and not cuts:
            yield run
            run = []
        if cuts and (move.start != move.end or move.centre is not None):
            start, end = move.start, move.end
            if move.centre is None and start[:2] == end[:2]:
                # from where the cutter comes down is no matter of the cut
                start, end = ((*at[:2], min(at[2], 0.0)) for at in (start, end))
            run.append(Cut(move.kind, start, end, move.centre, move.feed))
    if run:
        yield run


def _joined(run: Sequence[Cut]) -> list[Cut]:
    """A run with one cut for every straight line or arc."""
    cuts = [run[0]]
    for cut in run[1:]:
        last = cuts[-1]
        if _goes_on(last, cut):
            cuts[-1] = last._replace(end=cut.end)
        else:
            cuts.append(cut)
    return cuts


def _goes_on(cut: Cut, after: Cut) -> bool:
    """Whether a cut goes on along the line or arc of the one before it, as steep as that."""
    if (cut.kind, cut.feed) != (after.kind, after.feed):
        return False
    if cut.centre is None or after.centre is None:
        whole = math.dist(cut.start, after.end)
        if whole == 0:
            return False
        part = math.dist(cut.start, cut.end) / whole
        there = [a + (b - a) * part for a, b in zip(cut.start, after.end, strict=True)]
        return part < 1 and math.dist(cut.end, there) <= STRAIGHT
    turn, more = cut.turn, after.turn
    if math.dist(cut.centre, after.centre) > STRAIGHT or turn + more > 2 * math.pi + LEAST_TURN:
        return False
    fall, falls = cut.end[2] - cut.start[2], after.end[2] - after.start[2]
    return abs(fall * more - falls * turn) <= STRAIGHT * (turn + more)
