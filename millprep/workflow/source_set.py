"""An earlier set that a command goes on from: its job, its layout, and whether it will do."""

from __future__ import annotations

import hashlib
import itertools
from collections.abc import Iterable
from pathlib import Path

from millprep.model.finding import Finding, Refusal
from millprep.model.set_of_programs import InputFile
from millprep.model.surface_map import Levelling
from millprep.report import written_set
from millprep.report.old_set import OldSet
from millprep.report.written_set import WrittenSet
from millprep.workflow.inputs import set_id, stored
from millprep.workflow.laying import Choice, Stored

LAYOUT = "layout.toml"
"""The layout that a set holds."""


def choice_of(old: OldSet, folder: Path) -> Choice:
    """What was chosen beside the job of a set in its folder.

    Raises:
        Refusal: exit code 2, when its layout is not known any more.
    """
    chosen = Choice.of(old.chosen, _layout_of(folder))
    if chosen is None:
        raise usage(
            "refit-layout-unknown",
            f"Set {old.id} was made with --layout, and holds no {LAYOUT} as it was written. Name "
            "the layout in the job as [layout] file and prepare again.",
        )
    return chosen


def whole(old: OldSet) -> None:
    """Refuse a set that holds only what was left of a program.

    Raises:
        Refusal: exit code 2.
    """
    if old.resumed:
        raise usage(
            "resumed-not-whole",
            f"Set {old.id} only goes on where a cutter broke. Begin from set {old.derived_from}, "
            "which it was made from, and take the program up again from the new set.",
        )


def _layout_of(folder: Path) -> Stored | None:
    """The layout that a set holds; None where it has none, or another than it was made with."""
    written = written_set.load(folder)
    file = folder / LAYOUT
    hashes = {one.sha256 for one in written.files or () if one.file == LAYOUT}
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


def find_job(old: OldSet, folders: Iterable[Path]) -> Path:
    """The job file of a set, wherever it lies near.

    Raises:
        Refusal: exit code 2, when it lies in none of the folders.
    """
    name = Path(old.inputs[0].file).name
    for folder in folders:
        if (folder / name).is_file():
            return folder / name
    raise usage(
        "job-not-found",
        f"The set was made from {name}, which lies neither here nor beside the set nor beside the "
        "readings. Say where it is with --job.",
    )


def same_inputs(old: OldSet, now: tuple[InputFile, ...]) -> None:
    """Refuse when job or drawings are not those of the set, or this version is not its maker.

    Raises:
        Refusal: exit code 2.
    """
    made = {i.file: i.sha256 for i in old.inputs}
    changed = [i.file for i in now if made.get(i.file) != i.sha256]
    if changed:
        raise usage(
            "input-changed",
            f"{', '.join(changed)} changed since set {old.id} was made, so what is cut already "
            "would not fit what a new set cuts. Put the old file back.",
        )
    if not made_by_this_version(old):
        raise usage(
            "made-by-another-version",
            f"Set {old.id} was made by another version of millprep, which may share the cuts among "
            "passes otherwise. Use the version that made it.",
        )


def made_by_this_version(old: OldSet) -> bool:
    """Whether the id of a set is the one that this version gives to its inputs."""
    ways: list[tuple[str, ...]] = [()]
    if old.derived_from is not None:
        steps = [refit_step(b, k) for b, k in old.poses]
        steps += [level_step(one) for one in old.levellings.values()]
        ways = [(old.derived_from, step) for step in steps]
    known = ((old.inputs, (*way, *old.chosen)) for way in ways)
    return old.id in itertools.starmap(set_id, known)


def usage(code: str, message: str) -> Refusal:
    """A refusal of what was asked."""
    return Refusal([Finding(code=code, severity="stop", message=message)], exit_code=2)


def unchanged(written: WrittenSet, now: tuple[InputFile, ...]) -> None:
    """Refuse a set whose job or drawings are not those it was made from."""
    made = {one.file: one.sha256 for one in written.old.inputs}
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
