"""Spoilt drawings end in a board or a refusal, with mending and without: never in a traceback.

The mutants are seeded; more of them, and others: MILLPREP_MUTANTS=2000 in the environment.
"""

from __future__ import annotations

import json
import os
import random
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from millprep.drawing import read
from millprep.model.finding import Refusal
from tests.damaged import spoilt
from tests.helpers.drawn_dialects import DIALECTS, NAMES, roles

MANY = int(os.environ.get("MILLPREP_MUTANTS", "60"))
SEEDS = range(2) if MANY == 60 else range(MANY, MANY + 2)


@pytest.mark.parametrize("repair", [False, True], ids=["as-it-is", "mended"])
@pytest.mark.parametrize("seed", SEEDS)
# what is no number makes numpy warn; what comes of it is checked
@pytest.mark.filterwarnings("ignore::RuntimeWarning")
def test_no_mutant_makes_a_traceback(tmp_path: Path, seed: int, repair: bool) -> None:
    rng = random.Random(seed)
    file = tmp_path / "spoilt.dxf"
    outcomes = Counter[str]()
    for _ in range(MANY):
        name = rng.choice(NAMES)
        sound = (DIALECTS / f"{name}.dxf").read_bytes()
        meant = json.loads((DIALECTS / f"{name}.json").read_text(encoding="utf-8"))["readings"][0]
        file.write_bytes(spoilt(sound, rng))
        try:
            board = read(
                file, name="b", shown_as=name, layers=roles(meant["layers"]),
                unit=meant["unit"] or "mm", repair=repair,
            )  # fmt: skip
        except Refusal as refusal:
            outcomes["refused" if refusal.exit_code == 3 else "wrongly"] += 1
        else:
            assert all(np.isfinite(piece.shape.bounds).all() for piece in board.pieces)
            outcomes["read"] += 1
    assert set(outcomes) == {"read", "refused"}
