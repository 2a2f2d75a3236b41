"""Every way of spelling programs is read back, proved, and cuts the same copper.

What changes motion (arcs, cycles, decimals) is walked as the full product, each one proved on a
small board; what changes letters alone (comments, line numbers, line ends, dwells, percent
lines, the last word, a person's own lines, who switches the spindle) as all pairs, with all of
them plain and all of them changed, on every one of those.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from millprep.model.dialect import FLATTENED, Dialect
from millprep.model.finding import Refusal
from millprep.verify.prove import Proved
from millprep.verify.trace import Trace, TraceMove
from tests.helpers import dialects
from tests.helpers.dialects import Made

MOTION: list[dict[str, Any]] = [
    {"arcs": arcs, "cycles": cycles, "decimals": decimals}
    for arcs, cycles, decimals in itertools.product((True, False), (False, True), (2, 3, 4, 5, 6))
    if not (arcs and decimals == 2)  # refused by the job: no arc is exact enough
]
LETTERS: dict[str, tuple[Any, ...]] = {
    "comments": ("brackets", "semicolon", "none"),
    "line_numbers": (False, True),
    "line_ends": ("lf", "crlf"),
    "dwell_unit": ("s", "ms"),
    "percent": (False, True),
    "end": ("M2", "M30"),
    "lines": ((), ("M8", "G61")),
    "by_program": (True, False),
}


def pairs(chosen: dict[str, Any]) -> set[tuple[tuple[str, Any], tuple[str, Any]]]:
    return set(itertools.combinations(sorted(chosen.items(), key=lambda item: item[0]), 2))


def all_pairs() -> list[dict[str, Any]]:
    """Few choices of all letters in which any two values of two features stand together once."""
    every = [
        dict(zip(LETTERS, values, strict=True)) for values in itertools.product(*LETTERS.values())
    ]
    found = [every[0], every[-1]]
    left = set().union(*map(pairs, every)) - pairs(every[0]) - pairs(every[-1])
    while left:
        best = max(every, key=lambda one: len(pairs(one) & left))
        found.append(best)
        left -= pairs(best)
    return found


def dialect_of(motion: dict[str, Any], letters: dict[str, Any]) -> tuple[Dialect, bool]:
    letters = dict(letters)
    lines, by_program = letters.pop("lines"), letters.pop("by_program")
    ends = ("M9",) if lines else ()
    return Dialect(**motion, **letters, start_lines=lines, end_lines=ends), by_program


@pytest.fixture(scope="module")
def board(tmp_path_factory: pytest.TempPathFactory) -> Made:
    return dialects.made(tmp_path_factory.mktemp("dialects"), dialects.NO_HOPS)


@pytest.mark.parametrize("decimals", [3, 6])
def test_hops_are_proved_with_few_decimals_and_many(decimals: int, tmp_path: Path) -> None:
    (own := tmp_path / "own").mkdir()
    board = dialects.made(own)
    dialect = Dialect(decimals=decimals)
    machine = board.machine(dialect)
    traces = board.read(board.written(tmp_path / "new", machine), dialect)
    low = [
        move
        for trace in traces
        for move in trace.moves
        if move.kind == "rapid" and move.end[2] < machine.clearance
        and math.dist(move.start[:2], move.end[:2]) > 0.1
    ]  # fmt: skip
    assert low
    proved = board.proved(tmp_path / "new", machine)
    assert [f for f in proved.findings if f.severity != "note"] == []


@pytest.fixture(scope="module")
def plain(board: Made) -> list[Trace]:
    texts = [(board.folder / p.file).read_text("ascii") for p in board.cut_set.programs]
    return board.read(texts, Dialect())


@pytest.fixture(scope="module")
def copper(board: Made) -> shapely.Geometry:
    return whole(board.proved(board.folder, board.plan.machine))


def whole(proved: Proved) -> shapely.Geometry:
    return shapely.union_all([part.shape for one in proved.as_cut for part in one.parts])


def test_the_board_has_one_of_everything(board: Made) -> None:
    moves = {m.motion for p in board.cut_set.programs for m in p.moves}
    assert moves == {"rapid", "feed", "arc_cw", "arc_ccw"}
    works = {w for p in board.cut_set.programs for w in p.works}
    assert works >= {"isolate", "drill", "bore", "profile"}
    deep = next(p for p in board.cut_set.programs if p.cutter.name == "deep")
    assert sum(m.motion == "feed" for m in deep.moves) > 1, "it withdraws"
    assert any(one.tabs for one in board.cut_set.blanks[0].cuts.profiles)


# How far one motion is from another.


def off(move: TraceMove, point: Sequence[float]) -> float:
    """Distance of a place from a move, mm: in the plane, and of the heights."""
    x, y, z = point
    (x0, y0, z0), (x1, y1, z1) = move.start, move.end
    high = max(min(z0, z1) - z, z - max(z0, z1), 0.0)
    if move.centre is not None:
        flat = abs(math.dist((x, y), move.centre) - math.dist(move.end[:2], move.centre))
        near = math.hypot(x - x1, y - y1)
        return max(high, min(flat, near))
    run = math.hypot(x1 - x0, y1 - y0)
    if run == 0:
        return max(high, math.hypot(x - x0, y - y0))
    t = min(max(((x - x0) * (x1 - x0) + (y - y0) * (y1 - y0)) / run**2, 0.0), 1.0)
    return max(high, math.hypot(x - x0 - t * (x1 - x0), y - y0 - t * (y1 - y0)))


def along(move: TraceMove) -> Iterator[tuple[float, float, float]]:
    """Places on a move; an arc less than half a turn more or less."""
    for t in np.linspace(0, 1, 9).tolist():
        x, y, z = (a + (b - a) * t for a, b in zip(move.start, move.end, strict=True))
        if move.centre is not None:
            cx, cy = move.centre
            a = math.atan2(move.start[1] - cy, move.start[0] - cx)
            turn = math.atan2(move.end[1] - cy, move.end[0] - cx) - a
            sign = -1.0 if move.kind == "arc_cw" else 1.0
            a += sign * ((sign * turn) % (2 * math.pi)) * t
            radius = math.dist(move.end[:2], move.centre)
            x, y = cx + radius * math.cos(a), cy + radius * math.sin(a)
        yield (x, y, z)


def known(trace: Trace) -> list[TraceMove]:
    """The moves whose start and end are known, those of no length left out."""
    return [
        m
        for m in trace.moves
        if not math.isnan(sum(m.start) + sum(m.end)) and (m.start != m.end or m.centre)
    ]


def farthest(one: Trace, other: Trace, close: float) -> float:
    """The farthest that `other` runs from `one`, whose every move it makes, in one or several.

    A move ends where it comes within `close` of the end of the same kind's.
    """
    rest = known(other)
    worst = 0.0
    for move in known(one):
        short = math.dist(move.start, move.end) <= 1.5 * close
        if short and not (rest and near(rest[0].end, move.end, close) and same(rest[0], move)):
            continue  # shorter than the last digit, and left out
        gone = False
        while not gone:
            part = rest.pop(0)
            assert same(part, move)
            worst = max(worst, *(off(move, point) for point in along(part)))
            gone = near(part.end, move.end, close)
    assert rest == []
    return worst


def test_a_motion_that_runs_off_is_found(plain: list[Trace]) -> None:
    one = next(t for t in plain if t.cycles == () and "isolate" in t.file)
    assert farthest(one, one, 2e-4) < 1e-4
    k = next(i for i, m in enumerate(one.moves) if m.centre and m.feed)
    arc = one.moves[k]
    straight = arc._replace(kind="feed", centre=None)
    spoilt = replace(one, moves=(*one.moves[:k], straight, *one.moves[k + 1 :]))
    assert farthest(spoilt, one, 2e-4) > 2 * FLATTENED


def near(one: Sequence[float], other: Sequence[float], close: float) -> bool:
    return max(abs(a - b) for a, b in zip(one, other, strict=True)) <= close


def same(one: TraceMove, other: TraceMove) -> bool:
    """Whether both cut or both travel."""
    return (one.feed is None) == (other.feed is None)


def holes(trace: Trace) -> dict[tuple[float, float], tuple[float, float]]:
    """Where a drill goes how deep, and at what feed."""
    found: dict[tuple[float, float], tuple[float, float]] = {}
    for move in trace.moves:
        if move.feed is not None and move.end[2] < 0:
            x, y, z = (round(v, 3) for v in move.end)
            deepest = min(z, found.get((x, y), (z, 0.0))[0])
            found[x, y] = (deepest, round(move.feed, 2))
    return found


@pytest.mark.parametrize("motion", MOTION, ids=str)
def test_every_motion_is_proved_and_cuts_the_same(
    motion: dict[str, Any], board: Made, plain: list[Trace], copper: shapely.Geometry,
    tmp_path: Path,
) -> None:  # fmt: skip
    dialect = Dialect(**motion)
    machine = board.machine(dialect)
    traces = board.read(board.written(tmp_path, machine), dialect)
    proved = board.proved(tmp_path, machine)
    assert [f for f in proved.findings if f.severity != "note"] == []
    # half a digit each way, and what a flattened arc leaves
    far = dialect.digit / math.sqrt(2) + (0.0 if dialect.arcs else FLATTENED) + 1e-4
    for program, one, other in zip(board.cut_set.programs, plain, traces, strict=True):
        drills = program.cutter.name in ("deep", "drill")
        assert bool(other.cycles) == (drills and dialect.cycles)
        if other.cycles:
            assert len(other.cycles) == len(holes(one))
            apart = max(
                abs(a - b)
                for (place, result), (place2, told2) in zip(
                    sorted(holes(one).items()), sorted(holes(other).items()), strict=True
                )
                for a, b in zip(place + result, place2 + told2, strict=True)
            )
            assert apart <= far + 1e-3
        else:
            assert farthest(one, other, max(dialect.digit, 2e-4)) <= far, program.file
    edges = shapely.length(copper)
    assert shapely.area(shapely.symmetric_difference(copper, whole(proved))) <= edges * far


@pytest.mark.parametrize("letters", all_pairs(), ids=lambda one: "-".join(map(str, one.values())))
def test_letters_change_no_motion(letters: dict[str, Any], board: Made, tmp_path: Path) -> None:
    for motion in MOTION:
        dialect, by_program = dialect_of(motion, letters)
        bare = board.read(
            board.written(tmp_path, board.machine(Dialect(**motion))), Dialect(**motion)
        )
        machine = board.machine(dialect, spindle="program" if by_program else "hand")
        traces = board.read(board.written(tmp_path, machine), dialect)
        for one, other in zip(bare, traces, strict=True):
            assert len(one.moves) == len(other.moves)
            for a, b in zip(one.moves, other.moves, strict=True):
                # places are unknown before the first is told
                assert str(a._replace(line=0)) == str(b._replace(line=0))
            assert [d.seconds for d in one.dwells] == [d.seconds for d in other.dwells]
            assert other.ended == dialect.end
    proved = board.proved(tmp_path, machine)
    assert [f for f in proved.findings if f.severity != "note"] == []


def test_all_pairs_are_there() -> None:
    every = itertools.product(*LETTERS.values())
    want = set().union(*(pairs(dict(zip(LETTERS, one, strict=True))) for one in every))
    assert set().union(*map(pairs, all_pairs())) == want
    assert len(all_pairs()) <= 16


def test_a_machine_that_says_nothing_gets_what_it_always_got(board: Made, tmp_path: Path) -> None:
    texts = board.written(tmp_path, board.machine(Dialect()))
    for text in texts:
        assert text.startswith("(job lamp test piece, set ")
        assert text.endswith("\nM2\n")
    cutting = texts[-1]
    assert cutting.count("(MSG") == 1, "for the look at Z zero"
    assert cutting.endswith("M5\nM2\n")


# What contradicts is found.


@pytest.mark.parametrize("feature", ["arcs", "cycles", *list(LETTERS)[:6], "decimals"])
def test_a_program_in_another_dialect_is_refused(feature: str, board: Made, tmp_path: Path) -> None:
    other: dict[str, Any] = {
        "arcs": False, "cycles": True, "comments": "semicolon", "line_numbers": True,
        "line_ends": "crlf", "percent": True, "end": "M30", "decimals": 3,
        "dwell_unit": "ms",
    }  # fmt: skip
    mine, theirs = Dialect(), replace(Dialect(), **{feature: other[feature]})
    for written, machine in ((mine, theirs), (theirs, mine)):
        board.written(tmp_path, board.machine(written))
        allowed = (feature, written) in (
            # few decimals are a number like any other, and a cycle need not be used
            ("decimals", theirs),
            ("cycles", mine),
            ("arcs", theirs),
        )
        codes = found(board, tmp_path, board.machine(machine))
        assert codes <= {
            "dialect-differs",
            "rs274-error",
            "spindle-not-settled",
            "dwell-too-long",
        }
        assert bool(codes) != allowed, codes


def found(board: Made, folder: Path, machine: Any) -> set[str]:
    try:
        findings = board.proved(folder, machine).findings
    except Refusal as refusal:
        findings = refusal.findings
    return {f.code for f in findings if f.severity == "stop"}


def test_a_row_that_tells_another_depth_is_found(board: Made, tmp_path: Path) -> None:
    machine = board.machine(Dialect(cycles=True, arcs=False))
    board.written(tmp_path, machine)
    table = tmp_path / "toolpaths.csv"
    text = table.read_text()
    rows = [row["z"] for row in dialects.rows(tmp_path) if "drill-0.6" in row["program"]]
    deepest = min(rows, key=float)
    head, _, tail = text.rpartition(f",{deepest},")
    assert found(board, tmp_path, machine) == set()
    table.write_text(f"{head},{float(deepest) - 0.001:.4f},{tail}")
    assert found(board, tmp_path, machine) == {"file-differs"}


def test_few_decimals_are_reported_with_the_figure(tmp_path: Path) -> None:
    text = dialects.BOARD.replace(
        'preset = "small-mill-300"\n',
        'preset = "small-mill-300"\ndialect = { arcs = false, decimals = 2 }\n',
    )
    (raised,) = [f for f in dialects.made(tmp_path, text).cut_set.findings if f.severity == "warn"]
    assert raised.code == "decimals-few"
    assert "With 2 decimals a copper edge may lie 0.023 mm off" in raised.message


def test_corners_that_blending_cuts_short_count(tmp_path: Path) -> None:
    """5 mm/s at 150 mm/s² cut a corner 0.042 mm short; a stated tolerance counts as it is."""
    preset = 'preset = "small-mill-300"\n'
    blending = f'{preset}path_mode = "blending"\nacceleration = 150.0\n'
    for name in ("short", "stated"):
        (tmp_path / name).mkdir()
    made = dialects.made(tmp_path / "short", dialects.BOARD.replace(preset, blending))
    (raised,) = [f for f in made.cut_set.findings if f.code == "corners-cut-short"]
    assert "At 300 mm/min blending may cut corners 0.042 mm short" in raised.message
    assert "a copper edge may lie 0.053 mm off" in raised.message
    texts = [(made.folder / p.file).read_text("ascii") for p in made.cut_set.programs]
    assert all("\nG64\n" in text and "G61" not in text for text in texts)
    stated = f'{preset}path_mode = "blending"\npath_tolerance = 0.003\n'
    made = dialects.made(tmp_path / "stated", dialects.BOARD.replace(preset, stated))
    assert [f for f in made.cut_set.findings if f.severity == "warn"] == []
    texts = [(made.folder / p.file).read_text("ascii") for p in made.cut_set.programs]
    assert all("\nG64 P0.0030\n" in text for text in texts)


def test_a_program_too_long_for_its_line_numbers_is_refused(
    board: Made, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    machine = board.machine(Dialect(line_numbers=True))
    longest = max(text.count("\n") for text in board.written(tmp_path, machine))
    monkeypatch.setattr("millprep.gcode.writing.LAST_NUMBER", longest - 1)
    with pytest.raises(Refusal, match=f"has {longest} lines") as refused:
        board.written(tmp_path, machine)
    assert [f.code for f in refused.value.findings] == ["program-too-long"]
    board.written(tmp_path, board.machine(Dialect()))
