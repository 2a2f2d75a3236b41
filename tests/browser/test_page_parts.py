"""The pure parts of the page's script: clock, gaps, find, paths, section."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import pytest

from tests.helpers.page_script import PROGRAM, run, vee

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

TIP, ANGLE, DEEP, COPPER = 0.1, 60.0, 0.3, 0.035
TAN = math.tan(math.radians(ANGLE / 2))
SECTION = ("section.js",)
CUTS = "(({ long, cuts }) => ({ long, cuts }))"


@pytest.fixture(scope="module")
def page(started: Browser) -> Iterator[Page]:
    context = started.new_context(offline=True)
    yield context.new_page()
    context.close()


def cuts(page: Page, programs: str, a: list[float], b: list[float]) -> Any:
    """What is cut along a line."""
    return run(
        page, SECTION, PROGRAM, f"{CUTS}(sectionOf([{programs}], given.a, given.b, {COPPER}))",
        {"a": a, "b": b},
    )["cuts"]  # fmt: skip


GROOVE = f"program({vee(TIP, ANGLE)}, [[0, 0, {-DEEP}], [20, 0, {-DEEP}]])"


@pytest.mark.parametrize("z", [0.0, 0.05, 0.1, 0.2, 0.29])
def test_a_vee_is_as_wide_at_every_depth_as_the_formula_says(page: Page, z: float) -> None:
    half = (TIP + 2 * (DEEP - z) * TAN) / 2
    for aside, depth in ((half, z), (0.0, DEEP), (TIP / 2, DEEP)):
        words = f"depthAt(movesNear([{GROOVE}], [9, -1, 11, 1]), 10, given)"
        at = run(page, SECTION, PROGRAM, words, aside)
        assert at[0] == pytest.approx(depth, abs=1e-12)


def test_a_section_has_the_widths_at_surface_and_foot(page: Page) -> None:
    (cut,) = cuts(page, GROOVE, [10, -2], [10, 3])
    surface, foot = TIP + 2 * DEEP * TAN, TIP + 2 * (DEEP - COPPER) * TAN
    assert cut["to"] - cut["from"] == pytest.approx(surface, abs=1e-6)
    assert (cut["from"] + cut["to"]) / 2 == pytest.approx(2.0, abs=1e-6)
    assert cut["foot"] == pytest.approx(foot, abs=1e-6)
    assert cut["deepest"] == pytest.approx(DEEP)
    # across at 45 degrees everything is wider by the square root of two
    (slanted,) = cuts(page, GROOVE, [8, -2], [12, 2])
    assert slanted["to"] - slanted["from"] == pytest.approx(surface * math.sqrt(2), abs=1e-6)


def test_a_scratch_does_not_reach_the_foot(page: Page) -> None:
    scratch = f"program({vee(TIP, ANGLE)}, [[0, 0, -0.02], [20, 0, -0.02]])"
    (cut,) = cuts(page, scratch, [10, -2], [10, 2])
    assert cut["foot"] == 0
    assert cut["deepest"] == pytest.approx(0.02)


def test_end_mill_drill_arc_and_ramp(page: Page) -> None:
    mill = '{ kind: "endmill", name: "m", diameter: 2 }'
    (cut,) = cuts(page, f"program({mill}, [[0, 0, -1], [20, 0, -2]])", [10, -5], [10, 5])
    assert cut["to"] - cut["from"] == pytest.approx(2.0, abs=1e-6)
    assert cut["deepest"] == pytest.approx(1.5)
    drill = '{ kind: "drill", name: "d", diameter: 1, angle: 130 }'
    (hole,) = cuts(page, f"program({drill}, [[5, 5, 3], [5, 5, -2], [5, 5, 3]])", [3, 5], [7, 5])
    assert hole["to"] - hole["from"] == pytest.approx(1.0, abs=1e-6)
    assert hole["deepest"] == pytest.approx(2.0, abs=1e-2)
    quarter = (
        f"program({vee(TIP, ANGLE)}, [[10, 0, {-DEEP}], [0, 10, {-DEEP}]], {{ arcs: new Map("
        "[[0, { x: 0, y: 0, radius: 10, from: 0, sweep: Math.PI / 2 }]]) })"
    )
    (arc,) = cuts(page, quarter, [5, 5], [9, 9])
    assert (arc["from"] + arc["to"]) / 2 == pytest.approx(10 - math.hypot(5, 5), abs=1e-6)
    assert cuts(page, quarter, [-9, -9], [-5, -5]) == []


def test_tools_that_do_not_turn_cut_nothing(page: Page) -> None:
    assert cuts(page, GROOVE.replace("]])", "]], { spins: false })"), [10, -2], [10, 2]) == []


CLOCK = (
    PROGRAM
    + """
const figure = (value, digits) => value.toFixed(digits);
const moved = (pose, x, y) => [x, y];
const state = { time: null };
const list = [
  program({}, [[0, 0, 1], [10, 0, 1], [10, 10, 1]], { time: [0, 4, 10], wait: [1, 0], index: 0 }),
  program({}, [[0, 0, 1], [6, 0, 1]], { time: [0, 3], index: 1 }),
];
const shown = () => list;
"""
)


@pytest.mark.parametrize(
    ("time", "index", "move", "place"),
    [
        (0.5, 0, 0, (0.0, 0.0)),  # it still waits
        (2.5, 0, 0, (5.0, 0.0)),
        (7.0, 0, 1, (10.0, 5.0)),
        (11.0, 1, 0, (2.0, 0.0)),
        (99.0, 1, 0, (6.0, 0.0)),
    ],
)
def test_the_clock_knows_the_cutters_place(
    page: Page, time: float, index: int, move: int, place: tuple[float, float]
) -> None:
    at = run(
        page, ("clock.js",), CLOCK,
        "(({ program, move, x, y }) => [program.index, move, x, y])(cutterAt(given))", time,
    )  # fmt: skip
    assert at[:2] == [index, move]
    assert tuple(at[2:]) == pytest.approx(place)


def test_steps_go_from_move_to_move_and_the_clock_has_words(page: Page) -> None:
    def step(time: float, way: int) -> Any:
        return run(page, ("clock.js",), CLOCK, "stepFrom(given[0], given[1])", [time, way])

    assert [step(0, 1), step(4, 1), step(10, 1), step(13, 1)] == [4, 10, 13, 13]
    assert [step(13, -1), step(10, -1), step(4, -1), step(0, -1)] == [10, 4, 0, 0]
    assert run(page, ("clock.js",), CLOCK, "total()") == 13
    assert run(page, ("clock.js",), CLOCK, "clockWords(3725.25)") == "1:02:05.3"


def test_done_moves_follow_the_time(page: Page) -> None:
    words = "[...((state.time = given), movesDone()).entries()]"
    assert run(page, ("clock.js",), CLOCK, words, 5) == [[0, 1], [1, 0]]
    assert run(page, ("clock.js",), CLOCK, words, None) == [[0, 2], [1, 1]]


GAPS = """
const area = (x0, y0, x1, y1) => ({ rings: [[x0, y0, x1, y0, x1, y1, x0, y1]] });
const parts = [
  { blank: 1, area: area(0, 0, 5, 5), carries: [[0, "a"]] },
  { blank: 1, area: area(5.4, 0, 9, 5), carries: [[0, "b"]] },
  { blank: 1, area: area(0, 5.2, 9, 6), carries: [] },
  { blank: 2, area: area(5.1, 0, 9, 5), carries: [[0, "c"]] },
];
"""


def test_the_narrowest_gap_is_found_on_its_blank(page: Page) -> None:
    found = run(page, ("point.js", "gaps.js"), GAPS, "gapsOf(parts[0])")
    assert found["any"]["distance"] == pytest.approx(0.2)
    assert found["any"]["index"] == 2
    assert found["other"]["distance"] == pytest.approx(0.4)
    assert found["other"]["index"] == 1


def test_names_that_fit_better_come_first(page: Page) -> None:
    thing = '{ kind: "net", name: "GND", more: ["19 pieces"] }'
    for wanted, rank in (("gnd", 0), ("gn", 1), ("nd", 2), ("net 19", 2)):
        assert run(page, ("find.js",), "", f"rank({thing}, given)", wanted) == rank
    assert run(page, ("find.js",), "", f"rank({thing}, given) === Infinity", "vcc")


PEN = (
    PROGRAM
    + """
const boxesMeet = () => true;
const colours = () => ({ page: "#ffffff" });
const cutterColour = () => "#000000";
const v = { x: 0, y: 0, scale: 10, up: -1, width: 200, height: 200, box: [] };
const painted = (p, from, to) => {
  const canvas = document.createElement("canvas");
  canvas.width = canvas.height = 200;
  const c = canvas.getContext("2d");
  for (const _ of paintMoves(c, v, p, from, to, true));
  return ([x, y]) => c.getImageData(100 + 10 * x, 100 - 10 * y, 1, 1).data[3] > 128;
};
"""
)


def test_paths_are_painted_at_their_width_as_far_as_they_are_cut(page: Page) -> None:
    expression = """(() => {
      const more = { width: [1, 1], cutterIndex: 0 };
      const p = program({}, [[-5, 0, -1], [0, 0, -1], [5, 0, -1]], more);
      const shows = painted(p, 0, 1);
      return [[-3, 0], [-3, 0.4], [-3, 0.7], [3, 0]].map(shows);
    })()"""
    painted = run(page, ("paint.js", "paths.js"), PEN, expression)
    assert painted == [True, True, False, False]
