"""A set made earlier, as its report tells it: what a refit needs to know and no more."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.finding import Finding, Refusal
from millprep.model.milling_pass import RegistrationHole
from millprep.model.set_of_programs import InputFile
from millprep.model.surface_map import Levelling, SurfaceMap
from millprep.model.vernier import Vernier

FORMAT = 1
"""Of the reports that this reader understands."""


@dataclass(frozen=True, slots=True)
class OldSet:
    """A set on disk.

    Attributes:
        inputs: job file, drawings, then readings of earlier refits.
        poses: (blank, pass) to where the blank was taken to lie, blank to machine.
        holes: every registration hole of a blank; places in machine frame are those of the
            pass that uses the hole.
        verniers: every vernier of a blank.
        chosen: what was chosen beside the job.
        resumed: whether it only goes on where a cutter of another set broke.
        touches: (blank, pass) to where Z is zeroed, machine frame.
        levellings: (blank, pass) to the surface map that its programs follow.
    """

    id: str
    derived_from: str | None
    inputs: tuple[InputFile, ...]
    poses: Mapping[tuple[int, int], Pose]
    holes: Mapping[int, tuple[RegistrationHole, ...]]
    verniers: Mapping[int, tuple[Vernier, ...]] = field(default_factory=dict)
    chosen: tuple[str, ...] = ()
    resumed: bool = False
    touches: Mapping[tuple[int, int], Point] = field(default_factory=dict)
    levellings: Mapping[tuple[int, int], Levelling] = field(default_factory=dict)


def load(folder: Path) -> OldSet:
    """Read the report of a set.

    Raises:
        Refusal: exit code 2, when the folder holds no set this version understands.
    """
    file = folder / "report.json"
    try:
        row = json.loads(file.read_text("utf-8"))
        if row["format"] == FORMAT:
            return _from(row)
        words = f"is of format {row['format']}, this version reads {FORMAT}"
    except OSError as fault:
        words = f"cannot be read ({fault.strerror}); name the folder of a finished set"
    except (ValueError, KeyError, TypeError) as fault:
        words = f"is no report of a set ({type(fault).__name__}: {fault})"
    raise unreadable(words, file)


def unreadable(words: str, file: Path) -> Refusal:
    """The refusal of a folder whose report tells no set; `words` say why."""
    finding = Finding(
        code="set-unreadable", severity="stop", message=f"report.json {words}.", file=str(file)
    )
    return Refusal([finding], exit_code=2)


def _from(row: Mapping[str, Any]) -> OldSet:
    holes: dict[int, tuple[RegistrationHole, ...]] = {}
    verniers: dict[int, tuple[Vernier, ...]] = {}
    poses: dict[tuple[int, int], Pose] = {}
    for one in row["passes"]:
        blank = int(one["blank"])
        poses[blank, int(one["number"])] = Pose(*map(float, one["blank_to_machine"]))
        holes[blank] = holes.get(blank, ()) + tuple(_hole(hole) for hole in one["registration"])
        verniers[blank] = verniers.get(blank, ()) + tuple(
            _vernier(row, blank) for row in one["verniers"]
        )
    return OldSet(
        str(row["set"]),
        row["derived_from"],
        tuple(InputFile(str(i["file"]), str(i["sha256"])) for i in row["inputs"]),
        poses,
        holes,
        verniers,
        tuple(map(str, row.get("chosen", ()))),
        bool(row.get("resumed")),
        {_key(one): (float(one["touch"][0]), float(one["touch"][1])) for one in row["passes"]},
        {_key(one): _levelling(one) for one in row["passes"] if one.get("levelling")},
    )


def _key(row: Mapping[str, Any]) -> tuple[int, int]:
    return int(row["blank"]), int(row["number"])


def _levelling(row: Mapping[str, Any]) -> Levelling:
    """The map that a pass follows."""
    told = row["levelling"]
    return Levelling(
        *_key(row),
        surface=SurfaceMap(np.array(told["x"]), np.array(told["y"]), np.array(told["z"])),
        file=str(told["file"]),
        repeatability=float(told["repeatability"]),
        assumed=bool(told["assumed"]),
        left=float(told["left"]),
    )


def _vernier(row: Mapping[str, Any], blank: int) -> Vernier:
    (x, y), (first, second) = row["at"], row["passes"]
    return Vernier(
        id=str(row["id"]),
        blank=blank,
        at=(float(x), float(y)),
        measures=row["measures"],
        passes=(int(first), int(second)),
        pitch=float(row["pitch"]),
        step=float(row["step"]),
        reach=int(row["reach"]),
    )


def _hole(row: Mapping[str, Any]) -> RegistrationHole:
    (x, y), (u, v) = row["blank"], row["machine"]
    return RegistrationHole(
        id=str(row["id"]),
        blank=(float(x), float(y)),
        machine=(float(u), float(v)),
        diameter=float(row["diameter"]),
        role=row["role"],
        drilled_in=int(row["drilled_in"]),
        used_in=int(row["used_in"]),
    )
