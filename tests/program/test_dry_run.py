"""A dry run: above the copper, the spindle off, first in its pass; and lines that are engraved."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
import shapely

from millprep.passes.labels import DIGITS, HEIGHT, WIDTH, strokes
from millprep.program import sink
from millprep.program.build import build
from millprep.program.rs274 import TextSink
from millprep.program.table import TableSink
from millprep.program.tally import TallySink
from millprep.proof import motion, reader
from millprep.values.cut import Cut, Engraving, HoleCut
from millprep.values.milling_pass import MillingPass
from millprep.values.path import Path
from millprep.values.pose import Pose
from tests.paths.bench import BLANK, MACHINE, drill, profiling, vee

SHOWN = ((20.0, 20.0), (80.0, 60.0))
PASS = MillingPass(1, 2, shapely.box(0, 0, 100, 80), Pose(), (), (50.0, 5.0))
CUTS: tuple[Cut, ...] = (
    HoleCut((30.0, 30.0), 1.0, "drill1", 1.8, "drill", 0, "h1"),
    *(Engraving(path, "vee", 0.1, "number 2") for path in strokes("2", (10.0, 10.0))),
)


def made(*, by_program: bool = True) -> tuple[str, ...]:
    """The text of every program of a pass."""
    machine = replace(MACHINE, spindle_by_program=by_program)
    found = []
    for program in build(CUTS, PASS, (drill(1.0), vee()), machine, profiling(), SHOWN):
        text = io.StringIO()
        sink.run(program, TextSink(text.write, "0123", "job", machine))
        trace = reader.read(text.getvalue(), file=program.file)
        told = motion.check(
            trace, cutter=program.cutter, machine=machine, clamps=(), mill_pass=PASS,
            blank=BLANK, spoilboard=6.0, file=program.file, at=program.start[:2],
        )  # fmt: skip
        assert told == ()
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
    assert files == ["01-dry-run-vee.ngc", "02-engrave-vee.ngc", "03-drill-drill1.ngc"]
    # nothing to show, no dry run; nothing to cut, nothing at all
    assert [p.works for p in build(CUTS, PASS, (drill(1.0), vee()), MACHINE, profiling())] == [
        ("engrave",), ("drill",),
    ]  # fmt: skip
    assert build((), PASS, (), MACHINE, profiling(), SHOWN) == ()


def test_waits_cost_time_and_leave_the_table_as_it_is() -> None:
    (dry, *_) = build(CUTS, PASS, (drill(1.0), vee()), MACHINE, profiling(), SHOWN)
    still = replace(dry, moves=tuple(move._replace(wait=0.0) for move in dry.moves))
    seconds, tables = [], []
    for program in (dry, still):
        text, table = io.StringIO(), io.StringIO()
        text_sink, tally = TextSink(text.write, "0123", "job", MACHINE), TallySink(MACHINE)
        sink.run(program, text_sink, TableSink(table.write, text_sink), tally)
        seconds.append(tally.figures.seconds)
        lines = text.getvalue().splitlines()
        rows = [row.split(",") for row in table.getvalue().splitlines()]
        for row in rows[3:]:
            assert lines[int(row[3]) - 1].startswith("G")
            assert not lines[int(row[3]) - 1].startswith("G4")
        tables.append([row[4:] for row in rows])
    assert seconds[0] - seconds[1] == pytest.approx(4.0 * len(SHOWN))
    assert tables[0] == tables[1]


def test_digits_are_drawn_within_their_box_and_all_differ() -> None:
    shapes = {}
    for digit in DIGITS:
        lines = shapely.union_all([path.line() for path in strokes(digit, (0.0, 0.0))])
        x0, y0, x1, y1 = lines.bounds
        assert (x0 >= 0, y0 >= 0, x1 <= WIDTH, y1 <= HEIGHT) == (True,) * 4
        assert (y0, y1) == (0.0, HEIGHT)
        shapes[digit] = lines
    for one, a in shapes.items():
        for other, b in shapes.items():
            if one != other:
                assert shapely.hausdorff_distance(a, b, densify=0.05) > 0.3
    wide = shapely.union_all([path.line() for path in strokes("12", (5.0, 5.0))])
    assert wide.bounds[2] <= 5.0 + 3.0 + WIDTH
    assert all(isinstance(path, Path) for path in strokes("0123456789", (0.0, 0.0)))
