"""Programs of a pass in one file: what is joined, and what a person must see stays apart."""

from __future__ import annotations

from dataclasses import replace

import shapely

from millprep.gcode.build import build
from millprep.gcode.writing import by_file
from millprep.geometry.letters import strokes
from millprep.geometry.pose import Pose
from millprep.model.cut import Cut, Engraving, HoleCut
from millprep.model.dialect import ToolChange
from millprep.model.milling_pass import MillingPass
from millprep.model.program import Program
from tests.helpers.workshop import MACHINE, drill, profiling, vee

PASS = MillingPass(1, 2, shapely.box(0, 0, 100, 80), Pose(), (), (50.0, 5.0))
NUMBER = [Engraving(path, "vee", 0.1, "number 2") for path in strokes("2", 3.0, (10.0, 10.0))]
CUTS: tuple[Cut, ...] = (
    HoleCut((30.0, 30.0), 1.0, "drill1", 1.8, "drill", 0, "h1"),
    HoleCut((30.0, 40.0), 2.0, "drill2", 1.8, "drill", 0, "h2"),
    *NUMBER,
)
WAYS: tuple[ToolChange, ...] = ("pause", "changer")
CUTTERS = (drill(1.0), drill(2.0), vee())


def built(tool_change: ToolChange, cuts: tuple[Cut, ...] = CUTS) -> tuple[Program, ...]:
    machine = replace(MACHINE, tool_change=tool_change)
    return build(cuts, PASS, CUTTERS, machine, profiling(), shown=[(20.0, 20.0)], ahead=NUMBER[:1])


def names(programs: tuple[Program, ...]) -> list[str]:
    return [p.file.removeprefix("blank-1/pass-2/") for p in programs]


def test_by_default_every_cutter_has_its_file() -> None:
    assert names(built("files")) == [
        "01-dry-run-vee.ngc", "02-engrave-vee.ngc", "03-engrave-vee.ngc", "04-drill-1.0.ngc",
        "05-drill-2.0.ngc",
    ]  # fmt: skip


def test_dry_runs_and_verniers_stay_files_of_their_own() -> None:
    for way in WAYS:
        programs = built(way)
        assert names(programs) == [
            "01-dry-run-vee.ngc", "02-engrave-vee.ngc", *["03-engrave-to-drill.ngc"] * 3,
        ]  # fmt: skip
        assert [len(group) for group in by_file(programs)] == [1, 1, 3]
        apart = built("files")
        assert [replace(p, file="") for p in programs] == [replace(p, file="") for p in apart]


def test_one_cutter_alone_keeps_its_name() -> None:
    assert names(built("pause", CUTS[:1]))[-1] == "03-drill-1.0.ngc"
