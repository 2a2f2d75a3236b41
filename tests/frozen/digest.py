"""The moves and figures of a set as digests; words, comments and line numbers do not count.

Of the copper as cut only number and area of its outlines count. Where their corners lie follows
from the last bit of sines and crossings, which is not the same on every processor.
"""

from __future__ import annotations

import csv
import hashlib
import json
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import shapely
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


Digest = str | list[float]
"""A short hash, or a number and an area that may be a little off."""
Digests = dict[str, Digest]
"""Of every part of a set."""


def set_digests(folder: Path) -> Digests:
    """A digest of every program of a set, of its table, its copper, and of each report key."""
    found: Digests = {
        file.relative_to(folder).as_posix(): digest(_words_of_program(file.read_text("ascii")))
        for file in sorted(folder.rglob("*.ngc"))
    }
    table = folder / "toolpaths.csv"
    if table.exists():
        found["toolpaths.csv"] = digest(_rows(table))
    for file in sorted(folder.glob("as-cut/*.dxf")):
        found[file.relative_to(folder).as_posix()] = _outlines(file)
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


def _outlines(file: Path) -> list[float]:
    """How many outlines there are, and their area, mm²."""
    areas = []
    for entity in readfile(file).modelspace():
        assert isinstance(entity, Polyline)
        areas.append(shapely.Polygon([(x, y) for x, y, *_ in entity.points()]).area)
    return [len(areas), round(sum(areas), 2)]


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
