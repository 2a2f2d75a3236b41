"""Mutation testing: small faults put into the code, and whether the tests see them.

Run it from the project's folder: `python -m tests.mutants standards pose`, for some areas of the
table below; it needs mutmut 3.8 or later (`pip install 'mutmut>=3.8,<4'`). Each area is tried in a
copy of the clone as it is committed, with the tests that are meant to see its faults. For each
are printed: mutants, how many were killed, are the same as the code in all they do (`SAME`, read
by a person), survived, and have no test. `--show` prints the change of every survivor; `--keep
FOLDER` leaves the copies. The exit code is 1 when an area was not mutated at all, or fewer than
`LEAST` of the mutants that are faults were killed.
"""

from __future__ import annotations

import argparse
import os
import re
import subprocess
import sys
import tarfile
import tempfile
from dataclasses import dataclass, replace
from io import BytesIO
from pathlib import Path

ROOT = Path(__file__).parents[1]
LEAST = 0.9
"""Of the mutants of an area that are faults, so many must be killed."""
LIMIT = "limit"
"""What becomes of a comparison: whether its limit itself counts."""
SAME: tuple[tuple[str, str, str], ...] = (
    # the line, what becomes of it, why that is no fault
    (r"[<>]=? [^&|]*(SLACK|clearance|1e-9|RADII_)", LIMIT, "no number lies just at a limit"),
    (r"standard=False", r"standard=None", "no and nothing are the same there"),
    (r"^self\.(ended|last_line|line)\b", r'= (None|1|"")$', "set before anything else is read"),
    (r"zip\(.*strict=True", r"^(?!.*strict=True).*(strict=|, \))", "both have as many"),
    (r"np\.\w+\(.*dtype=bool", r"^(?!.*dtype=bool).*(dtype=|, \))", "the same in another type"),
)
"""Mutants that do what the code does, by its line and by theirs, as patterns.

With `LIMIT` the comparison that the pattern finds differs in its sign of equality alone.
"""


@dataclass(frozen=True, slots=True)
class Area:
    """What is changed, and the tests that are to see it, both from the project's folder."""

    modules: tuple[str, ...]
    tests: tuple[str, ...]
    words: tuple[str, ...] = ()
    """More words of pytest's command line."""


READ_BY = ("block", "machine_state", "reader", "dialect")
AREAS = {
    "standards": Area(
        ("millprep/standards/*.py",),
        (
            "tests/standards",
            *(f"tests/published/test_{name}.py" for name in ("current", "holes", "spacing")),
            "tests/published/test_speeds.py",
        ),
    ),
    "pose": Area(
        ("millprep/geometry/pose.py",),
        ("tests/geometry/test_pose.py", "tests/geometry/test_path.py"),
    ),
    "motion": Area(
        ("millprep/verify/motion.py",),
        tuple(
            f"tests/verify/test_{name}.py"
            for name in ("motion", "over_copper", "probing", "surface_probing")
        ),
    ),
    "reader": Area(
        (
            "millprep/verify/reader.py",
            "millprep/verify/block.py",
            "millprep/verify/machine_state.py",
        ),
        (
            *(f"tests/verify/test_{name}.py" for name in READ_BY),
            "tests/published/test_rs274.py",
        ),
        # a property would be tried on every survivor anew
        ("-m", "not hypothesis"),
    ),
    "writer": Area(
        ("millprep/gcode/rs274.py",),
        tuple(
            f"tests/gcode/test_{name}.py"
            for name in (
                "rs274",
                "moves",
                "lines",
                "rounding",
                "cycles",
                "joined",
                "touch",
                "restart_points",
                "surface_probe",
                "whole_text",
            )
        ),
    ),
    "joins": Area(
        ("millprep/passes/joins.py",),
        ("tests/passes/test_joins.py", "tests/passes/test_lap_splitting.py"),
        ("-m", "not hypothesis"),
    ),
}


@dataclass(frozen=True, slots=True)
class Counts:
    """Mutants of an area by what became of them; a run that never ended counts as killed."""

    killed: int
    survived: tuple[str, ...]
    untested: tuple[str, ...]
    same: tuple[str, ...] = ()

    @property
    def total(self) -> int:
        """All of them."""
        return self.killed + len(self.same) + len(self.survived) + len(self.untested)

    @property
    def share(self) -> float:
        """Of the mutants that are faults, those that were killed."""
        faults = self.total - len(self.same)
        return self.killed / faults if faults else 0.0


def counted(results: str) -> Counts:
    """What mutmut lists, a line for each mutant."""
    ends = dict(re.findall(r"^ *(\S+__mutmut_\d+): (.+)$", results, re.MULTILINE))
    survived = tuple(name for name, end in ends.items() if end == "survived")
    untested = tuple(name for name, end in ends.items() if end == "no tests")
    killed = sum(end in ("killed", "timeout") for end in ends.values())
    return Counts(killed, survived, untested)


def is_same(shown: str) -> bool:
    """Whether a mutant, as mutmut shows it, is in the list of those that are no fault."""
    lines = [line for line in shown.split("\n") if not line.startswith(("---", "+++"))]
    old, new = (" ".join(l[1:].strip() for l in lines if l[:1] == sign) for sign in "-+")
    for before, after, _ in SAME:
        bare = [re.sub(before, lambda found: found[0].replace("=", "", 1), x) for x in (old, new)]
        if re.search(before, old) and (
            bare[0] == bare[1] if after == LIMIT else re.search(after, new)
        ):
            return True
    return False


def prepare(area: Area, folder: Path) -> None:
    """A copy of the clone as committed, with what mutmut has to know."""
    packed = subprocess.run(
        ["git", "archive", "HEAD"], cwd=ROOT, check=True, capture_output=True
    ).stdout
    with tarfile.open(fileobj=BytesIO(packed)) as archive:
        archive.extractall(folder, filter="data")
    lists = {
        "source_paths": ("millprep",),
        "only_mutate": area.modules,
        "also_copy": ("fixtures", "examples", "README.md", "DEVELOPERS.md"),
        "pytest_add_cli_args_test_selection": area.tests,
        "pytest_add_cli_args": (
            "-p",
            "no:cacheprovider",
            "--hypothesis-profile=unshrunk",
            *area.words,
        ),
        "use_git_change_detection": ("false",),
    }
    rows = (f"{key} =\n" + "".join(f"    {one}\n" for one in of) for key, of in lists.items())
    text = "[mutmut]\n" + "".join(rows).replace("detection =\n    false", "detection = false")
    (folder / "setup.cfg").write_text(text, "utf-8")


def mutmut(folder: Path, *words: str) -> str:
    """A command of mutmut in a copy; what it prints."""
    # the mutated package must be found before the one that is installed
    around = {key: value for key, value in os.environ.items() if key != "PYTHONPATH"}
    done = subprocess.run(
        [sys.executable, "-m", "mutmut", *words],
        cwd=folder, env=around, check=False, capture_output=True, text=True,
    )  # fmt: skip
    if done.returncode and words[0] == "run":
        print(done.stdout[-2000:], done.stderr[-2000:], file=sys.stderr)  # noqa: T201
    return done.stdout


def main() -> int:
    """Exit code 1 for an area below the share, or without a mutant."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("area", nargs="*", metavar="AREA", help=", ".join(AREAS))
    parser.add_argument("--show", action="store_true", help="the change of every survivor")
    parser.add_argument("--keep", type=Path, help="folder for the copies")
    given = parser.parse_args()
    good = True
    for name in given.area or AREAS:
        with tempfile.TemporaryDirectory() as scratch:
            folder = (given.keep or Path(scratch)) / name
            folder.mkdir(parents=True)
            prepare(AREAS[name], folder)
            mutmut(folder, "run", "--max-children", "1")
            counts = counted(mutmut(folder, "results", "--all", "true"))
            shown = {mutant: mutmut(folder, "show", mutant) for mutant in counts.survived}
            same = tuple(mutant for mutant in shown if is_same(shown[mutant]))
            survived = tuple(mutant for mutant in shown if mutant not in same)
            counts = replace(counts, same=same, survived=survived)
            words = f"{counts.killed} killed, {len(same)} no fault, {len(survived)} survived"
            words += f", {len(counts.untested)} without a test: {counts.share:.1%}"
            print(f"{name:10s} {counts.total:5d} mutants: {words}", flush=True)  # noqa: T201
            for mutant in survived if given.show else ():
                print(shown[mutant], flush=True)  # noqa: T201
            for mutant in counts.untested if given.show else ():
                print(mutmut(folder, "show", mutant), flush=True)  # noqa: T201
        good &= counts.share >= LEAST
    return int(not good)


if __name__ == "__main__":
    sys.exit(main())
