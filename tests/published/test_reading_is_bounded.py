"""No real drawing needs more than ten seconds or a gigabyte and a quarter to be read.

The limits are the operating system's own, so that nothing is timed here. They leave room for
a slow machine; `python -m tests.bench.drawings` prints what is really needed.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.helpers.real_drawings import OUTCOMES, Read, pytestmark

__all__ = ["pytestmark"]

pytest.importorskip("resource", reason="this system has no limits on processes")

ROOT = Path(__file__).parents[2]
MEGABYTES = 1280
SECONDS = 10


def bench(*limits: str) -> list[dict[str, Any]]:
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench.drawings", "--json", *limits],
        cwd=ROOT, capture_output=True, text=True, check=True,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1", "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    return [json.loads(line) for line in done.stdout.splitlines()]


def test_every_real_drawing_stays_within_the_limits() -> None:
    records = bench("--cpu", str(SECONDS), "--memory", str(MEGABYTES))
    expected = ["read" if isinstance(end, Read) else "refused" for *_, end in OUTCOMES]
    assert [record["file"] for record in records] == [file for file, *_ in OUTCOMES]
    assert [(r["file"], r["outcome"]) for r in records] == [
        (file, outcome) for (file, *_), outcome in zip(OUTCOMES, expected, strict=True)
    ]


def test_the_limits_bind() -> None:
    # what is loaded already takes more than this: the first allocation fails
    assert "read" not in {record["outcome"] for record in bench("--memory", "64")}
