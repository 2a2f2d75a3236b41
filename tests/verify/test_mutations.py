"""Programs spoilt at random, each by one change: what moves copper is found.

Every change is one that a slip of a disk, an editor or a writer could make. Whether copper
moves is told by the exact areas of the clean and the spoilt sweep; the proof knows nothing
of the clean program.
"""

from __future__ import annotations

import random
import re
from collections import Counter
from functools import cache
from typing import NamedTuple

import shapely

from millprep.model.as_cut import AsCut
from millprep.model.finding import Refusal
from millprep.verify.as_cut import as_cut
from millprep.verify.compare import compare
from millprep.verify.motion import check
from millprep.verify.reader import read
from millprep.verify.trace import MotionRow, Trace, check_rows
from tests.helpers.programs import (
    BLANK,
    DEPTH,
    HEAD,
    MACHINE,
    PASS,
    TAIL,
    around,
    board,
    layout,
    vee,
)

COUNT = 210
THICK = 0.02
"""Copper that moves by less, mm, is left to the tolerances."""
VEE = vee()
HALF = VEE.width(DEPTH) / 2
PIECES = [
    shapely.LineString([(8, 8), (20, 8), (26, 14)]).buffer(0.6, quad_segs=4),
    shapely.LineString([(8, 10.2), (18, 10.2)]).buffer(0.5, quad_segs=4),
    shapely.box(30, 8, 36, 12),
]
LAYOUT = layout(board(PIECES))
CLEAN = HEAD + "".join(around(piece, HALF, quad_segs=8) for piece in PIECES) + TAIL
NEAR = shapely.union_all(PIECES).buffer(HALF)


class Outcome(NamedTuple):
    kind: str
    text: str
    found: bool
    row_found: bool
    moved: bool
    harm: bool


def spoil(rnd: random.Random) -> tuple[str, str]:
    """One change of one line, and its kind."""
    lines = CLEAN.split("\n")
    cutting = [i for i, line in enumerate(lines) if line.startswith("G") and " X" in line]
    i = rnd.choice(cutting)
    kind = rnd.choice(
        ("drop", "twice", "swap", "x", "y", "digit", "sign", "rapid", "z", "point", "word")
    )
    line = lines[i]
    match kind:
        case "drop":
            del lines[i]
        case "twice":
            lines.insert(i, line)
        case "swap":
            lines[i], lines[i + 1] = lines[i + 1], lines[i]
        case "x" | "y":
            by = rnd.choice((0.002, 0.01, 0.03, 0.1, 0.5, 3.0)) * rnd.choice((1, -1))
            lines[i] = re.sub(
                rf"({kind.upper()})([\d.]+)", lambda m: f"{m[1]}{float(m[2]) + by:.4f}", line
            )
        case "digit":
            places = [k for k, c in enumerate(line) if c.isdigit() and k > 2]
            k = rnd.choice(places)
            lines[i] = line[:k] + rnd.choice("0123456789") + line[k + 1 :]
        case "sign":
            lines[i] = line.replace("X", "X-", 1)
        case "rapid":
            lines[i] = line.replace("G1", "G0", 1)
        case "z":
            i = rnd.choice([k for k, text in enumerate(lines) if "Z-" in text])
            depth = rnd.choice((0.0, -0.03, -0.07, -0.12, -0.3, -5.0))
            lines[i] = f"G1 Z{depth:.4f} F60."
        case "point":
            lines[i] = line.replace(".", "", 1)
        case "word":
            lines[i] = line.replace(" Y", " X", 1) if rnd.random() < 0.5 else line[:6]
    return kind, "\n".join(lines)


def cut(trace: Trace) -> AsCut:
    return as_cut(BLANK, [(trace, VEE, PASS)], LAYOUT.placements)


def noticed(trace: Trace, copper: AsCut) -> bool:
    """Whether rules of motion or the comparison have anything to say."""
    motion = check(
        trace, cutter=VEE, machine=MACHINE, clamps=(), mill_pass=PASS, blank=BLANK,
        spoilboard=3.0, file="a",
    )  # fmt: skip
    return bool(motion or compare([copper], LAYOUT, reach=HALF)[1])


@cache
def clean() -> tuple[AsCut, tuple[MotionRow, ...]]:
    trace = read(CLEAN, file="a")
    copper = cut(trace)
    assert not noticed(trace, copper)
    x, y, z = 0.0, 0.0, 5.0
    rows = [MotionRow("rapid", x, y, z, None, None, None)]
    for move in trace.moves:
        x, y, z = (new if new == new else old for new, old in zip(move.end, (x, y, z), strict=True))
        rows.append(MotionRow(move.kind, x, y, z, None, None, move.feed))
    return copper, tuple(rows)


def moved(copper: AsCut) -> shapely.MultiPolygon:
    """Where the copper's edge lies elsewhere by more than `THICK`, at surface or foot."""
    areas = []
    for one, other in zip(clean()[0].grooves, copper.grooves, strict=True):
        for level in ("surface", "foot"):
            change = shapely.symmetric_difference(getattr(one, level), getattr(other, level))
            areas.append(change.buffer(-THICK / 2, quad_segs=2))
    return shapely.MultiPolygon(shapely.get_parts(shapely.union_all(areas)).tolist())


@cache
def outcomes() -> tuple[Outcome, ...]:
    rnd = random.Random(20)
    out = []
    for _ in range(COUNT):
        kind, text = spoil(rnd)
        try:
            trace = read(text, file="a")
        except Refusal:
            out.append(Outcome(kind, text, True, True, False, False))
            continue
        copper = cut(trace)
        change = moved(copper)
        out.append(
            Outcome(
                kind,
                text,
                noticed(trace, copper),
                bool(check_rows(trace, clean()[1], file="a")),
                not change.is_empty,
                change.intersects(NEAR),
            )
        )
    return tuple(out)


def test_copper_that_moves_beside_a_piece_is_found_without_the_table() -> None:
    harmful = [outcome for outcome in outcomes() if outcome.harm]
    assert len(harmful) > 60
    assert [(o.kind, o.text) for o in harmful if not o.found] == []


def test_copper_that_moves_anywhere_is_found() -> None:
    changed = [outcome for outcome in outcomes() if outcome.moved]
    assert [o.kind for o in changed if not (o.found or o.row_found)] == []


def test_some_changes_are_harmless_and_all_kinds_occur() -> None:
    """Or the test would show only that everything is refused."""
    assert any(not outcome.found for outcome in outcomes())
    assert len(Counter(outcome.kind for outcome in outcomes())) == 11
