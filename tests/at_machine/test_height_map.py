"""Maps from readings: good ones, and every kind of bad one with its own word."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import shapely

from millprep.at_machine.height_map import ASSUMED, REPEATS, SURE, levelling
from millprep.at_machine.height_map_readings import MapReadings, Reading, load
from millprep.model.finding import Finding, Refusal
from millprep.model.job.keys import InputFile
from millprep.model.surface_map import Levelling
from tests.conftest import EXAMPLES

CUTS = shapely.box(10.0, 10.0, 250.0, 100.0)
TOUCH = (2.0, 2.0)
SET = "0123456789ab"
SIGMA = 0.004
Rows = list[tuple[float, float, float]]


def probed(seed: int = 0) -> Rows:
    """An even bow of 0.4 mm, read on 9 × 4 nodes around the cuts with noise."""
    some = np.random.default_rng(seed)
    return [
        (x, y, float(0.4 * (1 - ((x - 240) / 240) ** 2) + 1e-5 * x * y + some.normal(0, SIGMA)))
        for y in np.linspace(10, 100, 4).tolist()
        for x in np.linspace(10, 250, 9).tolist()
    ]


def readings(rows: Rows, **told: str) -> MapReadings:
    points = tuple(Reading(x, y, z, n) for n, (x, y, z) in enumerate(rows, 7))
    said = {"set": SET, "blank": "1", "pass": "2", "unit": "mm"} | told
    return MapReadings(InputFile("map.csv", "0"), {k: v for k, v in said.items() if v}, points)


def made(
    read: MapReadings, repeatability: float | None = SIGMA
) -> tuple[Levelling, tuple[Finding, ...]]:
    return levelling(read, SET, 1, 2, CUTS, TOUCH, repeatability)


def codes(read: MapReadings) -> list[str]:
    with pytest.raises(Refusal) as refused:
        made(read)
    return [f.code for f in refused.value.findings]


def test_good_readings_make_a_map_and_tell_what_is_left() -> None:
    done, result = made(readings(probed()))
    surface = done.surface
    assert surface.z.shape == (4, 9)
    assert surface.heights([(10.0, 10.0)])[0] == pytest.approx(probed()[0][2], abs=1e-4)
    assert [f.code for f in result] == ["map-flatness"]
    assert done.left > SURE * SIGMA
    assert f"{done.left:.3f} mm off" in result[0].message
    assert not done.assumed


def test_an_assumed_repeatability_is_reported_as_assumed() -> None:
    done, result = made(readings(probed()), None)
    assert done.repeatability == ASSUMED
    assert done.assumed
    assert "repeatability-assumed" in {f.code for f in result}


def test_rows_may_come_in_any_order_and_a_log_rounds_as_it_likes() -> None:
    rows = [(x + 0.003 * (n % 3 - 1), y, z) for n, (x, y, z) in enumerate(probed())]
    rows = [rows[n] for n in np.random.default_rng(1).permutation(len(rows))]
    done, _ = made(readings(rows))
    whole, _ = made(readings(probed()))
    assert np.abs(done.surface.z - whole.surface.z).max() < 1e-12


def test_a_plain_table_is_taken_with_a_warning() -> None:
    plain = readings(probed(), set="", blank="", unit="")
    _, result = made(plain)
    assert [f.severity for f in result if f.code == "map-without-set"] == ["warn"]


def test_two_readings_that_agree_are_their_mean() -> None:
    rows = probed()
    x, y, z = rows[12]
    done, _ = made(readings([*rows, (x, y, z + 2 * SIGMA)]))
    assert done.surface.heights([(x, y)])[0] == pytest.approx(z + SIGMA, abs=1e-4)


def test_zero_is_tested_where_it_was_set() -> None:
    good = [(*TOUCH, 0.006), *probed(), (*TOUCH, -0.005)]
    done, _ = made(readings(good))
    assert done.surface.z.size == 36
    assert codes(readings([*good[:-1], (*TOUCH, -0.06)])) == ["map-zero-off"]


def changed(change: Callable[[Rows], None]) -> MapReadings:
    rows = probed()
    change(rows)
    return readings(rows)


def outlier(rows: Rows) -> None:
    rows[13] = (*rows[13][:2], rows[13][2] + 0.1)


def jump(rows: Rows) -> None:
    rows[16:] = [(x, y, z + 0.12) for x, y, z in rows[16:]]


def differing(rows: Rows) -> None:
    rows.append((*rows[5][:2], rows[5][2] + REPEATS * SIGMA + 0.002))


def hole(rows: Rows) -> None:
    del rows[20]


def inches(rows: Rows) -> None:
    rows[:] = [(x / 25.4, y / 25.4, z / 25.4) for x, y, z in rows]


def few(rows: Rows) -> None:
    rows[:] = [row for row in rows if row[1] in (10.0, 100.0)]


@pytest.mark.parametrize(
    ("change", "code", "words"),
    [
        (outlier, "map-outlier", "X130.000 Y40.000 (line 20)"),
        (jump, "map-jump", "+0.1"),
        (differing, "map-duplicate", "lines 12, 43"),
        (hole, "map-hole", "X70.000 Y70.000"),
        (inches, "map-in-inches", "multiplied by 25.4"),
        (few, "map-too-few", "18 points in 9 columns and 2 rows"),
    ],
)
def test_bad_readings_are_refused_with_place_and_word(
    change: Callable[[Rows], None], code: str, words: str
) -> None:
    with pytest.raises(Refusal) as refused:
        made(changed(change))
    (finding,) = refused.value.findings
    assert finding.code == code
    assert words in finding.message
    assert finding.file == "map.csv"


def test_a_second_reading_that_agrees_confirms_the_first() -> None:
    rows = probed()
    outlier(rows)
    x, y, z = rows[13]
    done, _ = made(readings([*rows, (x, y, z + 0.004)]))
    assert done.surface.heights([(x, y)])[0] == pytest.approx(z + 0.002, abs=1e-4)


@pytest.mark.parametrize(
    ("told", "code"),
    [
        ({"set": "ffffffffffff"}, "map-of-another-set"),
        ({"pass": "1"}, "map-of-another-pass"),
        ({"blank": "2"}, "map-of-another-pass"),
        ({"unit": "inch"}, "map-in-inches"),
    ],
)
def test_a_map_of_something_else_is_refused(told: dict[str, str], code: str) -> None:
    assert codes(readings(probed(), **told)) == [code]


def test_the_invented_map_of_the_example_is_a_good_one(memory_board: Path) -> None:
    read = load(EXAMPLES / "memory-board-surface.csv")
    rows = (memory_board / "toolpaths.csv").read_text("ascii").splitlines()
    cells = [row.split(",") for row in rows[1:]]
    at = [
        (float(r[5]), float(r[6]))
        for r in cells
        if r[1] == "1" and r[4] != "rapid" and "dry-run" not in r[2]
    ]
    cuts = shapely.MultiPoint(at).envelope
    done, result = levelling(read, SET, 1, 1, cuts, TOUCH, 0.003)
    assert done.surface.covers(shapely.get_coordinates(cuts)).all()
    assert {f.code for f in result} == {"map-flatness", "map-without-set"}
