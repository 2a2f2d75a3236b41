"""Short ways against the optimal tours of TSPLIB.

G. Reinelt: TSPLIB, a traveling salesman problem library, 1991; drilling problems, with the optimum
of each from the library's own list. Lengths are rounded edge by edge, as TSPLIB defines EUC_2D.
"""

from __future__ import annotations

import math
import os
import subprocess
import sys
from pathlib import Path

import pytest

from millprep.geometry.tour import closed_tour

SHARED = os.environ.get("MILLPREP_SHARED")
pytestmark = pytest.mark.skipif(
    SHARED is None, reason="MILLPREP_SHARED does not name the folder with the TSPLIB problems"
)
FOLDER = Path(SHARED or "") / "reference" / "tsplib"
ALLOWED = 1.025


def places(name: str) -> list[tuple[float, float]]:
    lines = (FOLDER / f"{name}.tsp").read_text("ascii").split("NODE_COORD_SECTION")[1].split("\n")
    rows = [line.split() for line in lines if len(line.split()) == 3]
    return [(float(x), float(y)) for _, x, y in rows]


def optimum(name: str) -> int:
    for line in (FOLDER / "solutions.txt").read_text("ascii").splitlines():
        known, _, best = line.partition(":")
        if known.strip() == name:
            return int(best.split()[0])
    raise LookupError(name)


def length(tour: list[int], at: list[tuple[float, float]]) -> int:
    return sum(round(math.dist(at[tour[k - 1]], at[tour[k]])) for k in range(len(tour)))


@pytest.mark.parametrize(
    ("name", "kicks"),
    # small problems need some hundred kicks, large ones fewer for every place
    [("d198", 800), ("a280", 400), ("pcb442", 400), ("d657", 400), ("pcb1173", 500),
     ("pcb3038", 900)],
)  # fmt: skip
def test_tours_are_within_two_and_a_half_percent_of_the_optimum(name: str, kicks: int) -> None:
    at = places(name)
    tour = closed_tour(at, kicks)
    assert sorted(tour) == list(range(len(at)))
    assert length(tour, at) <= ALLOWED * optimum(name)


def test_a_tour_is_the_same_in_every_process() -> None:
    code = (
        "from tests.published.test_tours import places\n"
        "from millprep.geometry.tour import closed_tour\n"
        "print(closed_tour(places('d198'), 60))"
    )
    root = Path(__file__).parents[2]
    tours = {
        subprocess.run(
            [sys.executable, "-c", code],
            capture_output=True,
            check=True,
            cwd=root,
            env={**os.environ, "PYTHONHASHSEED": seed},
        ).stdout
        for seed in ("1", "2")
    }
    assert len(tours) == 1
