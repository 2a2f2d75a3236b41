"""What a set is made from: its input files with their hashes, and its id.

From them follows whether a set on the disk is still what its job makes, without making it again.
"""

from __future__ import annotations

import hashlib
import pickle
from collections.abc import Hashable, Iterable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from millprep import __version__, job
from millprep.cache import Cache
from millprep.files import writing
from millprep.model.finding import Finding, Refusal
from millprep.model.job.job import JobPlan
from millprep.model.job.keys import InputFile
from millprep.workflow import set_on_disk
from millprep.workflow.time_log import fit_of


def read_inputs(plan: JobPlan, job_file: Path) -> tuple[InputFile, ...]:
    """The job file, every drawing and netlist once, with their hashes."""
    inputs = [InputFile(job_file.name, hash_of(job_file), "job", job_file)]
    if plan.bench is not None:
        bench = plan.bench.file
        inputs.append(InputFile(plan.bench.name, hash_of(bench), "bench", bench))
    drawings = [pair for board in plan.boards for pair in board.files]
    for file, name in (*drawings, *([] if plan.layout.file is None else [plan.layout.file])):
        if name not in {i.file for i in inputs}:
            inputs.append(InputFile(name, hash_of(file), "named", file))
    return tuple(inputs)


def set_id(inputs: Iterable[InputFile], derived: Iterable[str] = ()) -> str:
    """Id of a set: a hash of its inputs, this version, and how it was derived, if it was."""
    known = "\n".join([__version__, *(f"{i.file} {i.sha256}" for i in inputs), *derived])
    return hashlib.sha256(known.encode()).hexdigest()[:12]


def hash_of(file: Path) -> str:
    """SHA-256 of a file's bytes, in hexadecimal."""
    return hashlib.sha256(file.read_bytes()).hexdigest()


@dataclass(frozen=True, slots=True)
class SetAsMade:
    """What is known of a set since it was made.

    Attributes:
        files: hashes of all its files by their name in its folder.
        id: of the set.
        findings: that came with it.
        lines: the rest of what was said of it.
    """

    files: dict[str, str]
    id: str
    findings: tuple[Finding, ...]
    lines: tuple[str, ...]


class WishedSet:
    """A set that is wanted, with all that decides what it holds.

    Args:
        cache: where it is kept what came of earlier wishes.
        job_file: the job as its files are now.
        out: folder of the set.
        layout: a stored layout besides the job; None for none.
        options: that change what is made.

    Raises:
        Refusal: for mistakes in the job.
    """

    def __init__(
        self, cache: Cache, job_file: Path, out: Path, layout: Path | None, *options: Hashable
    ) -> None:
        self.cache, self.job_file, self.out = cache, job_file, out
        self.layout, self.options = layout, options
        self.key = self._key()

    def _key(self) -> str | None:
        """What came of the wish is kept under this; None where the files cannot be read."""
        with suppress(OSError):
            plan = job.load(self.job_file)
            inputs = (*read_inputs(plan, self.job_file), *fit_of(plan.machine)[0])
            known = [(i.file, i.sha256, i.role, i.source and i.source.resolve()) for i in inputs]
            layout = self.layout and (self.layout, hash_of(self.layout))
            return self.cache.key("set", (self.job_file.resolve(), known, layout, self.options))
        return None

    def unchanged(self) -> SetAsMade | None:
        """What is known of the set in the folder, if it is exactly what would be made now."""
        payload = None if self.key is None else self.cache.read(self.key)
        if payload is None:
            return None
        with suppress(Exception):
            made = pickle.loads(payload)
            if isinstance(made, SetAsMade) and made.files == _hashes(self.out):
                set_on_disk.forget_refused(self.out)
                with suppress(OSError):
                    writing.tidy(self.out)
                return made
        return None

    def keep(self, id: str, findings: Iterable[Finding], lines: Iterable[str]) -> None:  # noqa: A002
        """Remember what was made, unless a file was saved meanwhile."""
        with suppress(Refusal):
            if self.key is not None and self.key == self._key():
                made = SetAsMade(_hashes(self.out), id, tuple(findings), tuple(lines))
                self.cache.write(self.key, pickle.dumps(made, protocol=5))


def _hashes(folder: Path) -> dict[str, str]:
    """Hashes of all files below a folder by their names in it."""
    return {
        path.relative_to(folder).as_posix(): hash_of(path)
        for path in sorted(folder.rglob("*"))
        if not path.is_dir()
    }
