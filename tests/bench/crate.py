"""What a crate of boards costs in one job: seconds, memory and bytes, and where one machine ends.

Run it from the project's folder: `python -m tests.bench.crate`. The crate is the example's six
small boards, over and over, on as many blanks as they need. Each size is prepared in a process of
its own by the command line, with its nesting, proof, pictures and sheet; nothing is taken from the
cache. Seconds are those of all its processes, memory is that of the largest one. The last two sizes
give the growth, and from it the number of copies at which memory or an hour would not do.
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


def measured(copies: int) -> Crate:
    """One crate, prepared."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        out = folder / "set"
        code = "from millprep.cli import main; main()"
        words = ("prepare", "--fresh", job_of(folder, copies), "--out", out)
        process = subprocess.Popen(
            [sys.executable, "-c", code, *map(str, words)],
            cwd=folder,
            env=os.environ | {"PYTHONPATH": str(ROOT)},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode:
            sys.exit(f"a crate of {copies} ended with {process.returncode}")
        disk = sum(file.stat().st_size for file in out.rglob("*") if file.is_file()) / 1e6
        blanks = len(list(out.glob("blank-*")))
    seconds = used.ru_utime + used.ru_stime
    return Crate(copies, blanks, seconds, used.ru_maxrss / 1024, disk)


def limits(smaller: Crate, larger: Crate) -> tuple[float, float, float]:
    """The power by which seconds grow, and the copies that fill `MEMORY` and that take an hour."""
    power = math.log(larger.seconds / smaller.seconds) / math.log(larger.copies / smaller.copies)
    per_copy = (larger.memory - smaller.memory) / (larger.copies - smaller.copies)
    full = larger.copies + (MEMORY - larger.memory) / max(per_copy, 1e-9)
    hour = larger.copies * (HOUR * CORES / larger.seconds) ** (1 / max(power, 1e-9))
    return power, full, hour


def main() -> None:
    """Measure crates of growing size, and say what the last two foretell."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.crate", description=__doc__)
    parser.add_argument("--copies", nargs="+", type=int, default=[25, 50, 100])
    given = parser.parse_args()
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
        power, full, hour = limits(*crates[-2:])
        sys.stdout.write(
            f"seconds grow as n^{power:.2f}; {MEMORY // 1024} GB are full at {full:.0f} copies, an "
            f"hour of {CORES} cores at {hour:.0f}\n"
        )


if __name__ == "__main__":
    main()
