"""Broken at a chance place and taken up again, every program cuts what it would have cut whole.

The outside reference is shapely: each move is swept on its own (tests/shop/breaks), and areas
are compared at several levels from the surface down. The breaks are seeded.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from millprep import job
from millprep.at_machine.restart_points import strokes
from millprep.at_machine.resumed_program import Wish, resumed_program
from millprep.geometry.pose import Pose
from millprep.model.cutter import Cutter
from millprep.model.program import Program
from millprep.report import report_file
from millprep.verify import reader
from millprep.verify.as_cut import unite
from millprep.verify.read_back import trail_of
from millprep.verify.resumed import check_resumed
from millprep.verify.sweep import segments
from millprep.verify.sweep import sweep as swept_by_us
from millprep.verify.trace import Trace
from tests.conftest import EXAMPLES
from tests.helpers import rs274_tool, small_job
from tests.helpers.breaks import Break, Removed, again, before, broken, levels, on, swept, text_of
from tests.helpers.restart_points import NO_HOLES
from tests.helpers.rs274_tool import needs_interpreter
from tests.helpers.small_job import run

BREAKS = 50
MISREAD = 0.5
"""A person reads the place of a break to within this, mm."""
PLAN = job.load(EXAMPLES / "memory-board.toml")


CLEARED = small_job.changed(
    "[drilling]",
    '[clearing]\ncutters = ["fine"]\ncopper = "all"\n\n[drilling]',
    small_job.changed("[cutters.mill]", '[cutters.fine]\npreset = "endmill-0.8"\n\n[cutters.mill]'),
)
"""A small board whose floating copper is all cleared."""


@dataclass
class Case:
    """A program of a set and a break in it."""

    program: Program
    trace: Trace
    at: Break

    @property
    def point(self) -> int:
        """The last restart point that was passed."""
        cuts = strokes(trail_of(self.trace, self.program))
        return max(cut.number for cut in cuts if cut.first <= self.at.move)

    def resumed(self, wish: Wish) -> tuple[Program, Trace]:
        done = resumed_program(
            trail_of(self.trace, self.program), self.program, wish, PLAN.machine,
            set_id="0123", of_pass=NO_HOLES, outlines={},
        )  # fmt: skip
        assert done is not None
        return done[0], again(done[0], PLAN.machine)


@pytest.fixture(scope="module")
def programs(
    memory_board: Path, tmp_path_factory: pytest.TempPathFactory
) -> list[tuple[Program, Trace]]:
    """Of the memory board, and of a small one that is cleared."""
    folder = tmp_path_factory.mktemp("cleared")
    plan = job.load(small_job.put(folder, CLEARED))
    assert run("prepare", folder / "job.toml", "--out", folder / "set").exit_code == 0
    return cutting(memory_board, PLAN.cutters) + cutting(folder / "set", plan.cutters)


def cutting(folder: Path, cutters: tuple[Cutter, ...]) -> list[tuple[Program, Trace]]:
    """Every program of a set that cuts its blanks, and what it does."""
    return [
        (program, reader.read((folder / program.file).read_text("ascii"), file=program.file))
        for program in report_file.read(folder).programs(cutters, PLAN.machine)
        if program.mill_pass > 0 and program.work not in ("probe", "dry-run")
    ]


def cases(programs: list[tuple[Program, Trace]], count: int = BREAKS) -> list[Case]:
    """Breaks, as many in each program; every kind of work is among them."""
    chance = random.Random("a cutter broke")
    works = {"isolate", "clear", "drill", "bore", "register", "profile"}
    assert {p.work for p, _ in programs} >= works
    return [
        Case(program, trace, broken(trace, chance))
        for program, trace in (programs[n % len(programs)] for n in range(count))
    ]


def wishes(case: Case, chance: random.Random) -> list[Wish]:
    """By restart point; by place within its cut; by place alone."""
    x, y, _ = on(case.trace.moves[case.at.move], case.at.share)
    angle, off = chance.uniform(0, math.tau), chance.uniform(0, MISREAD)
    place = (x + off * math.cos(angle), y + off * math.sin(angle))
    return [Wish(after=case.point), Wish(after=case.point, near=place), Wish(near=place)]


def test_fifty_chance_breaks_leave_the_copper_of_the_whole_program(
    programs: list[tuple[Program, Trace]],
) -> None:
    chance = random.Random("a place was read")
    whole: dict[tuple[int, float], Removed] = {}
    saved = 0
    for case in cases(programs):
        cutter = case.program.cutter
        plunge = min(cutter.plunge, PLAN.machine.max_plunge)
        cut = before(case.trace, case.at)
        for wish in wishes(case, chance):
            where = f"{case.program.file} {case.at} {wish.words}"
            new, trace = case.resumed(wish)
            assert check_resumed(
                case.trace, trace, plunge=plunge, whole=True, file=new.file
            ) == (), where  # fmt: skip
            saved += len(trace.moves) < len(case.trace.moves) / 2
            for level in levels(cutter, case.program.depth):
                key = (id(case.trace), level)
                if key not in whole:
                    whole[key] = Removed(swept(case.trace.moves, cutter, level))
                rest = swept(trace.moves, cutter, level)
                both = Removed(swept(cut, cutter, level) | rest)
                assert both.lacks(whole[key]) == 0.0, where
                assert whole[key].lacks(Removed(rest)) == 0.0, where
    # and many of them are much shorter than the whole
    assert saved > BREAKS


def test_a_program_that_enters_behind_the_break_is_seen(
    programs: list[tuple[Program, Trace]],
) -> None:
    seen = 0
    for case in cases(programs, len(programs)):
        cuts = strokes(trail_of(case.trace, case.program))
        if case.point == len(cuts):
            continue
        _, trace = case.resumed(Wish(after=case.point + 1))
        # near the deepest: a broken drill has opened its hole at the surface already
        cutter, level = case.program.cutter, 0.9 * case.program.depth
        both = swept(before(case.trace, case.at), cutter, level) | swept(trace.moves, cutter, level)
        seen += Removed(both).lacks(Removed(swept(case.trace.moves, cutter, level))) > 1e-3
    assert seen >= len(programs) / 2


def test_our_own_sweep_agrees_over_whole_programs(programs: list[tuple[Program, Trace]]) -> None:
    for case in cases(programs, len(programs)):
        cutter, flat = case.program.cutter, Pose()
        cut = Trace(
            case.trace.file, tuple(before(case.trace, case.at)), case.trace.spindle, (), (), (),
            "M2", 0,
        )  # fmt: skip
        x, y, _ = on(case.trace.moves[case.at.move], case.at.share)
        _, trace = case.resumed(Wish(after=case.point, near=(x, y)))
        level = case.program.depth * 0.9
        old, new, first = (
            swept_by_us(segments(one), cutter, flat, level) for one in (case.trace, trace, cut)
        )
        whole, both, rest = unite([old, np.concatenate([first, new]), new])
        assert whole.difference(both).buffer(-1e-3).is_empty, case.program.file
        assert both.difference(whole).buffer(-1e-3).is_empty, case.program.file
        assert rest.area <= whole.area + 1e-3


@needs_interpreter
def test_the_interpreter_makes_the_same_moves_of_resumed_programs(
    programs: list[tuple[Program, Trace]],
) -> None:
    for case in cases(programs, len(programs)):
        x, y, _ = on(case.trace.moves[case.at.move], case.at.share)
        new, trace = case.resumed(Wish(after=case.point, near=(x, y)))
        canon = rs274_tool.canon(text_of(new, PLAN.machine))
        assert len(canon) == len(trace.moves)
        assert canon[0].z == PLAN.machine.top
        for move, there in zip(trace.moves[1:], canon[1:], strict=True):
            assert max(map(abs, np.subtract(move.end, there[1:4]))) <= 1e-4
