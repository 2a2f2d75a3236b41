"""What a set keeps of its job: every file that it was made from, byte for byte, and an index.

A job is loaded from there as from its own folder: the index names the copy of every file.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import NamedTuple, get_args

from millprep.files.reading import contents, json_value
from millprep.model.finding import usage
from millprep.model.job.keys import InputFile, InputRole, NamedFile

FOLDER = "job"
"""Where a set keeps them."""
INDEX = "files.json"


class Kept(NamedTuple):
    """A copy in its folder.

    Attributes:
        role: of the file that it was made from.
        name: of that file, as the job gives it.
        copy: its own name.
    """

    role: InputRole
    name: str
    copy: str


def keep(inputs: Iterable[InputFile], out: Path) -> None:
    """Copy inputs into the set in `out`, with an index; an input of unknown source is left out.

    Raises:
        Refusal: exit code 2, when a file has changed since it was read.
    """
    folder = out / FOLDER
    folder.mkdir()
    rows: list[Kept] = []
    taken = {INDEX}
    for given in inputs:
        if given.source is None:
            continue
        data = contents(given.source)
        if hashlib.sha256(data).hexdigest() != given.sha256:
            message = f"{given.file} changed while the set was made. Make the set again."
            raise usage("input-changed", message, given.file)
        copy = _free_name(re.split(r"[\\/]", given.file)[-1], taken)
        taken.add(copy.casefold())
        (folder / copy).write_bytes(data)
        rows.append(Kept(given.role, given.file, copy))
    text = json.dumps([row._asdict() for row in rows], indent=1)
    (folder / INDEX).write_bytes(f"{text}\n".encode())


def _free_name(name: str, taken: set[str]) -> str:
    """The name, with a number where another file has it; capitals make no difference on disk."""
    stem, dot, ending = name.rpartition(".")
    new, number = name, 1
    while new.casefold() in taken:
        number += 1
        new = f"{stem}-{number}.{ending}" if dot else f"{name}-{number}"
    return new


def kept(folder: Path) -> tuple[Kept, ...]:
    """The copies in a folder in the order of the set's inputs; none where it is no such folder."""
    try:
        rows = json_value(contents(folder / INDEX))
        copies = tuple(Kept(**row) for row in rows)
    except (OSError, ValueError, TypeError):
        return ()
    plain = all(isinstance(part, str) for row in copies for part in row)
    inside = plain and all(Path(row.copy).name == row.copy for row in copies)
    return copies if inside and {row.role for row in copies} <= set(get_args(InputRole)) else ()


class Sources(NamedTuple):
    """What a kept job is read from.

    Attributes:
        files: the copy of every file that it names.
        bench: the copy of its bench file.
    """

    files: Mapping[str, Path]
    bench: NamedFile | None


def sources(job_file: Path) -> Sources | None:
    """The copies that a kept job is read from; None for a job in a folder of its own."""
    copies = kept(job_file.parent)
    if ("job", job_file.name) not in {(row.role, row.copy) for row in copies}:
        return None
    folder = job_file.parent.resolve()
    benches = [NamedFile(folder / row.copy, row.name) for row in copies if row.role == "bench"]
    return Sources(
        {row.name: folder / row.copy for row in copies if row.role == "named"},
        benches[0] if benches else None,
    )
