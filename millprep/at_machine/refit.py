"""Refit: a set made again whose programs of one pass fit the blank as it lies."""

from __future__ import annotations

from pathlib import Path

from millprep.at_machine import blank_pose, readings
from millprep.at_machine.blank_pose import MeasuredPose
from millprep.at_machine.reading_faults import TOUCH_ERROR, with_centres
from millprep.at_machine.readings import Kind, Readings
from millprep.model.derivation import Derivation, with_reading
from millprep.model.finding import Finding, Refusal, usage
from millprep.model.job.setup import RegistrationPlan
from millprep.model.set_of_programs import CutSet
from millprep.report import report_file
from millprep.report.report_model import Report
from millprep.workflow import set_on_disk
from millprep.workflow.planning import Say
from millprep.workflow.prepare import prepare
from millprep.workflow.source_set import (
    choice_of,
    job_of,
    readings_of,
    refit_step,
    same_inputs,
    whole,
)


def refit(
    folder: Path,
    out: Path,
    readings_file: Path,
    blank: int,
    number: int,
    job_file: Path | None = None,
    kind: Kind = "holes",
    say: Say = lambda _: None,
    *,
    replace_begun: bool = False,
) -> CutSet:
    """Make a set whose programs of one pass fit the blank as it lies; the others stay the same.

    Args:
        folder: the set that is being cut.
        out: folder of the new set, another one.
        readings_file: where the holes were read, machine frame of the pass.
        blank: its number.
        number: of the pass.
        job_file: a job to take instead of the one that the set keeps.
        kind: what the readings are of.
        say: takes the name of every step as it begins.
        replace_begun: replace even a set in `out` that is marked as begun.

    Raises:
        Refusal: with what is wrong with readings, set or job; nothing is written then but the
            findings of a preparation that was refused.
    """
    if out.resolve() == folder.resolve():
        message = f"{out} holds the set that is being cut. Name another folder with --out."
        raise usage("refit-same-folder", message)
    say("reading the set and the readings")
    source = report_file.read(folder)
    whole(source)
    # before work is done for nothing
    set_on_disk.check(out, replace=replace_begun)
    read = readings.load(readings_file, kind)
    set_job = job_of(source, folder, job_file, readings_file.parent)
    plan = set_job.plan
    same_inputs(source, set_job.inputs)
    # readings first, so that nothing is prepared for bad ones
    read, measured, findings = _measured(read, kind, source, blank, number, plan.registration)
    levellings = source.levellings
    if (blank, number) in levellings:
        findings = (*findings, _probed_before(blank, number))
    derivation = Derivation(
        derived_from=source.set,
        engraved=source.engraved_id,
        step=refit_step(blank, number),
        readings=(*readings_of(source, folder, set_job.inputs), read.file),
        poses={**source.poses, (blank, number): measured.pose},
        findings=(*measured.findings, *findings),
        levellings=levellings,
        read=with_reading(source.readings, (blank, number), kind),
    )
    try:
        # the set that is being cut has already reported what the drawings needed to be read
        refitted = prepare(
            set_job.file,
            out,
            say,
            derivation,
            repair=True,
            choice=choice_of(source, folder),
            replace_begun=replace_begun,
        )
    except Refusal as refusal:
        if any(finding.code == "outside-travel" for finding in refusal.findings):
            raise Refusal((_too_far(measured, blank, number), *refusal.findings)) from None
        raise
    set_on_disk.carry_mark(folder, source.set, out, refitted.id)
    return refitted


def _measured(
    read: Readings,
    kind: Kind,
    source: Report,
    blank: int,
    number: int,
    registration: RegistrationPlan,
) -> tuple[Readings, MeasuredPose, tuple[Finding, ...]]:
    """The readings, touches by their centres; where the blank lies by them; what is odd of them."""
    if kind == "verniers":
        return read, blank_pose.by_verniers(read, source, blank, number), ()
    findings: tuple[Finding, ...] = ()
    if kind == "touches":
        error = TOUCH_ERROR if registration.probe == "none" else registration.probe_error
        read, sizes = with_centres(read, source, blank, number, error)
        findings = tuple(sizes)
    measured = blank_pose.by_holes(read, source, blank, number, registration.sigma)
    return read, measured, findings


def _too_far(measured: MeasuredPose, blank: int, number: int) -> Finding:
    """The remedy for a cut that leaves the travel because of where the blank lies."""
    return Finding(
        code="refit-beyond-travel",
        severity="stop",
        message=(
            "With the blank as it lies, some cuts come too near to the end of the travel. "
            f"{measured.findings[0].message} Put the blank closer to its planned place and read "
            "the holes again."
        ),
        blank=blank,
        mill_pass=number,
    )


def _probed_before(blank: int, number: int) -> Finding:
    """A warning: the height map of the pass holds only if the blank has not been moved since."""
    return Finding(
        code="map-before-refit",
        severity="warn",
        message="The height map of this pass was probed before these readings. It is kept, and it "
        "is right only if the blank has not been moved since. If it was moved, probe it again and "
        "level the new set.",
        blank=blank,
        mill_pass=number,
    )
