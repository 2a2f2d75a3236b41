"""What is engraved outside the boards: numbers and crosses, verniers, names."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

import shapely
from shapely.geometry.base import BaseGeometry

from millprep.gcode.build import build
from millprep.gcode.run_time import run_seconds
from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.blank import Blank, Placement
from millprep.model.cut import Engraving
from millprep.model.finding import Finding
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import Join, MarginText, MillingPass, RegistrationHole
from millprep.passes import labels, names, verniers
from millprep.passes.clamping import EDGE
from millprep.passes.labels import CLEAR, Labels
from millprep.passes.names import NamePlan
from millprep.passes.verniers import VernierPlan
from millprep.passes.windows import PassFrame


@dataclass(frozen=True, slots=True)
class Marks:
    """What is engraved outside the boards of a blank.

    Attributes:
        labels: numbers and crosses at the registration holes.
        verniers: where the job has them.
        taken: what holes, marks and profiles cut; nothing is touched there.
        names: where the job has them.
        lines: of all these by the number of the pass that engraves them with other work.
    """

    labels: Labels
    verniers: VernierPlan
    taken: BaseGeometry
    names: NamePlan = field(default_factory=NamePlan)
    lines: Mapping[int, tuple[Engraving, ...]] = field(default_factory=dict)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What had no room."""
        return (*self.labels.findings, *self.verniers.findings, *self.names.findings)

    def texts(self, number: int, left_out: Collection[int]) -> tuple[MarginText, ...]:
        """The texts that a pass engraves, but those of copies that are left out."""
        mine = self.names.by_pass.get(number, ())
        return tuple(text for text, placement in mine if placement not in left_out)


def plan(
    job: JobPlan,
    laminate: Blank,
    frame: PassFrame,
    holes: Sequence[RegistrationHole],
    lap_joins: Sequence[Join],
) -> Marks:
    """Numbers and crosses at the registration holes, and verniers where the job has them."""
    widest, *_, finest = (job.isolation.uses[0], *job.isolation.uses)
    numbers = labels.plan(
        frame.shift, laminate, holes, frame.taken, frame.denied, widest.cutter, widest.depth
    )
    areas = [hole.spine.buffer(hole.diameter / 2) for hole in holes]
    taken = shapely.union_all([frame.taken, numbers.taken, *areas])
    if not job.registration.verniers:
        return Marks(numbers, VernierPlan(), taken, lines=numbers.by_pass)
    combs = verniers.plan(
        frame.shift, laminate, holes, taken, frame.denied, lap_joins, finest.cutter, finest.depth
    )
    lines = {
        number: (*numbers.by_pass.get(number, ()), *combs.first.get(number, ()))
        for number in {*numbers.by_pass, *combs.first}
    }
    return Marks(numbers, combs, shapely.union_all([taken, combs.taken]), lines=lines)


def with_names(
    job: JobPlan,
    laminate: Blank,
    placements: Sequence[Placement],
    frame: PassFrame,
    marks: Marks,
    touches: Mapping[int, Point],
    set_id: str,
) -> Marks:
    """The marks, and the names of copies with the id of their set, where there is room.

    Args:
        job: what is required.
        laminate: the blank.
        placements: the copies on it.
        frame: windows, clamps and poses.
        marks: what is engraved besides.
        touches: by the number of a pass that has the engraving cutter in its spindle anyway, where
            Z is zeroed, machine frame; no text comes there.
        set_id: that is engraved.
    """
    use = job.isolation.uses[0]
    groove, (x, y), far = use.surface, laminate.size, _beyond_boards(job)
    boards = [p.pose.shape(p.board.outline).buffer(far, quad_segs=4) for p in placements]
    solid = shapely.union_all([marks.taken, *boards]).buffer(CLEAR + groove / 2, quad_segs=4)
    places = [
        shapely.Point(frame.shift.poses[number - 1].inverse().point(at)).buffer(EDGE + groove)
        for number, at in touches.items()
    ]
    rooms: dict[int, BaseGeometry] = {}
    for number in touches:
        pose = frame.shift.poses[number - 1]
        denied = pose.inverse().shape(frame.denied[number - 1])
        room = shapely.box(CLEAR, CLEAR, x - CLEAR, y - CLEAR).intersection(
            frame.shift.polygon(number - 1)
        )
        rooms[number] = room.difference(shapely.union_all([solid, denied, *places]))
        shapely.prepare(rooms[number])
    texts = names.plan(placements, set_id, rooms, groove, CLEAR)
    lines = dict(marks.lines)
    timed: dict[int, list[tuple[MarginText, int | None]]] = {}
    for number, mine in texts.by_pass.items():
        for text, placement in mine:
            drawn = names.engraved(text, placement, use.cutter.name, use.depth)
            lines[number] = (*lines.get(number, ()), *drawn)
            seconds = _seconds(job, drawn, frame.shift.poses[number - 1], touches[number])
            timed.setdefault(number, []).append((replace(text, seconds=seconds), placement))
    return replace(
        marks,
        names=replace(texts, by_pass=timed),
        lines=lines,
        taken=shapely.union_all([marks.taken, texts.taken]),
    )


def _beyond_boards(job: JobPlan) -> float:
    """How far outside a board its own grooves reach at most, mm."""
    isolation, clearing = job.isolation, job.clearing
    laps = max(isolation.gap, isolation.pad_gap or 0.0) + max(u.surface for u in isolation.uses)
    cleared = () if clearing is None else [c.width(clearing.depth) for c in clearing.cutters]
    return max(laps, *cleared, 0.0)


def _seconds(job: JobPlan, lines: Sequence[Engraving], pose: Pose, touch: Point) -> float:
    """What it takes to engrave some lines, there and back to the touch point, s."""
    alone = MillingPass(1, 1, shapely.box(0, 0, 1, 1), pose, (), touch)
    (program,) = build(lines, alone, job.cutters, job.machine, job.profile, dry=False)
    return round(run_seconds(program.start, program.moves, job.machine), 1)
