"""Registration holes and joins of a blank, which choose each other in a fixed two rounds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import RegistrationHole
from millprep.model.set_of_programs import MilledBlank
from millprep.passes import cuts_by_pass, hole_sets, joins, registration
from millprep.passes.cuts_by_pass import CutsByPass
from millprep.passes.error_budget import ErrorBudget, HoleErrors, MachineErrors
from millprep.passes.hole_sets import JoinPlaces
from millprep.passes.joins import LapSurvey, survey_laps
from millprep.passes.neighbours import Pair
from millprep.passes.windows import PassFrame


@dataclass(frozen=True, slots=True)
class Registered:
    """Registration holes, and the joins that they are chosen with.

    Attributes:
        errors: how far two passes miss each other, by these holes.
        join_plan: where laps are split among passes.
        pairs: laps of neighbouring pieces that two passes may cut.
    """

    holes: tuple[RegistrationHole, ...]
    errors: ErrorBudget
    join_plan: joins.JoinPlan
    pairs: tuple[Pair, ...]


def registered_of(job: JobPlan, blank: MilledBlank, frame: PassFrame) -> Registered:
    """Registration holes and joins, each chosen by the other.

    First round: holes for the joins that are expected, and joins where these holes leave the
    least misalignment. Second round: the same once more, for the joins of the first.

    Raises:
        Refusal: where holes find no room.
    """
    seen = survey_laps(frame.shift, blank.cuts.laps, blank.cuts.holes, frame.sole_pass)
    expected = hole_sets.expected_joins(frame.shift, frame.need)
    first = _round(job, blank, frame, seen, expected)
    if not first.holes:
        return first
    laps = split_laps(job, blank, frame, first.join_plan)
    return _round(job, blank, frame, seen, hole_sets.places_of_joins(laps.joins, expected))


def _round(
    job: JobPlan,
    blank: MilledBlank,
    frame: PassFrame,
    seen: LapSurvey,
    expected: Sequence[JoinPlaces],
) -> Registered:
    """Holes for the joins that are expected, and joins by these holes."""
    plan, poses = job.registration, frame.shift.poses
    holes = registration.choose(
        frame.shift,
        blank.laminate,
        plan,
        frame.taken,
        frame.clamping,
        frame.need,
        job.profile.cutter.width(blank.laminate.thickness),
        expected,
    )
    keys = plan.method == "measure"
    errors = ErrorBudget(
        HoleErrors.of(holes, len(poses), keys=keys),
        MachineErrors.of(job.machine, poses, holes, keys=keys),
        plan.sigma,
    )
    join_plan = joins.plan(seen, errors, plan.overrun, job.isolation.gap)
    return Registered(holes, errors, join_plan, seen.pairs)


def split_laps(
    job: JobPlan, blank: MilledBlank, frame: PassFrame, join_plan: joins.JoinPlan
) -> CutsByPass:
    """The laps that every pass cuts, and their joins."""
    return cuts_by_pass.share_laps(
        blank.cuts.laps,
        join_plan,
        frame.shift,
        job.registration.overrun,
        joins.near_join(job.isolation.gap),
        blank.number,
    )
