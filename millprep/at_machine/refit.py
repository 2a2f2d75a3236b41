"""A refit: a set made anew with the place in which readings found a blank."""

from __future__ import annotations

from pathlib import Path

from millprep import job
from millprep.at_machine import readings, touches, vernier
from millprep.at_machine.blank_fit import Refit
from millprep.at_machine.blank_fit import refit as corrected
from millprep.at_machine.readings import Kind
from millprep.model.derivation import Derivation
from millprep.model.finding import Finding, Refusal
from millprep.model.set_of_programs import CutSet
from millprep.report import report_file
from millprep.workflow import set_on_disk
from millprep.workflow.inputs import read_inputs
from millprep.workflow.prepare import Say, prepare
from millprep.workflow.source_set import choice_of, find_job, refit_step, same_inputs, usage, whole


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
    """Make a set whose programs of one pass fit the blank as it lies; all else stays.

    Args:
        folder: the set that is being cut.
        out: folder of the new set, another one.
        readings_file: where the holes were read, machine frame of the pass.
        blank: its number.
        number: of the pass.
        job_file: the job of the set; None looks for it by its name and hash in the working
            folder, beside the set and beside the readings.
        kind: what the readings are of.
        say: takes the name of every step as it begins.
        replace_begun: replace even a set in `out` that is marked as begun.

    Raises:
        Refusal: with what is wrong with readings, set or job; nothing is written then but the
            findings of a preparation that was refused.
    """
    if out.resolve() == folder.resolve():
        raise usage("refit-same-folder", f"{out} holds the set that is being cut; keep it.")
    say("reading the set and the readings")
    old = report_file.read(folder)
    whole(old)
    # before work is done for nothing
    set_on_disk.check(out, replace=replace_begun)
    read = readings.load(readings_file, kind)
    if job_file is None:
        job_file = find_job(old, (Path(), folder.resolve().parent, readings_file.parent))
    plan = job.load(job_file)
    registration = plan.registration
    now = read_inputs(plan, job_file)
    same_inputs(old, now)
    # readings first, so that nothing is prepared for bad ones
    told: tuple[Finding, ...] = ()
    if kind == "touches":
        probed = registration.probe != "none"
        error = registration.probe_error if probed else touches.TOUCH_ERROR
        read, told = touches.found(read, old, blank, number, error)
    if kind == "verniers":
        done = vernier.refit(read, old, blank, number)
    else:
        done = corrected(read, old, blank, number, registration.sigma)
    chosen = choice_of(old, folder)
    if (blank, number) in (levellings := old.levellings):
        told = (*told, _probed_before(blank, number))
    derivation = Derivation(
        derived_from=old.set,
        step=refit_step(blank, number),
        readings=(*old.input_files[len(now) :], read.file),
        poses={**old.poses, (blank, number): done.pose},
        findings=(*done.findings, *told),
        levellings=levellings,
    )
    try:
        # what the drawings needed to be read, the set that is being cut was told already
        return prepare(
            job_file,
            out,
            say,
            derivation,
            repair=True,
            choice=chosen,
            replace_begun=replace_begun,
        )
    except Refusal as refusal:
        if any(finding.code == "outside-travel" for finding in refusal.findings):
            raise Refusal((_too_far(done, blank, number), *refusal.findings)) from None
        raise


def _too_far(done: Refit, blank: int, number: int) -> Finding:
    """The remedy for a cut that leaves the travel because of where the blank lies."""
    return Finding(
        code="refit-beyond-travel",
        severity="stop",
        message=(
            "As the blank lies, the travel does not hold what is to be cut. "
            f"{done.findings[0].message} Put it back nearer to its place and read the holes again."
        ),
        blank=blank,
        mill_pass=number,
    )


def _probed_before(blank: int, number: int) -> Finding:
    """A pass that follows a surface map is fitted anew: the map holds if the blank lay still."""
    return Finding(
        code="map-before-refit",
        severity="warn",
        message="The surface map of this pass was probed before these readings. It stays, and it "
        "holds if the blank was not moved since; if it was, probe it again and level the new set.",
        blank=blank,
        mill_pass=number,
    )
