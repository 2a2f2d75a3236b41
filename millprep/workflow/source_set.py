"""The set that a command starts from: its job, its layout, and whether it can be used."""

from __future__ import annotations

import hashlib
import itertools
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from millprep import job
from millprep.job import copies
from millprep.model.finding import Finding, Refusal, stop, usage
from millprep.model.job.job import JobPlan
from millprep.model.job.keys import InputFile
from millprep.model.program import Program
from millprep.model.surface_map import Levelling
from millprep.report import report_file
from millprep.report.report_model import Report
from millprep.workflow.identity import read_inputs, set_id
from millprep.workflow.inputs import stored
from millprep.workflow.laying import Choice, Stored

LAYOUT = "layout.toml"
"""The layout that a set holds."""


def choice_of(source: Report, folder: Path) -> Choice:
    """What was chosen for a set in its folder in addition to its job.

    Raises:
        Refusal: exit code 2, when its layout is missing or was edited.
    """
    chosen = Choice.of(source.chosen, _layout_of(source, folder))
    if chosen is None:
        raise usage(
            "refit-layout-unknown",
            f"Set {source.set} was made with --layout, and its {LAYOUT} is missing or was edited. "
            "Name the layout in the job as [layout] file and prepare again.",
        )
    return chosen


def whole(source: Report) -> None:
    """Refuse a set that only resumes a program.

    Raises:
        Refusal: exit code 2.
    """
    if source.resumed:
        raise usage(
            "resumed-not-whole",
            f"Set {source.set} only resumes after a broken cutter. Start from set "
            f"{source.derived_from}, which it was made from, and resume the program from the new "
            "set.",
        )


def unedited(source: Report, folder: Path, files: Collection[str]) -> None:
    """Refuse a set some of whose files are not as they were written.

    Raises:
        Refusal: with what is wrong with these files.
    """
    findings = report_file.changed(source, folder)
    faults = [f for f in findings if f.severity == "stop" and f.file in files]
    if faults:
        raise Refusal(faults)


def _layout_of(source: Report, folder: Path) -> Stored | None:
    """The layout that a set holds; None where it has none, or not the one it was made with."""
    file = folder / LAYOUT
    hashes = {row.sha256 for row in source.files or () if row.file == LAYOUT}
    if not file.is_file() or hashlib.sha256(file.read_bytes()).hexdigest() not in hashes:
        return None
    return stored(file, LAYOUT)


def refit_step(blank: int, number: int) -> str:
    """What a refit of a pass adds to the id of the set made by it."""
    return f"refit of blank {blank} pass {number}"


def level_step(levelling: Levelling) -> str:
    """What levelling a pass adds to the id of the set made by it."""
    assumed = ", assumed" if levelling.assumed else ""
    where = f"blank {levelling.blank} pass {levelling.mill_pass}"
    return f"level {where}, touches {levelling.repeatability!r}{assumed}"


@dataclass(frozen=True, slots=True)
class SourceJob:
    """The job of a set.

    Attributes:
        file: the job file.
        plan: what it says.
        inputs: job and drawings as they are now.
    """

    file: Path
    plan: JobPlan
    inputs: tuple[InputFile, ...]


def job_of(source: Report, folder: Path, given: Path | None, near: Path | None = None) -> SourceJob:
    """The job that a set in `folder` keeps; of a set that keeps none, the one it was made from.

    Args:
        source: the set's report.
        folder: the set's.
        given: a job file to take instead.
        near: a folder where the job of a set that keeps none may be too.

    Raises:
        Refusal: exit code 1 when what the set keeps was edited, 2 when there is no job.
    """
    if given is None:
        given = _kept_job(source, folder)
    if given is None:
        folders = [Path(), folder.resolve().parent, *([] if near is None else [near])]
        given = find_job(source, folders)
    if given is None:
        raise usage(
            "job-not-found",
            f"Set {source.set} keeps no copy of its job, as sets of earlier versions. It was made "
            f"from {Path(source.inputs[0].file).name}, which is neither here nor next to the set. "
            "Put it there, or give its place with --job.",
        )
    plan = job.load(given)
    return SourceJob(given, plan, read_inputs(plan, given))


def unlike_job(fault: ValueError) -> Finding:
    """That a report names what its job does not have."""
    message = f"report.json does not fit its job ({fault}). Prepare the set again."
    return stop("set-unlike-job", message, report_file.REPORT)


def programs_of(source: Report, plan: JobPlan) -> tuple[Program, ...]:
    """The programs of a set without their moves, which are in the files.

    Raises:
        Refusal: exit code 1, for a cutter that the job does not have.
    """
    try:
        return source.programs(plan.cutters, plan.machine)
    except ValueError as fault:
        raise Refusal([unlike_job(fault)]) from None


def find_job(source: Report, folders: Iterable[Path]) -> Path | None:
    """The file that has the name of a set's job, in the first of the folders that holds one."""
    name = Path(source.inputs[0].file).name
    return next((f / name for f in folders if (f / name).is_file()), None)


def _kept_job(source: Report, folder: Path) -> Path | None:
    """The job file that a set keeps; None where it keeps none.

    Raises:
        Refusal: exit code 1, when a kept file is missing or was edited.
    """
    kept = tuple(row for row in source.files or () if row.file.startswith(f"{copies.FOLDER}/"))
    if not kept:
        return None
    faults = report_file.changed_files(source, folder, kept)
    if faults:
        raise Refusal(faults)
    rows = copies.kept(folder / copies.FOLDER)
    return folder / copies.FOLDER / next(row.copy for row in rows if row.role == "job")


def inputs_of(source: Report, folder: Path) -> tuple[InputFile, ...]:
    """All that a set in `folder` was made from, each with the copy that the set keeps of it."""
    place = folder / copies.FOLDER
    rows = list(copies.kept(place))
    inputs: list[InputFile] = []
    for given in source.input_files:
        if rows and rows[0].name == given.file:
            row = rows.pop(0)
            given = replace(given, role=row.role, source=place / row.copy)
        inputs.append(given)
    return tuple(inputs)


def same_inputs(source: Report, now: tuple[InputFile, ...]) -> None:
    """Refuse when job or drawings have changed, or another version of millprep made the set.

    Raises:
        Refusal: exit code 2.
    """
    made = {i.file: i.sha256 for i in source.inputs}
    changed = [i.file for i in now if made.get(i.file) != i.sha256]
    if changed:
        raise usage(
            "input-changed",
            f"{', '.join(changed)} changed since set {source.set} was made, so the cuts of a new "
            "set would not fit those already made. Put the old file back.",
        )
    if not made_by_this_version(source):
        raise usage(
            "made-by-another-version",
            f"Set {source.set} was made by another version of millprep, which may divide the cuts "
            "among the passes in another way. Use the version that made it.",
        )


def made_by_this_version(source: Report) -> bool:
    """Whether the id of a set is the one that this version gives to its inputs."""
    if source.resumed:
        wishes = [f"{row.original} {row.wish}" for row in source.resumed]
        origin = (source.derived_from or "", "resume", *wishes)
        return source.set == set_id(source.input_files, origin)
    return source.set in whole_ids(source)


def whole_ids(source: Report) -> Iterator[str]:
    """The ids that this version gives to a whole set of the inputs of a report.

    Of a report that calls its set resumed, these are the ids that it must not have.
    """
    origins: list[tuple[str, ...]] = []
    if source.derived_from is None or source.resumed:
        origins.append(())
    if source.derived_from is not None:
        steps = [refit_step(b, k) for b, k in source.poses]
        steps += [level_step(levelling) for levelling in source.levellings.values()]
        origins += [(source.derived_from, step) for step in steps]
    known = ((source.input_files, (*origin, *source.chosen)) for origin in origins)
    return itertools.starmap(set_id, known)


def readings_of(
    source: Report, folder: Path, inputs: tuple[InputFile, ...]
) -> tuple[InputFile, ...]:
    """What was read at the machine for a set, beyond its job, its drawings and its log of runs."""
    beyond = inputs_of(source, folder)[len(inputs) :]
    return tuple(file for file in beyond if file.file != source.time_log)


def unchanged(source: Report, now: tuple[InputFile, ...]) -> None:
    """Refuse a set whose job or drawings are not those it was made from."""
    made = {row.file: row.sha256 for row in source.inputs}
    changed = [file for file in now if made.get(file.file) != file.sha256]
    if changed:
        message = (
            "not the file that the set was made from, so the set cuts something else. Put the old "
            "file back, or prepare the job again."
        )
        raise Refusal(
            Finding(
                code="input-changed",
                severity="stop",
                message=f"{file.file} is {message}",
                file=file.file,
            )
            for file in changed
        )
