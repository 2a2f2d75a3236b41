"""Moves and figures of known sets are those that were frozen."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from tests.frozen.digest import set_digests
from tests.frozen.jobs import JOBS, REAL, SHARED, example
from tests.frozen.store import differences, frozen, made


def test_every_set_is_frozen() -> None:
    assert frozen().keys() == (JOBS | REAL).keys()


QUICK = ("indicators", "heaters", "socket", "supply-half-millimetre", "resumed")
"""Sets of the usual run; `python -m tests.frozen --check` compares all."""


@pytest.mark.parametrize("name", QUICK)
def test_a_set_is_as_it_was(name: str, tmp_path: Path) -> None:
    assert differences(frozen()[name], made(JOBS[name], tmp_path)) == []


@pytest.mark.skipif(
    SHARED is None, reason="MILLPREP_SHARED does not name the folder with the real drawings"
)
@pytest.mark.parametrize("name", ["real-main"])
def test_a_set_of_a_real_drawing_is_as_it_was(name: str, tmp_path: Path) -> None:
    assert differences(frozen()[name], made(REAL[name], tmp_path)) == []


def test_a_moved_place_or_figure_is_seen(tmp_path: Path) -> None:
    folder = example("rules/socket")(tmp_path)
    before = set_digests(folder)
    program = next(iter(sorted(folder.rglob("*.ngc"))))
    program.write_text(program.read_text("ascii").replace("(", "(other words "), "ascii")
    assert set_digests(folder) == before
    moved = re.sub(r"^(G\d+ X)", r"\g<1>1", program.read_text("ascii"), count=1, flags=re.M)
    program.write_text(moved, "ascii")
    report = folder / "report.json"
    loaded = json.loads(report.read_text("utf-8"))
    loaded["machine_seconds"] += 0.1
    report.write_text(json.dumps(loaded), "utf-8")
    name = program.relative_to(folder).as_posix()
    assert differences(before, set_digests(folder)) == [name, "report machine_seconds"]
