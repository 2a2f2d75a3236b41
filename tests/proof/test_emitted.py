"""Programs of a real set spoilt at random, each by one change, with the hashes left aside.

Whether copper moves is told by the exact areas of the clean and the spoilt sweep. What moves
copper of a board the simulation must find alone; what moves it only in the frame around the
boards, nobody's circuit, simulation and table of motions together; what moves none is let pass
or told, and its copper is the same.
"""

from __future__ import annotations

import random
import re
from collections import Counter
from pathlib import Path
from typing import NamedTuple

import pytest
import shapely

from millprep import job
from millprep.prepare import prepare, read_boards
from millprep.proof.as_cut import as_cut
from millprep.proof.astray import Cutting, astray
from millprep.proof.compare import compare
from millprep.proof.motion import check
from millprep.proof.reader import read
from millprep.proof.rows import check_rows
from millprep.proof.trace import Trace
from millprep.proof.unopened import unopened
from millprep.readback import motion_rows, opened, wanted
from millprep.shop import written_set
from millprep.values.as_cut import AsCut
from millprep.values.blank import Blank
from millprep.values.finding import Refusal
from millprep.values.layout import Layout
from millprep.values.milling_pass import MillingPass
from millprep.values.plan import JobPlan
from millprep.values.program import Program
from tests.cli import small

COUNT = 220
THICK = 0.02
"""Copper that moves by less, mm, is left to the tolerances."""


class Bench:
    """A small set as it was written, and what its programs cut."""

    def __init__(self, folder: Path) -> None:
        out = folder / "out"
        prepare(small.put(folder), out)
        self.plan: JobPlan = job.load(folder / "job.toml")
        written = written_set.load(out)
        self.layout: Layout = written_set.layout(written, read_boards(self.plan))
        self.blank: Blank = self.layout.blanks[0]
        (self.mill_pass,) = written_set.passes(written)
        self.programs = written_set.programs(written, self.plan.cutters, self.plan.machine)
        self.texts = [(out / p.file).read_text("ascii") for p in self.programs]
        self.traces = [read(text, file="a") for text in self.texts]
        self.rows = motion_rows(out / "toolpaths.csv", self.programs)
        self.copper = self.cut(self.traces)
        (placement,) = self.layout.placements
        self.board = placement.pose.shape(placement.board.outline)
        assert not any(self.told(k, self.traces) for k in range(len(self.programs)))

    def cut(self, traces: list[Trace]) -> AsCut:
        cuts = [
            (trace, program.cutter, self.mill_pass)
            for trace, program in zip(traces, self.programs, strict=True)
        ]
        return as_cut(self.blank, cuts, self.layout.placements)

    def told(self, k: int, traces: list[Trace], copper: AsCut | None = None) -> bool:
        """Whether rules of motion for program k, or the cut copper, have anything to say."""
        program: Program = self.programs[k]
        mill_pass: MillingPass = self.mill_pass
        motion = check(
            traces[k], cutter=program.cutter, machine=self.plan.machine, clamps=(),
            mill_pass=mill_pass, blank=self.blank, spoilboard=self.plan.drilling.spoilboard,
            file="a", at=program.start[:2],
        )  # fmt: skip
        depth = self.plan.isolation.depth
        (cutter,) = self.plan.isolation.cutters
        reach = cutter.width(depth) / 2
        slope = reach - cutter.width(depth, self.blank.copper) / 2
        where = [copper or self.copper]
        faults = compare(where, self.layout, reach=reach, slope=slope)[1]
        gap = opened(self.plan, self.blank)
        assert gap is not None
        narrow = unopened(where[0], self.layout.placements[0], gap)
        return bool(motion or faults or narrow or self.strays(traces))

    def strays(self, traces: list[Trace]) -> bool:
        """Whether anything is cut where nothing asks for it."""
        cuts = [
            Cutting("a", trace, program.cutter, self.mill_pass)
            for trace, program in zip(traces, self.programs, strict=True)
        ]
        here = self.layout.placements
        asked = wanted(self.plan, self.blank, here)
        return bool(astray(self.blank, cuts, here, [self.mill_pass], (), asked))

    def moved(self, copper: AsCut) -> shapely.Geometry:
        """Where an edge lies elsewhere by more than `THICK`, at surface or foot."""
        areas = []
        for one, other in zip(self.copper.grooves, copper.grooves, strict=True):
            for level in ("surface", "foot"):
                change = shapely.symmetric_difference(getattr(one, level), getattr(other, level))
                areas.append(change.buffer(-THICK / 2, quad_segs=2))
        return shapely.union_all(areas)


class Outcome(NamedTuple):
    kind: str
    work: str
    text: str
    found: bool
    row_found: bool
    moved: bool
    harm: bool


def spoil(rnd: random.Random, text: str) -> tuple[str, str]:
    """One change of one line of a program, and its kind."""
    lines = text.split("\n")
    i = rnd.choice([i for i, line in enumerate(lines) if re.match(r"G[0-3] .*[XY]", line)])
    line = lines[i]
    kind = rnd.choice(("drop", "twice", "swap", "move", "digit", "sign", "rapid", "z", "arc"))
    match kind:
        case "drop":
            del lines[i]
        case "twice":
            lines.insert(i, line)
        case "swap":
            lines[i], lines[i + 1] = lines[i + 1], lines[i]
        case "move":
            by = rnd.choice((0.002, 0.01, 0.03, 0.1, 0.5, 3.0)) * rnd.choice((1, -1))
            lines[i] = re.sub(
                r"([XY])([\d.]+)", lambda m: f"{m[1]}{float(m[2]) + by:.4f}", line, count=1
            )
        case "digit":
            k = rnd.choice([k for k, c in enumerate(line) if c.isdigit() and k > 2])
            lines[i] = line[:k] + rnd.choice("0123456789") + line[k + 1 :]
        case "sign":
            lines[i] = re.sub(r"([XYIJ])", r"\g<1>-", line, count=1).replace("--", "")
        case "rapid":
            lines[i] = re.sub(r"^G[123]", "G0", line)
        case "z":
            i = rnd.choice([k for k, text in enumerate(lines) if re.match("G1.*Z-", text)])
            depth = rnd.choice((0.0, -0.03, -0.07, -0.12, -0.3, -9.0))
            lines[i] = re.sub(r"Z-[\d.]+", f"Z{depth:.4f}", lines[i])
        case "arc":
            lines[i] = line.replace("G2", "G9").replace("G3", "G2").replace("G9", "G3")
    return kind, "\n".join(lines)


@pytest.fixture(scope="module")
def outcomes(tmp_path_factory: pytest.TempPathFactory) -> list[Outcome]:
    bench = Bench(tmp_path_factory.mktemp("spoilt"))
    rnd = random.Random(7)
    out: list[Outcome] = []
    while len(out) < COUNT:
        k = rnd.randrange(len(bench.programs))
        kind, text = spoil(rnd, bench.texts[k])
        if text == bench.texts[k]:
            continue
        work = bench.programs[k].work
        try:
            trace = read(text, file="a")
        except Refusal:
            out.append(Outcome(kind, work, text, True, True, False, False))
            continue
        traces = [*bench.traces[:k], trace, *bench.traces[k + 1 :]]
        copper = bench.cut(traces)
        change = bench.moved(copper)
        rows = bench.rows[bench.programs[k].file]
        out.append(
            Outcome(
                kind,
                work,
                text,
                bench.told(k, traces, copper),
                bool(check_rows(trace, rows, file="a")),
                not shapely.is_empty(change),
                bool(shapely.intersects(change, bench.board)),
            )
        )
    return out


def test_copper_of_a_board_that_moves_is_found_by_the_simulation_alone(
    outcomes: list[Outcome],
) -> None:
    harmful = [outcome for outcome in outcomes if outcome.harm]
    assert len(harmful) > 40
    assert [(o.kind, o.work) for o in harmful if not o.found] == []


def test_copper_that_moves_anywhere_is_found(outcomes: list[Outcome]) -> None:
    changed = [outcome for outcome in outcomes if outcome.moved]
    assert [o.kind for o in changed if not (o.found or o.row_found)] == []


def test_programs_of_all_works_are_spoilt_in_all_ways_and_some_do_no_harm(
    outcomes: list[Outcome],
) -> None:
    """Or the test would show only that everything is refused."""
    assert any(not outcome.found and not outcome.moved for outcome in outcomes)
    assert len(Counter(outcome.work for outcome in outcomes)) == 3
    assert len(Counter(outcome.kind for outcome in outcomes)) == 9
