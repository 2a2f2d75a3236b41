"""The moves and figures of a set as digests; words, comments and line numbers do not count."""

from __future__ import annotations

import csv
import hashlib
import json
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from ezdxf.entities.polyline import Polyline
from ezdxf.filemanagement import readfile

WORDS = frozenset({"findings", "files", "seal", "set", "derived_from", "inputs", "job"})
"""Keys of the report whose content is words, or digests of files that hold words."""


def digest(lines: Iterable[str]) -> str:
    """A short digest of lines of text."""
    whole = hashlib.sha256()
    for line in lines:
        whole.update(f"{line}\n".encode())
    return whole.hexdigest()[:16]


def set_digests(folder: Path) -> dict[str, str]:
    """A digest of every program of a set, of its table, its copper, and of each report key."""
    found = {
        file.relative_to(folder).as_posix(): digest(_words_of_program(file.read_text("ascii")))
        for file in sorted(folder.rglob("*.ngc"))
    }
    table = folder / "toolpaths.csv"
    if table.exists():
        found["toolpaths.csv"] = digest(_rows(table))
    for file in sorted(folder.glob("as-cut/*.dxf")):
        found[file.relative_to(folder).as_posix()] = digest(_entities(file))
    report = json.loads((folder / "report.json").read_text("utf-8"))
    for key, value in report.items():
        if key not in WORDS:
            found[f"report {key}"] = digest(_figures(value))
    found["report findings"] = digest(sorted(map(_place, report["findings"])))
    return found


def _words_of_program(text: str) -> Iterator[str]:
    for line in text.splitlines():
        words = re.sub(r"\([^)]*\)|;.*", "", line).strip()
        if words:
            yield words


def _rows(table: Path) -> Iterator[str]:
    with table.open(encoding="ascii", newline="") as lines:
        for row in csv.DictReader(lines):
            yield ",".join(value for key, value in row.items() if key != "line")


def _entities(file: Path) -> Iterator[str]:
    for entity in readfile(file).modelspace():
        assert isinstance(entity, Polyline)
        places = [f"{x:.6f} {y:.6f}" for x, y, *_ in entity.points()]
        yield f"{entity.dxftype()} {places}"


def _figures(value: Any, path: str = "") -> Iterator[str]:
    """Every number and truth value with its place in the report."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _figures(inner, f"{path}.{key}")
    elif isinstance(value, list):
        for i, inner in enumerate(value):
            yield from _figures(inner, f"{path}[{i}]")
    elif not isinstance(value, str):
        yield f"{path}={value!r}"


def _place(finding: dict[str, Any]) -> str:
    return json.dumps([finding.get(key) for key in ("severity", "at", "board", "copy", "blank")])
