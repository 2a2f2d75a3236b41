"""Keys of clearing and of the course of isolation."""

from __future__ import annotations

from pathlib import Path

import pytest

from millprep.job import load
from tests.helpers.sample_job import changed, messages, write

AREAS = """\
[[board.clear]]
box = [0, 1, 10, 5.5]
[[board.clear]]
corners = [[20, 0], [30, 0], [25, 8]]
"""


def test_areas_are_given_as_boxes_or_by_their_corners(tmp_path: Path) -> None:
    text = changed("[cutters.vee]", AREAS + "[cutters.vee]") + '[clearing]\ncutters = ["mill"]\n'
    plan = load(write(tmp_path, text))
    assert tuple(area.outline for area in plan.boards[0].clear) == (
        ((0.0, 1.0), (10.0, 1.0), (10.0, 5.5), (0.0, 5.5)),
        ((20.0, 0.0), (30.0, 0.0), (25.0, 8.0)),
    )
    assert plan.clearing is not None
    assert (plan.clearing.copper, plan.clearing.depth) == ("areas", plan.isolation.depth)


def test_isolation_goes_along_the_copper_and_by_millimetres_unless_the_job_says_otherwise(
    tmp_path: Path,
) -> None:
    plan = load(write(tmp_path))
    assert (plan.isolation.course, plan.isolation.by_voltage) == ("copper", False)
    assert plan.clearing is None
    text = changed("gap = 0.3", 'gap = 0.1\ncourse = "middle"')
    assert load(write(tmp_path, text)).isolation.course == "middle"
    plan = load(write(tmp_path, changed("gap = 0.3", 'gap = "by voltage"')))
    assert (plan.isolation.by_voltage, plan.isolation.gap) == (True, 0.2)


@pytest.mark.parametrize(
    ("area", "words"),
    [
        ("box = [0, 0, 0, 5]", "box must be four plain numbers in mm, [x0, y0, x1, y1] with x0 < "),
        ("", "gives no box or corners"),
        ("box = [0, 0, 1, 1]\ncorners = [[0, 0], [1, 0], [1, 1]]", "gives box and corners; keep"),
        ("corners = [[0, 0], [5, 5], [5, 0], [0, 5]]", "corners must go once around an area"),
        ("corners = [[0, 0], [5, 5]]", "corners must be a list of points in mm, three at least"),
    ],
)
def test_an_area_that_is_none_is_reported(tmp_path: Path, area: str, words: str) -> None:
    text = changed("[cutters.vee]", f"[[board.clear]]\n{area}\n[cutters.vee]")
    (message,) = messages(tmp_path, text)
    assert f"[[board.clear]] 1 of board 1 {words}" in message


def test_the_middle_of_gaps_goes_with_no_voltages_and_leaves_nothing_to_clear(
    tmp_path: Path,
) -> None:
    text = changed("gap = 0.3", 'gap = "by voltage"\ncourse = "middle"')
    text += '[clearing]\ncutters = ["mill"]\ncopper = "all"\n'
    text_out = messages(tmp_path, text)
    assert [message.split(": ", 1)[1].split(" must ")[0] for message in text_out] == [
        "[isolation] gap",
        "[clearing] copper",
    ]


def test_a_drill_does_not_clear(tmp_path: Path) -> None:
    from tests.helpers.sample_job import JOB

    (message,) = messages(tmp_path, JOB + '[clearing]\ncutters = ["drill"]\n')
    assert "[clearing] cutters item 1 must be of kind vee or endmill" in message
