"""What is done with a set at the mill, drawn at random: refit, level, resume, compare."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.random import Generator

MOST_OFF = 0.25
"""The blank lies at most so far off, mm, …"""
MOST_TURNED = 0.05
"""… and turned by so much, degrees."""
NOISE = 0.004
"""Standard deviation of a reading, mm."""
MOST_BOW = 0.2
"""The copper bows by so much over the blank, mm."""
RESTART = re.compile(r"restart point (\d+)")

Command = Callable[..., int]
"""Runs a command, given a name for what it prints and its words; gives back its exit code."""


@dataclass(frozen=True, slots=True)
class Change:
    """A command on the folder `set` of the present one.

    Attributes:
        words: of the command line.
        out: the set that it writes; empty when it writes none.
    """

    name: str
    words: tuple[str, ...]
    out: str = ""


def after(report: Mapping[str, Any], random: Generator, command: Command) -> dict[str, str]:
    """What came of each change of the set in the present folder, in a few words.

    A set that a change wrote must verify. One that lies elsewhere, or follows the copper, must
    cut its boards as before, and a set cuts as it does itself.
    """
    done = {"compare": _compared("set", command)}
    for change in _changes(report, random, command):
        code = command(change.name, *change.words, "--out", change.out, "--json")
        if code:
            done[change.name] = _refusal(change.name, code)
            continue
        verified = command(f"verify-{change.name}", "verify", change.out, "--json")
        if verified:
            done[change.name] = _bad(f"verify-{change.name}", verified)
        elif change.name == "resume":
            done[change.name] = "verified"
        else:
            done[change.name] = _compared(change.out, command)
    return done


def _changes(report: Mapping[str, Any], random: Generator, command: Command) -> Iterator[Change]:
    passes = report["passes"]
    located = [
        (one, holes)
        for one in passes
        if len(holes := [hole for hole in one["registration"] if hole["role"] == "locate"]) > 1
    ]
    if located:
        one, holes = located[int(random.integers(len(located)))]
        Path("readings.toml").write_text(_readings(report["set"], holes, random), "utf-8")
        yield Change("refit", ("refit", "set", *_of(one), "readings.toml"), "refitted")
    one = passes[int(random.integers(len(passes)))]
    if command("probe", "probe", "set", *_of(one), "--out", "surface", "--json") == 0:
        table = Path(json.loads(Path("probe.json").read_text("utf-8"))["table"])
        table.write_text(_surface(table.read_text("utf-8"), random), "utf-8")
        yield Change("level", ("level", "set", *_of(one), str(table)), "levelled")
    files = [
        (file, len(points))
        for file in sorted(Path("set").glob("blank-*/pass-*/*.ngc"))
        if (points := RESTART.findall(file.read_text("utf-8")))
    ]
    if files:
        file, count = files[int(random.integers(len(files)))]
        number = int(random.integers(1, count + 1))
        program = file.relative_to("set").with_suffix("").as_posix()
        yield Change("resume", ("resume", "set", program, "--after", str(number)), "resumed")


def _of(one: Mapping[str, Any]) -> tuple[str, ...]:
    return ("--blank", str(one["blank"]), "--pass", str(one["number"]))


def _readings(name: str, holes: list[Mapping[str, Any]], random: Generator) -> str:
    """Where the holes of a blank are found that lies a little off."""
    turn = math.radians(float(random.uniform(-MOST_TURNED, MOST_TURNED)))
    off = random.uniform(-MOST_OFF, MOST_OFF, 2)
    lines = [f'set = "{name}"', 'unit = "mm"', "[holes]"]
    for hole in holes:
        x, y = hole["machine"]
        u, v = np.array([x - turn * y, y + turn * x]) + off + random.normal(0, NOISE, 2)
        lines.append(f"{hole['id']} = [{u:.4f}, {v:.4f}]")
    return "\n".join([*lines, ""])


def _surface(table: str, random: Generator) -> str:
    """The table with z filled in: a bow, a tilt and noise, 0 at the first point."""
    bow, *tilt = (float(v) for v in random.uniform(-MOST_BOW, MOST_BOW, 3) * [1.0, 0.3, 0.3])
    lines, first = [], None
    for line in table.splitlines():
        parts = line.split(",")
        if len(parts) == 3 and line.endswith(","):
            x, y = float(parts[0]), float(parts[1])
            z = (tilt[0] * x + tilt[1] * y) / 100 + bow * math.sin(x / 60) * math.cos(y / 70)
            first = z if first is None else first
            line = f"{line}{z - first + float(random.normal(0, NOISE / 2)):.4f}"
        lines.append(line)
    return "\n".join([*lines, ""])


def _compared(other: str, command: Command) -> str:
    """Whether a set cuts its boards as the first one does."""
    name = f"compare-{other}"
    code = command(name, "compare", "set", other, "--json")
    if code:
        return _bad(name, code)
    rows = json.loads(Path(f"{name}.json").read_text("utf-8"))
    return "good" if all(row["same"] for row in rows) else "WRONG: cuts differ"


def _refusal(name: str, code: int) -> str:
    words = _codes(name)
    return f"refused {code}: {words}" if code in (1, 2, 3) else f"WRONG: exit {code}"


def _bad(name: str, code: int) -> str:
    return f"WRONG: {name} ended with {code}: {_codes(name)}"


def _codes(name: str) -> str:
    """The codes of what stopped a command."""
    try:
        findings = json.loads(Path(f"{name}.json").read_text("utf-8"))["findings"]
    except (OSError, ValueError, LookupError):
        return ""
    return ", ".join(dict.fromkeys(f["code"] for f in findings if f["severity"] == "stop"))
