"""Values of the model are right from the start: one that cannot be is never made."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import shapely

from millprep.job import load
from millprep.model.begun import Begun, ProgramRun
from millprep.model.blank import Box, Layout, Spot
from millprep.model.board import Board, CopperPiece, Hole, NetPoint
from millprep.model.cut import HoleMade
from millprep.model.cutter import Cutter
from millprep.model.finding import Finding
from millprep.model.job.keys import partial
from millprep.model.machine_time import LoggedRun
from millprep.model.milling_pass import MarginText, RegistrationHole, Vernier
from millprep.model.program import Cutting, Resumption, check_set_named
from millprep.model.set_of_programs import blanks_of
from millprep.nesting.nest import Effort, nest
from millprep.nesting.wanted import StockSheet, Wanted
from tests.helpers.invented_set import invented
from tests.helpers.sample_job import JOB, changed, write

SQUARE = shapely.box(0, 0, 10, 10)
BOW = shapely.Polygon([(0, 0), (1, 1), (1, 0), (0, 1)])
NONE = shapely.Polygon()
PIECE = CopperPiece("c1", SQUARE)
NOON = datetime(2026, 1, 1, 12, tzinfo=UTC)
AT = (1.0, 2.0)


def hole(**keys: Any) -> RegistrationHole:
    return RegistrationHole("p1", AT, AT, 3.0, "locate", 1, 2, **keys)


def text(turn: int, words: str = "A", board: str | None = None) -> MarginText:
    return MarginText(words, AT, turn, 2.0, board, 1, 0.0)


def vernier(step: float, reach: int) -> Vernier:
    return Vernier("v1", 1, AT, "x", (1, 2), 1.0, step, reach)


def cutting(width: float = 1.0, bounds: tuple[float, float] = (0.01, 0.02)) -> Cutting:
    return Cutting("a.ngc", "mill", width, 60.0, 0.01, None, bounds, 0.5)


def resumption(point: int, cuts: int, board: str | None = None) -> Resumption:
    return Resumption("b.ngc", "a.ngc", "point 3", point, 5, (0.0, 0.0, 0.0), None, cuts, board)


def finding(**keys: Any) -> Finding:
    return Finding(code="a", severity="note", message="b", **keys)


WRONG: dict[str, tuple[Callable[[], object], str]] = {
    "a box of no width": (lambda: Box(1, 0, 1, 5), "x0 < x1"),
    "a box upside down": (lambda: Box(0, 5, 1, 0), "y0 < y1"),
    "a spot nowhere": (lambda: Spot("lamp", 1, 1, math.nan, 0.0), "its place is no number"),
    "a spot turned without end": (
        lambda: Spot("lamp", 1, 1, 0.0, 0.0, math.inf), "its place is no number",
    ),
    "copy 0": (lambda: Spot("lamp", 0, 1, 0.0, 0.0), "numbered from 1"),
    "blank 0": (lambda: Spot("lamp", 1, 0, 0.0, 0.0), "numbered from 1"),
    "copper across itself": (lambda: CopperPiece("c1", BOW), "piece c1 is no valid area"),
    "no copper": (lambda: CopperPiece("c1", NONE), "piece c1 is no valid area"),
    "a hole of no size": (lambda: Hole("h1", AT, 0.0), "hole h1 has no diameter"),
    "a hole of no number": (lambda: Hole("h1", AT, math.nan), "hole h1 has no diameter"),
    "a slot of no length": (lambda: Hole("h1", AT, 1.0, end=AT), "slot h1 has no length"),
    "a board without copper": (lambda: Board("lamp", SQUARE, (), ()), "lamp has no copper"),
    "a board without an edge": (lambda: Board("lamp", NONE, (PIECE,), ()), "no valid outline"),
    "a board across itself": (lambda: Board("lamp", BOW, (PIECE,), ()), "no valid outline"),
    "a hole that shrinks": (lambda: HoleMade(1.0, 1.0, wider=-0.1), "errors of 0 or more"),
    "a hole of no width": (lambda: HoleMade(0.0, None), "diameter above 0"),
    "a finding without a frame": (lambda: finding(at=AT), "needs its frame"),
    "a finding without a place": (lambda: finding(frame="blank"), "needs its frame"),
    "places without a first": (lambda: finding(places=(AT,)), "need a first"),
    "a slot without a direction": (lambda: hole(slot=2.0), "slot p1 has no direction"),
    "a text askew": (lambda: text(45), "lies at 0 or 90 degrees"),
    "a text of nothing": (lambda: text(0, " "), "has letters"),
    "a text of a copy of no board": (lambda: text(0), "names a board and its copy, or neither"),
    "a step as wide as the pitch": (lambda: vernier(1.0, 5), "step must be less than the pitch"),
    "a vernier of one line": (lambda: vernier(0.1, 0), "lines on both sides"),
    "a cut of no width": (lambda: cutting(width=0.0), "width and speed must be above 0"),
    "bounds out of order": (lambda: cutting(bounds=(0.02, 0.01)), "in order"),
    "a restart beyond the last": (lambda: resumption(6, 1), "no restart point 6 of 5"),
    "a restart before the first": (lambda: resumption(0, 1), "no restart point 0 of 5"),
    "a restart of nothing": (lambda: resumption(5, 0), "no restart point"),
    "a restart of a board of no copy": (lambda: resumption(1, 1, "lamp"), "number of its copy"),
    "begun before, but not at all": (
        lambda: Begun("a", ((1, 1),), frozenset({(1, 2)})), "among the passes of the mark",
    ),
    "no minutes": (lambda: ProgramRun("a", "b", "c", NOON, minutes=0), "minutes are above 0"),
    "endless minutes": (
        lambda: ProgramRun("a", "b", "c", NOON, minutes=math.inf), "minutes are above 0",
    ),
    "a log of no estimate": (lambda: LoggedRun("a", "b", "c", 0.0, 1.0), "are above 0"),
    "no chain": (lambda: Effort(chains=0), "at least one chain"),
    "less than no work": (lambda: Effort(work=-1), "no work below 0"),
    "a kind without an area": (lambda: Wanted("lamp", BOW, (1,)), "lamp has no valid outline"),
    "a copy twice": (lambda: Wanted("lamp", SQUARE, (1, 1)), "different numbers from 1"),
    "a copy 0": (lambda: Wanted("lamp", SQUARE, (0,)), "different numbers from 1"),
    "no turn": (lambda: Wanted("lamp", SQUARE, (1,), turns=()), "needs at least one turn"),
    "an endless turn": (
        lambda: Wanted("lamp", SQUARE, (1,), turns=(math.inf,)), "needs at least one turn",
    ),
    "a sheet across itself": (lambda: StockSheet(BOW, 1.0, 1.0), "no valid outline"),
    "a margin below 0": (lambda: StockSheet(SQUARE, -1.0, 1.0), "are 0 or more"),
    "a spacing of no number": (lambda: StockSheet(SQUARE, 1.0, math.nan), "are 0 or more"),
    "nesting nothing": (lambda: nest([], [StockSheet(SQUARE, 1.0, 1.0)]), "boards and blanks"),
    "nesting on nothing": (lambda: nest([Wanted("lamp", SQUARE, (1,))], []), "boards and blanks"),
    "a blank of fewer programs": (
        lambda: invented(1).blanks[0].with_programs(()), "0 programs for the places of",
    ),
    "a pass on no blank": (
        lambda: blanks_of(Layout((), ()), invented(1).passes, ()), "is on no blank",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", WRONG)
def test_what_cannot_be_is_never_made(name: str) -> None:
    make, words = WRONG[name]
    with pytest.raises(ValueError, match=words):
        make()


def test_what_may_be_is_made() -> None:
    assert (Box(0, 0, 1, 5).x1, Spot("lamp", 1, 1, 0.0, 0.0).copy) == (1, 1)
    assert (text(90, board="lamp").turn, vernier(0.1, 5).largest) == (90, 0.5)
    assert (hole(slot=2.0, free=(1.0, 0.0)).slot, resumption(5, 5).cuts) == (2.0, 5)


def test_the_log_of_a_machine_holds_texts_and_numbers() -> None:
    with pytest.raises(TypeError, match="machine, set and program are texts"):
        LoggedRun("a", 3, "c", 1.0, 1.0)  # type: ignore[arg-type]


def test_a_point_of_no_part_is_named_by_its_place() -> None:
    assert NetPoint("GND", (1.234, -5.0)).words == "the point at 1.23, -5.00 mm"
    assert NetPoint("GND", AT, "R1").words == "R1"
    assert NetPoint("GND", AT, "R1", "2").words == "R1 pin 2"


def test_a_program_that_names_its_set_twice_is_refused() -> None:
    line = "(job lamp, set 0123456789ab)\n"
    assert check_set_named(line, "0123456789ab", "a.ngc") is None
    refused = check_set_named(line * 2, "0123456789ab", "a.ngc")
    assert refused is not None
    assert refused.message.startswith("a.ngc names its set more than once, and this is set 0123")


def test_a_cutter_of_no_known_kind_has_no_teeth() -> None:
    some = partial(Cutter, {"name": "what"})
    for key in ("teeth", "kind", "feed"):
        assert not hasattr(some, key)


def test_depths_that_are_still_to_be_chosen_are_no_cutters(tmp_path: Path) -> None:
    plan = load(write(tmp_path, changed("gap = 0.3", 'gap = 0.3\ndepth = "least time"')))
    with pytest.raises(ValueError, match="depths of isolation are still to be chosen"):
        _ = plan.isolation.uses


def test_nothing_touches_holes_that_a_person_locates(tmp_path: Path) -> None:
    plan = load(write(tmp_path, JOB))
    with pytest.raises(ValueError, match="nothing touches the holes"):
        _ = plan.registration.tip
