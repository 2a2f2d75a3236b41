"""Programs as text and table, read back by the reader that shares nothing with the writer."""

from __future__ import annotations

import csv
import io
import math
import re
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from millprep.gcode import moves
from millprep.gcode.head import WIDTH, comment_text
from millprep.gcode.rs274 import number
from millprep.geometry.path import Path
from millprep.model.cut import HoleCut, Lap, Profile, Tab
from millprep.model.cutter import Cutter
from millprep.model.program import Move, Program
from millprep.verify.reader import read
from tests.helpers.chance import examples
from tests.helpers.gcode_trail import (
    ROUNDED,
    START,
    allowed_rapid,
    apart,
    moves_of,
    pen,
    points,
    program,
    read_back,
    trail,
    written,
)
from tests.helpers.paths import paths
from tests.helpers.workshop import MACHINE, drill, mill, profiling, vee

QUICK = examples(40)


def ring_program(*courses: Path) -> Program:
    one = pen(vee())
    for path in courses:
        moves.lap(one, Lap(path, 0, "c1", 0, "vee", 0.1), 0)
    one.over(*START[:2])
    return program(one.moves, vee())


def profile_program() -> Program:
    cutter = mill(2.0)
    one = pen(cutter)
    tabs = (Tab(20.0, 24.0), Tab(90.0, 94.0))
    moves.profile(one, Profile(ROUNDED, "mill", 1.8, 1.1, tabs, 0, False), profiling(cutter))
    moves.hole(one, HoleCut((20.0, 10.0), 3.2, "mill", 1.8, "bore", 0, "h1"))
    one.over(*START[:2])
    return program(one.moves, cutter, works=("bore", "profile"))


OPENING = 5
"""Moves before those of a program: two up and across, two down for a look, one up."""


def drill_program() -> Program:
    cutter: Cutter = drill(0.6)
    one = pen(cutter)
    for x in (10.0, 20.0, 30.0):
        moves.hole(one, HoleCut((x, 10.0), 0.6, "drill", 2.0, "drill", 0, "h1"))
    one.over(*START[:2])
    return program(one.moves, cutter, works=("drill",))


PROGRAMS = {
    "ring": ring_program(Path.circle((20.0, 20.0), 5.0), Path.lines([(1, 1), (9, 1), (9, 7)])),
    "profile": profile_program(),
    "drill": drill_program(),
}


def same_moves(meant: list[Move], found: list[Move]) -> None:
    """Whether two runs of moves are the same to the last digit; those too short are left out."""
    at = START
    text = tuple(number(v) for v in at)
    todo = []
    for move in meant:
        there = tuple(number(v) for v in move[1:4])
        if there != text or move.i is not None:
            todo.append((at, move))
        at, text = (move.x, move.y, move.z), there
    assert len(todo) == len(found)
    place = START
    for (begin, was), now in zip(todo, found, strict=True):
        assert now.motion == was.motion
        assert now[1:4] == pytest.approx(was[1:4], abs=5.1e-5)
        assert now.feed == was.feed
        if was.i is not None:
            one, two = points(begin, was, 1.0), points(place, now, 1.0)
            # as many points on both, so the same sweep
            assert len(one) == pytest.approx(len(two), abs=1)
            middle = [p[len(p) // 2, :2] for p in (one, two)]
            if len(one) == len(two):
                assert np.hypot(*(middle[0] - middle[1])) <= 0.001
        place = (now.x, now.y, now.z)


@pytest.mark.parametrize("name", PROGRAMS)
def test_what_is_read_is_what_was_meant(name: str) -> None:
    one = PROGRAMS[name]
    trace = read_back(one)
    assert trace.ended == "M2"
    assert not trace.assumed
    read_moves = moves_of(trace)
    # up, to the touch point, down for a look and up, before the moves begin; and up after them
    top = MACHINE.above
    assert [(m.motion, m.z) for m in read_moves[:OPENING]] == [
        ("rapid", top), ("rapid", top), ("feed", 5.0), ("feed", 1.0), ("rapid", START[2])
    ]  # fmt: skip
    assert {(m.x, m.y) for m in read_moves[1:OPENING]} == {START[:2]}
    assert (read_moves[-1].motion, read_moves[-1].z) == ("rapid", top)
    same_moves(list(one.moves), read_moves[OPENING:-1])


@pytest.mark.parametrize("name", PROGRAMS)
def test_no_rapid_moves_below_clearance_but_straight(name: str) -> None:
    trace = read_back(PROGRAMS[name])
    first = trace.moves[0]
    assert first.kind == "rapid"
    assert first.end[2] == MACHINE.above
    assert math.isnan(first.end[0])
    assert [event.before for event in trace.spindle if event.on] == [OPENING]
    for move in trace.moves[1:]:
        if move.kind == "rapid":
            assert allowed_rapid(np.array((move.start, move.end)))
    assert trace.moves[-1].end[2] == MACHINE.above
    assert not trace.spindle[-1].on


@pytest.mark.parametrize("name", PROGRAMS)
def test_the_form_of_the_lines(name: str) -> None:
    """NISTIR 6556: a line holds up to 256 characters; ours 200, every number with its point."""
    text, _ = written(PROGRAMS[name])
    assert text.isascii()
    assert text.endswith("M2\n")
    for line in text.splitlines():
        assert 0 < len(line) <= WIDTH
        if line.startswith("("):
            assert line.count("(") == line.count(")") == 1
            continue
        if re.match(r"G[0123] ", line):
            assert re.fullmatch(r"G[0123]( [XYZIJF]-?\d+\.\d{4})+", line)
        for letter, value in re.findall(r"([A-Z])(\S+)", line):
            if letter not in "GM":
                assert "." in value


@pytest.mark.law
@QUICK
@given(
    st.lists(
        st.tuples(
            st.floats(5e-5, 0.05),
            st.floats(-6.2, 6.2).filter(lambda a: abs(a) > 1e-3),
            st.floats(0, 6.28),
        ),
        min_size=1,
        max_size=12,
    )
)
def test_short_arcs_read_back_within_a_micrometre(arcs: list[tuple[float, float, float]]) -> None:
    """A circle that goes wrong by a full turn would be longer and farther off than that."""
    xy, bulges = [(10.0, 10.0)], []
    for radius, sweep, heading in arcs:
        chord = 2 * radius * abs(math.sin(sweep / 2))
        x, y = xy[-1]
        end = (x + chord * math.cos(heading), y + chord * math.sin(heading))
        if end == xy[-1]:
            continue
        xy.append(end)
        bulges.append(math.tan(sweep / 4))
    if not bulges:
        return
    path = Path(np.array(xy), np.array(bulges))
    if path.closed:
        return
    trace = read_back(ring_program(path))
    low = [m for m in trace.moves if m.end[2] < 0 and m.start[2] < 0]
    start = (*path.start, -0.1)
    made = moves_of(replace(trace, moves=tuple(low)))
    if not made:
        assert path.line().length < 0.002 * len(path)
        return
    at = np.vstack([p[:, :2] for _, p in trail(low[0].start, made, 2e-4)])
    line = shapely.LineString(at)
    assert apart(at, path.line(1e-6)) <= 0.0012
    assert apart(path.flattened(1e-6), line) <= 0.0012
    assert line.length <= path.length + 0.0012 * len(path)
    assert start[:2] == pytest.approx(low[0].start[:2], abs=6e-5)


@pytest.mark.law
@QUICK
@given(st.lists(paths(), min_size=1, max_size=3))
def test_any_path_reads_back_as_it_was_meant(courses: list[Path]) -> None:
    one = ring_program(*courses)
    same_moves(list(one.moves), moves_of(read_back(one))[OPENING:-1])


@pytest.mark.parametrize("name", PROGRAMS)
def test_the_table_says_what_the_text_says(name: str) -> None:
    one = PROGRAMS[name]
    text, table = written(one)
    rows = list(csv.reader(io.StringIO(table)))
    lines = text.splitlines()
    trace = read(text, file=one.file)
    assert rows[0][:3] == ["1", "1", "01-isolate-vee.ngc"]
    assert rows[0][5:] == [*(number(v) for v in START), "", "", ""]
    # of the first move up no word says x and y; all that follows has one row each
    head, body = trace.moves[0].line, trace.moves[1:]
    body_rows = [row for row in rows[1:] if int(row[3]) > head]
    for row, move in zip(body_rows, body, strict=True):
        assert int(row[3]) == move.line
        assert row[4] == move.kind
        assert lines[move.line - 1].startswith("G")
        end = [a if math.isnan(b) else b for a, b in zip(START, move.end, strict=True)]
        assert [float(v) for v in row[5:8]] == pytest.approx(end, abs=1e-9)
        if move.centre is None:
            assert row[8:10] == ["", ""]
        else:
            away = [c - s for c, s in zip(move.centre, move.start, strict=False)]
            assert [float(v) for v in row[8:10]] == pytest.approx(away, abs=1e-9)
        assert (float(row[10]) if row[10] else None) == move.feed


HOSTILE = [
    "a) G0 Z-50 (b",
    "x\nG1 Z-9",
    "x\r\nM3",
    "(((((",
    "%",
    "leucht\u00feurm \u2603",
    "A" * 500,
    "tab\there; /delete",
    "MSG, go",
]


@pytest.mark.parametrize("job", HOSTILE)
def test_names_cannot_leave_their_comment(job: str) -> None:
    one = replace(
        PROGRAMS["drill"], notes=(job,), cutter=replace(PROGRAMS["drill"].cutter, name=job)
    )
    plain, hostile = written(PROGRAMS["drill"])[0], written(one, job)[0]
    assert hostile.isascii()

    def code(text: str) -> list[str]:
        return [line for line in text.splitlines() if not line.startswith("(")]

    assert code(hostile) == code(plain)
    for line in hostile.splitlines():
        assert len(line) <= WIDTH
        if line.startswith("("):
            assert line.endswith(")")
            assert line.count("(") == line.count(")") == 1
    assert len(read(hostile, file="hostile").moves) == len(read(plain, file="plain").moves)


def test_words_for_comments() -> None:
    assert comment_text("lamp (left)") == "lamp [left]"
    assert comment_text("a\nb\tc") == "a_b_c"
    assert comment_text("stop! ~50 % ?") == "stop_ _50 _ _"
    assert len(comment_text("y" * 999)) == WIDTH - 10


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0, "0.0000"), (-0.00001, "0.0000"), (-1.5, "-1.5000"), (1e-9, "0.0000"), (300, "300.0000")],
)
def test_numbers(value: float, text: str) -> None:
    assert number(value) == text


def test_a_machine_whose_spindle_a_person_switches() -> None:
    text, _ = written(PROGRAMS["ring"], machine=replace(MACHINE, spindle="hand"))
    assert "M3" not in text
    assert "M5" not in text
    lines = text.splitlines()
    look, start = (n for n, line in enumerate(lines[:-2]) if line == "M0")
    assert "1 mm above the copper" in lines[look - 1]
    assert lines[start - 1] == "(MSG, start the spindle at 18000 rpm, then go on)"
    assert start > look
    assert lines[-3:] == ["(MSG, stop the spindle)", "M0", "M2"]


def test_the_head_tells_what_to_put_in_and_where_to_zero() -> None:
    text, _ = written(PROGRAMS["ring"])
    assert "cutter vee: vee, tip 0.1 mm, 30 degrees included" in text
    assert "(fit vee, then set Z zero with it on the copper at X5.0000 Y5.0000)" in text
    assert "set 0123456789ab" in text
    assert "deepest Z-0.1000, rapid moves across at Z2.5000, first and last move up to Z40" in text
