"""What a set is made from: its input files with their hashes, and its id."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from pathlib import Path

from millprep import __version__
from millprep.files.reading import hash_of
from millprep.model.job.job import JobPlan
from millprep.model.job.keys import InputFile


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
