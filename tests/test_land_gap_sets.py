"""Whole sets with a wider gap around lands, for soldering by hand."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import shapely

from millprep.model.finding import Refusal
from millprep.toolpaths.clearing_of_blank import board_pads
from millprep.workflow.prepare import prepare
from tests.helpers.clearing_jobs import MILL, job, stops

PAD_GAP = 0.9


@pytest.mark.parametrize("more", ["", MILL])
@pytest.mark.parametrize(("length", "travel"), [(60.0, (300.0, 180.0)), (180.0, (160.0, 120.0))])
def test_the_gap_is_open_around_every_land_and_tracks_keep_theirs(
    tmp_path: Path, more: str, length: float, travel: tuple[float, float]
) -> None:
    file = job(tmp_path, f"0.3\npad_gap = {PAD_GAP}", more, False, length, travel=travel)
    cut_set = prepare(file, tmp_path / "out")
    assert stops(cut_set) == []
    assert len(cut_set.passes) == (1 if length < 100 else 2)
    codes = {finding.code for finding in cut_set.findings}
    assert "gap-around-pads" in codes
    assert not codes & {"gap-not-opened", "pad-gap-narrow", "copper-not-cleared", "stray-cut"}
    (proof,), (copy,) = cut_set.proofs, cut_set.layout.placements
    copper = cut_set.blanks[0].as_cut
    assert copper is not None
    assert proof.pad_gaps is not None
    assert [one.gap for one in proof.pad_gaps] == [None] * 9
    free = shapely.union_all([part.shape for part in copper.parts if not part.pieces])
    for land in board_pads(copy.board):
        # the house's tolerances on both edges
        assert free.distance(copy.pose.shape(land.shape)) > PAD_GAP - 0.015
    # half way between two lands the rails keep their own gap
    rail = copy.pose.shape(shapely.LineString([(14.0, 20.0), (24.0, 20.0)]).buffer(0.6))
    assert free.distance(rail) == pytest.approx(0.3, abs=0.03)
    assert {one.cutter for one in cut_set.blanks[0].cuts.clearings} == {"clear" if more else "vee"}


def test_what_is_drawn_too_near_is_reported_with_its_place(tmp_path: Path) -> None:
    # the first two rails are 2.2 mm apart, less where they have their pads: 1.6
    file = job(tmp_path, "0.3\npad_gap = 1.8", MILL, nets=False)
    cut_set = prepare(file, tmp_path / "out")
    assert stops(cut_set) == []
    findings = [finding for finding in cut_set.findings if finding.code == "pad-gap-narrow"]
    assert [finding.more for finding in findings] == [0, 0, 0, 0, 1]
    report = json.loads((tmp_path / "out" / "report.json").read_text("utf-8"))
    rows = report["boards"][0]["proof"]["lands"]
    assert {row["hole"] for row in rows[:6]} == {"h1", "h2", "h4", "h5", "h7", "h8"}
    (copy,) = cut_set.layout.placements
    places = [copy.pose.point((x, 12.0)) for x in (8.0, 30.0, 52.0)]
    for row in rows[:6]:
        assert row["gap"] == pytest.approx(1.6, abs=0.06)
        assert min(abs(row["at"][0] - x) for x, _ in places) < 0.1
    text = (tmp_path / "out" / "sheet.html").read_text("utf-8")
    assert "3 of 9 pads have a gap of 1.8 mm around them" in text


def test_a_gap_no_wider_than_everywhere_is_a_mistake(tmp_path: Path) -> None:
    for words, said in (
        ("0.3\npad_gap = 0.3", "must be wider than the 0.3 mm that are opened everywhere"),
        ('"by voltage"\npad_gap = 0.1', "must be wider than the 0.2 mm"),
        ('0.3\npad_gap = 0.8\ncourse = "middle"', 'must be left out with course = "middle"'),
    ):
        with pytest.raises(Refusal) as refused:
            prepare(job(tmp_path, words, nets=False), tmp_path / "out")
        assert any(said in finding.message for finding in refused.value.findings), said
