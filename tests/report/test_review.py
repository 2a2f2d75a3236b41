"""The review part of the sheet, without a browser: its data unfolds, its words are all there."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from millprep.geometry import letters
from millprep.geometry.path import Path
from millprep.geometry.pose import Affine, Pose
from millprep.model.board import Legend, Lettering
from millprep.model.program import Trail
from millprep.model.set_of_programs import CutSet
from millprep.report import compact
from millprep.report.review import (
    LAYERS,
    SCRIPTS,
    part,
    review,
    scene_data,
    to_script_json,
)
from millprep.report.sheet import sheet
from tests.helpers.changed_set import with_copies
from tests.helpers.invented_set import invented
from tests.helpers.trails import with_trails


def numbers(text: str) -> list[int]:
    """What `compact.text` wrote, read letter by letter."""
    found, value, weight = [], 0, 1
    for letter in text:
        digit = compact.ALPHABET.index(letter)
        value += (digit & 31) * weight
        weight *= 32
        if digit < 32:
            found.append(-(value + 1) // 2 if value % 2 else value // 2)
            value, weight = 0, 1
    return found


def unrolled(text: str) -> list[int]:
    pairs = numbers(text)
    return [v for v, n in zip(pairs[::2], pairs[1::2], strict=True) for _ in range(n)]


@pytest.fixture(scope="module")
def two_passes() -> CutSet:
    return with_trails(invented(4))


@given(st.lists(st.integers(-(2**38), 2**38)))
def test_numbers_come_back(values: list[int]) -> None:
    assert numbers(compact.text(values)) == values


@given(st.lists(st.lists(st.integers(-(2**38), 2**38))))
def test_several_texts_at_once_are_those_of_each(several: list[list[int]]) -> None:
    counts = list(map(len, several))
    assert compact.texts([v for row in several for v in row], counts) == list(
        map(compact.text, several)
    )


@given(st.lists(st.integers(-3, 3)))
def test_runs_come_back(values: list[int]) -> None:
    assert unrolled(compact.runs(values)) == values


def test_letters_of_known_numbers() -> None:
    assert compact.text([0, 1, -1, 15, -16, 16]) == "ACBef" + "gB"


def test_a_number_too_large_is_refused() -> None:
    with pytest.raises(ValueError, match="39 bits"):
        compact.text([2**40])


def test_an_area_comes_back_to_a_micrometre() -> None:
    rim = [(0.0, 0.0), (10.1234, 0.0), (10.1234, 5.0), (0.0, 5.0)]
    hole = [(2.0, 2.0), (2.0, 3.0), (3.0, 3.0)]
    result = compact.areas([shapely.Polygon(rim, [hole])])
    assert numbers(result["rings"]) == [2, 4, 3]
    xy = np.cumsum(np.array(numbers(result["xy"])).reshape(-1, 2), axis=0) * 1e-3
    rings = shapely.Polygon(xy[:4], [xy[4:]])
    assert rings.hausdorff_distance(shapely.Polygon(rim, [hole])) < 1e-3


def test_a_ring_without_area_and_points_within_a_micrometre_are_left_out() -> None:
    rim = [(0.0, 0.0), (5.0, 0.0), (5.0003, 0.0001), (5.0, 5.0)]
    speck = [(3.0, 1.0), (3.0004, 1.0), (3.0, 1.0004)]
    result = compact.areas([shapely.Polygon(rim, [speck]), shapely.box(7, 7, 8, 8)])
    assert numbers(result["rings"]) == [1, 3, 1, 4]
    assert compact.areas([]) == {"rings": "", "xy": ""}


def test_a_legend_comes_back_and_its_texts_can_be_read_from_the_component_side() -> None:
    line = Path.lines(np.array([(1.0, 2.0), (4.0, 2.0)]))
    text = Lettering("I", (10.0, 0.0), mirrored=False, letters=Affine(1, 0, 10, 0, 1, 0))
    placement = invented(1).copies[0].placement
    turned = {}
    for mirrored in (False, True):
        pose = Pose(-1, 0, 0, 0, 1, 0) if mirrored else Pose()
        board = replace(placement.board, legend=Legend((line,), (text,)))
        data = compact.legend_data(replace(placement, board=board, pose=pose))
        assert data is not None
        count, first, *_ = numbers(data["rings"])
        xy = np.cumsum(np.array(numbers(data["xy"])).reshape(-1, 2), axis=0) * 1e-3
        assert (count, first) == (1 + len(list(text.strokes(turned=False))), 2)
        assert xy[:2].tolist() == [[1.0, 2.0], [4.0, 2.0]]
        turned[mirrored] = xy[2:, 0]
    # turned about its middle
    wide = letters.width("I", 1.0)
    assert np.allclose(np.sort(turned[False]), np.sort(20.0 + wide - turned[True]), atol=2e-3)
    assert compact.legend_data(placement) is None


def test_thinning_moves_no_edge_by_more_than_it_says() -> None:
    disc = shapely.Point(3, 4).buffer(2.5, quad_segs=400)
    (less,) = compact.thinned((disc,))
    assert len(less.exterior.coords) < len(disc.exterior.coords) / 4
    assert less.hausdorff_distance(disc) <= compact.THINNED


def test_a_trail_comes_back(two_passes: CutSet) -> None:
    for trail in [p.trail for p in two_passes.programs if p.trail is not None]:
        data = compact.trail_data(trail)
        start = np.array(data["start"])
        steps = np.column_stack((numbers(data["x"]), numbers(data["y"]), unrolled(data["z"])))
        places = start + np.vstack((np.zeros((1, 3)), np.cumsum(steps, axis=0)))
        assert np.abs(places * 1e-4 - trail.xyz).max() <= 0.5001e-4
        assert unrolled(data["kind"]) == trail.kind.tolist()
        assert np.cumsum(unrolled(data["line"])).tolist() == trail.line.tolist()
        feed = np.nan_to_num(trail.feed)
        assert np.array(unrolled(data["feed"])) / 100 == pytest.approx(feed)


def test_arcs_and_waits_of_a_trail() -> None:
    trail = Trail(
        "x.ngc",
        np.array([(0, 0, 5), (1, 0, 5), (0, 1, 5), (0, 1, 5)], dtype=float),
        np.array([0, 3, 1]),
        np.array([(np.nan, np.nan), (0, 0), (np.nan, np.nan)]),
        np.array([np.nan, 100, 100]),
        np.array([4, 7, 9]),
        np.array([3.0, 0.0, 0.25]),
    )
    data = compact.trail_data(trail)
    assert numbers(data["centre"]) == [-10000, 0]
    assert numbers(data["wait"]) == [0, 3000, 2, 250]
    assert unrolled(data["line"]) == [4, 3, 2]


def test_a_trail_whose_arrays_do_not_fit_is_refused(two_passes: CutSet) -> None:
    trail = next(p.trail for p in two_passes.programs if p.trail is not None)
    with pytest.raises(ValueError, match="do not fit"):
        replace(trail, xyz=trail.xyz[1:])
    broken = trail.xyz.copy()
    broken[0, 0] = np.nan
    with pytest.raises(ValueError, match="not finite"):
        replace(trail, xyz=broken)


def test_everything_of_the_set_is_reported(two_passes: CutSet) -> None:
    data = scene_data(two_passes)
    assert [p["file"] for p in data["programs"]] == [p.file for p in two_passes.programs]
    assert len(data["copies"][0]["nets"]) == len(data["boards"][0]["pieces"])
    assert data["copies"][0]["nets"][0] == "heater"
    for key, values in (
        ("joins", two_passes.joins), ("holes", two_passes.blanks[0].cuts.holes),
        ("clamps", two_passes.clamps),
        ("passes", two_passes.passes), ("findings", two_passes.findings),
    ):  # fmt: skip
        assert len(data[key]) == len(values), key
    assert len(data["tabs"]) == sum(len(p.tabs) for p in two_passes.blanks[0].cuts.profiles)
    assert [f["name"] for f in data["findings"]] == ["F3", "F2", "F1"]
    assert data["findings"][0]["at"] == [-3.0, 30.0]


def test_copies_of_one_board_share_its_copper(two_passes: CutSet) -> None:
    (one,) = two_passes.blanks[0].placements
    other = replace(one, index=1, copy=2)
    data = scene_data(with_copies(two_passes, (one, other)))
    assert len(data["boards"]) == 1
    assert [copy["board"] for copy in data["copies"]] == [0, 0]


def test_the_same_set_gives_the_same_bytes() -> None:
    assert sheet(with_trails(invented(4))) == sheet(with_trails(invented(4)))


@pytest.mark.parametrize(
    "name", ["</script><script>alert(1)</script>", "<!--", "a & b", "\u2028", "\ud83d", "😀", "‮abc"]
)
def test_data_cannot_end_its_element(name: str) -> None:
    data = to_script_json({"name": name})
    assert not re.search(r"[<>&]", data)
    assert data.isascii()
    assert json.loads(data) == {"name": name}


def test_the_policy_names_the_script_and_the_style_in_the_page(two_passes: CutSet) -> None:
    text = sheet(two_passes)
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', text)
    assert policy
    said = policy[1].replace("&#39;", "'")
    assert said.startswith("default-src 'none'; ")
    assert "unsafe" not in said
    for element in ("script", "style"):
        source = re.search(rf"<{element}>(.*?)</{element}>", text, re.S)
        assert source
        digest = base64.b64encode(hashlib.sha256(source[1].encode()).digest()).decode()
        assert f"{element}-src 'sha256-{digest}'" in said


def test_the_script_ends_its_element_once() -> None:
    assert "</script" not in review(with_trails(invented(1))).script


def code() -> str:
    return "\n".join(part(name) for name in SCRIPTS)


def test_every_layer_is_looked_at() -> None:
    script = code()
    for key, words, _ in LAYERS:
        assert words
        assert re.search(rf"\b(on|state\.layers)\.{key}\b", script), key


@pytest.mark.parametrize("name", SCRIPTS)
def test_nothing_in_the_script_depends_on_a_country_or_reaches_out(name: str) -> None:
    source = part(name)
    for word in (
        "toLocale", "Intl.", "innerHTML", "outerHTML", "insertAdjacent", "document.write", "eval(",
        "fetch(", "XMLHttp", "import(", "WebSocket", "sendBeacon", "http:", "https:",
    ):  # fmt: skip
        assert word not in source, word


def test_lines_of_the_page_fit() -> None:
    for name in (*SCRIPTS, "review.css", "plan.css"):
        assert max(map(len, part(name).splitlines())) <= 120, name


def test_a_set_without_programs_has_a_review_too() -> None:
    data: dict[str, Any] = scene_data(invented(1))
    assert data["programs"] == []
    starts = [len(p["file"]) for p in scene_data(with_trails(invented(1)))["programs"]]
    assert all(a > 0 and b > 0 for a, b in pairwise(starts))
