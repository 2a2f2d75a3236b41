"""The set-up drawing measures what the set says, and nothing of it leaves the paper."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree

import pytest

from millprep.model.blank import Blank, overhangs
from millprep.model.milling_pass import EdgeCheck
from millprep.model.set_of_programs import CutSet
from millprep.report.blank_contents import DrawnProgram
from millprep.report.palette import COLOURS
from millprep.report.pass_view import contacts
from millprep.report.setup_drawing import HIGHEST, setup_drawing
from millprep.report.setup_signs import WIDE
from tests.helpers.changed_set import with_blank
from tests.helpers.invented_set import invented

NAMESPACE = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def two_passes() -> CutSet:
    return replace(invented(4), locating="pins")


def drawn(cut_set: CutSet, number: int) -> ElementTree.Element:
    return ElementTree.fromstring(setup_drawing(cut_set, cut_set.passes[number - 1], "pass <1>"))


def places(run: str) -> list[tuple[float, float]]:
    """The places of a path: runs of a first place, then steps."""
    found = []
    for part in run.replace("z", "").split("M")[1:]:
        first, _, steps = part.partition("l")
        first, *arcs = first.split("a")
        x, y = map(float, first.replace("h0", "").split())
        found.append((x, y))
        # the last two figures of an arc are its step
        ends = [figure for arc in arcs for figure in arc.split()[-2:]]
        figures = iter(map(float, [*steps.split(), *ends]))
        for dx, dy in zip(figures, figures, strict=True):
            x, y = x + dx, y + dy
            found.append((x, y))
    return found


def words(svg: ElementTree.Element) -> list[str]:
    return [text.text or "" for text in svg.iter(f"{NAMESPACE}text")]


def test_everything_is_measured_from_the_work_zero(two_passes: CutSet) -> None:
    message = words(drawn(two_passes, 2))
    # the blank lies at 15 - 200, 30 and is 340 x 110
    assert {"−185", "155", "30", "140"} <= set(message)
    # clamps 290 to 300, 70 to 100 and 80 to 110, 145 to 160
    assert {"290", "300", "70", "100", "80", "110", "145", "160"} <= set(message)
    (prop,) = [o.prop for o in overhangs(two_passes.passes[1].pose,
               two_passes.layout.blanks[0], two_passes.machine.travel)]  # fmt: skip
    assert f"−{-prop[0]:g}" in message
    # r1 and r2 locate, r3 is the key: 212, 5; 275, 105; 275, 5 on the blank
    assert "27 r1" in message
    assert {"35 r1", "35 r3", "35 r1 r3"} & set(message)
    assert {"90 r2", "90 r3"} <= set(message)
    assert {"r1", "r2", "r3 key"} <= set(message)
    # the touch point
    assert {"20 Z", "34 Z"} <= set(message)


def test_the_key_names_only_what_is_there(two_passes: CutSet) -> None:
    first, second = words(drawn(two_passes, 1)), words(drawn(two_passes, 2))
    assert "hole made now" in first
    assert "pin" not in first
    assert "pin" in second
    assert "hole made now" not in second
    by_hand = words(drawn(replace(two_passes, locating="measure"), 2))
    assert "hole to find" in by_hand
    assert "pin" not in by_hand
    assert not any("clamp" in text for text in words(drawn(replace(two_passes, clamps=()), 1)))


@pytest.mark.parametrize("number", [1, 2])
def test_nothing_leaves_the_paper(two_passes: CutSet, number: int) -> None:
    svg = drawn(two_passes, number)
    wide, high = map(float, svg.attrib["viewBox"].split()[2:])
    assert wide == WIDE
    assert high < HIGHEST + 15
    for text in svg.iter(f"{NAMESPACE}text"):
        x, y, size = (float(text.attrib[key]) for key in ("x", "y", "font-size"))
        long = len(text.text or "") * size * 0.53
        way = {"start": 1.0, "end": -1.0, "middle": 0.0}[text.attrib.get("text-anchor", "start")]
        if "transform" in text.attrib:
            assert "rotate(-90 " in text.attrib["transform"]
            ends = [(x, y), (x, y - way * long)]
        else:
            ends = [(x, y), (x + way * long, y)]
        for px, py in ends:
            assert 0 <= px <= wide, text.text
            assert 0 <= py <= high, text.text
    for path in svg.iter(f"{NAMESPACE}path"):
        for x, y in places(path.attrib["d"]):
            assert -0.5 <= x <= wide + 0.5
            assert -0.5 <= y <= high + 0.5


def test_no_figure_hides_another(two_passes: CutSet) -> None:
    svg = drawn(two_passes, 2)
    turned: dict[str, list[float]] = {"start": [], "end": []}
    for text in svg.iter(f"{NAMESPACE}text"):
        if "transform" in text.attrib:
            turned[text.attrib.get("text-anchor", "start")].append(float(text.attrib["x"]))
    for row in turned.values():
        row.sort()
        assert all(b - a > 2.5 for a, b in pairwise(row))


@pytest.mark.parametrize("number", [1, 2])
def test_words_are_9_point_on_paper(two_passes: CutSet, number: int) -> None:
    # as wide as the paper between its margins, so a unit is a millimetre
    svg = drawn(two_passes, number)
    sizes = [float(text.attrib["font-size"]) for text in svg.iter(f"{NAMESPACE}text")]
    assert min(sizes) * 72 / 25.4 >= 9


def test_a_small_blank_is_drawn_no_larger_than_it_is() -> None:
    whole = invented(1)
    bare = with_blank(whole, laminate=Blank(1, (30.0, 20.0), 1.6, 0.035), copies=())
    small = replace(bare, clamps=())
    text = setup_drawing(small, small.passes[0], "x")
    rim = re.search(r'<path d="M(\S+) (\S+)l([^z]+)z" fill="#fed19c"', text)
    assert rim
    steps = [float(v) for v in rim[3].split()]
    assert max(map(abs, steps)) == pytest.approx(30.0, abs=0.11)


def test_an_offcut_has_its_own_shape() -> None:
    import shapely

    whole = invented(1)
    (blank,) = whole.blanks
    corner = shapely.Polygon([(0, 0), (100, 0), (100, 60), (60, 110), (0, 110)])
    cut = with_blank(whole, laminate=replace(blank.laminate, outline=corner))
    rim = re.search(r'<path d="M[^l]+l([^z]+)z" fill="#fed19c"',
                    setup_drawing(cut, cut.passes[0], "x"))  # fmt: skip
    assert rim
    assert len(rim[1].split()) == 2 * 4


def test_a_slot_is_drawn_as_a_slot(two_passes: CutSet) -> None:
    """Longer along the line through both holes, with a row of its own in the key."""
    first, second = two_passes.passes
    hole, slot, key = second.registration
    slot = replace(slot, free=(0.533229, 0.845971), slot=0.98)
    changed = with_blank(
        two_passes, passes=(first, replace(second, registration=(hole, slot, key)))
    )
    assert "slot, drawn longer" not in words(drawn(two_passes, 2))
    assert "slot, drawn longer" in words(drawn(changed, 2))


def test_the_second_point_of_the_edge_is_measured(two_passes: CutSet) -> None:
    first, second = two_passes.passes
    edge = EdgeCheck((287.5, 30.0), 0, 0.4, "board lamp")
    changed = with_blank(two_passes, passes=(replace(first, edge=edge), second))
    svg = words(drawn(changed, 1))
    assert "287.5" in svg
    assert "check the angle here" in svg


def test_what_a_pass_cuts_is_bold_and_the_rest_grey() -> None:
    whole = invented(4)
    for milling_pass in whole.passes:
        text = setup_drawing(whole, milling_pass, "x")
        assert "cut in this pass" in text
        assert COLOURS["copper"] not in text
        lines = re.findall(
            rf'<path d="([^"]+)" fill="none" stroke="{COLOURS["ink"]}" stroke-width="0.25"/>', text
        )
        drawn = map(DrawnProgram.of, milling_pass.programs)
        cuts = [run for program in drawn for run in contacts(program, 0.1)[0]]
        assert max(run.count("M") for run in lines) == len(cuts)
