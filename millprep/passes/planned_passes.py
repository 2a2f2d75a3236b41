"""The passes of a blank but for their programs: all that follows from the shapes of cutters."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from millprep.cache import cached
from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.blank import Blank, Box
from millprep.model.cut import Cut, DrilledInOtherPass, HoleCut, Lap
from millprep.model.finding import Finding, Refusal
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import EdgeCheck, Join, MillingPass, RegistrationHole
from millprep.model.set_of_programs import MilledBlank
from millprep.passes import (
    cuts_by_pass,
    tolerances,
)
from millprep.passes.clamping import hold_downs, touch_point
from millprep.passes.cuts_by_pass import CutsByPass
from millprep.passes.dropping_on import check_pins, drop_on
from millprep.passes.holes_and_joins import Registered, registered_of, split_laps
from millprep.passes.lying import edge_check
from millprep.passes.marks import Marks, with_names
from millprep.passes.marks import plan as plan_marks
from millprep.passes.profiles_by_pass import ProfilesByPass, profiles_by_pass
from millprep.passes.tolerances import drilled_in_other_pass, joined_grooves, tick_room
from millprep.passes.windows import PassFrame, frame_of
from millprep.toolpaths import drilling, linking


class PlannedPasses(NamedTuple):
    """The passes of a blank but for their programs, each with what it cuts in order."""

    frame: PassFrame
    registered: Registered
    hole_cuts: tuple[HoleCut, ...]
    shared: SharedCuts
    marks: Marks
    passes: tuple[tuple[MillingPass, Sequence[Cut]], ...]
    drilled_in_other_pass: tuple[DrilledInOtherPass, ...]
    tight_pins: tuple[Finding, ...]


@cached
def planned_passes(
    job: JobPlan,
    blank: MilledBlank,
    set_id: str,
    measured: Mapping[tuple[int, int], Pose],
    left_out: Collection[int],
) -> PlannedPasses:
    """All of the passes that follows from the shapes of cutters.

    Raises:
        Refusal: when no plan of passes holds the boards.
    """
    laminate, frame = blank.laminate, frame_of(job, blank)
    registered = registered_of(job, blank, frame)
    hole_cuts = _pin_holes(job, laminate, registered.holes)
    shared = _shared(job, blank, frame, registered, left_out)
    made = _made(shared, registered.holes, left_out)
    needless = {hole.id for hole in registered.holes if hole.used_in not in made}
    registered = replace(
        registered, holes=tuple(hole for hole in registered.holes if hole.id not in needless)
    )
    marks = _marks(job, blank, frame, registered, shared, made, set_id)
    passes = tuple(
        (
            _pass(job, blank, frame, registered, marks, number, measured, left_out),
            _less(
                # which cutter bores the boards' holes does not depend on what is left out
                drilling.without_change(
                    (*hole_cuts.get(number, ()), *_cuts_of(job, laminate, number, marks, shared)),
                    job.profile.cutter,
                ),
                needless,
            ),
        )
        for number in made
    )
    return PlannedPasses(
        frame,
        registered,
        tuple(cut for cuts in hole_cuts.values() for cut in cuts if cut.hole not in needless),
        shared,
        marks,
        passes,
        drilled_in_other_pass(shared.laps.by_pass, shared.holes, registered.errors.most),
        check_pins(
            registered.holes, registered.errors.hole_errors, job.registration, laminate.number
        ),
    )


def _pin_holes(
    job: JobPlan, laminate: Blank, holes: Sequence[RegistrationHole]
) -> Mapping[int, Sequence[HoleCut]]:
    """The registration holes that every pass drills.

    Raises:
        Refusal: when no cutter of the job makes them, or the holes for pins.
    """
    hole_cuts, findings = drilling.register(holes, laminate, job.registration, job.drilling)
    if holes and job.registration.method == "pins":
        findings = (*findings, *drilling.pin_cutter(job.registration)[1])
    if findings:
        raise Refusal(findings)
    return hole_cuts


@dataclass(frozen=True, slots=True)
class SharedCuts:
    """What every pass cuts of the boards, and where passes meet."""

    laps: CutsByPass
    clearings: Sequence[Sequence[Cut]]
    holes: Sequence[Sequence[HoleCut]]
    profiles: ProfilesByPass
    joins: tuple[Join, ...]


def _shared(
    job: JobPlan,
    blank: MilledBlank,
    frame: PassFrame,
    registered: Registered,
    left_out: Collection[int],
) -> SharedCuts:
    """The cuts of the boards, shared among the passes."""
    laminate, cuts, placements = blank.laminate, blank.cuts, blank.placements
    shift, join_plan, errors = frame.shift, registered.join_plan, registered.errors
    laps = tolerances.with_figures(
        split_laps(job, blank, frame, join_plan),
        errors,
        joined_grooves(job, laminate, cuts, join_plan),
        tick_room(shift, placements, job.isolation.gap),
    )
    profiles = profiles_by_pass(job, laminate, cuts.profiles, placements, shift, left_out)
    overrun, sole_pass = job.registration.overrun, frame.sole_pass
    return SharedCuts(
        laps,
        cuts_by_pass.share_clearings(cuts.clearings, shift, overrun, sole_pass),
        cuts_by_pass.share_holes(cuts.holes, join_plan, shift, blank.number, sole_pass),
        profiles,
        (*laps.joins, *tolerances.with_misalignment(profiles.joins, errors)),
    )


def _made(
    shared: SharedCuts, holes: Sequence[RegistrationHole], left_out: Collection[int]
) -> tuple[int, ...]:
    """The passes that cut something of the boards, and those that drill the holes to find them."""
    laps, profiles = shared.laps.by_pass, shared.profiles.by_pass
    every = enumerate(zip(laps, shared.clearings, shared.holes, profiles, strict=True), 1)
    made = {
        number
        for number, works in every
        if any(cut.placement not in left_out for cuts in works for cut in cuts)
    }
    # holes are drilled in passes before
    for hole in sorted(holes, key=lambda hole: -hole.used_in):
        if hole.used_in in made:
            made.add(hole.drilled_in)
    return tuple(sorted(made))


def _less(cuts: Iterable[Cut], needless: Collection[str]) -> tuple[Cut, ...]:
    """Cuts without registration holes, by their ids."""
    return tuple(
        cut
        for cut in cuts
        if not (isinstance(cut, HoleCut) and cut.work == "register" and cut.hole in needless)
    )


def _pass(
    job: JobPlan,
    blank: MilledBlank,
    frame: PassFrame,
    registered: Registered,
    marks: Marks,
    number: int,
    measured: Mapping[tuple[int, int], Pose],
    left_out: Collection[int],
) -> MillingPass:
    """A pass without its programs."""
    laminate, shift, k, holes = blank.laminate, frame.shift, number - 1, registered.holes
    mine = [hole for hole in holes if hole.used_in == number]
    planned = shift.poses[k]
    pose = _pose(planned, measured.get((laminate.number, number)))
    window = shift.polygon(k)
    if pose is not planned:
        window = pose.inverse().shape(job.machine.reachable.shape)
    return MillingPass(
        blank=laminate.number,
        number=number,
        window=window,
        pose=pose,
        registration=tuple(
            replace(hole, machine=pose.point(hole.blank))
            for hole in (*holes, *marks.labels.crosses)
            if hole.used_in == number
        ),
        touch=_touch(job, laminate, frame, marks, number, pose),
        verniers=tuple(
            vernier for vernier in marks.verniers.verniers if vernier.passes[1] == number
        ),
        drop_on=drop_on(mine, registered.errors.hole_errors, job.registration),
        edge=None if number > 1 else _edge(job, blank, frame, holes),
        texts=marks.texts(number, left_out),
    )


def _touch(
    job: JobPlan, laminate: Blank, frame: PassFrame, marks: Marks, number: int, pose: Pose
) -> Point:
    """Where Z is zeroed in a pass, machine frame.

    Raises:
        Refusal: when no place is free.
    """
    window = frame.shift.windows[number - 1]
    return touch_point(
        window,
        pose,
        laminate,
        marks.taken,
        frame.denied[number - 1],
        job.setup.touch,
        number,
        hold_downs(job.setup, number),
        _middle(window, frame.need),
    )


def _marks(
    job: JobPlan,
    blank: MilledBlank,
    frame: PassFrame,
    registered: Registered,
    shared: SharedCuts,
    made: Collection[int],
    set_id: str,
) -> Marks:
    """What is engraved outside the boards."""
    laminate, cutter = blank.laminate, job.isolation.uses[0].cutter.name
    marks = plan_marks(job, laminate, frame, registered.holes, shared.laps.joins)
    if not job.engrave_names:
        return marks
    # only where the cutter is in the spindle anyway, and where Z is zeroed all the same
    touches = {
        number: _touch(job, laminate, frame, marks, number, frame.shift.poses[number - 1])
        for number, cuts in enumerate(shared.laps.by_pass, 1)
        if number in made and any(cut.cutter == cutter for cut in cuts)
    }
    return with_names(job, laminate, blank.placements, frame, marks, touches, set_id)


def _edge(
    job: JobPlan, blank: MilledBlank, frame: PassFrame, holes: Sequence[RegistrationHole]
) -> EdgeCheck | None:
    """Where the angle of the blank is checked in pass 1."""
    return edge_check(
        blank.laminate,
        frame.shift.poses[0],
        job.machine.travel,
        frame.denied[0],
        blank.placements,
        holes,
        job.profile.cutter.width(blank.laminate.thickness),
        job.registration.wall,
    )


def _middle(window: Box, need: Box) -> Point:
    """The middle of what a pass cuts."""
    return (
        (max(window.x0, need.x0) + min(window.x1, need.x1)) / 2,
        (max(window.y0, need.y0) + min(window.y1, need.y1)) / 2,
    )


def _pose(planned: Pose, measured: Pose | None) -> Pose:
    """The pose that was measured, or the planned one where that is what a report holds of it."""
    if measured is None or measured.as_list() == [round(v, 9) for v in planned.as_list()]:
        return planned
    return measured


def _cuts_of(
    job: JobPlan, laminate: Blank, number: int, marks: Marks, shared: SharedCuts
) -> Iterator[Cut]:
    """What a pass cuts besides registration holes, in the order in which it was planned."""
    k = number - 1
    laps = [cut for cut in shared.laps.by_pass[k] if isinstance(cut, Lap)]
    yield from marks.lines.get(number, ())
    yield from (cut for cut in shared.laps.by_pass[k] if not isinstance(cut, Lap))
    yield from linking.linked_laps(laps, job.cutters, laminate.copper)
    yield from shared.clearings[k]
    yield from shared.holes[k]
    yield from shared.profiles.by_pass[k]
