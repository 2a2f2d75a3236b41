"""Levelling: a set made anew whose programs of one pass follow the blank's measured surface."""

from __future__ import annotations

from pathlib import Path

from shapely.geometry import MultiPoint
from shapely.geometry.base import BaseGeometry

from millprep import job
from millprep.at_machine import surface_readings
from millprep.at_machine.surface_fit import levelling
from millprep.model.derivation import Derivation
from millprep.model.job.job import JobPlan
from millprep.model.set_of_programs import CutSet
from millprep.report import report_file
from millprep.report.report_model import Report
from millprep.verify.read_back import TABLE, motion_rows
from millprep.workflow import set_on_disk
from millprep.workflow.inputs import read_inputs
from millprep.workflow.prepare import Say, prepare
from millprep.workflow.source_set import choice_of, find_job, level_step, same_inputs, usage, whole


def level(
    folder: Path,
    out: Path,
    map_file: Path,
    blank: int,
    number: int,
    job_file: Path | None = None,
    say: Say = lambda _: None,
    *,
    repeatability: float | None = None,
    replace_begun: bool = False,
) -> CutSet:
    """Make a set whose programs of one pass follow a surface map; all else stays.

    Args:
        folder: the set that is being cut.
        out: folder of the new set, another one.
        map_file: x, y and z of probed points, machine frame of the pass.
        blank: its number.
        number: of the pass.
        job_file: the job of the set; None looks for it by its name and hash in the working
            folder, beside the set and beside the map.
        say: takes the name of every step as it begins.
        repeatability: standard deviation of one touch, mm; None takes what the job states.
        replace_begun: replace even a set in `out` that is marked as begun.

    Raises:
        Refusal: with what is wrong with map, set or job; nothing is written then but the findings
            of a preparation that was refused.
    """
    if out.resolve() == folder.resolve():
        raise usage("level-same-folder", f"{out} holds the set that is being cut; keep it.")
    say("reading the set and the map")
    old = report_file.read(folder)
    whole(old)
    # before work is done for nothing
    set_on_disk.check(out, replace=replace_begun)
    if job_file is None:
        job_file = find_job(old, (Path(), folder.resolve().parent, map_file.parent))
    plan = job.load(job_file)
    now = read_inputs(plan, job_file)
    same_inputs(old, now)
    if (blank, number) not in old.poses:
        raise usage("pass-unknown", f"Set {old.set} has no pass {number} of blank {blank}.")
    read = surface_readings.load(map_file, plan.machine.probe_log)
    stated = plan.machine.probe_repeatability if repeatability is None else repeatability
    cuts = _cuts(folder, old, plan, blank, number)
    made, told = levelling(read, old.set, blank, number, cuts, old.touches[blank, number], stated)
    derivation = Derivation(
        derived_from=old.set,
        step=level_step(made),
        readings=(*old.input_files[len(now) :], read.file),
        poses=old.poses,
        findings=told,
        levellings={**old.levellings, (blank, number): made},
    )
    return prepare(
        job_file,
        out,
        say,
        derivation,
        repair=True,
        choice=choice_of(old, folder),
        replace_begun=replace_begun,
    )


def _cuts(folder: Path, report: Report, plan: JobPlan, blank: int, number: int) -> BaseGeometry:
    """The box around all feeds of a pass of a set, machine frame."""
    programs = [
        program
        for program in report.programs(plan.cutters, plan.machine)
        if (program.blank, program.mill_pass) == (blank, number)
        and program.work not in ("probe", "dry-run")
    ]
    rows = motion_rows(folder / TABLE, programs)
    at = [(row.x, row.y) for some in rows.values() for row in some if row.motion != "rapid"]
    if not at:
        raise usage("nothing-to-probe", "The pass cuts nothing that a surface map would correct.")
    return MultiPoint(at).envelope
