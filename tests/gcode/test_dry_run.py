"""A dry run: above the copper, the spindle off, first in its pass; and lines that are engraved."""

from __future__ import annotations

import io
import math
from dataclasses import replace

import pytest
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.gcode import dry_run, rs274
from millprep.gcode.build import build
from millprep.gcode.rs274 import TextSink
from millprep.gcode.run_time import figures_of
from millprep.gcode.writing import TableSink
from millprep.geometry.letters import strokes
from millprep.geometry.path import Path
from millprep.geometry.pose import Pose
from millprep.model.blank import Box, Clamp
from millprep.model.cut import Cut, Engraving, HoleCut, Lap
from millprep.model.job.setup import RegistrationPlan
from millprep.model.machine import Machine
from millprep.model.milling_pass import MillingPass, RegistrationHole
from millprep.model.program import Program
from millprep.verify import motion, reader
from tests.helpers.workshop import BLANK, MACHINE, drill, mill, profiling, vee

SHOWN = ((20.0, 20.0), (80.0, 60.0))
PASS = MillingPass(1, 2, shapely.box(0, 0, 100, 80), Pose(), (), (50.0, 5.0))
CUTS: tuple[Cut, ...] = (
    HoleCut((30.0, 30.0), 1.0, "drill1", 1.8, "drill", 0, "h1"),
    *(Engraving(path, "vee", 0.1, "number 2") for path in strokes("2", 3.0, (10.0, 10.0))),
)


def made(*, by_program: bool = True) -> tuple[str, ...]:
    """The text of every program of a pass."""
    machine = replace(MACHINE, spindle="program" if by_program else "hand")
    found = []
    for program in build(CUTS, PASS, (drill(1.0), vee()), machine, profiling(), SHOWN):
        text = io.StringIO()
        rs274.run(program, TextSink(text.write, "0123", "job", machine))
        trace = reader.read(text.getvalue(), file=program.file)
        findings = motion.check(
            trace, cutter=program.cutter, machine=machine, clamps=(), mill_pass=PASS,
            blank=BLANK, spoilboard=6.0, file=program.file, at=program.start[:2],
        )  # fmt: skip
        assert findings == ()
        found.append(text.getvalue())
    return tuple(found)


@pytest.mark.parametrize("by_program", [True, False])
def test_a_dry_run_passes_every_rule_and_never_starts_the_spindle(by_program: bool) -> None:
    dry, *cutting = made(by_program=by_program)
    assert "M3" not in dry
    assert "start the spindle" not in dry
    assert dry.count("G4 P4.0") == len(SHOWN)
    heights = [
        float(word[1:])
        for line in dry.splitlines()
        if not line.startswith("(")
        for word in line.split()
        if word.startswith("Z")
    ]
    assert min(heights) == 1.0
    for text in cutting:
        assert ("M3" in text) == by_program


def test_it_is_the_first_program_with_the_cutter_that_cuts_first() -> None:
    programs = build(CUTS, PASS, (drill(1.0), vee()), MACHINE, profiling(), SHOWN)
    files = [program.file.rsplit("/", 1)[-1] for program in programs]
    assert files == ["01-dry-run-vee.ngc", "02-engrave-vee.ngc", "03-drill-1.0.ngc"]
    # nothing to show, and it goes around all the same; nothing to cut, nothing at all
    assert [p.works for p in build(CUTS, PASS, (drill(1.0), vee()), MACHINE, profiling())] == [
        ("dry-run",), ("engrave",), ("drill",),
    ]  # fmt: skip
    assert build((), PASS, (), MACHINE, profiling(), SHOWN) == ()


CLAMP = Clamp(Box(25.0, 0.0, 40.0, 30.0), 6.5)
TIP = mill(2.0)
PROBE = RegistrationPlan(
    method="measure",
    probe="electrical",
    probe_cutter=TIP,
    cutters=(),
    pin_depth=4.0,
    pin_diameter=3.0,
)
HOLE = RegistrationHole("r1", (80.0, 60.0), (80.0, 60.0), 4.0, "locate", 1, 2)


def around(
    machine: Machine = MACHINE, clamps: tuple[Clamp, ...] = (), cuts: tuple[Cut, ...] = CUTS
) -> tuple[Program, tuple[Program, ...]]:
    dry, *others = build(cuts, PASS, (drill(1.0), vee()), machine, profiling(), clamps=clamps)
    return dry, tuple(others)


def reach(programs: tuple[Program, ...]) -> BaseGeometry:
    """All that cutters pass over, arcs as they run, by shapely alone."""
    shapes = []
    for one in programs:
        at = one.start
        for move in one.moves:
            line: BaseGeometry = shapely.LineString([at[:2], (move.x, move.y)])
            if move.i is not None and move.j is not None:
                centre = (at[0] + move.i, at[1] + move.j)
                # more than the arc, and never more than its circle
                line = (
                    shapely.Point(centre)
                    .buffer(math.hypot(move.i, move.j))
                    .intersection(line.buffer(2 * math.hypot(move.i, move.j)))
                )
            shapes.append(line.buffer(one.cutter.width(max(one.depth, 0.0)) / 2))
            at = (move.x, move.y, move.z)
    return shapely.union_all(shapes)


def ring(dry: Program) -> shapely.Polygon:
    return shapely.Polygon([(m.x, m.y) for m in dry.moves if m.motion == "feed"])


def test_it_goes_around_all_that_the_pass_cuts_and_no_farther_than_it_must() -> None:
    dry, others = around()
    seen = reach(others)
    assert ring(dry).buffer(1e-6).covers(seen)
    assert seen.convex_hull.buffer(0.3).covers(ring(dry))
    assert len(dry.moves) < 40


def test_it_stays_above_the_tallest_clamp_from_its_first_move_on() -> None:
    dry, _ = around(clamps=(CLAMP, replace(CLAMP, height=20.0, passes=(1,))))
    assert {move.z for move in dry.moves} == {6.5 + MACHINE.clamp_clearance}
    text = io.StringIO()
    rs274.run(dry, TextSink(text.write, "0123", "job", MACHINE))
    first = next(line for line in text.getvalue().splitlines() if line.startswith("G0"))
    assert first == "G0 Z40.0000"
    assert text.getvalue().count("\nG0 Z8.5000\n") == 1
    trace = reader.read(text.getvalue(), file=dry.file)
    findings = motion.check(
        trace, cutter=dry.cutter, machine=MACHINE, clamps=(CLAMP,), mill_pass=PASS,
        blank=BLANK, spoilboard=6.0, file=dry.file, at=dry.start[:2],
    )  # fmt: skip
    assert findings == ()
    lower = text.getvalue().replace("Z8.5", "Z6.0")
    low = motion.check(
        reader.read(lower, file=dry.file), cutter=dry.cutter, machine=MACHINE, clamps=(CLAMP,),
        mill_pass=PASS, blank=BLANK, spoilboard=6.0, file=dry.file, at=dry.start[:2],
    )  # fmt: skip
    assert {f.code for f in low} == {"clamp-hit"}
    # it would run into the clamp at the height of the rapids
    assert [note for note in dry.notes if "a clamp is in the way of the outline" in note]


def test_beside_a_tall_clamp_it_goes_around_at_the_height_of_rapids_as_well() -> None:
    neighbour = replace(CLAMP, box=Box(33.0, 35.0, 40.0, 45.0))
    dry, _ = around(clamps=(neighbour,))
    (high, low) = (8.5, MACHINE.clearance)
    assert {move.z for move in dry.moves} == {high, low}
    rings = [[(m.x, m.y) for m in dry.moves if (m.motion, m.z) == ("feed", z)] for z in (high, low)]
    # the first feed of the second time goes down at the corner where the first time ended
    assert rings[1] == [rings[0][-1], *rings[0]]
    text = io.StringIO()
    rs274.run(dry, TextSink(text.write, "0123", "job", MACHINE))
    for clamp, said in (
        (neighbour, set()),
        (replace(neighbour, box=Box(32.0, 31.0, 40.0, 45.0)), 1),
    ):
        findings = motion.check(
            reader.read(text.getvalue(), file=dry.file), cutter=dry.cutter, machine=MACHINE,
            clamps=(clamp,), mill_pass=PASS, blank=BLANK, spoilboard=6.0, file=dry.file,
            at=dry.start[:2],
        )  # fmt: skip
        assert {f.code for f in findings} == ({"clamp-hit"} if said else set())


def test_without_clamps_it_runs_at_clearance() -> None:
    dry, _ = around()
    assert {move.z for move in dry.moves} == {MACHINE.clearance}


def test_the_outline_ends_at_the_travel_and_says_so() -> None:
    def edge(x: float) -> tuple[Cut, ...]:
        return (*CUTS, Lap(Path.lines([(x, 30.0), (x, 60.0)]), 0, "c1", 0, "vee", 0.1))

    dry, _ = around(cuts=edge(0.1))
    assert min(move.x for move in dry.moves) == MACHINE.travel.x0
    assert not [n for n in around()[0].notes if "past it" in n]
    dry, _ = around(cuts=edge(0.02))
    assert min(move.x for move in dry.moves) == MACHINE.travel.x0
    assert [n for n in dry.notes if "cutters reach 0.06 mm past it" in n]


def test_clamps_higher_than_the_machine_goes_leave_it_out_and_are_reported() -> None:
    tall = replace(CLAMP, height=MACHINE.above)
    first, *_ = build(CUTS, PASS, (drill(1.0), vee()), MACHINE, profiling(), clamps=(tall,))
    assert first.work == "engrave"
    (findings,) = dry_run.check_clamp_height(PASS, (tall,), MACHINE)
    assert findings.code == "dry-run-left-out"
    assert dry_run.check_clamp_height(PASS, (CLAMP,), MACHINE) == ()
    assert dry_run.height(MACHINE, MACHINE.top - 2.0) == MACHINE.top
    assert dry_run.height(MACHINE, MACHINE.top - 1.9) is None


def test_where_holes_are_touched_the_tip_goes_around_and_the_marks_come_after() -> None:
    found = replace(PASS, registration=(HOLE,))
    programs = build(CUTS, found, (drill(1.0), vee()), MACHINE, profiling(), SHOWN, probe=PROBE)
    files = [program.file.rsplit("/", 1)[-1] for program in programs]
    assert files[:4] == [
        "01-dry-run-2.0.ngc", "02-probe-2.0.ngc", "03-dry-run-vee.ngc", "04-engrave-vee.ngc",
    ]  # fmt: skip
    assert all(move.wait == 0 for move in programs[0].moves)
    assert [move.wait for move in programs[2].moves if move.wait] == [4.0] * len(SHOWN)
    assert ring(programs[0]).covers(shapely.Point(HOLE.machine).buffer(1.0))


def test_waits_cost_time_and_leave_the_table_as_it_is() -> None:
    (dry, *_) = build(CUTS, PASS, (drill(1.0), vee()), MACHINE, profiling(), SHOWN)
    still = replace(dry, moves=tuple(move._replace(wait=0.0) for move in dry.moves))
    seconds, tables = [], []
    for program in (dry, still):
        text, table = io.StringIO(), io.StringIO()
        text_sink = TextSink(text.write, "0123", "job", MACHINE)
        rs274.run(program, text_sink, TableSink(table.write, text_sink))
        seconds.append(figures_of(program, MACHINE).seconds)
        lines = text.getvalue().splitlines()
        rows = [row.split(",") for row in table.getvalue().splitlines()]
        for row in rows[3:]:
            assert lines[int(row[3]) - 1].startswith("G")
            assert not lines[int(row[3]) - 1].startswith("G4")
        tables.append([row[4:] for row in rows])
    assert seconds[0] - seconds[1] == pytest.approx(4.0 * len(SHOWN))
    assert tables[0] == tables[1]
