"""Holes touched on four sides: what the program does, and that every rule takes it."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import pytest
import shapely

from millprep.gcode import rs274
from millprep.gcode.build import build
from millprep.gcode.head import HOVER, first_moves
from millprep.gcode.rs274 import TextSink
from millprep.gcode.writing import HEADER, TableSink
from millprep.geometry.pose import Pose
from millprep.model.job.setup import RegistrationPlan
from millprep.model.milling_pass import MillingPass, RegistrationHole
from millprep.model.program import Program
from millprep.verify import motion, reader
from tests.helpers.workshop import BLANK, MACHINE, mill, profiling

HOLES = (
    RegistrationHole("r1", (20.0, 6.0), (20.0, 6.0), 3.02, "locate", 1, 2),
    RegistrationHole("r2", (80.0, 74.0), (80.0, 74.0), 4.0, "key", 1, 2),
    RegistrationHole("w2", (50.0, 40.0), (50.0, 40.0), 4.0, "witness", 1, 2),
)
PASS = MillingPass(1, 2, shapely.box(0, 0, 100, 80), Pose(), HOLES, (50.0, 5.0))
TIP = mill(2.0)
PROBE = RegistrationPlan(
    method="measure",
    probe="electrical",
    probe_cutter=TIP,
    cutters=(),
    pin_depth=4.0,
    pin_diameter=3.0,
)


def program() -> Program:
    (made,) = build((), PASS, (TIP,), MACHINE, profiling(), probe=PROBE)
    return made


def texts() -> tuple[str, str]:
    """Program and table."""
    text, rows = io.StringIO(), io.StringIO(HEADER)
    rows.seek(0, io.SEEK_END)
    lines = TextSink(text.write, "0123", "job", MACHINE)
    rs274.run(program(), lines, TableSink(rows.write, lines))
    return text.getvalue(), rows.getvalue()


def test_it_passes_every_rule_of_touching_and_never_starts_the_spindle() -> None:
    made, (text, _) = program(), texts()
    assert made.file == "blank-1/pass-2/01-probe-2.0.ngc"
    assert "M3" not in text
    trace = reader.read(text, file=made.file)
    findings = motion.check(
        trace, cutter=made.cutter, machine=MACHINE, clamps=(), mill_pass=PASS, blank=BLANK,
        spoilboard=6.0, file=made.file, at=made.start[:2], probing=True,
    )  # fmt: skip
    assert findings == ()


def test_every_hole_but_the_witness_is_touched_on_four_sides() -> None:
    touches = [move for move in program().moves if move.motion == "probe"]
    assert [(t.x, t.y) for t in touches[:4]] == [
        (pytest.approx(20 - 1.22), 6), (pytest.approx(20 + 1.22), 6),
        (20, pytest.approx(6 - 1.22)), (20, pytest.approx(6 + 1.22)),
    ]  # fmt: skip
    assert len(touches) == 8
    assert {(t.z, t.feed) for t in touches} == {(-0.4, 30.0)}
    # a hole that lies off as far as the tip has play is met all the same
    for touch, hole in zip(touches, [HOLES[0]] * 4 + [HOLES[1]] * 4, strict=True):
        aimed = abs(touch.x - hole.machine[0]) + abs(touch.y - hole.machine[1])
        assert aimed >= 2 * (hole.diameter - 2.0) / 2


def test_the_person_looks_before_and_writes_down_after_every_touch() -> None:
    text, _ = texts()
    assert text.count("M0") == 8 + 1
    assert "(MSG, r1 left: write down X as the display shows it, then go on)\nM0\n" in text
    moves = program().moves
    looks = [i for i, move in enumerate(moves) if move.wait]
    assert [(moves[i].x, moves[i].y, moves[i].z) for i in looks] == [
        (*hole.machine, HOVER) for hole in HOLES[:2]
    ]
    assert all(moves[i + 1].z == -0.4 for i in looks)


def test_the_table_holds_a_touch_as_the_feed_to_where_it_is_aimed() -> None:
    _, rows = texts()
    motions = [row["motion"] for row in csv.DictReader(io.StringIO(rows))]
    assert set(motions) == {"rapid", "feed"}
    assert len(motions) - 1 == len(program().moves) + len(first_moves(program(), MACHINE)) + 1


def test_a_pass_without_holes_is_not_touched() -> None:
    first = replace(PASS, registration=HOLES[2:])
    assert build((), first, (TIP,), MACHINE, profiling(), probe=PROBE) == ()
