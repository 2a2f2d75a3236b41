"""Reading a job file: all its mistakes together, each with its line and column."""

from __future__ import annotations

import os
import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path as File
from typing import Any

from millprep.files.reading import MOST_TEXT, contents, toml
from millprep.job import bench
from millprep.job.copies import Sources, sources
from millprep.job.places import TextPlace, key_places
from millprep.job.presets import with_presets
from millprep.job.reading import Reader, label
from millprep.model.finding import Finding, Refusal
from millprep.model.job.job import JobPlan
from millprep.model.job.keys import JobTable, NamedFile
from millprep.model.job.mistakes import KeyPath, Mistake, known, near, plain, printable, settled
from millprep.model.job.nets import Misfit


def load(file: File) -> JobPlan:
    """Read a job file and fill in presets and defaults.

    Raises:
        Refusal: exit code 2, with every mistake of the file.
    """
    return _read(_written(file))


def bench_tables(file: File) -> dict[str, Any]:
    """The tables that a bench file holds, with the values of presets.

    What it lacks is no mistake, for a job may give it; a cutter that it does not define neither.

    Raises:
        Refusal: exit code 2, for a file that is no bench, or with values that no key takes.
    """
    written = _written(file)
    mistakes = list(bench.not_of_a_bench(written.data))
    data = dict(bench.with_paths(written.data, file, None))
    drawings = data.pop("drawings", {})
    single_blank = isinstance(data.get("blank"), dict)
    if single_blank:
        data["blank"] = [data["blank"]]
    filled = with_presets(data)
    if not mistakes:
        reader = Reader(file, {}, ())
        reader.read(filled.data)
        mistakes = [m for m in (*filled.mistakes, *reader.mistakes) if m.code in _OF_VALUES]
    if mistakes:
        raise _refused((written,), mistakes, filled.origins, single_blank)
    single = {"blank": filled.data["blank"][0]} if single_blank else {}
    return {**filled.data, **single, "drawings": drawings}


_OF_VALUES = ("job-wrong-type", "job-bad-value", "job-unknown-key", "job-unknown-preset")
"""Mistakes of a value by itself, whatever else its file holds."""


def bench_lives(file: File) -> dict[str, float | None]:
    """Every cutter of a bench file, with the metres that it cuts before it is replaced.

    Raises:
        Refusal: exit code 2, for a file that is no bench.
    """
    bench_tables(file)
    cutters = _written(file).data.get("cutters", {})
    tables = cutters if isinstance(cutters, dict) else {}
    return {
        name: float(life) if isinstance(life := table.get("life"), int | float) else None
        for name, table in tables.items()
        if isinstance(table, dict)
    }


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


@dataclass(frozen=True)
class _Written:
    """A TOML file and its tables; `replaced` are those of its keys that another file replaces."""

    file: File
    data: dict[str, Any]
    text: str
    replaced: Collection[KeyPath] = ()

    @cached_property
    def places(self) -> dict[KeyPath, TextPlace]:
        """Where each key is that counts; only mistakes have a place."""
        every = key_places(self.text)
        return {p: at for p, at in every.items() if not bench.is_below(p, self.replaced)}


def _written(file: File) -> _Written:
    text = _text(file)
    return _Written(file, _parsed(file, text), text)


def _read(written: _Written) -> JobPlan:
    kept = sources(written.file)
    data, files, taken = _with_bench(written, kept)
    single_blank = isinstance(data.get("blank"), dict)
    if single_blank:
        data["blank"] = [data["blank"]]
    filled = with_presets(data)
    reader = Reader(written.file, {} if kept is None else kept.files, taken.sided)
    plan = reader.read(filled.data)
    mistakes = list(filled.mistakes)
    # what a table of an unknown preset lacks is no second mistake
    mistakes += [
        m
        for m in reader.mistakes
        if m.code != "job-missing-key" or m.path[:-1] not in filled.at_fault
    ]
    mistakes += _missing_files(plan)
    if mistakes:
        raise _refused(files, mistakes, {**filled.origins, **taken.origins}, single_blank)
    return plan


def _with_bench(
    written: _Written, kept: Sources | None
) -> tuple[dict[str, Any], tuple[_Written, ...], bench.Taken]:
    """The tables of a job with those of its bench, and the files that they are from, job first.

    Raises:
        Refusal: exit code 2, for a bench that cannot be read, or that holds tables of a job.
    """
    named = bench.bench_of(written.file, written.data, kept)
    if named is None:
        return written.data, (written,), bench.Taken()
    if not named.file.is_file():
        near_it = sorted(f.name for f in named.file.parent.glob("*.toml"))
        words = f"bench is no file: {plain(named.name)}, seen from the job file's folder"
        words += near(named.file.name, near_it)
        place = _place(("bench",), written.places)
        raise _refusal(written.file, "job-missing-file", place, words)
    near_job = written.file.parent / named.name
    below = _written(near_job if kept is None and near_job.is_file() else named.file)
    strangers = list(bench.not_of_a_bench(below.data))
    if strangers:
        raise _refused((below,), strangers, {}, False)
    tables = dict(bench.with_paths(below.data, named.file, kept))
    drawings = tables.pop("drawings", None)
    data, replaced = bench.merged(tables, written.data)
    taken = bench.Taken()
    if drawings and isinstance(data.get("board"), list):
        data["board"], taken = bench.with_drawings(drawings, data["board"])
    return {**data, "bench": named}, (written, replace(below, replaced=replaced)), taken


def _text(file: File) -> str:
    try:
        # Some editors put a byte order mark in front, which TOML does not know.
        return contents(file, MOST_TEXT).decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as problem:
        line = problem.object.count(b"\n", 0, problem.start) + 1
        words = "the text is not UTF-8; save it with that encoding"
        raise _refusal(file, "job-syntax", TextPlace(line, 1), words) from None
    except OSError as problem:
        words = f"the job file cannot be read: {problem.strerror}"
        raise _refusal(file, "job-missing-file", TextPlace(1, 1), words) from None


def _parsed(file: File, text: str) -> dict[str, Any]:
    try:
        return toml(text)
    except ValueError as problem:
        reason = str(problem)
        at = re.search(r" \(at line (\d+), column (\d+)\)$", reason)
        lines = text.split("\n")
        place = TextPlace(len(lines), len(lines[-1]) + 1)
        if at:
            place = TextPlace(int(at[1]), int(at[2]))
        words = _syntax_words(file, re.sub(r" \(at .*\)$", "", reason), lines[place.line - 1])
        raise _refusal(file, "job-syntax", place, words) from None


def _syntax_words(file: File, reason: str, line: str) -> str:
    """What is wrong with a line that is not TOML, and what to do where that is known."""
    if file.suffix.lower() == ".dxf":
        return f"this is a drawing, not a job; write a job for it with: millprep new {file.name}"
    key, _, value = (part.strip() for part in line.partition("="))
    twice = re.search(r"declare \((.*?),?\) twice", reason)
    if twice:
        name = printable(".".join(part.strip().strip("'\"") for part in twice[1].split(",")))
        words = f"table [{name}] is there twice; put its keys together"
        if name in ("board", "cutters"):
            head = "[[board]]" if name == "board" else "[cutters.NAME]"
            words += f", or head each {name.removesuffix('s')} with {head}"
        return words
    if reason.startswith("Cannot overwrite a value"):
        return f"{printable(key)} is there twice in this table; keep one of them"
    for pattern, words in _SYNTAX:
        if re.match(pattern, value):
            return words
    return f"this is not valid TOML: {reason[:1].lower()}{reason[1:]}"


_SYNTAX = (
    (
        r'"[^"]*\\',
        "\\ in a text has a meaning of its own; write a path with /, or between single quotes: "
        "'C:\\boards\\lamp.dxf'",
    ),
    (r"""["'][^"']*$""", "the text has no quote at its end"),
    (r"[-+]?\d+,\d", "a number has a point, no comma: 0.3"),
    (r"[-+]?\.\d", "a number has a digit before the point: 0.3"),
    (r"[-+]?\d[\d.]*\s*[A-Za-z]", "a number has no unit after it: lengths are in mm"),
    (r"\[?\s*[A-Za-z]", 'a text is between quotes, such as "components"'),
)
"""What the value of a line that is not TOML looks like, and what to say of it."""


def _missing_files(plan: JobPlan) -> Iterator[Mistake]:
    layout = known(plan, "layout")
    if layout is not None:
        yield from settled(_missing(known(layout, "file"), ("layout", "file")))
    for i, board in enumerate(known(plan, "boards") or ()):
        yield from _missing(known(board, "netlist"), ("board", i, "netlist"))
        drawing, at = known(board, "drawing"), ("board", i, "drawing")
        if not isinstance(drawing, JobTable):
            continue
        single = known(drawing, "outline") is None and known(drawing, "holes") is None
        yield from _missing(known(drawing, "copper"), at if single else (*at, "copper"))
        yield from _missing(known(drawing, "outline"), (*at, "outline"))
        for n, file in enumerate(known(drawing, "holes") or ()):
            yield from _missing(file, (*at, "holes", n))


def _missing(named: NamedFile | None, at: KeyPath) -> Iterator[Mistake]:
    """A mistake if the file that a key names is not there."""
    if named is None or os.path.isfile(named.file):  # noqa: PTH113 - never raises
        return
    folder = named.file.parent
    names = sorted(file.name for file in folder.iterdir()) if folder.is_dir() else []
    words = f"is no file: {plain(named.name)}, seen from the job file's folder"
    if not named.name.isprintable():
        words += "; \\ in a text has a meaning of its own, so write the path with /"
    yield Mistake("job-missing-file", at, words + near(named.file.name, names))


def _refused(
    files: Sequence[_Written],
    mistakes: Iterable[Mistake],
    origins: Mapping[KeyPath, KeyPath],
    single_blank: bool,
) -> Refusal:
    """Every mistake with its place, in the file that it is in."""
    located = []
    for mistake in mistakes:
        path, origin = mistake.path, _origin(mistake.path, origins)
        if single_blank and path[:1] == ("blank",):
            path = (path[0], *path[2:])
        at = path
        if not any(path in f.places for f in files) and any(origin in f.places for f in files):
            at = origin
        # the file that holds the key, or the innermost table around it; of both, the job
        n = max(range(len(files)), key=lambda i: (_depth(at, files[i].places), -i))
        name = label(at if at[:1] == ("drawings",) else path)
        located.append((n, _place(at, files[n].places), name, mistake))
    located.sort(key=lambda mistake: mistake[:2])
    findings = (
        _finding(files[n].file, m.code, place, f"{name} {m.words}") for n, place, name, m in located
    )
    # what all boards take from the bench is wrong once
    return Refusal(dict.fromkeys(findings), exit_code=2)


def _origin(path: KeyPath, origins: Mapping[KeyPath, KeyPath]) -> KeyPath:
    """Where the preset writes a key that a table has from it."""
    for n in range(len(path)):
        if path[:n] in origins:
            return (*origins[path[:n]], *path[n:])
    return path


def _depth(path: KeyPath, places: dict[KeyPath, TextPlace]) -> int:
    """How much of a path a file holds."""
    while path and path not in places:
        path = path[:-1]
    return len(path)


def _place(path: KeyPath, places: dict[KeyPath, TextPlace]) -> TextPlace:
    """Where a key is, or the innermost table that holds it."""
    while path and path not in places:
        path = path[:-1]
    return places.get(path, TextPlace(1, 1))


def _refusal(file: File, code: str, place: TextPlace, words: str) -> Refusal:
    return Refusal([_finding(file, code, place, words)], exit_code=2)


def _finding(file: File, code: str, place: TextPlace, words: str) -> Finding:
    message = f"{file}:{place.line}:{place.column}: {words}"
    return Finding(code=code, severity="stop", message=message, file=str(file), line=place.line)
