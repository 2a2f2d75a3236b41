"""A program read back, as the arrays that the review page is drawn from."""

from __future__ import annotations

import numpy as np
import pytest

from millprep.model.program import ARC_CCW, FEED, RAPID, Move, Program
from millprep.verify.read_back import trail_of
from millprep.verify.reader import read
from tests.helpers.invented_set import VEE

TEXT = """\
(a head)
G21 G90 G17 G94 G40 G49 G80 G54
G0 Z5.0
S12000 M3
G4 P3.0
G0 X2.0 Y2.0
G1 Z-0.1 F100.0
G4 P0.5
G3 X0.0 Y2.0 I-1.0 J0.0 F200.0
G0 Z5.0
G4 P1.0
M2
"""


def test_lines_kinds_feeds_and_waits() -> None:
    program = Program("p.ngc", 1, 1, VEE, ("isolate",), 0.1, 12000, (7.0, 8.0, 5.0), ())
    trail = trail_of(read(TEXT, file="p.ngc"), program)
    assert trail.line.tolist() == [3, 6, 7, 9, 10]
    assert trail.kind.tolist() == [RAPID, RAPID, FEED, ARC_CCW, RAPID]
    # no word has told X and Y before line 6: the machine stands at the start
    assert trail.xyz.tolist() == [
        [7, 8, 5], [7, 8, 5], [2, 2, 5], [2, 2, -0.1], [0, 2, -0.1], [0, 2, 5],
    ]  # fmt: skip
    assert trail.feed[2:4].tolist() == [100, 200]
    assert np.isnan(trail.feed[[0, 1, 4]]).all()
    assert trail.centre[3].tolist() == [1, 2]
    assert np.isnan(np.delete(trail.centre, 3, axis=0)).all()
    # the wait at the end moves nothing
    assert trail.wait.tolist() == [0, 3, 0, 0.5, 0]


def test_a_program_without_moves() -> None:
    program = Program(
        "p.ngc", 1, 1, VEE, ("isolate",), 0.1, 12000, (0.0, 0.0, 5.0), (Move("rapid", 0, 0, 5),)
    )
    trail = trail_of(read("G21 G90\nM2\n", file="p.ngc"), program)
    assert len(trail) == 0
    assert trail.xyz.tolist() == [[0, 0, 5]]


def test_a_trail_cannot_be_changed() -> None:
    program = Program("p.ngc", 1, 1, VEE, ("isolate",), 0.1, 12000, (0.0, 0.0, 5.0), ())
    trail = trail_of(read(TEXT, file="p.ngc"), program)
    with pytest.raises(ValueError, match="read-only"):
        trail.xyz[0] = 1.0
