"""A small board with one of everything a program does, written and proved in any dialect."""

from __future__ import annotations

import csv
from dataclasses import dataclass, replace
from pathlib import Path

from ezdxf.layouts.layout import Modelspace

from millprep import job
from millprep.gcode.writing import write_programs
from millprep.model.dialect import Dialect
from millprep.model.job.job import JobPlan
from millprep.model.machine import Machine
from millprep.model.set_of_programs import CutSet
from millprep.verify import prove
from millprep.verify.prove import Proved
from millprep.verify.reader import read
from millprep.verify.trace import Trace
from millprep.workflow.prepare import prepare
from tests.helpers.small_job import changed, copper, edge, put

BOARD = changed(
    'cutters = ["drill"]\n',
    'cutters = ["deep", "drill"]\nborer = "mill"\n',
    changed(
        "[cutters.mill]\n",
        '[cutters.deep]\npreset = "drill-0.8"\ndiameter = 0.6\n\n[cutters.mill]\n',
        # a place that no number of few decimals tells exactly
        changed("tape = true\n", "tape = true\ntouch = [2.123456, 3.654321]\n"),
    ),
)


NO_HOPS = changed("[machine]\n", "[machine]\nhop_height = 20\nmax_plunge = 300\n", BOARD)
"""As machines want it that know drilling cycles: drills neither hop nor go down in two steps."""


def everything(space: Modelspace) -> None:
    """Isolation with arcs, holes drilled at once, with pecks, and bored, a profile with tabs."""
    edge(space)
    copper(space)
    for x, y, hole, land in ((4.0, 14.0, 0.6, 1.4), (26.0, 14.0, 3.0, 5.0)):
        space.add_circle((x, y), hole / 2, dxfattribs={"layer": "wells"})
        ring = space.add_hatch(dxfattribs={"layer": "sheen"})
        ring.paths.add_edge_path().add_arc((x, y), land / 2, 0, 360)


@dataclass(frozen=True)
class Made:
    """A set with its plan."""

    plan: JobPlan
    cut_set: CutSet
    folder: Path

    def machine(self, dialect: Dialect, **changes: object) -> Machine:
        machine = replace(self.plan.machine, dialect=dialect)
        return replace(machine, **changes)  # type: ignore[arg-type]

    def written(self, folder: Path, machine: Machine) -> list[str]:
        """Every program as that machine has it, in a folder; their texts."""
        write_programs(replace(self.cut_set, machine=machine), folder)
        return [(folder / p.file).read_bytes().decode("ascii") for p in self.cut_set.programs]

    def proved(self, folder: Path, machine: Machine) -> Proved:
        """What the programs in a folder prove."""
        plan = replace(self.plan, machine=machine)
        return prove.prove(folder, plan, self.cut_set.blanks)

    def read(self, texts: list[str], dialect: Dialect) -> list[Trace]:
        names = [p.file for p in self.cut_set.programs]
        return [
            read(text, file=name, dialect=dialect) for text, name in zip(texts, names, strict=True)
        ]


def made(folder: Path, text: str = BOARD) -> Made:
    file = put(folder, text, everything)
    cut_set = prepare(file, folder / "set")
    return Made(job.load(file), cut_set, folder / "set")


def rows(folder: Path) -> list[dict[str, str]]:
    with (folder / "toolpaths.csv").open(newline="") as lines:
        return list(csv.DictReader(lines))
