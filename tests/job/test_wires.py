"""Wires whose resistance counts, in the job."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from millprep.job import load
from millprep.model.job.nets import Wire
from tests.helpers.sample_job import changed, messages, write

ENDS = "start = [1, 2]\nend = [31, 42]\n"


def job(keys: str, more: str = "") -> str:
    return changed("[cutters.vee]", f"[[board.wire]]\n{keys}\n[cutters.vee]") + more


@pytest.mark.parametrize(
    ("keys", "length", "area"),
    [
        ("diameter = 0.8", 50.0, math.pi * 0.16),
        ("area = 0.75", 50.0, 0.75),
        ("area = 0.75\nlength = 120", 120.0, 0.75),
    ],
)
@pytest.mark.parametrize("celsius", [20.0, 60.0])
def test_a_wire_resists_what_its_copper_does(
    tmp_path: Path, keys: str, length: float, area: float, celsius: float
) -> None:
    """ρ·l / A, 58 m/(Ω·mm²) at 20 °C and 0.393 % more for each kelvin; straight unless told."""
    text = job(ENDS + keys, f"\n[rules]\ncelsius = {celsius}\n")
    plan = load(write(tmp_path, text))
    (wire,) = plan.boards[0].jumper_wires(plan.rules.celsius)
    assert (wire.start, wire.end) == ((1.0, 2.0), (31.0, 42.0))
    rho = (1 + 0.00393 * (celsius - 20)) / 58000
    assert wire.ohms == pytest.approx(rho * length / area)


def test_links_stay_perfect_and_come_first(tmp_path: Path) -> None:
    text = changed(
        "[cutters.vee]",
        f"links = [[[5, 5], [6, 6]]]\n[[board.wire]]\n{ENDS}diameter = 1\n[cutters.vee]",
    )
    link, wire = load(write(tmp_path, text)).boards[0].jumper_wires(20.0)
    assert link == Wire((5.0, 5.0), (6.0, 6.0))
    assert wire.ohms > 0


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        (ENDS, "gives no diameter or area of its copper"),
        (ENDS + "diameter = 1\narea = 1", "gives diameter and area; keep one of them"),
        (ENDS + "area = 1\nlength = 49", "is shorter than the 50.00 mm straight between its ends"),
        ("start = [1, 2]\nend = [1, 2]\narea = 1", "must lead from one point to another"),
        ("start = [1, 2]\narea = 1", "end is missing"),
    ],
)
def test_wires_that_cannot_be_are_mistakes(tmp_path: Path, keys: str, words: str) -> None:
    found = messages(tmp_path, job(keys))
    assert any(words in one for one in found), found
