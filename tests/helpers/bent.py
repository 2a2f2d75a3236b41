"""A small board cut in two passes, on a blank that is bent as told: probed, and read with noise."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from millprep.geometry.path import FloatArray
from tests.helpers import small_job
from tests.helpers.small_job import run
from tests.helpers.strip_set import JOB, strip

NOISE = 0.003
Shape = Callable[[FloatArray, FloatArray], FloatArray]


def bow(x: FloatArray, y: FloatArray) -> FloatArray:
    """Machine frame: up to 0.2 mm high in the middle and twisted, zero at the touch point."""
    bent: FloatArray = 0.2 * (1 - ((x - 40) / 60) ** 2) + 4e-5 * (x - 30) * (y - 20)
    return bent


def prepared(folder: Path) -> Path:
    """The set of the strip."""
    job = small_job.put(folder, JOB, strip)
    done = run("prepare", job, "--out", folder / "set")
    assert done.exit_code == 0, done.output
    return folder / "set"


def report(folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((folder / "report.json").read_text("utf-8"))
    return found


def touch(folder: Path, number: int) -> FloatArray:
    return np.array([report(folder)["passes"][number - 1]["touch"]], dtype=float)


def fill(table: Path, shape: Shape, touch_at: FloatArray, noise: float, seed: int) -> Path:
    """The table with heights above the touch point, each off by the noise of a reading."""
    some = np.random.default_rng(seed)
    lines = table.read_text("ascii").splitlines()
    head = [line for line in lines if line.startswith("#")]
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    at = np.array([(float(r["x"]), float(r["y"])) for r in rows])
    zero = shape(touch_at[:, 0], touch_at[:, 1])
    z = shape(at[:, 0], at[:, 1]) - zero + some.normal(0, noise, len(at))
    out = [f"{u:.3f},{v:.3f},{w:.4f}" for (u, v), w in zip(at.tolist(), z.tolist(), strict=True)]
    file = table.with_name(f"filled-{table.name}")
    file.write_text("\n".join([*head, "x,y,z", *out, ""]))
    return file


def probed(
    set_: Path, number: int, folder: Path, shape: Shape = bow, noise: float = NOISE, seed: int = 1
) -> Path:
    """A filled table for a pass, by way of the program that probes it."""
    out = folder / f"surface-{number}"
    shutil.rmtree(out, ignore_errors=True)
    done = run(
        "probe", set_, "--pass", str(number), "--out", out, "--spacing", "12",
        "--job", job_of(set_),
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    table = out / f"surface-blank-1-pass-{number}.csv"
    return fill(table, shape, touch(set_, number), noise, seed)


def job_of(set_: Path) -> Path:
    near = (set_.parent, set_.parent.parent)
    return next(folder / "job.toml" for folder in near if (folder / "job.toml").exists())
