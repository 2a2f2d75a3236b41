"""Joins with ticks from the drawing to the files and back: proved, certified, run one way."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path as File
from typing import Any

import numpy as np
import pytest

from fixtures.wide_boards import wide_board, write_job
from millprep.geometry.path import FloatArray
from millprep.model.milling_pass import Join
from millprep.model.set_of_programs import CutSet
from millprep.verify.reader import read
from millprep.workflow.prepare import prepare
from tests.helpers.join_tolerance import certify, pass_grooves

ERRORS = 'drill_error = 0.05\nlocate_error = 0.05\nsecond_hole = "round"\n'
"""Large enough that a gap of 0.2 mm asks for ticks."""


@dataclass(frozen=True)
class Made:
    """A set and the folder it lies in."""

    cut_set: CutSet
    folder: File

    @property
    def joins(self) -> list[Join]:
        """Those in copper."""
        return [join for join in self.cut_set.joins if join.piece is not None]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Made:
    folder = tmp_path_factory.mktemp("ticks")
    board = wide_board(3, (150.0, 40.0))
    file = write_job(board, folder, travel=(110.0, 90.0), size=(190.0, 80.0), margin=18.0, gap=0.2)
    file.write_text(file.read_text("utf-8").rstrip() + "\n" + ERRORS, encoding="utf-8")
    return Made(prepare(file, folder / "out"), folder / "out")


def test_ticks_are_cut_and_the_proof_finds_nothing_amiss(made: Made) -> None:
    assert len(made.joins) == 6
    for join in made.joins:
        assert join.tick == pytest.approx(0.25)
        assert join.predicted is not None
        assert join.tolerance_electrical is not None
        assert join.tolerance_electrical >= 3 * join.predicted
    assert [(proof.shorts, proof.opens) for proof in made.cut_set.proofs] == [(0, 0)]
    assert [f.code for f in made.cut_set.findings if f.code.startswith(("copper", "join"))] == []


def test_the_report_has_all_figures_of_every_join(made: Made) -> None:
    report: dict[str, Any] = json.loads((made.folder / "report.json").read_text("utf-8"))
    rows = [row for row in report["joins"] if row["piece"] is not None]
    assert len(rows) == 6
    for row in rows:
        # two passes' error of √(0.05² + 0.05²) per hole, two holes: the least there can be is 0.05
        assert 0.05 <= row["predicted_rms"] < 0.055
        assert row["predicted_997"] == pytest.approx(2.97 * row["predicted_rms"], abs=2e-4)
        assert row["tick"] == 0.25
        assert row["tolerance_electrical"] == 0.45


def test_the_files_on_disk_stand_what_the_report_says(made: Made) -> None:
    """The certificate of the programs as read back, within 5 µm of the closed form."""
    cut_set = made.cut_set
    (placement,) = cut_set.layout.placements
    by_number = {p.number: p for p in cut_set.passes}
    cuts = [
        (
            read((made.folder / p.file).read_text("ascii"), file=p.file),
            p.cutter,
            by_number[p.mill_pass],
        )
        for p in cut_set.programs
        if p.mill_pass and "isolate" in p.works
    ]
    chosen = made.joins[::3]
    pieces = {(0, p.id): placement.pose.shape(p.shape) for p in placement.board.pieces}
    grooves = pass_grooves(cut_set.layout.blanks[0], cuts, chosen)
    for found in certify(chosen, grooves, pieces):
        assert found.electrical == pytest.approx(found.join.tolerance_electrical, abs=0.005)


def passing(cut_set: CutSet, join: Join, number: int) -> Iterator[FloatArray]:
    """Unit vectors, blank frame, of the moves in copper that pass over a join."""
    (here,) = [p for p in cut_set.passes if p.number == number]
    back = here.pose.inverse()
    for program in cut_set.programs:
        if program.mill_pass != number or "isolate" not in program.works:
            continue
        x, y, z = program.start
        for move in program.moves:
            if z < 0 and move.z < 0 and (move.x, move.y) != (x, y):
                a, b = back.points([(x, y), (move.x, move.y)])
                run = float(np.hypot(*(b - a)))
                way = (b - a) / run
                along = float((np.array(join.at) - a) @ way)
                neighbour = abs(way[0] * (join.at[1] - a[1]) - way[1] * (join.at[0] - a[0]))
                if -1e-6 <= along <= run + 1e-6 and neighbour < 0.02:
                    yield way
            x, y, z = move.x, move.y, move.z


def test_both_sides_of_a_join_are_cut_in_the_same_direction_of_travel(made: Made) -> None:
    for join in made.joins:
        first, second = (list(passing(made.cut_set, join, k)) for k in join.passes)
        assert len(first) == len(second) == 1
        assert float(first[0] @ second[0]) == pytest.approx(1.0, abs=1e-9)
        # along the path, whose normal the join knows
        assert math.isclose(float(first[0] @ np.array(join.across)), 0.0, abs_tol=1e-6)
