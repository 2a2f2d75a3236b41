"""Reading a job file: all its mistakes together, each with its line and column."""

from __future__ import annotations

import copy
import os
import re
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path as File
from typing import Any

from pydantic import ValidationError

from millprep.job.checks import Good, check
from millprep.job.fields import plain
from millprep.job.mistakes import Mistake, label, mistake_of, near
from millprep.job.model import JobFile
from millprep.job.places import KeyPath, Place, key_places
from millprep.job.presets import with_presets
from millprep.job.resolve import plan_of
from millprep.model.finding import Finding, Refusal
from millprep.model.misfit import Misfit
from millprep.model.plan import JobPlan


def load(file: File) -> JobPlan:
    """Read a job file and fill in presets and defaults.

    Raises:
        Refusal: exit code 2, with every mistake of the file.
    """
    text = _text(file)
    try:
        return _judged(file, text)
    except RecursionError:
        raise _refusal(file, "job-syntax", Place(1, 1), "brackets are nested too deeply") from None


def misfits(file: File, found: Iterable[Misfit]) -> Refusal:
    """Mistakes that only the drawings show, each with its line and column in the job file."""
    places = key_places(_text(file))
    located = []
    for one in found:
        place = _place(one.path, places)
        words = f"{label(one.path)} {one.words}"
        finding = replace(
            _finding(file, one.code, place, words),
            board=one.board,
            at=one.at,
            frame=None if one.at is None else "drawing",
        )
        located.append((place, finding))
    located.sort(key=lambda pair: pair[0])
    return Refusal([finding for _, finding in located], exit_code=2)


def _judged(file: File, text: str) -> JobPlan:
    written = _parsed(file, text)
    places = key_places(text)
    single_blank = isinstance(written.get("blank"), dict)
    if single_blank:
        written["blank"] = [written["blank"]]
    data, mistakes, at_fault = with_presets(written)

    job: JobFile | None = None
    found: list[Mistake] = []
    try:
        job = JobFile.model_validate(data)
    except ValidationError as problem:
        found = [mistake_of(e) for e in problem.errors(include_url=False, include_context=False)]
    mistakes += [m for m in found if m.code != "job-missing-key" or m.path[:-1] not in at_fault]

    cutters = data.get("cutters")
    defined = list(cutters) if isinstance(cutters, dict) else []
    good = Good(_pruned(data, (mistake.path for mistake in found)), defined)
    mistakes += check(good)
    mistakes += _missing_drawings(file, good)
    if mistakes or job is None:
        raise _refused(file, mistakes, places, single_blank)
    return plan_of(file, job)


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


def _pruned(data: dict[str, Any], paths: Iterable[KeyPath]) -> dict[str, Any]:
    """A copy with None for every key that failed, a list going as a whole."""
    good = copy.deepcopy(data)
    for path in paths:
        table: Any = good
        holder, last = good, path[0]
        for step in path:
            if isinstance(step, str):
                if not isinstance(table, dict) or step not in table:
                    break
                holder, last = table, step
            elif not isinstance(table, list):
                break
            table = table[step]
        else:
            holder[str(last)] = None
    return good


def _missing_drawings(file: File, good: Good) -> Iterator[Mistake]:
    stored = good.layout["file"]
    if stored is not None and not os.path.isfile(file.parent / stored):  # noqa: PTH113
        words = f"is no file: {plain(stored)}, seen from the job file's folder"
        yield Mistake("job-missing-file", ("layout", "file"), words)
    for i, board in enumerate(good.boards):
        for key in ("drawing", "outline_drawing", "holes_drawing"):
            name = board.get(key)
            if name is None or os.path.isfile(file.parent / name):  # noqa: PTH113 - never raises
                continue
            folder = (file.parent / name).parent
            beside = (
                sorted(entry.name for entry in folder.glob("*.[dD][xX][fF]"))
                if folder.is_dir()
                else []
            )
            words = f"is no file: {plain(name)}, seen from the job file's folder"
            words += near(File(name).name, beside)
            yield Mistake("job-missing-file", ("board", i, key), words)


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
