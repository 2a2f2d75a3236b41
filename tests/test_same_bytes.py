"""A set of several passes is the same to the byte, whatever is around the run that makes it."""

from __future__ import annotations

import os
import shutil
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


def one_core() -> None:
    """Leave the process one core, where the system can."""
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})


def test_every_file_of_a_set_in_two_passes_is_the_same_wherever_it_is_made(tmp_path: Path) -> None:
    """Hash seed, time zone, locale, umask, cores, and the folders of job, set and caller."""
    (tmp_path / "1").mkdir()
    name = job(tmp_path / "1", "0.4", nets=False, length=310.0).name
    shutil.copytree(tmp_path / "1", tmp_path / "2")
    sets = []
    for seed, zone, locale, umask in (
        ("1", "UTC", "C.UTF-8", 0o022),
        ("2", "Pacific/Auckland", "tr_TR.UTF-8", 0o077),
    ):
        folder = tmp_path / seed
        out = folder / "deep" / f"set-{seed}"
        around = {"PYTHONHASHSEED": seed, "TZ": zone, "LC_ALL": locale, "PYTHONPATH": str(ROOT)}
        subprocess.run(
            [sys.executable, "-c", START, "prepare", folder / name, "--out", out],
            cwd=ROOT if seed == "1" else folder,
            env=os.environ | around,
            umask=umask if os.name == "posix" else -1,
            preexec_fn=one_core if seed == "2" and os.name == "posix" else None,
            check=True,
            capture_output=True,
        )
        sets.append(contents(out))
    one, other = sets
    assert set(one) >= KINDS
    assert any(name.startswith("blank-1/pass-2/") for name in one)
    assert {name for name in one | other if one.get(name) != other.get(name)} == set()
