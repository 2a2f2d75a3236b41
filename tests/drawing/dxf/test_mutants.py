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
from tests.helpers.drawn_dialects import DIALECTS, NAMES, roles

MANY = int(os.environ.get("MILLPREP_MUTANTS", "60"))
SEEDS = range(2) if MANY == 60 else range(MANY, MANY + 2)

NUMBERS = [b"1e308", b"-1", b"nan", b"inf", b"0", b"999999999", b"-32768", b"1e9", b"1e-300", b""]
NUMBERS += [b"%g" % (1.7 * 10**k) for k in range(-3, 12)]
WORDS = [b"\xff\xfe", b"x", b"*Model_Space", b"0" * 30, b"foil", b"INSERT", b"CIRCLE"]
CODES = [0, 1, 2, 5, 8, 10, 11, 20, 40, 41, 42, 50, 62, 66, 67, 70, 90, 91, 93, 210, 1070, 5000]
NUMERIC = {b"10", b"20", b"30", b"11", b"21", b"40", b"41", b"42", b"43", b"50", b"51", b"70"}
NUMERIC |= {b"66", b"67", b"71", b"72", b"73", b"90", b"91", b"92", b"93", b"210", b"230"}
KINDS = ["numbers"] * 3 + ["words", "code", "delete", "twice", "swap", "cut", "line"]


def spoilt(content: bytes, rng: random.Random) -> bytes:
    """A few bytes, or a few tags, changed."""
    if content.startswith(b"AutoCAD") or rng.random() < 0.2:
        changed = bytearray(content)
        for _ in range(rng.randint(1, 6)):
            changed[rng.randrange(len(changed))] = rng.choice(b"\n 019-.eExA\0\xff")
        return bytes(changed)
    rows = content.replace(b"\r\n", b"\n").split(b"\n")
    for _ in range(rng.randint(1, 3)):
        # most in the blocks and the entities, some anywhere
        low = rows.index(b"BLOCKS") if b"BLOCKS" in rows and rng.random() < 0.8 else 0
        high = rows.index(b"OBJECTS") if b"OBJECTS" in rows else len(rows) - 1
        if high - low < 8:
            break
        k = rng.randrange(low // 2 + 1, high // 2) * 2
        kind = rng.choice(KINDS)
        if kind == "numbers":
            numeric = [n for n in range(low // 2 * 2 + 2, high, 2) if rows[n].strip() in NUMERIC]
            if numeric:
                rows[rng.choice(numeric) + 1] = rng.choice(NUMBERS)
        elif kind == "words":
            rows[k + 1] = rng.choice(WORDS)
        elif kind == "code":
            rows[k] = b"%3d" % rng.choice(CODES)
        elif kind == "delete":
            del rows[k : k + 2 * rng.randint(1, 9)]
        elif kind == "twice":
            rows[k:k] = rows[k : k + 2]
        elif kind == "swap":
            j = rng.randrange(low // 2 + 1, high // 2) * 2
            rows[k : k + 2], rows[j : j + 2] = rows[j : j + 2], rows[k : k + 2]
        elif kind == "cut":
            del rows[k + rng.randrange(2) :]
        else:
            del rows[k]
    return b"\n".join(rows)


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
