"""A set in its folder: complete and new, or the old one as it was.

The mark of a set that is being cut is a file in that folder too. Whether a set is what its job
makes now is known by hashes alone, so that nothing has to be made for it, nor loaded.
"""

from __future__ import annotations

import re
from collections.abc import Hashable, Iterable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from millprep.files import reading, writing
from millprep.files.row_file import RowFile
from millprep.model.begun import DONE, LOG, Begun, ProgramRun
from millprep.model.begun import FILE as BEGUN
from millprep.model.finding import Finding, Refusal, usage

if TYPE_CHECKING:
    from millprep.cache import Cache

MARK = "report.json"
"""Every set holds this file; a folder without it is not ours to replace."""

FIRST_BYTES = b'{\n "format": '
"""How that file begins."""

OURS = re.compile(
    r"(report\.json|begun\.toml|done\.toml|ran\.toml|(sheet|review)\.html|layout(-offcut-\d+)?\.toml|toolpaths\.csv|buzz-out\.csv|as-cut/blank-\d+\.(svg|dxf)|findings\.txt"
    r"|previews/[^/]+\.(png|svg)|(bed|spoilboard)/[^/]+\.ngc|blank-\d+/pass-\d+/[^/]+\.ngc)"
)
"""Every file of a set or of a refusal but copies of its inputs, as seen from its folder."""

LITTER = {".DS_Store", "Thumbs.db", "desktop.ini"}
"""Files that file managers leave wherever a person looks."""


def put_in_place(folder: Path, out: Path, *, replace: bool = False) -> None:
    """Exchange a staged folder for `out`; the old set goes only when the new one is in place.

    Raises:
        Refusal: when `out` holds something that is no set, or a set that is begun.
    """
    check(out, replace=replace)
    if (out / LOG).exists():
        # what runs took is true of the machine, whatever set comes next
        (folder / LOG).write_bytes((out / LOG).read_bytes())
    writing.put_in_place(folder, out)


def check(out: Path, *, replace: bool = False) -> None:
    """Refuse an output folder that holds other things than a set, or a set that is begun.

    With `replace` a set that is begun may go.

    Raises:
        Refusal: with exit code 2.
    """
    if not out.resolve().name:
        message = f"{out} is the whole disk. Name a new folder in it with --out."
        raise usage("output-not-ours", message, out)
    foreign = _foreign(out)
    if foreign is None:
        if not replace:
            _not_begun(out)
        return
    if not out.is_dir():
        raise usage(
            "output-not-ours",
            f"{out} is no folder. Name a new or empty folder with --out.",
            out,
        )
    raise usage(
        "output-not-ours",
        f"{out} holds {foreign}, which is no part of a set of programs and would be lost. Name a "
        "new or empty folder with --out.",
        out,
    )


def _not_begun(out: Path) -> None:
    """Refuse to replace what has been cut in part; a mark that cannot be read is one.

    What was cut with the set that this one was made from is no reason: another set made from it
    fits that as well.
    """
    if not (out / BEGUN).exists():
        return
    try:
        mark = load_mark(out)
        if mark is None or mark.before == set(mark.passes):
            return
        state = f": {mark.words}"
    except Refusal:
        state = f", and {BEGUN} cannot be read"
    raise usage(
        "set-begun",
        f"The set in {out} is begun{state}. What a new set cuts may not fit what is cut already. "
        "Name another folder; with --replace it is replaced all the same.",
        out,
    )


def _foreign(out: Path) -> str | None:
    """The first thing in a folder that no run of ours put there."""
    if not out.exists():
        return None
    if not out.is_dir():
        return out.name
    inside = sorted(path.relative_to(out) for path in out.rglob("*") if not path.is_dir())
    kept = _kept(out)
    for path in inside:
        name = path.as_posix()
        if path.name not in LITTER and name not in kept and not OURS.fullmatch(name):
            return name
    mark = out / MARK
    if inside and not (mark.is_file() and mark.read_bytes().startswith(FIRST_BYTES)):
        return MARK if mark.exists() else inside[0].as_posix()
    return None


def _kept(out: Path) -> set[str]:
    """The copies of its inputs that a set in `out` holds, and their index."""
    # the command line loads this module first, and that room loads slowly
    from millprep.job import copies

    rows = copies.kept(out / copies.FOLDER)
    return {f"{copies.FOLDER}/{name}" for name in (*(row.copy for row in rows), copies.INDEX)}


def refused_folder(out: Path) -> Path:
    """Where findings of a refused run go."""
    if out.name in ("", ".."):
        out = out.resolve()
    return out.with_name(f"{out.name}-refused")


def forget_refused(out: Path) -> None:
    """Remove the findings of an earlier refusal, which a new set has outdated."""
    refused = refused_folder(out)
    if refused.is_dir() and _foreign(refused) is None:
        writing.discard(refused)


HEAD = """\
# Passes of this set that have been cut, by `millprep begin`. --replace replaces the set anyway.
"""


def load_mark(folder: Path) -> Begun | None:
    """The mark in a folder; None when it is not marked.

    Raises:
        Refusal: exit code 2, when the file is not as `millprep begin` writes it.
    """
    file = folder / BEGUN
    if not file.exists():
        return None
    try:
        mark = reading.toml(reading.contents(file, reading.MOST_TEXT).decode())
        rows = [(int(row["blank"]), int(row["number"])) for row in mark["pass"]]
        before = [pair for pair, row in zip(rows, mark["pass"], strict=True) if row.get("before")]
        if set(mark) == {"set", "pass"} and isinstance(mark["set"], str):
            return Begun(mark["set"], tuple(rows), frozenset(before))
        words = "must hold a set and its passes, and nothing else"
    except (OSError, ValueError, KeyError, TypeError, OverflowError) as fault:
        words = f"cannot be read ({type(fault).__name__}: {fault})"
    message = (
        f"{BEGUN} {words}. Delete the file and mark again with millprep begin what has been cut."
    )
    raise usage("begun-unreadable", message, file)


def save_mark(folder: Path, mark: Begun) -> None:
    """Write the mark into a set's folder, whole or not at all."""
    rows = [
        f"\n[[pass]]\nblank = {blank}\nnumber = {number}\n"
        + ("before = true\n" if (blank, number) in mark.before else "")
        for blank, number in mark.passes
    ]
    text = HEAD + f'set = "{mark.set}"\n' + "".join(rows)
    writing.replace_file(folder / BEGUN, text.encode())


RUNS = RowFile(
    head="# Programs that ran, by `millprep ran`. Delete one that was marked by mistake.\n",
    table="run",
    row=ProgramRun,
    keys=("set", "file", "cutter", "when", "fitted", "minutes"),
    code="done-unreadable",
    words="list of programs that ran",
    remedy="Correct it, or delete it and mark again with millprep ran what has run.",
)


def carry_runs(folder: Path, out: Path) -> None:
    """Keep in a set what ran of the set in `folder` that it was made from.

    Raises:
        Refusal: exit code 2, when the list cannot be read; 1, when it cannot be written.
    """
    runs = RUNS.load(folder / DONE)
    if runs:
        RUNS.add(out / DONE, runs)


def carry_mark(folder: Path, source_set: str, out: Path, new_set: str) -> None:
    """Mark in a set what was begun, and what ran, with the set that it was made from.

    Raises:
        Refusal: exit code 2, when a mark cannot be read or written.
    """
    carry_runs(folder, out)
    mark = load_mark(folder)
    if mark is not None and mark.set == source_set:
        save_mark(out, Begun(new_set, mark.passes, frozenset(mark.passes)))


Hashes = dict[str, str | None]
"""SHA-256 of files by their names; None of one that is not there."""


@dataclass(frozen=True, slots=True)
class SetAsMade:
    """What is known of a set since it was made.

    Attributes:
        sources: of the files that decide what it holds.
        files: of all its files, by their names in its folder.
        id: of the set.
        findings: that came with it.
        lines: the rest of what was said of it.
    """

    sources: Hashes
    files: Hashes
    id: str
    findings: tuple[Finding, ...]
    lines: tuple[str, ...]


class WishedSet:
    """A set that is wanted, with all that decides what it holds.

    Args:
        cache: where it is kept what came of the same wish before.
        job_file: the job.
        out: folder of the set.
        layout: a stored layout besides the job; None for none.
        options: that change what is made.
    """

    def __init__(
        self, cache: Cache, job_file: Path, out: Path, layout: Path | None, *options: Hashable
    ) -> None:
        self.cache, self.job_file, self.out, self.layout = cache, job_file, out, layout
        places = [path and path.resolve() for path in (job_file, out, layout)]
        self.key = cache.key("set", (places, options))
        self.sources: Hashes | None = None

    def unchanged(self) -> SetAsMade | None:
        """What is known of the set in the folder, if it is exactly what would be made now.

        Else the job is read.

        Raises:
            Refusal: exit code 2, for mistakes in the job.
        """
        import pickle  # loads slowly

        payload = self.cache.read(self.key)
        with suppress(Exception):
            made = None if payload is None else pickle.loads(payload)
            if (
                isinstance(made, SetAsMade)
                and made.sources == _hashes(map(Path, made.sources))
                and made.files == _hashes_within(self.out)
            ):
                forget_refused(self.out)
                with suppress(OSError):
                    writing.tidy(self.out)
                return made
        self.sources = self._sources()
        return None

    def _sources(self) -> Hashes | None:
        """Hashes of all files that decide what the job makes; None where one cannot be read."""
        from millprep import job
        from millprep.workflow.identity import read_inputs

        plan = job.load(self.job_file)
        with suppress(OSError):
            inputs = read_inputs(plan, self.job_file)
            log = plan.machine.time.log
            files = [given.source for given in inputs if given.source is not None]
            files += [] if log is None else [log.file]
            files += [] if self.layout is None else [self.layout]
            # a job that a set keeps is read by what that lists
            files.append(self.job_file.parent / job.INDEX)
            return _hashes(files)
        return None

    def keep(self, id: str, findings: Iterable[Finding], lines: Iterable[str]) -> None:  # noqa: A002
        """Remember what was made, unless a file was saved meanwhile."""
        import pickle  # loads slowly

        sources = self.sources
        if sources is not None and sources == _hashes(map(Path, sources)):
            files = _hashes_within(self.out)
            made = SetAsMade(sources, files, id, tuple(findings), tuple(lines))
            self.cache.write(self.key, pickle.dumps(made, protocol=5))


def _hashes(files: Iterable[Path]) -> Hashes:
    """Hashes of files by their paths."""
    return {str(file.absolute()): _hash(file) for file in files}


def _hash(file: Path) -> str | None:
    return reading.hash_of(file) if file.exists() else None


def _hashes_within(folder: Path) -> Hashes:
    """Hashes of all files below a folder by their names in it."""
    return {
        path.relative_to(folder).as_posix(): reading.hash_of(path)
        for path in sorted(folder.rglob("*"))
        if not path.is_dir()
    }
