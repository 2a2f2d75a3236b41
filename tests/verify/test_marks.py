"""Marks outside the boards: each at its place, and nothing else is engraved there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
import shapely

from millprep.geometry import letters
from millprep.geometry.pose import Pose
from millprep.job import load
from millprep.model.finding import Finding
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import MarginText, MillingPass, RegistrationHole, Vernier
from millprep.model.program import Program
from millprep.model.set_of_programs import MilledBlank
from millprep.verify.marks import CROSS, check_marks
from millprep.verify.read_back import BlankRuns, Run
from millprep.verify.reader import read
from tests.helpers.programs import BLANK, HEAD, TAIL, cut
from tests.helpers.sample_job import write

X, Y = 20.0, 10.0
WITNESS = RegistrationHole("w1", (X, Y), (X, Y), 1.0, "witness", 1, 2)
PASS = MillingPass(1, 1, shapely.box(0, 0, 60, 40), Pose(), (WITNESS,), (1.0, 1.0))


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> JobPlan:
    return load(write(tmp_path_factory.mktemp("job")))


def marks(plan: JobPlan, text: str, *, passes: Sequence[MillingPass] = (PASS,)) -> list[Finding]:
    """What is wrong with what an engraver cuts in a pass, on a blank without boards."""
    return engraved(plan, [text], passes)


def engraved(plan: JobPlan, texts: Sequence[str], passes: Sequence[MillingPass]) -> list[Finding]:
    """What is wrong with what an engraver cuts, a text for each of the first passes."""
    (engraver,) = plan.isolation.cutters
    program = Program(
        file="a.ngc", blank=1, mill_pass=1, cutter=engraver, works=("isolate",), depth=0.08,
        spindle=10000.0, start=(1.0, 1.0, 2.0), moves=(),
    )  # fmt: skip
    runs = [
        Run(program, read(HEAD + text + TAIL, file="a.ngc"), mill_pass)
        for text, mill_pass in zip(texts, passes, strict=False)
    ]
    blank = MilledBlank(BLANK, passes=tuple(passes))
    return list(check_marks(plan, BlankRuns(blank, tuple(runs)), 1.0))


def cross(x: float = X, y: float = Y, arm: float = CROSS) -> str:
    return cut([(x - arm, y), (x + arm, y)]) + cut([(x, y - arm), (x, y + arm)])


def test_a_cross_at_its_place_is_good(plan: JobPlan) -> None:
    assert marks(plan, cross()) == []
    assert marks(plan, cross(arm=CROSS + 0.1)) == []


@pytest.mark.parametrize(
    "text", ["", cross(x=X + 0.05), cross(arm=CROSS - 0.1), cut([(X - CROSS, Y), (X + CROSS, Y)])]
)
def test_a_cross_that_is_not_engraved_at_its_place_is_found(plan: JobPlan, text: str) -> None:
    (found,) = marks(plan, text)
    assert found.message.startswith("The cross w1 is not engraved at its place.")
    assert (found.code, found.severity, found.at) == ("mark-off", "stop", (X, Y))
    assert (found.frame, found.blank, found.mill_pass) == ("blank", 1, 1)


def test_a_line_that_is_part_of_no_mark_is_found(plan: JobPlan) -> None:
    (found,) = marks(plan, cross() + cut([(40, 30), (44, 30)]))
    assert found.message.startswith("A line is engraved outside all boards")
    assert (found.code, found.at) == ("mark-unexpected", (42.0, 30.0))
    # what is deeper than any groove is a hole or an edge, and no mark
    assert marks(plan, cross() + cut([(40, 30), (44, 30)], -1.6)) == []


def test_a_pass_that_engraves_nothing_lacks_its_cross(plan: JobPlan) -> None:
    (found,) = check_marks(plan, BlankRuns(MilledBlank(BLANK, passes=(PASS,)), ()), 1.0)
    assert (found.code, found.at) == ("mark-off", (X, Y))


PLAIN = replace(PASS, registration=())
ACROSS = Vernier("v1", 1, (30.0, 20.0), "x", (1, 2), 1.0, 0.1, 3)
UPWARDS = replace(ACROSS, measures="y")


def comb(vernier: Vernier, pitch: float, side: float, off: float = 0.0) -> str:
    """Seven lines from the common edge outwards, all shifted along what is measured."""
    x, y = vernier.at
    lines = [[(i * pitch + off, side * v) for v in (0.0, 1.5)] for i in range(-3, 4)]
    turned = vernier.measures == "y"
    return "".join(
        cut([(x - v, y + u) if turned else (x + u, y + v) for u, v in line]) for line in lines
    )


@pytest.mark.parametrize("vernier", [ACROSS, UPWARDS], ids=["across", "upwards"])
def test_both_combs_of_a_vernier_are_at_their_places(plan: JobPlan, vernier: Vernier) -> None:
    passes = (PLAIN, replace(PLAIN, number=2, verniers=(vernier,)))
    first, second = comb(vernier, 1.0, -1.0), comb(vernier, 0.9, 1.0)
    assert engraved(plan, [first, second], passes) == []
    for texts, which, number in (
        ([comb(vernier, 1.0, -1.0, 0.05), second], "first", 1),
        ([first, comb(vernier, 0.9, 1.0, 0.05)], "second", 2),
        ([first, comb(vernier, 1.0, 1.0)], "second", 2),
        ([first, ""], "second", 2),
        # a line more, between two of the comb
        ([first + comb(vernier, 0.5, -1.0), second], "first", 1),
    ):
        (found,) = engraved(plan, texts, passes)
        assert (found.code, found.at, found.mill_pass) == ("mark-off", vernier.at, number)
        assert found.message.startswith(f"The {which} comb of vernier v1 is not at its place:")


def written(text: MarginText) -> str:
    """The strokes of a text, to be read from where it stands."""
    (x, y), turned = text.at, text.turn == 90
    strokes = [path.xy.tolist() for path in letters.strokes(text.text, text.height)]
    return "".join(
        cut([(x - v, y + u) if turned else (x + u, y + v) for u, v in stroke]) for stroke in strokes
    )


@pytest.mark.parametrize("turn", [0, 90])
def test_a_text_is_engraved_as_it_reads(plan: JobPlan, turn: int) -> None:
    text = MarginText("L2", (30.0, 10.0), turn, 3.0, None, None, 9.0)
    passes = (replace(PLAIN, texts=(text,)),)
    assert marks(plan, written(text), passes=passes) == []
    for wrong in (
        "", written(replace(text, text="L")), written(replace(text, text="L3")),
        written(replace(text, at=(30.03, 10.0))),
    ):  # fmt: skip
        (found,) = marks(plan, wrong, passes=passes)
        assert (found.code, found.at) == ("mark-off", (30.0, 10.0))
        assert found.message.startswith("L2 is not engraved as it reads.")
