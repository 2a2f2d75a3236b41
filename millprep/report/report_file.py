"""report.json in the folder of its set: written last, read again, and held against the files."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator
from pathlib import Path, PurePosixPath
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from millprep.files.reading import contents, json_value
from millprep.model.begun import DONE, LOG
from millprep.model.begun import FILE as BEGUN
from millprep.model.finding import Finding, Refusal, stop, usage
from millprep.model.program import HEAD, check_set_named, sets_named
from millprep.report.report_model import FORMAT, Report
from millprep.report.set_rows import FileRow

REPORT = "report.json"
TABLE = "toolpaths.csv"

MOST_BYTES = 512_000_000
"""The largest report that is read."""

LITTER = {".DS_Store", "Thumbs.db", "desktop.ini"}
"""Files that file managers leave wherever a person looks."""


def write(report: Report, folder: Path) -> None:
    """Write the report without hashes."""
    (folder / REPORT).write_bytes(to_text(report.row()).encode())


def write_sealed(report: Report, folder: Path) -> None:
    """Write the report with the hash of every other file in `folder`, and its own."""
    files = {p.relative_to(folder).as_posix(): p for p in folder.rglob("*") if p.is_file()}
    rows = tuple(
        FileRow(file=name, sha256=_hash(path))
        for name, path in sorted(files.items())
        if name != REPORT
    )
    row = report.model_copy(update={"files": rows}).row()
    text = to_text(row | {"seal": None})
    # a line of its own: the row is longer than a line, and no text holds a newline as it is
    text = text.replace('\n "seal": null', f'\n "seal": "{_seal_of(text)}"', 1)
    (folder / REPORT).write_bytes(text.encode())


def seal(row: dict[str, Any]) -> str:
    """SHA-256 of the report as text, with null in place of the seal."""
    return _seal_of(to_text(row | {"seal": None}))


def _seal_of(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()


def read(folder: Path) -> Report:
    """Read the report of a set.

    Raises:
        Refusal: exit code 2, when the folder holds no set this version understands.
    """
    file = folder / REPORT
    try:
        return Report.model_validate_json(contents(file, MOST_BYTES))
    except OSError as fault:
        words = f"cannot be read ({fault.strerror}). Name the folder of a finished set"
    except ValidationError as fault:
        words = _damage(fault.errors(include_url=False, include_context=False))
    raise unreadable(words, file)


def _damage(errors: list[ErrorDetails]) -> str:
    """What is wrong with a report, by its first fault."""
    for error in errors:
        if error["loc"] == ("format",) and error["type"] == "literal_error":
            return (
                f"has format {error['input']}, this version reads format {FORMAT}. Use the version "
                "of millprep that wrote it"
            )
    first, *others = errors
    at = ".".join(map(str, first["loc"]))
    words = first["msg"].removeprefix("Value error, ")
    fault = words[:1].lower() + words[1:]
    more = f", and has {len(others)} more faults" if others else ""
    return (
        f"is not the report of a set{f' at {at}' if at else ''}: {fault}{more}. Name the folder "
        "of a finished set, or prepare this one again"
    )


def unreadable(words: str, file: Path) -> Refusal:
    """The refusal of a folder whose report describes no set; `words` say why."""
    return usage("set-unreadable", f"{REPORT} {words}.", file)


def changed(report: Report, folder: Path) -> tuple[Finding, ...]:
    """Files that are missing, not as they were written, or no part of the set."""
    if report.files is None:
        message = "The set has no hashes of its files. Prepare it again."
        return (stop("set-without-hashes", message, REPORT),)
    findings: list[Finding] = []
    if report.seal != seal(json_value(contents(folder / REPORT, MOST_BYTES))):
        message = f"{REPORT} was edited after it was written. Prepare the set again."
        findings.append(stop("set-file-changed", message, REPORT))
    findings += changed_files(report, folder, report.files)
    findings += _unnamed(report, report.files)
    known = {row.file for row in report.files} | {REPORT, BEGUN, DONE, LOG}
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_symlink():
            message = f"{name} is a link: a set holds its files itself. Prepare the set again."
            findings.append(stop("set-file-foreign", message, name))
        elif not path.is_dir() and name not in known and path.name not in LITTER:
            message = f"{name} is not part of this set. Move it out of the folder."
            findings.append(
                _of_another_set(path, name, report.set) or stop("set-file-foreign", message, name)
            )
    return tuple(findings)


def _unnamed(report: Report, rows: Iterable[FileRow]) -> Iterator[Finding]:
    """Programs that no pass runs, and what a set must hold and does not list."""
    named, listed = set(report.program_files), {row.file for row in rows}
    for name in sorted(name for name in listed - named if name.endswith(".ngc")):
        message = f"{name} is a program that no pass of the report names. Prepare the set again."
        yield stop("set-file-foreign", message, name)
    for name in sorted({*named, TABLE} - listed):
        message = f"{name} is not among the files of the set. Prepare the set again."
        yield stop("set-file-missing", message, name)


def changed_files(report: Report, folder: Path, rows: Iterable[FileRow]) -> list[Finding]:
    """Those of a set's files that are missing or not as they were written."""
    findings: list[Finding] = []
    for row in rows:
        path = folder / row.file
        if PurePosixPath(row.file).is_absolute() or ".." in PurePosixPath(row.file).parts:
            message = f"{row.file} lies outside of the set. Prepare the set again."
            findings.append(stop("set-file-foreign", message, row.file))
        elif not path.is_file():
            words = "is no file" if path.exists() else "is missing"
            message = f"{row.file} {words}. Prepare the set again."
            findings.append(stop("set-file-missing", message, row.file))
        elif _hash(path) != row.sha256:
            message = f"{row.file} was edited after it was written. Prepare the set again."
            findings.append(
                _of_another_set(path, row.file, report.set)
                or stop("set-file-changed", message, row.file)
            )
    return findings


def _of_another_set(path: Path, name: str, own: str) -> Finding | None:
    """A finding for a program that names another set in its head."""
    if path.suffix != ".ngc":
        return None
    with path.open("rb") as file:
        head = file.read(HEAD).decode("ascii", "replace")
    return check_set_named(head, own, name) if sets_named(head) else None


def _hash(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


WIDTH = 110


def to_text(value: Any) -> str:
    """The value as JSON with a newline at its end.

    Raises:
        ValueError: for numbers JSON does not have (infinite, not a number).
    """
    return _lines(value, 0) + "\n"


def _lines(value: Any, indent: int) -> str:
    """JSON of a value on one line, where it is short enough, or a line for each of its items."""
    if not value or not isinstance(value, (dict, list)):
        return _encoded(value)
    # items first: where all of them are one line, joined they are the one line of the value
    if isinstance(value, dict):
        first, last = "{}"
        items = [f"{_encoded(key)}: {_lines(item, indent + 1)}" for key, item in value.items()]
    else:
        first, last = "[]"
        items = [_lines(item, indent + 1) for item in value]
    flat = f"{first}{', '.join(items)}{last}"
    if len(flat) + indent <= WIDTH and not any("\n" in item for item in items):
        return flat
    pad = "\n" + " " * (indent + 1)
    return f"{first}{pad}{f',{pad}'.join(items)}{pad[:-1]}{last}"


_encoded = json.JSONEncoder(ensure_ascii=False, allow_nan=False).encode
