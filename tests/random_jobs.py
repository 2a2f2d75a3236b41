"""Jobs drawn at random by a seed, each prepared and verified by the command line.

Run it from the project's folder: `python -m tests.random_jobs --count 300 --seed 1`. A line is
printed for every job, then how often each outcome was met. Exit code 1 when there is any
disagreement: `verify` refuses what `prepare` wrote, a command ends with anything but 0 to 3, or
both together take more than `SLOW` seconds of processor time. `--only 17` runs one job again and
`--keep FOLDER` leaves jobs and sets there. With `--wide` each job has a few more keys drawn from
all tables of the schema, and its set is refitted, levelled, resumed and compared as well. With
`--elsewhere` sets are prepared on another processor than they are verified on.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import math
import multiprocessing
import os
import sys
import tempfile
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pytest
import shapely
from numpy.random import Generator, default_rng

from fixtures.valve_boards import valve_board
from fixtures.wide_boards import wide_board, write_board
from millprep.model.board import Board
from tests.helpers.last_bit import other_processor
from tests.random_changes import after
from tests.random_keys import with_keys

SLOW = 60.0
"""More processor time than this for both commands is a disagreement, s."""
LIMIT = 480
"""Processor time after which a job is ended, s."""
WAIT = 1800.0
"""Time on the clock after which a job is ended, s."""
MEMORY = 6 * 2**30
"""Address space of a job, bytes."""
SHARED = 34.0
"""What two passes share of the travel, about, mm: a job may ask for less than it needs."""

Tables = Mapping[str, Mapping[str, Any]]
"""Keys of a job by the heading of their table, as it is written."""


@dataclass(frozen=True, slots=True)
class RandomJob:
    """A board and the job that cuts it.

    Attributes:
        tables: of the job file.
        words: what sets it apart, for the table of outcomes.
    """

    board: Board
    tables: Tables
    words: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a job.

    Attributes:
        prepared, verified: exit codes; None where a command did not run, or was ended.
        codes: of findings that stopped either.
        seconds: of the processor, of both commands and the processes that they started.
        changes: what came of those made afterwards, by command.
    """

    prepared: int | None
    verified: int | None
    codes: tuple[str, ...]
    seconds: float
    changes: Mapping[str, str] = field(default_factory=dict)

    @property
    def words(self) -> str:
        """In a few words."""
        codes = ", ".join(self.codes)
        if self.prepared is None:
            return "prepare was ended"
        if self.prepared:
            verb = "refused" if self.prepared <= 3 else "prepare failed with"
            return f"{verb} {self.prepared}: {codes}"
        if self.verified is None:
            return "verify was ended"
        return f"verify refused {self.verified}: {codes}" if self.verified else "verified"

    @property
    def disagrees(self) -> bool:
        """Whether the job shows a fault of ours."""
        return (
            self.prepared not in (0, 1, 2, 3)
            or (self.prepared == 0 and self.verified != 0)
            or self.seconds > SLOW
            or any(words.startswith("WRONG") for words in self.changes.values())
        )


def draw(seed: int, number: int, *, small: bool = False) -> RandomJob:
    """The job of a seed and a number; `small` ones take a second or two."""
    random = default_rng([seed, number])
    board, count = _board(random, small)
    margin = round(float(random.uniform(9.0, 20.0)), 1)
    size = _blank(board, count, margin, random)
    travel, passes = _travel(size, margin, count, random, small=small)
    middle = bool(random.random() < 0.25)
    laminate = str(random.choice(["fr4-1.6-35", "fr2-1.6-35", "fr4-0.8-35", "fr4-1.6-70"]))
    isolation, clearing = _isolation(middle, random)
    isolation["depth"] = 0.12 if laminate.endswith("-70") else float(random.choice([0.08, 0.1]))
    method = str(random.choice(["pins", "pins", "measure"]))
    machine, dialect = _machine(random), _dialect(random)
    if machine["tool_change"] != "files" and dialect.get("comments") == "none":
        # a comment says which cutter comes next
        dialect["comments"] = "semicolon"
    tables: dict[str, dict[str, Any]] = {
        "": {"name": f"random {number}"},
        "[machine]": {"preset": "small-mill-300", "travel": list(travel), **machine},
        "[machine.dialect]": dialect,
        "[[blank]]": {
            "preset": laminate,
            "size": list(size),
            "margin": margin,
            "shared_kerf": bool(count > 1 and random.random() < 0.3),
        },
        **_setup(size, passes, random),
        "[[board]]": {
            "name": board.name,
            "drawing": "board.dxf",
            "drawn_from": str(random.choice(["copper", "components"])),
            "count": count,
            "turns": [0, 90] if random.random() < 0.5 else [0],
        },
        "[board.layers]": {"copper": ["kelp"], "outline": ["shore"], "holes": ["wells"]},
        **{f"[cutters.{name}]": {"preset": preset} for name, preset in CUTTERS.items()},
        "[isolation]": isolation,
        **clearing,
        "[drilling]": {
            "cutters": ["small", "drill"],
            "tolerance": 0.11,
            "borer": "bore",
            "spoilboard": 12.0,
        },
        "[profile]": {"cutter": "profile"},
        "[registration]": {"method": method, "cutters": ["bore"], **_registration(method, random)},
    }
    words = (
        f"{board.name} {board.outline.bounds[2]:.0f} x {board.outline.bounds[3]:.0f}"
        f"{f' ({count})' if count > 1 else ''}, travel {travel[0]:.0f} x {travel[1]:.0f}, "
        f"{passes[0]} x {passes[1]}, gap {isolation['gap']}{' middle' if middle else ''}"
        f"{' pads ' + str(isolation['pad_gap']) if 'pad_gap' in isolation else ''}"
        f"{' cleared' if clearing else ''}, {method}"
    )
    return RandomJob(board, tables, words)


CUTTERS = {
    "vee": "vee-30-0.1",
    "small": "drill-0.8",
    "drill": "drill-1.0",
    "bore": "endmill-1",
    "profile": "endmill-2",
}


def _board(random: Generator, small: bool) -> tuple[Board, int]:
    """A board with some of its rails nearer to the edge or not, and how many copies."""
    seed, kind = int(random.integers(1000)), float(random.random())
    count = 1
    if kind < 0.25:
        count = int(random.integers(2, 3 if small else 9))
        size = (float(random.integers(36, 50)), float(random.integers(24, 40)))
        board = wide_board(seed, size)
    elif kind < 0.4 and not small:
        board = valve_board(seed, float(random.integers(60, 160))).board
    else:
        most = 48 if small else 140
        size = (float(random.integers(38, most)), float(random.integers(26, most)))
        board = wide_board(seed, size)
    inset = float(random.choice([0.0, 0.0, 1.5, 3.0]))
    edge = board.outline.buffer(-inset, join_style="mitre")
    assert isinstance(edge, shapely.Polygon)
    return replace(board, outline=edge), count


def _blank(board: Board, count: int, margin: float, random: Generator) -> tuple[float, float]:
    """A blank that holds the boards side by side, with a little to spare."""
    x0, y0, x1, y1 = board.outline.bounds
    across = max(1, round(math.sqrt(count)))
    rows = math.ceil(count / across)
    spare = float(random.uniform(0.0, 12.0))
    w, h = across * (x1 - x0 + 4.5), rows * (y1 - y0 + 4.5)
    return (round(w + 2 * margin + spare, 1), round(h + 2 * margin + spare, 1))


def _travel(
    size: tuple[float, float], margin: float, count: int, random: Generator, *, small: bool
) -> tuple[tuple[float, float], tuple[int, int]]:
    """A travel for so many passes along either axis."""
    few = [1, 1, 2] if small or count > 1 else [1, 1, 2, 2, 3]
    passes = (int(random.choice(few)), int(random.choice(few)))
    travel = []
    for whole, n in zip(size, passes, strict=True):
        if n == 1:
            travel.append(whole + float(random.uniform(0.0, 60.0)))
        else:
            least = (whole - margin + (n - 1) * SHARED) / n
            travel.append(least * float(random.uniform(1.0, 1.15)))
    return (round(travel[0], 1), round(travel[1], 1)), passes


def _isolation(middle: bool, random: Generator) -> tuple[dict[str, Any], dict[str, dict[str, Any]]]:
    """How copper is isolated, and what is cleared."""
    keys: dict[str, Any] = {
        "gap": float(random.choice([0.16, 0.2, 0.3, 0.45, 0.6, 0.9, 1.4, 2.0])),
        "cutters": [["vee"], ["vee", "bore"]][int(random.integers(2))],
        "direction": str(random.choice(["climb", "conventional"])),
    }
    if middle:
        return keys | {"course": "middle"}, {}
    if random.random() < 0.25:
        keys["pad_gap"] = round(keys["gap"] + float(random.uniform(0.1, 1.0)), 2)
    if random.random() < 0.2:
        cutters = [["bore"], ["bore", "vee"]][int(random.integers(2))]
        return keys, {"[clearing]": {"cutters": cutters, "copper": "all"}}
    return keys, {}


def _machine(random: Generator) -> dict[str, Any]:
    """What differs from one mill to another."""
    keys: dict[str, Any] = {"tool_change": str(random.choice(["files", "pause", "changer"]))}
    if random.random() < 0.5:
        keys["screw_lead"] = float(random.choice([2.0, 4.0, 8.0]))
    if random.random() < 0.3:
        keys["backlash"] = round(float(random.uniform(0.0, 0.05)), 3)
    if random.random() < 0.3:
        keys["squareness"] = round(float(random.uniform(-0.05, 0.05)), 3)
    if random.random() < 0.2:
        keys["zero"] = [round(float(random.uniform(0.0, 9.0)), 1) for _ in range(2)]
    return keys


def _dialect(random: Generator) -> dict[str, Any]:
    """What of RS-274 a controller understands."""
    if random.random() < 0.5:
        return {}
    return {
        "arcs": bool(random.random() < 0.5),
        "cycles": bool(random.random() < 0.5),
        "comments": str(random.choice(["brackets", "semicolon", "none"])),
        "line_numbers": bool(random.random() < 0.3),
        "decimals": int(random.integers(3, 6)),
        "dwell_unit": str(random.choice(["s", "ms"])),
        "percent": bool(random.random() < 0.3),
        "end": str(random.choice(["M2", "M30"])),
    }


def _setup(
    size: tuple[float, float], passes: tuple[int, int], random: Generator
) -> dict[str, dict[str, Any]]:
    """Tape or two clamps at the long edges, and whether the blank is turned."""
    turn = passes == (2, 1) and random.random() < 0.3
    keys: dict[str, Any] = {"turn": True} if turn else {}
    if random.random() < 0.8 or max(passes) > 1:
        return {"[setup]": {"tape": True, **keys}}
    middle = size[0] / 2
    low = [middle - 6.0, -20.0, middle + 6.0, 4.0]
    high = [middle - 6.0, size[1] - 4.0, middle + 6.0, size[1] + 20.0]
    return {
        "[setup]": keys,
        "[[setup.clamp]]": {"box": [round(v, 1) for v in low], "height": 6.0},
        "[[setup.clamp]] ": {"box": [round(v, 1) for v in high], "height": 6.0},
    }


def _registration(method: str, random: Generator) -> dict[str, Any]:
    """How well a blank is located again."""
    keys: dict[str, Any] = {"verniers": bool(random.random() < 0.7)}
    if method == "measure" and random.random() < 0.5:
        keys["probe"] = "electrical"
    if random.random() < 0.5:
        keys["locate_error"] = round(float(random.uniform(0.005, 0.06)), 3)
    return keys


def text_of(tables: Tables) -> str:
    """A job file; JSON writes strings, numbers, truth and lists of them as TOML does."""
    lines: list[str] = []
    for heading, keys in tables.items():
        lines += [heading.strip(), *(f"{key} = {json.dumps(value)}" for key, value in keys.items())]
    return "\n".join([*lines, ""])


def write(job: RandomJob, folder: Path) -> None:
    """The job and its drawing in a folder."""
    write_board(job.board, folder / "board.dxf")
    (folder / "job.toml").write_text(text_of(job.tables), "utf-8")


def run(
    folder: Path, changes: Generator | None = None, elsewhere: Generator | None = None
) -> Outcome:
    """Prepare and verify the job of a folder in a process of its own.

    With `changes`, random ones are made to the set afterwards. With `elsewhere` it is prepared as
    on another processor.
    """
    ways = multiprocessing.get_all_start_methods()
    context: Any = multiprocessing.get_context("fork" if "fork" in ways else "spawn")
    child = context.Process(target=_commands, args=(folder, changes, elsewhere))
    child.start()
    child.join(WAIT)
    if child.is_alive():
        child.kill()
        child.join()
    file = folder / "outcome.json"
    if not file.exists():
        done = (folder / "prepare.json").exists()
        return Outcome(0 if done else None, None, (), math.inf)
    row = json.loads(file.read_text("utf-8"))
    codes: dict[str, None] = {}
    for name in ("prepare", "verify"):
        with contextlib.suppress(OSError, ValueError):
            findings = json.loads((folder / f"{name}.json").read_text("utf-8"))["findings"]
            codes |= dict.fromkeys(f["code"] for f in findings if f["severity"] == "stop")
    return Outcome(row["prepare"], row["verify"], tuple(codes), row["seconds"], row["changes"])


def _commands(folder: Path, changes: Generator | None, elsewhere: Generator | None) -> None:
    """Both commands, and the changes; what they print is left in the folder."""
    _limit()
    os.chdir(folder)
    codes: dict[str, Any] = {"verify": None}
    with pytest.MonkeyPatch.context() as patch:
        if elsewhere is not None:
            patch.setenv("MILLPREP_CACHE", "off")
            other_processor(patch, elsewhere)
        codes["prepare"] = _command("prepare", "prepare", "job.toml", "--out", "set", "--json")
    if codes["prepare"] == 0:
        codes["verify"] = _command("verify", "verify", "set", "--job", "job.toml", "--json")
    times = os.times()
    codes["seconds"] = round(sum(times[:4]), 2)
    codes["changes"] = {}
    if changes is not None and codes["verify"] == 0:
        report = json.loads(Path("set/report.json").read_text("utf-8"))
        codes["changes"] = after(report, changes, _command)
    Path("outcome.json").write_text(json.dumps(codes), "utf-8")


def _limit() -> None:
    """Limits of time and memory, where the system has them."""
    if sys.platform == "win32":
        return
    import resource

    resource.setrlimit(resource.RLIMIT_CPU, (LIMIT, LIMIT))
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))


def _command(name: str, *words: str) -> int:
    """The exit code of a command, as a person types it; files of `name` take what it prints."""
    from millprep.cli import main

    sys.argv = ["millprep", *words]
    with (
        Path(f"{name}.json").open("w", encoding="utf-8") as out,
        Path(f"{name}.txt").open("w", encoding="utf-8") as err,
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            main()
        except SystemExit as end:
            return end.code if isinstance(end.code, int) else int(end.code is not None)
    return 0


def run_all(
    numbers: Iterable[int],
    seed: int,
    keep: Path | None = None,
    *,
    small: bool = False,
    wide: bool = False,
    elsewhere: bool = False,
) -> list[Outcome]:
    """Every job in turn, with a line for each."""
    found = []
    for number in numbers:
        job = draw(seed, number, small=small)
        more = default_rng([seed, number, 1]) if wide else None
        if more is not None:
            job = replace(job, tables=with_keys(job.tables, more))
        with tempfile.TemporaryDirectory() as scratch:
            folder = Path(scratch) if keep is None else keep / str(number)
            folder.mkdir(parents=True, exist_ok=True)
            write(job, folder)
            outcome = run(folder, more, default_rng([seed, number, 2]) if elsewhere else None)
        found.append(outcome)
        mark = "!" if outcome.disagrees else " "
        line = f"{mark}{number:4d} {outcome.seconds:6.1f} s  {job.words}: {outcome.words}"
        line += "".join(f"; {name}: {words}" for name, words in outcome.changes.items())
        print(line, flush=True)  # noqa: T201
    return found


def table(outcomes: Sequence[Outcome]) -> str:
    """How often each outcome was met, the most frequent first."""
    counts = Counter(
        ("DISAGREES " if one.disagrees else "") + one.words for one in outcomes
    ).most_common()
    changes = Counter(f"{k}: {words}" for one in outcomes for k, words in one.changes.items())
    rows = [*counts, *changes.most_common()]
    return "\n".join(f"{count:5d}  {words}" for words, count in rows)


def main() -> int:
    """Exit code 1 on a disagreement."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", type=int, nargs="*", help="numbers of jobs to run again")
    parser.add_argument("--keep", type=Path, help="folder that keeps jobs and sets")
    parser.add_argument("--wide", action="store_true", help="more keys, and changes afterwards")
    parser.add_argument("--elsewhere", action="store_true", help="prepare on another processor")
    required = parser.parse_args()
    numbers = range(required.count) if required.only is None else required.only
    outcomes = run_all(
        numbers, required.seed, required.keep, wide=required.wide, elsewhere=required.elsewhere
    )
    print(table(outcomes))  # noqa: T201
    return int(any(one.disagrees for one in outcomes))


if __name__ == "__main__":
    sys.exit(main())
