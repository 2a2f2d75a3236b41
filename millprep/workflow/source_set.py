"""An earlier set that a command goes on from: its job, its layout, and whether it will do."""

from __future__ import annotations

import hashlib
import itertools
from collections.abc import Iterable
from pathlib import Path

from millprep.model.finding import Finding, Refusal
from millprep.model.set_of_programs import InputFile
from millprep.model.surface_map import Levelling
from millprep.report.report_model import Report
from millprep.workflow.inputs import set_id, stored
from millprep.workflow.laying import Choice, Stored

LAYOUT = "layout.toml"
"""The layout that a set holds."""


def choice_of(source: Report, folder: Path) -> Choice:
    """What was chosen beside the job of a set in its folder.

    Raises:
        Refusal: exit code 2, when its layout is not known any more.
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
    """Refuse a set that holds only what was left of a program.

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


def _layout_of(source: Report, folder: Path) -> Stored | None:
    """The layout that a set holds; None where it has none, or another than it was made with."""
    file = folder / LAYOUT
    hashes = {one.sha256 for one in source.files or () if one.file == LAYOUT}
    if not file.is_file() or hashlib.sha256(file.read_bytes()).hexdigest() not in hashes:
        return None
    return stored(file, LAYOUT)


def refit_step(blank: int, number: int) -> str:
    """What fitting a pass to its blank is called in the id of the set that comes of it."""
    return f"refit of blank {blank} pass {number}"


def level_step(one: Levelling) -> str:
    """What levelling a pass is called in the id of the set that comes of it."""
    assumed = ", assumed" if one.assumed else ""
    return f"level blank {one.blank} pass {one.mill_pass}, touches {one.repeatability!r}{assumed}"


def find_job(source: Report, folders: Iterable[Path]) -> Path:
    """The job file of a set, wherever it lies near.

    Raises:
        Refusal: exit code 2, when it lies in none of the folders.
    """
    name = Path(source.inputs[0].file).name
    for folder in folders:
        if (folder / name).is_file():
            return folder / name
    raise usage(
        "job-not-found",
        f"The set was made from {name}, which lies neither here nor beside the set nor beside the "
        "readings. Say where it is with --job.",
    )


def same_inputs(source: Report, now: tuple[InputFile, ...]) -> None:
    """Refuse when job or drawings are not those of the set, or this version is not its maker.

    Raises:
        Refusal: exit code 2.
    """
    made = {i.file: i.sha256 for i in source.inputs}
    changed = [i.file for i in now if made.get(i.file) != i.sha256]
    if changed:
        raise usage(
            "input-changed",
            f"{', '.join(changed)} changed since set {source.set} was made, so what is cut already "
            "would not fit what a new set cuts. Put the old file back.",
        )
    if not made_by_this_version(source):
        raise usage(
            "made-by-another-version",
            f"Set {source.set} was made by another version of millprep, which may divide the cuts "
            "among the passes in another way. Use the version that made it.",
        )


def made_by_this_version(source: Report) -> bool:
    """Whether the id of a set is the one that this version gives to its inputs."""
    ways: list[tuple[str, ...]] = [()]
    if source.derived_from is not None:
        steps = [refit_step(b, k) for b, k in source.poses]
        steps += [level_step(one) for one in source.levellings.values()]
        ways = [(source.derived_from, step) for step in steps]
    known = ((source.input_files, (*way, *source.chosen)) for way in ways)
    return source.set in itertools.starmap(set_id, known)


def usage(code: str, message: str) -> Refusal:
    """A refusal of what was asked."""
    return Refusal([Finding(code=code, severity="stop", message=message)], exit_code=2)


def unchanged(source: Report, now: tuple[InputFile, ...]) -> None:
    """Refuse a set whose job or drawings are not those it was made from."""
    made = {one.file: one.sha256 for one in source.inputs}
    changed = [one for one in now if made.get(one.file) != one.sha256]
    if changed:
        message = (
            "not the file that the set was made from: what it asks for now is not what the "
            "set cuts. Put the old file back, or prepare the job again."
        )
        raise Refusal(
            Finding(
                code="input-changed",
                severity="stop",
                message=f"{one.file} is {message}",
                file=one.file,
            )
            for one in changed
        )
