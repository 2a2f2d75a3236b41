"""A set of several passes is the same to the byte whatever order Python hashes words in."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from tests.helpers.clearing_jobs import job
from tests.helpers.sets import ROOT, START, contents

KINDS = {
    "as-cut/blank-1.dxf", "as-cut/blank-1.svg", "buzz-out.csv", "report.json", "sheet.html",
    "toolpaths.csv", "previews/blank-1-pass-2.png", "previews/blank-1-as-cut.svg",
}  # fmt: skip
"""Some of each kind of file that a set holds."""


def test_every_file_of_a_set_in_two_passes_is_the_same_under_another_hash_seed(
    tmp_path: Path,
) -> None:
    file = job(tmp_path, "0.4", nets=False, length=310.0)
    sets = []
    for seed, zone in (("1", "UTC"), ("2", "Pacific/Auckland")):
        out = tmp_path / f"set-{seed}"
        subprocess.run(
            [sys.executable, "-c", START, "prepare", file, "--out", out],
            cwd=ROOT,
            env=os.environ | {"PYTHONHASHSEED": seed, "TZ": zone},
            check=True,
            capture_output=True,
        )
        sets.append(contents(out))
    one, other = sets
    assert set(one) >= KINDS
    assert any(name.startswith("blank-1/pass-2/") for name in one)
    assert {name for name in one | other if one.get(name) != other.get(name)} == set()
