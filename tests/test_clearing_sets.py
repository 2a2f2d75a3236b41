"""Whole sets: gaps by voltage, floating copper cleared, isolation in the middle of gaps."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import shapely

from fixtures.valve_boards import Pad, round_
from fixtures.wide_boards import write_job
from millprep.model.board import Board, CopperPiece, Hole
from millprep.model.finding import Refusal
from millprep.model.set_of_programs import CutSet
from millprep.workflow.prepare import prepare
from tests.helpers.clearing_jobs import MILL, job, lamp_board, stops


def cleared_length(cut_set: CutSet) -> float:
    return sum(one.path.length for one in cut_set.blanks[0].cuts.clearings)


def test_a_gap_of_half_a_millimetre_over_floating_copper_does_not_hold_300_volts(
    tmp_path: Path,
) -> None:
    with pytest.raises(Refusal) as refused:
        prepare(job(tmp_path, "0.5"), tmp_path / "out")
    findings = [f for f in refused.value.findings if f.severity == "stop"]
    assert {f.code for f in findings} == {"spacing-too-narrow"}
    assert all(f.at is not None and "isolate by voltage" in f.message for f in findings)
    assert list((tmp_path / "out-refused" / "previews").glob("close-up-*.png"))


@pytest.mark.parametrize("more", ["", MILL])
def test_by_voltage_it_does(tmp_path: Path, more: str) -> None:
    cut_set = prepare(job(tmp_path, '"by voltage"', more), tmp_path / "out")
    assert stops(cut_set) == []
    (judged,) = [c.judged for c in cut_set.copies if c.judged]
    margins = [pair.margin for pair in judged.spacings]
    assert margins
    assert min(margins) > -1e-6
    (proof,) = cut_set.proofs
    assert (proof.pieces, proof.shorts, proof.opens) == (3, 0, 0)
    assert {one.cutter for one in cut_set.blanks[0].cuts.clearings} == {"clear" if more else "vee"}
    report = json.loads((tmp_path / "out" / "report.json").read_text("utf-8"))
    works = {p["work"] for one in report["passes"] for p in one["programs"]}
    assert ("clear" in works) == bool(more)
    # around the supply, not around the others
    supply = lamp_board().pieces[0].shape
    (copy,) = cut_set.layout.placements
    near = copy.pose.shape(supply).buffer(2.2)
    assert all(near.contains(one.path.line()) for one in cut_set.blanks[0].cuts.clearings)


def test_what_is_drawn_too_near_is_refused_before_anything_is_cut(tmp_path: Path) -> None:
    file = job(tmp_path, '"by voltage"')
    text = file.read_text("utf-8").replace("volts = 300.0", "volts = 480.0")
    file.write_text(text, encoding="utf-8")
    with pytest.raises(Refusal) as refused:
        prepare(file, tmp_path / "out")
    (findings,) = [f for f in refused.value.findings if f.severity == "stop"]
    assert findings.code == "drawn-too-near"
    assert findings.at is not None
    assert "480 V require 2.5 mm" in findings.message


def test_all_floating_copper_goes_also_across_two_passes(tmp_path: Path) -> None:
    more = MILL + 'copper = "all"\n'
    file = job(tmp_path, "0.3", more, nets=False, length=180.0, travel=(160.0, 120.0))
    cut_set = prepare(file, tmp_path / "out")
    assert stops(cut_set) == []
    assert len(cut_set.passes) == 2
    (copy,), (copper,) = cut_set.layout.placements, [b.as_cut for b in cut_set.blanks if b.as_cut]
    outline = copy.pose.shape(copy.board.outline).buffer(-0.02)
    free = [part.shape.intersection(outline) for part in copper.parts if not part.pieces]
    assert sum(shape.area for shape in free) < 0.01
    assert "copper-not-cleared" not in {finding.code for finding in cut_set.findings}


def test_an_area_is_cleared_and_nothing_else(tmp_path: Path) -> None:
    areas = "\n[[board.clear]]\nbox = [20.0, 22.0, 40.0, 28.0]\n\n[cutters"
    file = job(tmp_path, "0.3", MILL, nets=False)
    text = file.read_text("utf-8").replace("\n[cutters", areas, 1)
    file.write_text(text, encoding="utf-8")
    cut_set = prepare(file, tmp_path / "out")
    assert stops(cut_set) == []
    (copy,), (copper,) = cut_set.layout.placements, [b.as_cut for b in cut_set.blanks if b.as_cut]
    area = copy.pose.shape(shapely.box(20, 22, 40, 28))
    left = [part.shape.intersection(area.buffer(-0.01)).area for part in copper.parts]
    assert sum(left) < 1e-6
    assert all(area.contains(one.path.line()) for one in cut_set.blanks[0].cuts.clearings)


@pytest.mark.parametrize(("length", "travel"), [(60.0, (300.0, 180.0)), (180.0, (160.0, 120.0))])
def test_in_the_middle_of_gaps_copper_stays_and_comes_apart(
    tmp_path: Path, length: float, travel: tuple[float, float]
) -> None:
    more = ""
    file = job(tmp_path, '0.1\ncourse = "middle"', more, False, length, travel=travel)
    cut_set = prepare(file, tmp_path / "out")
    assert stops(cut_set) == []
    assert len(cut_set.passes) == (1 if length < 100 else 2)
    (proof,), (copper,) = cut_set.proofs, [b.as_cut for b in cut_set.blanks if b.as_cut]
    assert (proof.pieces, proof.shorts, proof.opens) == (3, 0, 0)
    (copy,) = cut_set.layout.placements
    drawn = sum(piece.shape.area for piece in copy.board.pieces)
    kept = sum(part.shape.area for part in copper.parts if part.pieces)
    assert kept > 1.5 * drawn


SCREWED = """
[[board.net]]
name = "guard"
at = [30.0, 3.0]
volts = 300.0
[[board.net]]
name = "supply"
at = [20.0, 15.0]
volts = 300.0

[cutters"""


def screwed_board() -> Board:
    """A supply and a screw within a guard of the same volts: no copper within reaches the edge."""
    outer, inner = shapely.box(2, 2, 58, 28), shapely.box(4, 4, 56, 26)
    guard = outer.difference(inner)
    rail = round_(shapely.LineString([(10.0, 15.0), (30.0, 15.0)]), 1.6)
    pads = [Pad((x, 15.0), 2.4, 1.0) for x in (10.0, 30.0)]
    supply = shapely.union_all([rail, *(pad.disc for pad in pads)])
    assert isinstance(guard, shapely.Polygon)
    assert isinstance(supply, shapely.Polygon)
    holes = [Hole(f"h{n}", pad.at, pad.hole, "c2") for n, pad in enumerate(pads, 1)]
    return Board(
        "lamps",
        shapely.box(0, 0, 60.0, 30.0),
        (CopperPiece("c1", guard), CopperPiece("c2", supply)),
        (*holes, Hole("h3", (45.0, 15.0), 3.2)),
    )


def test_a_screw_on_floating_copper_counts_as_metal_when_gaps_go_by_voltage(
    tmp_path: Path,
) -> None:
    def outcome(rules: str) -> tuple[set[str], str]:
        folder = tmp_path / f"job{len(rules)}"
        folder.mkdir()
        words: dict[str, Any] = {"travel": (300.0, 180.0), "size": (100.0, 70.0), "margin": 18.0}
        file = write_job(screwed_board(), folder, gap='"by voltage"', **words)
        text = file.read_text("utf-8").replace("\n[cutters", SCREWED, 1) + MILL + rules
        file.write_text(text, encoding="utf-8")
        cut_set = prepare(file, folder / "out")
        assert stops(cut_set) == []
        notes = [f.message for f in cut_set.findings if f.code == "gap-by-voltage"]
        return {f.code for f in cut_set.findings}, " ".join(notes)

    codes, widened = outcome("")
    assert "spacing-to-metal" not in codes
    assert "guard 1.25, supply 1.25" in widened
    # a chassis of plastic asks for nothing, and all has the same volts
    codes, widened = outcome("[rules]\nedge = false\n")
    assert "gap-by-voltage" not in codes


SOCKET = """
[[board.net]]
name = "anode"
at = [10.0, 15.0]
volts = 300.0
[[board.net]]
name = "cathode"
at = [50.0, 15.0]
volts = 0.0

[cutters"""


def two_lands() -> Board:
    """Two lands of a socket, 0.95 mm apart, each with its track."""
    found = []
    for x, end in ((28.32, 10.0), (31.67, 50.0)):
        track = round_(shapely.LineString([(x, 15.0), (end, 15.0)]), 1.0)
        found.append(shapely.union_all([track, Pad((x, 15.0), 2.4, 1.1).disc]))
    pieces = tuple(
        CopperPiece(f"c{n}", shape)
        for n, shape in enumerate(found, 1)
        if isinstance(shape, shapely.Polygon)
    )
    holes = (Hole("h1", (28.32, 15.0), 1.0, "c1"), Hole("h2", (31.67, 15.0), 1.0, "c2"))
    return Board("lamps", shapely.box(0, 0, 60.0, 30.0), pieces, holes)


@pytest.mark.parametrize("lands", [None, "A6"])
def test_lands_of_a_socket_may_have_a_column_of_their_own(
    tmp_path: Path, lands: str | None
) -> None:
    """0.8 mm hold 300 V between leads (A6), between tracks it takes 1.25 mm (B2)."""
    words: dict[str, Any] = {"travel": (300.0, 180.0), "size": (100.0, 70.0), "margin": 18.0}
    file = write_job(two_lands(), tmp_path, gap='"by voltage"', **words)
    rules = "" if lands is None else f'[rules]\nlands = "{lands}"\n'
    text = file.read_text("utf-8").replace("\n[cutters", SOCKET, 1) + MILL + rules
    file.write_text(text, encoding="utf-8")
    if lands is None:
        with pytest.raises(Refusal) as refused:
            prepare(file, tmp_path / "out")
        (findings,) = [f for f in refused.value.findings if f.severity == "stop"]
        assert findings.code == "drawn-too-near"
        return
    cut_set = prepare(file, tmp_path / "out")
    assert stops(cut_set) == []
    (judged,) = [c.judged for c in cut_set.copies if c.judged]
    assert min(pair.margin for pair in judged.spacings) > -1e-6
    assert "A6" in {pair.column for pair in judged.spacings}
