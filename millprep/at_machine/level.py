"""Level: a set made again whose programs of one pass follow the height map of the blank."""

from __future__ import annotations

import math
from pathlib import Path

from shapely.geometry import MultiPoint
from shapely.geometry.base import BaseGeometry

from millprep.at_machine import height_map_readings
from millprep.at_machine.height_map import levelling
from millprep.at_machine.restart_points import SAME
from millprep.model.derivation import Derivation, with_reading
from millprep.model.finding import usage
from millprep.model.job.job import JobPlan
from millprep.model.set_of_programs import CutSet
from millprep.report import report_file
from millprep.report.report_model import Report
from millprep.verify.read_back import TABLE, motion_rows
from millprep.workflow import set_on_disk
from millprep.workflow.planning import Say
from millprep.workflow.prepare import prepare
from millprep.workflow.source_set import (
    choice_of,
    job_of,
    level_step,
    programs_of,
    readings_of,
    same_inputs,
    unedited,
    whole,
)


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
    """Make a set whose programs of one pass follow a height map; the others stay the same.

    Args:
        folder: the set that is being cut.
        out: folder of the new set, another one.
        map_file: x, y and z of probed points, machine frame of the pass.
        blank: its number.
        number: of the pass.
        job_file: a job to take instead of the one that the set keeps.
        say: takes the name of every step as it begins.
        repeatability: standard deviation of one touch, mm; None takes what the job states.
        replace_begun: replace even a set in `out` that is marked as begun.

    Raises:
        Refusal: with what is wrong with map, set or job; nothing is written then but the findings
            of a preparation that was refused.
    """
    if out.resolve() == folder.resolve():
        message = f"{out} holds the set that is being cut. Name another folder with --out."
        raise usage("level-same-folder", message)
    say("reading the set and the map")
    source = report_file.read(folder)
    whole(source)
    unedited(source, folder, {report_file.REPORT, TABLE})
    # before work is done for nothing
    set_on_disk.check(out, replace=replace_begun)
    set_job = job_of(source, folder, job_file, map_file.parent)
    plan = set_job.plan
    same_inputs(source, set_job.inputs)
    if (blank, number) not in source.poses:
        raise usage("pass-unknown", f"Set {source.set} has no pass {number} of blank {blank}.")
    read = height_map_readings.load(map_file, plan.machine.probe_log)
    if repeatability is None:
        repeatability = plan.machine.probe_repeatability
    cuts = _cuts(folder, source, plan, blank, number)
    touch = source.touches[blank, number]
    made, findings = levelling(read, source.set, blank, number, cuts, touch, repeatability)
    derivation = Derivation(
        derived_from=source.set,
        engraved=source.engraved_id,
        step=level_step(made),
        readings=(*readings_of(source, folder, set_job.inputs), read.file),
        poses=source.poses,
        findings=findings,
        levellings={**source.levellings, (blank, number): made},
        read=with_reading(source.readings, (blank, number), "surface"),
    )
    levelled = prepare(
        set_job.file,
        out,
        say,
        derivation,
        repair=True,
        choice=choice_of(source, folder),
        replace_begun=replace_begun,
    )
    set_on_disk.carry_mark(folder, source.set, out, levelled.id)
    return levelled


def _cuts(folder: Path, source: Report, plan: JobPlan, blank: int, number: int) -> BaseGeometry:
    """The box around all feeds of a pass of a set, machine frame."""
    programs = [
        program
        for program in programs_of(source, plan)
        if (program.blank, program.mill_pass) == (blank, number)
        and program.work not in ("probe", "dry-run")
    ]
    rows = motion_rows(folder / TABLE, programs)
    at = [
        (row.x, row.y)
        for program in programs
        for row in rows.get(program.file, ())
        # straight down over the touch point is a look, and no cut
        if row.motion != "rapid" and math.dist((row.x, row.y), program.start[:2]) > SAME
    ]
    if not at:
        raise usage("nothing-to-probe", "The pass cuts nothing that a height map would correct.")
    return MultiPoint(at).envelope
