"""Reading a job file: all its mistakes together, each with its line and column."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path as File
from typing import Any

from millprep.job.mistakes import label
from millprep.job.places import Place, key_places
from millprep.job.presets import with_presets
from millprep.job.reading import Reader
from millprep.model.finding import Finding, Refusal
from millprep.model.job.job import JobPlan
from millprep.model.job.keys import NamedFile, Table
from millprep.model.job.mistakes import KeyPath, Mistake, known, near, plain, settled
from millprep.model.net import Misfit


def load(file: File) -> JobPlan:
    """Read a job file and fill in presets and defaults.

    Raises:
        Refusal: exit code 2, with every mistake of the file.
    """
    text = _text(file)
    try:
        return _read(file, text)
    except RecursionError:
        raise _refusal(file, "job-syntax", Place(1, 1), "brackets are nested too deeply") from None


def refusal_of(file: File, misfits: Iterable[Misfit]) -> Refusal:
    """Mistakes that only the drawings show, each with its line and column in the job file."""
    places = key_places(_text(file))
    located = []
    for misfit in misfits:
        place = _place(misfit.path, places)
        words = f"{label(misfit.path)} {misfit.words}"
        finding = replace(
            _finding(file, misfit.code, place, words),
            board=misfit.board,
            at=misfit.at,
            frame=None if misfit.at is None else "drawing",
        )
        located.append((place, finding))
    located.sort(key=lambda pair: pair[0])
    return Refusal([finding for _, finding in located], exit_code=2)


def _read(file: File, text: str) -> JobPlan:
    written = _parsed(file, text)
    places = key_places(text)
    single_blank = isinstance(written.get("blank"), dict)
    if single_blank:
        written["blank"] = [written["blank"]]
    data, mistakes, at_fault = with_presets(written)
    reader = Reader(file)
    plan = reader.read(data)
    # what a table of an unknown preset lacks is no second mistake
    mistakes += [
        m for m in reader.mistakes if m.code != "job-missing-key" or m.path[:-1] not in at_fault
    ]
    mistakes += _missing_files(plan)
    if mistakes:
        raise _refused(file, mistakes, places, single_blank)
    return plan


def _text(file: File) -> str:
    try:
        # Some editors put a byte order mark in front, which TOML does not know.
        return file.read_bytes().decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as problem:
        line = file.read_bytes()[: problem.start].count(b"\n") + 1
        words = "the text is not UTF-8; save it with that encoding"
        raise _refusal(file, "job-syntax", Place(line, 1), words) from None
    except OSError as problem:
        words = f"the job file cannot be read: {problem.strerror}"
        raise _refusal(file, "job-missing-file", Place(1, 1), words) from None


def _parsed(file: File, text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except ValueError as problem:
        reason = str(problem)
        found = re.search(r" \(at line (\d+), column (\d+)\)$", reason)
        lines = text.split("\n")
        place = Place(len(lines), len(lines[-1]) + 1)
        if found:
            place = Place(int(found[1]), int(found[2]))
        reason = re.sub(r" \(at .*\)$", "", reason)
        words = f"this is not valid TOML: {reason[:1].lower()}{reason[1:]}"
        raise _refusal(file, "job-syntax", place, words) from None


def _missing_files(plan: JobPlan) -> Iterator[Mistake]:
    layout = known(plan, "layout")
    if layout is not None:
        yield from settled(_missing(layout, "file", ("layout",), "*.[tT][oO][mM][lL]"))
    for i, board in enumerate(known(plan, "boards") or ()):
        for key in ("drawing", "outline_drawing", "holes_drawing"):
            yield from settled(_missing(board, key, ("board", i), "*.[dD][xX][fF]"))


def _missing(table: Table, key: str, at: KeyPath, pattern: str) -> Iterator[Mistake]:
    """A mistake if the file that a key names is not there."""
    named: NamedFile | None = getattr(table, key)
    if named is None or os.path.isfile(named.file):  # noqa: PTH113 - never raises
        return
    folder = named.file.parent
    others = sorted(entry.name for entry in folder.glob(pattern)) if folder.is_dir() else []
    words = f"is no file: {plain(named.name)}, seen from the job file's folder"
    yield Mistake("job-missing-file", (*at, key), words + near(named.file.name, others))


def _refused(
    file: File, mistakes: Iterable[Mistake], places: dict[KeyPath, Place], single_blank: bool
) -> Refusal:
    located = []
    for mistake in mistakes:
        path = mistake.path
        if single_blank and path[:1] == ("blank",):
            path = (path[0], *path[2:])
        located.append((_place(path, places), label(path), mistake))
    located.sort(key=lambda found: found[0])
    return Refusal(
        (_finding(file, m.code, place, f"{name} {m.words}") for place, name, m in located),
        exit_code=2,
    )


def _place(path: KeyPath, places: dict[KeyPath, Place]) -> Place:
    """Where a key stands, or the innermost table that holds it."""
    while path and path not in places:
        path = path[:-1]
    return places.get(path, Place(1, 1))


def _refusal(file: File, code: str, place: Place, words: str) -> Refusal:
    return Refusal([_finding(file, code, place, words)], exit_code=2)


def _finding(file: File, code: str, place: Place, words: str) -> Finding:
    message = f"{file}:{place.line}:{place.column}: {words}"
    return Finding(code=code, severity="stop", message=message, file=str(file), line=place.line)
