"""Generated valve boards, cut in passes."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace

from fixtures.valve_boards import WIDTH, ValveBoard
from millprep.geometry.pose import Pose
from millprep.model.blank import Blank, Box
from millprep.model.cut import HoleCut, Lap
from millprep.model.job.setup import RegistrationPlan
from millprep.passes import cuts_by_pass, joins, registration, shift, tolerances
from millprep.passes.clamping import Clamping
from millprep.passes.cuts_by_pass import CutsByPass
from millprep.passes.error_budget import ErrorBudget, HoleErrors
from millprep.passes.joins import JoinPlan, survey_laps
from millprep.passes.neighbours import PieceKey
from millprep.passes.shift import ShiftPlan
from millprep.passes.spurs import IsolationGroove, TickRoom
from millprep.toolpaths.isolation import Island, LapSpacing, isolate
from tests.helpers.workshop import MACHINE, isolation, mill, vee

OVERRUN = 0.4


COPPER = 0.035


PLACE = Pose.shift(20.0, 15.0)


REGISTRATION = RegistrationPlan(
    method="pins", hole=3.02, key=4.0, wall=2.0, cutters=(mill(1.0),), pin=2.98, pin_depth=4.5,
    pin_diameter=3.0,
    overrun=OVERRUN,
)  # fmt: skip


@dataclass(frozen=True)
class Cut:
    """A board on a blank, its rings shared among passes; `strong` with figures and ticks."""

    made: ValveBoard
    laps: tuple[Lap, ...]
    holes: tuple[HoleCut, ...]
    shift: ShiftPlan
    plan: JoinPlan
    shared: CutsByPass
    gap: float
    groove: IsolationGroove
    room: TickRoom
    strong: CutsByPass

    def laps_by_piece(self) -> dict[PieceKey, list[Lap]]:
        found: dict[PieceKey, list[Lap]] = defaultdict(list)
        for lap in self.laps:
            found[lap.placement, lap.piece].append(lap)
        return found


def cut(made: ValveBoard, travel: float, gap: float = 0.2, sigma: float = 0.03) -> Cut:
    """The steps of the walk that matter here, without programs."""
    board, tool = made.board, vee()
    required = isolation(tool, gap=gap, depth=0.08)
    pieces = {(0, piece.id): PLACE.shape(piece.shape) for piece in board.pieces}
    edge = PLACE.shape(board.outline)
    islands = [Island(*key, shape) for key, shape in pieces.items()]
    laps, tight = isolate(islands, edge, required, COPPER)
    assert not tight
    holes = tuple(
        HoleCut(PLACE.point(h.at), h.diameter, "drill", 2.0, "drill", 0, h.id, h.piece)
        for h in board.holes
    )
    x1 = board.outline.bounds[2] + 40.0
    blank = Blank(1, (x1, WIDTH + 30.0), 1.6, COPPER)
    kerf = edge.buffer(2.0)
    machine = replace(MACHINE, travel_size=(travel, 180.0), screw_lead=8.0)
    need = Box(*edge.buffer(1.0).bounds)
    plan = shift.plan(need, machine, (0.0, 0.0), registration.least_overlap(REGISTRATION), 1)
    found = registration.choose(plan, blank, REGISTRATION, kerf, Clamping(), need)
    errors = ErrorBudget(HoleErrors.of(found, len(plan.poses), keys=False), None, sigma)
    join_plan = joins.plan(survey_laps(plan, laps, holes), errors, OVERRUN, gap)
    shared = cuts_by_pass.share_laps(laps, join_plan, plan, OVERRUN, 1.5 * gap, 1)
    count = LapSpacing.for_gap(required.uses[0], required, COPPER)
    groove = IsolationGroove(count.surface, count.foot, count.pitch, len(count.distances))
    room = TickRoom(pieces, edge, [plan.polygon(k) for k in range(len(plan.poses))], gap)
    strong = tolerances.with_figures(
        shared, errors, dict.fromkeys(join_plan.split_laps, (tool.name, groove)), room
    )
    return Cut(made, laps, holes, plan, join_plan, shared, gap, groove, room, strong)
