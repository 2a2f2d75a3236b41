"""What a crate of boards costs in one job: seconds, memory and bytes, and where one machine ends.

Run it from the project's folder: `python -m tests.bench.crate`. The crate is the example's six
small boards, over and over, on as many blanks as they need. Each size is prepared in a process of
its own by the command line, with its nesting, proof, pictures and sheet; nothing is taken from the
cache. Seconds are those of all its processes, memory is that of the largest one. A line through the
last two sizes leads to the number of copies at which memory or an hour would not do.
"""

from __future__ import annotations

import argparse
import math
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

from tests.bench.__main__ import EXAMPLE, ROOT

SMALL = EXAMPLE.with_name("indicators.toml")
MEMORY = 8 * 1024
"""Of the machine that the last lines speak of, MB."""
HOUR = 3600.0
CORES = 2


class Crate(NamedTuple):
    """What a number of copies cost: seconds of all cores, MB of the largest process, MB on disk."""

    copies: int
    blanks: int
    seconds: float
    memory: float
    disk: float


def job_of(folder: Path, copies: int) -> Path:
    """The example's job for about as many copies, its places searched for."""
    for file in SMALL.parent.glob("*.dxf"):
        shutil.copy(file, folder)
    text = SMALL.read_text("utf-8")
    text = re.sub(r"^\[layout\]\nfile = .*\n", "", text, flags=re.MULTILINE)
    head, *boards = text.split("[[board]]\n")
    counts = [int(n) for board in boards for n in re.findall(r"^count = (\d+)", board, re.M)]
    each = copies / sum(counts)
    boards = [
        re.sub(r"^count = (\d+)", lambda m: f"count = {round(int(m[1]) * each)}", board, flags=re.M)
        for board in boards
    ]
    head = re.sub(r"^count = \d+", f"count = {copies}", head, flags=re.MULTILINE)
    job = folder / f"crate-{copies}.toml"
    job.write_text("[[board]]\n".join([head, *boards]), "utf-8")
    return job


def started(folder: Path, *words: object) -> subprocess.Popen[bytes]:
    """`prepare` with these words, by the command line, as if nothing was prepared before."""
    code = "from millprep.cli import main; main()"
    return subprocess.Popen(
        [sys.executable, "-c", code, "prepare", "--fresh", *map(str, words)],
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def used(process: subprocess.Popen[bytes]) -> tuple[float, float]:
    """Seconds of a process and its children, and MB of the largest of them, once it is done."""
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        sys.exit(f"prepare ended with {process.returncode}")
    return usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


def measured(copies: int) -> Crate:
    """One crate, prepared."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        out = folder / "set"
        seconds, memory = used(started(folder, job_of(folder, copies), "--out", out))
        disk = sum(file.stat().st_size for file in out.rglob("*") if file.is_file()) / 1e6
        return Crate(copies, len(list(out.glob("blank-*"))), seconds, memory, disk)


def side_by_side(count: int) -> str:
    """How much sooner equal jobs are done together than one after the other on one core."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        job = job_of(folder, 12)
        jobs = [shutil.copy(job, folder / f"job-{n}.toml") for n in range(count)]
        cores = os.sched_getaffinity(0)
        start = time.perf_counter()
        os.sched_setaffinity(0, {min(cores)})
        apart = sum(used(started(folder, job, "--out", "apart"))[0] for job in jobs)
        os.sched_setaffinity(0, cores)
        between = time.perf_counter()
        together, _ = used(started(folder, *jobs, "--out", "together"))
        end = time.perf_counter()
    first, then = between - start, end - between
    return (
        f"{count} jobs: {first:.1f} s one after the other on one core, {then:.1f} s side by side "
        f"on {len(cores)}, {first / then:.2f} times as fast; {apart:.1f} and {together:.1f} s of "
        "processor time\n"
    )


def copies_at(smaller: Crate, larger: Crate, figure: str, most: float) -> float:
    """The copies at which a figure reaches what a machine has, along a line through two sizes."""
    before, now = float(getattr(smaller, figure)), float(getattr(larger, figure))
    each = (now - before) / (larger.copies - smaller.copies)
    return larger.copies + (most - now) / each if each > 0 else math.inf


def main() -> None:
    """Measure crates of growing size, and say what the last two foretell."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.crate", description=__doc__)
    parser.add_argument("--copies", nargs="+", type=int, default=[25, 50, 100])
    parser.add_argument("--jobs", type=int, help="compare so many jobs side by side instead")
    given = parser.parse_args()
    if given.jobs:
        sys.stdout.write(side_by_side(given.jobs))
        return
    crates = []
    for copies in given.copies:
        crate = measured(copies)
        crates.append(crate)
        sys.stdout.write(
            f"{crate.copies:5} copies on {crate.blanks} blanks: {crate.seconds:.1f} s of processor "
            f"time, {crate.memory:.0f} MB, {crate.disk:.1f} MB on disk\n"
        )
        sys.stdout.flush()
    if len(crates) > 1:
        before, last = crates[-2:]
        seconds = (last.seconds - before.seconds) / (last.copies - before.copies)
        full = copies_at(before, last, "memory", MEMORY)
        hour = copies_at(before, last, "seconds", HOUR * CORES)
        sys.stdout.write(
            f"{seconds:.2f} s for every copy more; {MEMORY // 1024} GB are full at about "
            f"{full:.0f} copies, an hour of {CORES} cores at about {hour:.0f}\n"
        )


if __name__ == "__main__":
    main()
