"""A refit: a set made anew with the place in which readings found a blank."""

from __future__ import annotations

import hashlib
import itertools
from collections.abc import Iterable
from pathlib import Path

from millprep import job
from millprep.prepare import Say, prepare
from millprep.shop import old_set, readings, touches, vernier, written_set
from millprep.shop.old_set import OldSet
from millprep.shop.readings import Kind
from millprep.shop.refit import Refit
from millprep.shop.refit import refit as corrected
from millprep.steps import set_on_disk
from millprep.steps.inputs import read_inputs, set_id, stored
from millprep.steps.laying import Choice, Stored
from millprep.values.cut_set import CutSet, InputFile
from millprep.values.derivation import Derivation
from millprep.values.finding import Finding, Refusal
from millprep.values.surface_map import Levelling

LAYOUT = "layout.toml"
"""The layout that a set holds."""


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
    old = old_set.load(folder)
    whole(old)
    # before work is done for nothing
    set_on_disk.check(out, replace=replace_begun)
    read = readings.load(readings_file, kind)
    if job_file is None:
        job_file = find_job(old, (Path(), folder.resolve().parent, readings_file.parent))
    plan = job.load(job_file)
    now = read_inputs(plan, job_file)
    same_inputs(old, now)
    # readings first, so that nothing is prepared for bad ones
    told: tuple[Finding, ...] = ()
    if kind == "touches":
        probe = plan.registration.probe
        read, told = touches.found(
            read, old, blank, number, touches.TOUCH_ERROR if probe is None else probe.error
        )
    if kind == "verniers":
        done = vernier.refit(read, old, blank, number)
    else:
        done = corrected(read, old, blank, number, plan.registration.sigma)
    chosen = choice_of(old, folder)
    if (blank, number) in old.levellings:
        told = (*told, _probed_before(blank, number))
    derivation = Derivation(
        derived_from=old.id,
        step=_step(blank, number),
        readings=(*old.inputs[len(now) :], read.file),
        poses={**old.poses, (blank, number): done.pose},
        findings=(*done.findings, *told),
        levellings=old.levellings,
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


def _step(blank: int, number: int) -> str:
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
        steps = [_step(b, k) for b, k in old.poses] + [*map(level_step, old.levellings.values())]
        ways = [(old.derived_from, step) for step in steps]
    known = ((old.inputs, (*way, *old.chosen)) for way in ways)
    return old.id in itertools.starmap(set_id, known)


def usage(code: str, message: str) -> Refusal:
    """A refusal of what was asked."""
    return Refusal([Finding(code=code, severity="stop", message=message)], exit_code=2)
