"""Gaps that are drawn narrower than required, wider than any lap reaches, and wide as required."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely
from ezdxf.layouts.layout import Modelspace

from millprep import prepare
from millprep.model.as_cut import AsCut
from millprep.model.finding import Finding, Refusal
from millprep.model.set_of_programs import CutSet
from millprep.verify.clearances import gaps_not_reached, near_pieces
from millprep.verify.narrowest import pairs_within
from tests.helpers.rules_scene import cut, placed
from tests.helpers.small_job import JOB, Draw, changed, edge, put

VOLTS = """
[[board.net]]
name = "high"
at = [10.0, 10.0]
volts = 400

[[board.net]]
name = "low"
at = [15.0, 10.0]
volts = 0
"""

COARSE = changed('preset = "vee-30-0.1"', 'preset = "endmill-0.8"')
"""Opens a gap of several millimetres in few laps."""


def areas(*lefts: float, width: float = 4.0) -> Draw:
    """Squares in a row, the left edges of which are here."""

    def what(space: Modelspace) -> None:
        edge(space)
        for x in lefts:
            corners = [(x, 8.0), (x + width, 8.0), (x + width, 12.0), (x, 12.0)]
            space.add_hatch(dxfattribs={"layer": "sheen"}).paths.add_polyline_path(corners)

    return what


def made(folder: Path, gap: float, what: Draw, text: str = JOB) -> CutSet:
    text = changed("gap = 0.3", f"gap = {gap}", text).replace('["wells"]', "[]")
    return prepare(put(folder, text, what), folder / "set")


def of(code: str, findings: tuple[Finding, ...]) -> list[Finding]:
    return [finding for finding in findings if finding.code == code]


@pytest.mark.parametrize(("drawn", "gap"), [(0.16, 0.5), (0.39, 1.5), (1.78, 3.0)])
def test_copper_that_is_drawn_nearer_than_the_gap_is_a_warning(
    tmp_path: Path, drawn: float, gap: float
) -> None:
    done = made(tmp_path, gap, areas(8.0, 12.0 + drawn))
    (warning,) = of("gap-not-reached", done.findings)
    (copy,) = done.copies
    assert copy.proof is not None
    assert copy.proof.worst is not None
    nominal, worst = copy.proof.narrowest_gap, copy.proof.worst.narrowest_gap
    assert nominal is not None
    assert worst is not None
    assert worst < nominal < drawn
    assert warning.severity == "warn"
    assert warning.at == pytest.approx(copy.placement.pose.point((12 + drawn / 2, 10)), abs=2.1)
    for words in (
        f"gap of {nominal:.3f} mm between pieces c1 and c2",
        f"worst case {worst:.3f}; [isolation] gap requires {gap:g}.",
        f"drawn {drawn:.3f} mm apart, and no cut widens that",
    ):
        assert words in warning.message


@pytest.mark.parametrize("gap", [6.0, 12.0])
def test_a_gap_of_several_millimetres_is_cut_and_proved(tmp_path: Path, gap: float) -> None:
    done = made(tmp_path, gap, areas(3.0, 4.0 + 7.75, width=1.0), COARSE)
    (copy,) = done.copies
    assert copy.proof is not None
    assert copy.proof.narrowest_gap == pytest.approx(7.75, abs=0.03)
    assert len(of("gap-not-reached", done.findings)) == (gap > 7.75)


def test_volts_that_require_the_gap_stop_the_job(tmp_path: Path) -> None:
    with_nets = changed("\n[cutters.vee]", f"{VOLTS}\n[cutters.vee]", COARSE)
    with pytest.raises(Refusal) as refused:
        made(tmp_path, 3.0, areas(8.0, 13.78), with_nets)
    (fault,) = of("gap-not-reached", refused.value.findings)
    assert fault.severity == "stop"
    assert "400 V require 2.5 mm (IPC-2221 table 6-1)" in fault.message


def test_a_gap_below_the_groove_is_as_wide_as_the_groove(tmp_path: Path) -> None:
    done = made(tmp_path, 0.05, areas(8.0, 14.0))
    (warning,) = of("groove-wider-than-gap", done.findings)
    assert warning.severity == "warn"
    assert "0.124 mm wide" in warning.message
    assert "[isolation] gap is 0.05" in warning.message


def test_the_nearest_are_listed_those_that_volts_forbid_first_and_the_rest_is_counted() -> None:
    squares = [shapely.box(x, 20, x + 2, 22) for x in (5 * k + 0.1 * k * k for k in range(10))]
    placement = placed(squares)
    volts = {(0, "c8"): (0.0, 0.0), (0, "c9"): (4000.0, 4000.0)}
    near = near_pieces(cut(placement), placement, 8.0, {}, volts, ("B2",))
    narrowest = {(0, f"c{n}"): square for n, square in enumerate(squares, 1)}
    first, *rest = gaps_not_reached(near, narrowest, 8.0)
    assert first.severity == "stop"
    assert "pieces c8 and c9" in first.message
    assert [finding.severity for finding in rest] == ["warn"] * 5
    assert "pieces c1 and c2" in rest[0].message
    assert [finding.more for finding in rest] == [0, 0, 0, 0, len(near) - 6]
    assert near_pieces(cut(placement), placement, 3.0, {}, volts, ("B2",)) == []
    nothing = AsCut(1, (), (), ())
    assert near_pieces(nothing, placement, 8.0, {}, volts, ("B2",)) == []
    one_net = {(0, f"c{n}"): "same" for n in range(1, 11)}
    assert near_pieces(cut(placement), placement, 8.0, one_net, {}, ("B2",)) == []


@pytest.mark.parametrize(("reach", "near"), [(0.9, {}), (1.0, {(0, 1): 1.0}),
                                             (2.5, {(0, 1): 1.0, (0, 2): 2.0})])  # fmt: skip
def test_copper_within_a_hole_of_other_copper_is_measured_to_the_hole(
    reach: float, near: dict[tuple[int, int], float]
) -> None:
    frame = shapely.box(0, 0, 20, 20) - shapely.box(5, 5, 15, 15)
    shapes = np.array([frame, shapely.box(6, 7, 13, 13), shapely.box(22, 0, 25, 9)], dtype=object)
    first, second, far = pairs_within(shapes, reach)
    pairs = zip(first.tolist(), second.tolist(), strict=True)
    assert dict(zip(pairs, far.tolist(), strict=True)) == near
