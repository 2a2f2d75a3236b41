"""Runs of `prepare` over an old set that are killed, each at another moment.

Run it from the project's folder: `python -m tests.kills --count 200`. Two jobs take turns in one
place. A run is killed at the first of the evenly spaced moments, the next at the second, to the end
of a whole run, which takes nothing from the cache. After each, the folder must hold the old set or
the whole new one, `verify` must prove it, and a run that is not killed must put the new set there,
or leave it, and leave nothing else behind. A line is printed for each that does not, and the exit
code is 1. Needs `os.fork`.
"""

from __future__ import annotations

import argparse
import os
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from millprep.cache import VARIABLE
from millprep.workflow.prepare import prepare
from tests.helpers.sets import contents
from tests.helpers.small_job import JOB, changed, put

TEXTS = (JOB, changed("gap = 0.3", "gap = 0.35"))
"""The job of the old set and that of the new one, which then change places."""


def start(*words: object, cache: Path | str = "off") -> int:
    """A command of the tool in a process group of its own; the number of its process."""
    child = os.fork()
    if child == 0:
        from millprep.cli import main

        os.setpgid(0, 0)
        os.environ[VARIABLE] = str(cache)
        with Path(os.devnull).open("w", encoding="utf-8") as nothing:
            sys.stdout = sys.stderr = nothing
            sys.argv = ["millprep", *map(str, words)]
            try:
                main()
            except SystemExit as end:
                os._exit(end.code if isinstance(end.code, int) else 1)
            finally:
                os._exit(70)
    return child


def ended(child: int) -> int:
    """The exit code of a process, negative where a signal ended it."""
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


@dataclass(slots=True)
class Place:
    """Where one job's set replaces the other's again and again.

    Attributes:
        jobs: the job of the set that lies there, and of the one that comes next.
        sets: what the two sets hold.
        seconds: what a whole run took.
    """

    out: Path
    jobs: list[Path]
    sets: list[dict[str, str]]
    seconds: float

    def try_one(self, moment: float) -> tuple[str, str]:
        """Kill a run of the next job over the set of the other.

        Args:
            moment: where in the run it is killed, 0 at its start and 1 at its end, as the
                first run went. Whatever the moment is in truth, the same must hold.

        Returns:
            what the run left, and what is wrong with it, empty when nothing is.
        """
        child = start("prepare", self.jobs[1], "--out", self.out)
        time.sleep(moment * self.seconds)
        os.kill(child, signal.SIGKILL)
        killed = ended(child) == -signal.SIGKILL
        left = contents(self.out)
        name = "the old set" if left == self.sets[0] else "the new set"
        name += " and litter" if len(list(self.out.parent.iterdir())) > 1 else ""
        name += "" if killed else ", as it was not killed"
        return name, self._wrong(left)

    def _wrong(self, left: dict[str, str]) -> str:
        """What is wrong with what was left, or with the commands that follow; empty if nothing."""
        if left not in self.sets:
            return "neither the old nor the new set"
        if (code := ended(start("verify", self.out))) != 0:
            return f"verify ends with {code}"
        # where the new set is there already, this run has nothing to do
        cache = self.out.parents[1] / "cache"
        if (code := ended(start("prepare", self.jobs[1], "--out", self.out, cache=cache))) != 0:
            return f"the next run ends with {code}"
        if contents(self.out) != self.sets[1]:
            return "the next run does not put the new set there"
        self.jobs.reverse()
        self.sets.reverse()
        rest = [path.name for path in self.out.parent.iterdir() if path != self.out]
        return f"the next run leaves {', '.join(rest)}" if rest else ""


def run_all(moments: Iterable[float], folder: Path) -> list[tuple[str, str]]:
    """What each of the runs left and what is wrong, in an empty folder."""
    jobs = []
    for name, text in zip(("old", "new"), TEXTS, strict=True):
        (folder / name).mkdir()
        jobs.append(put(folder / name, text))
        # in this process, so that the others need not load the libraries
        prepare(jobs[-1], jobs[-1].parent / "set")
    begun = time.monotonic()
    assert ended(start("prepare", jobs[0], "--out", folder / "place" / "set")) == 0
    seconds = time.monotonic() - begun
    place = Place(
        folder / "place" / "set", jobs, [contents(job.parent / "set") for job in jobs], seconds
    )
    found = []
    for moment in moments:
        found.append(place.try_one(moment))
        if found[-1][1]:
            print(f"! killed at {moment:.3f}: {found[-1][1]}", flush=True)  # noqa: T201
    return found


def main() -> int:
    """Exit code 1 when a run leaves what it must not."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=200)
    count = parser.parse_args().count
    with tempfile.TemporaryDirectory() as scratch:
        found = run_all(((k + 0.5) / count for k in range(count)), Path(scratch))
    for name, times in Counter(name for name, _ in found).most_common():
        print(f"{times:5d} left {name}")  # noqa: T201
    return int(any(wrong for _, wrong in found))


if __name__ == "__main__":
    sys.exit(main())
