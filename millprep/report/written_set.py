"""A finished set on disk, as its report tells it: what it takes to prove it again."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import shapely

from millprep.gcode.spoilboard import spoilboard_pass
from millprep.geometry.pose import Pose
from millprep.model.begun import FILE as BEGUN
from millprep.model.blank import Blank
from millprep.model.board import Board
from millprep.model.cutter import Cutter
from millprep.model.finding import Finding
from millprep.model.layout import Layout, Placement
from millprep.model.machine import Machine
from millprep.model.milling_pass import Join, MillingPass
from millprep.model.program import Program
from millprep.model.set_of_programs import InputFile
from millprep.report.old_set import OldSet, unreadable
from millprep.report.old_set import load as load_old

LITTER = {".DS_Store", "Thumbs.db", "desktop.ini"}
"""Files that file managers leave wherever a person looks."""

HEAD = 1000
"""A program names its set within so many bytes."""
NAMES_SET = re.compile(rb"job [^\r\n]*, set ([0-9a-f]{12})\b")

Row = Mapping[str, Any]
ProofRow = Mapping[str, float | None]


@dataclass(frozen=True, slots=True)
class WrittenSet:
    """A set on disk before its job is known.

    Attributes:
        old: its id, inputs and registration.
        files: every other file with its hash; None when the set was made without hashes.
        row: the report itself.
    """

    folder: Path
    old: OldSet
    files: tuple[InputFile, ...] | None
    row: Row

    @property
    def programs(self) -> tuple[str, ...]:
        """The paths of all programs, from the set's folder."""
        rows = [*self.row["bed"], *(p for one in self.row["passes"] for p in one["programs"])]
        return tuple(str(row["file"]) for row in rows)


def load(folder: Path) -> WrittenSet:
    """Read the report of a set.

    Raises:
        Refusal: exit code 2, when the folder holds no set this version understands.
    """
    old = load_old(folder)
    file = folder / "report.json"
    try:
        row = json.loads(file.read_text("utf-8"))
        files = row.get("files")
        told = None if files is None else tuple(InputFile(f["file"], f["sha256"]) for f in files)
        written = WrittenSet(folder, old, told, row)
        assert all(isinstance(name, str) for name in written.programs)
    except (OSError, ValueError, KeyError, TypeError, AssertionError) as fault:
        words = f"is no report of a set ({type(fault).__name__}: {fault})"
        raise unreadable(words, file) from None
    return written


def changed(written: WrittenSet, seal: str) -> tuple[Finding, ...]:
    """Files that are missing, not as they were written, or no part of the set.

    `seal` is the hash that the report ought to carry.
    """
    if written.files is None:
        message = "The set carries no hashes of its files. Make it again with this version."
        return (_stop("set-without-hashes", message, "report.json"),)
    found: list[Finding] = []
    if written.row.get("seal") != seal:
        message = "report.json was edited after it was written. Make the set again."
        found.append(_stop("set-file-changed", message, "report.json"))
    for one in written.files:
        path = written.folder / one.file
        if not path.is_file():
            message = f"{one.file} is missing. Make the set again."
            found.append(_stop("set-file-missing", message, one.file))
        elif hashlib.sha256(path.read_bytes()).hexdigest() != one.sha256:
            if (other := _stranger(path, written.old.id)) is not None:
                found.append(_of_another_set(one.file, other, written.old.id))
                continue
            message = f"{one.file} is not as it was written. Make the set again."
            found.append(_stop("set-file-changed", message, one.file))
    known = {one.file for one in written.files} | {"report.json", BEGUN}
    for path in sorted(written.folder.rglob("*")):
        name = path.relative_to(written.folder).as_posix()
        if not path.is_dir() and name not in known and path.name not in LITTER:
            if (other := _stranger(path, written.old.id)) is not None:
                found.append(_of_another_set(name, other, written.old.id))
                continue
            message = f"{name} is no part of this set. Take it out of the folder."
            found.append(_stop("set-file-foreign", message, name))
    return tuple(found)


def blanks(written: WrittenSet) -> tuple[Blank, ...]:
    """The blanks of the set.

    Raises:
        ValueError, KeyError, TypeError: when the report is damaged.
    """
    return tuple(
        Blank(
            int(b["number"]),
            _pair(b["size"]),
            float(b["thickness"]),
            float(b["copper"]),
            # sets of earlier versions do not tell it
            shapely.Polygon(map(_pair, corners)) if (corners := b.get("outline")) else None,
        )
        for b in written.row["blanks"]
    )


def _stranger(path: Path, own: str) -> str | None:
    """The id of the other set that a program names in its head; None for its own or for none."""
    if path.suffix != ".ngc":
        return None
    with path.open("rb") as file:
        head = NAMES_SET.search(file.read(HEAD))
    other = None if head is None else head[1].decode()
    return None if other == own else other


def _of_another_set(file: str, other: str, own: str) -> Finding:
    message = (
        f"{file} is a program of set {other}, and this is set {own}: their cuts do not fit each "
        "other. Put this set's own program back, or make the set again."
    )
    return _stop("program-of-another-set", message, file)


def layout(written: WrittenSet, boards: Sequence[Board]) -> Layout:
    """Where the boards of the job lie on the set's blanks.

    Raises:
        ValueError, KeyError, TypeError: when the report does not fit these boards.
    """
    by_name = {board.name: board for board in boards}
    return Layout(
        blanks(written),
        tuple(
            Placement(
                index,
                by_name[row["name"]],
                int(row["copy"]),
                int(row["blank"]),
                Pose(*map(float, row["drawing_to_blank"])),
            )
            for index, row in enumerate(written.row["boards"])
        ),
    )


def passes(written: WrittenSet) -> tuple[MillingPass, ...]:
    """The passes of the set.

    Raises:
        ValueError, KeyError, TypeError: when the report is damaged.
    """
    old = written.old
    return tuple(
        MillingPass(
            blank=int(row["blank"]),
            number=int(row["number"]),
            window=shapely.Polygon(row["window"]),
            pose=old.poses[int(row["blank"]), int(row["number"])],
            registration=tuple(
                hole for hole in old.holes[int(row["blank"])] if hole.used_in == int(row["number"])
            ),
            touch=_pair(row["touch"]),
        )
        for row in written.row["passes"]
    )


def programs(
    written: WrittenSet, cutters: Sequence[Cutter], machine: Machine
) -> tuple[Program, ...]:
    """The programs of the set without their moves, which are in the files.

    Raises:
        ValueError, KeyError, TypeError: when the report names a cutter the job does not have.
    """
    by_name = {cutter.name: cutter for cutter in cutters}
    found: list[Program] = []
    for row in written.row["bed"]:
        touch = spoilboard_pass(machine, 1).touch
        found.append(_program(row, 1, 0, by_name, (*touch, machine.clearance)))
    for one in written.row["passes"]:
        start = (*_pair(one["touch"]), machine.clearance)
        blank, number = int(one["blank"]), int(one["number"])
        found += [_program(row, blank, number, by_name, start) for row in one["programs"]]
    return tuple(found)


def joins(
    written: WrittenSet, of: Layout, overruns: Mapping[int, float]
) -> tuple[Join, ...]:
    """The joins of the set, as far as the proof asks for them.

    `overruns` is how far paths are cut past joins, by blank: the report does not hold it.

    Raises:
        ValueError, KeyError, TypeError: when the report is damaged.
    """
    index = {(p.board.name, p.copy): p.index for p in of.placements}
    return tuple(
        Join(
            blank=int(row["blank"]),
            placement=index[row["board"], int(row["copy"])],
            piece=row["piece"],
            at=_pair(row["at"]),
            passes=(int(row["passes"][0]), int(row["passes"][1])),
            overrun=overruns[int(row["blank"])],
            across=(0.0, 1.0),
            predicted=row["predicted_997"],
            tick=float(row["tick"]),
        )
        for row in written.row["joins"]
    )


def _program(
    row: Row,
    blank: int,
    number: int,
    cutters: Mapping[str, Cutter],
    start: tuple[float, float, float],
) -> Program:
    return Program(
        file=row["file"],
        blank=blank,
        mill_pass=number,
        cutter=cutters[row["cutter"]],
        works=(row["work"],),
        depth=float(row["depth"]),
        spindle=float(row["spindle"]),
        start=start,
        moves=(),
    )


def _pair(row: Sequence[float]) -> tuple[float, float]:
    x, y = row
    return (float(x), float(y))


def _stop(code: str, message: str, file: str) -> Finding:
    return Finding(code=code, severity="stop", message=message, file=file)
