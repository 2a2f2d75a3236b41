"""Sets that a careful forger changed: table, figures and hashes are redone, so only the proof sees.

A forgery changes the texts of programs or the rows of the report. `written` then makes the table of
motions, the figures of the report and all hashes fit what it left.
"""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ezdxf.layouts.layout import Modelspace

from millprep.model.finding import Finding, Refusal
from millprep.report.report_file import seal, to_text
from millprep.verify.reader import read
from millprep.workflow.prepare import prepare
from millprep.workflow.verify import verify
from tests.helpers import small_job, strip_set
from tests.helpers.small_job import changed

TOLD_BY_FIGURES = {"file-differs", "proof-differs", "set-file-changed", "set-file-missing"}
"""Findings that a still more careful forger would avoid; a forgery needs another one."""
HEADER = "blank,pass,program,line,motion,x,y,z,i,j,feed"


@dataclass
class Forged:
    """A copy of a set while it is forged: texts of programs by file, and the report as rows."""

    folder: Path
    texts: dict[str, str]
    row: dict[str, Any]

    @classmethod
    def of(cls, made: Path, folder: Path) -> Forged:
        """A copy of the set `made` in a new folder."""
        shutil.copytree(made, folder)
        texts = {
            file.relative_to(folder).as_posix(): file.read_bytes().decode("ascii")
            for file in sorted(folder.rglob("*.ngc"))
        }
        return cls(folder, texts, json.loads((folder / "report.json").read_text("utf-8")))

    def file(self, pattern: str) -> str:
        """The first program whose file fits."""
        return next(name for name in self.texts if re.search(pattern, name))

    def edit(self, pattern: str, change: Callable[[str], str]) -> None:
        """Change a program; it must change."""
        name = self.file(pattern)
        text = change(self.texts[name])
        assert text != self.texts[name], f"nothing to forge in {name}"
        self.texts[name] = text

    def sub(self, pattern: str, old: str, new: str, count: int = 0) -> None:
        """Replace a regular expression in a program."""
        self.edit(pattern, lambda text: re.sub(old, new, text, count=count, flags=re.MULTILINE))

    @property
    def programs(self) -> list[tuple[int, int, dict[str, Any]]]:
        """Blank, pass and row of every program."""
        spoilboard = [(1, 0, row) for row in self.row["bed"]]
        return spoilboard + [
            (one["blank"], one["number"], row)
            for one in self.row["passes"]
            for row in one["programs"]
        ]

    def leave_out(self, pattern: str) -> None:
        """Take a program out of set and report."""
        name = self.file(pattern)
        del self.texts[name]
        (self.folder / name).unlink()
        for rows in (self.row["bed"], *(one["programs"] for one in self.row["passes"])):
            rows[:] = [row for row in rows if row["file"] != name]

    def add(self, pattern: str, number: int, after: int | None = None) -> str:
        """Add a copy of a program as another one of its pass."""
        name = self.file(pattern)
        new = re.sub(r"/\d+-", f"/{number:02d}-", name)
        assert new not in self.texts
        self.texts[new] = self.texts[name]
        for one in self.row["passes"]:
            for row in list(one["programs"]):
                if row["file"] == name:
                    at = len(one["programs"]) if after is None else after
                    one["programs"].insert(at, row | {"file": new})
        return new

    def written(self) -> Path:
        """All of it on disk, with table, figures and hashes redone."""
        for name, text in self.texts.items():
            (self.folder / name).write_bytes(text.encode("ascii"))
        table = [HEADER]
        for blank, number, row in self.programs:
            table += self._rows(blank, number, row)
        (self.folder / "toolpaths.csv").write_text("\n".join(table) + "\n", "ascii")
        self.resealed()
        return self.folder

    def _rows(self, blank: int, number: int, row: dict[str, Any]) -> Iterable[str]:
        """The table of one program as its file has it, and its figures."""
        name = row["file"]
        try:
            trace = read(self.texts[name], file=name)
        except (Refusal, KeyError):
            return []
        first = re.search(r"^G0 X(\S+) Y(\S+)", self.texts[name], re.MULTILINE)
        assert first
        x, y, z = float(first[1]), float(first[2]), 5.0
        prefix = f"{blank},{number},{name.rsplit('/', 1)[-1]}"
        rows = [f"{prefix},1,rapid,{x},{y},{z},,,"]
        for move in trace.moves:
            i, j = "", ""
            if move.centre is not None:
                i, j = (f"{c - s:.4f}" for c, s in zip(move.centre, (x, y), strict=True))
            x, y, z = (
                new if new == new else old for new, old in zip(move.end, (x, y, z), strict=True)
            )
            feed = "" if move.feed is None else f"{move.feed:.4f}"
            kind = "feed" if move.kind == "probe" else move.kind
            rows.append(f"{prefix},{move.line},{kind},{x:.4f},{y:.4f},{z:.4f},{i},{j},{feed}")
        low = min(move.end[2] for move in trace.moves)
        if row["spindle"]:
            row["depth"] = -low
            row["spindle"] = max((event.rpm for event in trace.spindle), default=0.0)
        return rows

    def resealed(self) -> None:
        """Give the report the hashes of the files as they are."""
        files = {
            path.relative_to(self.folder).as_posix(): path
            for path in self.folder.rglob("*")
            if path.is_file() and path.name != "report.json"
        }
        self.row["files"] = [
            {"file": name, "sha256": hashlib.sha256(path.read_bytes()).hexdigest()}
            for name, path in sorted(files.items())
        ]
        self.row["seal"] = seal(self.row)
        (self.folder / "report.json").write_text(to_text(self.row), "utf-8")


def refused_for(folder: Path) -> list[Finding]:
    """Why `verify` refuses a set, but for what table, figures and hashes tell."""
    try:
        found = verify(folder).findings
    except Refusal as refusal:
        found = refusal.findings
    return [f for f in found if f.severity == "stop" and f.code not in TOLD_BY_FIGURES]


def strokes(text: str) -> list[str]:
    """A program as its head and every cut, each from the rapid across on; the last has the end."""
    return re.split(r"(?=^G0 (?:X\S+ Y\S+|X\S+|Y\S+)$)", text, flags=re.MULTILINE)


# the sets

SLOTTED = changed(
    'cutters = ["drill"]\nspoilboard',
    'cutters = ["drill"]\nborer = "fine"\nspoilboard',
    changed(
        "[cutters.mill]",
        '[cutters.fine]\npreset = "endmill-1"\n\n[cutters.mill]',
        changed(
            "size = [60.0, 50.0]",
            "size = [90.0, 50.0]",
            # one lap around each piece, so that none is linked to another
            changed(
                "[cutters.vee]", "count = 2\n\n[cutters.vee]", changed("gap = 0.3", "gap = 0.1")
            ),
        ),
    ),
)


def slotted(space: Modelspace) -> None:
    """The small board with a slot, a bored hole in a round pad, and a cut-out."""
    small_job.edge(space)
    small_job.copper(space)
    wells = {"layer": "wells"}
    small_job.track(space, [(5.0, 14.0), (9.0, 16.0)], width=2.6)
    space.add_lwpolyline([(5.0, 14.0), (9.0, 16.0)], dxfattribs={**wells, "const_width": 1.0})
    ring = space.add_hatch(dxfattribs={"layer": "sheen"})
    ring.paths.add_edge_path().add_arc((25.0, 14.0), 2.5, 0, 360)
    space.add_circle((25.0, 14.0), 1.5, dxfattribs={"layer": "wells"})
    corners = ((12.0, 9.0), (18.0, 9.0), (18.0, 11.5), (12.0, 11.5))
    for a, b in zip(corners, (*corners[1:], corners[0]), strict=True):
        space.add_line(a, b, dxfattribs={"layer": "shore"})


MIDDLE = changed(
    'cutters = ["vee"]\n\n[drilling]',
    'cutters = ["vee"]\ncourse = "middle"\n\n[clearing]\ncutters = ["fine"]\ndepth = 0.1\n\n'
    "[drilling]",
    changed(
        "[cutters.mill]",
        "[[board.clear]]\ncorners = [[18.0, 10.0], [28.0, 10.0], [28.0, 18.0], [18.0, 18.0]]\n\n"
        '[cutters.fine]\npreset = "endmill-1"\n\n[cutters.mill]',
    ),
)

SETS: dict[str, tuple[str, Callable[[Modelspace], None]]] = {
    "two passes": (strip_set.JOB, strip_set.strip),
    "nested": (SLOTTED, slotted),
    "middle": (MIDDLE, small_job.whole),
}


def made(folder: Path, name: str) -> Path:
    """One of the sets, prepared."""
    text, draw = SETS[name]
    prepare(small_job.put(folder, text, draw), folder / "set")
    return folder / "set"
