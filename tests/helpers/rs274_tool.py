"""An outside interpreter of RS-274, run as a program: what it makes of a file.

The interpreter descends from the program of NISTIR 6556. It is found as `rs274` on PATH or
by MILLPREP_RS274; `.ci/rs274.sh` unpacks it. Tests skip when it is not there.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

import pytest

_CALL = re.compile(r"(STRAIGHT_TRAVERSE|STRAIGHT_FEED|STRAIGHT_PROBE|ARC_FEED)\(([^)]*)\)")
_NUMBERED = re.compile(r"^\s*\d+\s+N")


class CanonMove(NamedTuple):
    """One canonical motion; centre and turn (+1 counter-clockwise) for arcs only."""

    kind: str
    x: float
    y: float
    z: float
    centre: tuple[float, float] | None = None
    turn: int | None = None


class Refused(Exception):  # noqa: N818 - the interpreter refuses, nothing fails
    """The interpreter did not take the program; the text is its own words."""


def interpreter() -> str | None:
    """The interpreter's file, or None; with MILLPREP_REQUIRE_RS274 set, None is an error."""
    found = os.environ.get("MILLPREP_RS274") or shutil.which("rs274")
    if found is None and os.environ.get("MILLPREP_REQUIRE_RS274"):
        raise FileNotFoundError("MILLPREP_REQUIRE_RS274 is set and no rs274 interpreter is there")
    return found


def canon(program: str, tools: Iterable[int] = (1,)) -> list[CanonMove]:
    """The motions the interpreter makes of a program, mm to four decimals.

    `tools` are the tool numbers the program may call.

    Raises:
        Refused: when the interpreter reports an error.
    """
    found = interpreter()
    if found is None:
        raise FileNotFoundError("no rs274 interpreter on PATH nor in MILLPREP_RS274")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "program.ngc").write_text(program)
        (folder / "tools.tbl").write_text("".join(f"T{n} P{n} D0.1 Z0\n" for n in tools))
        # 5220 is the coordinate system in use, 5221.. its offsets: all zero.
        (folder / "start.var").write_text(
            "".join(f"{n}\t{1 if n == 5220 else 0}\n" for n in _PARAMETERS)
        )
        run = subprocess.run(
            [found, "-g", "-n", "2", "-v", "start.var", "-t", "tools.tbl", "program.ngc"],
            cwd=folder,
            # it keeps its tool table in the home folder, where another run would write another
            env=os.environ | {"HOME": str(folder)},
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
    if run.returncode != 0:
        raise Refused((run.stderr + run.stdout).strip())
    return parse_canon(run.stdout)


def parse_canon(printed: str) -> list[CanonMove]:
    """The motions in a print of canonical calls, which are in the unit last said; in mm."""
    moves: list[CanonMove] = []
    unit = 1.0
    for line in printed.splitlines():
        if "USE_LENGTH_UNITS(" in line and "COMMENT(" not in line:
            unit = 25.4 if "INCHES" in line else 1.0
        match = _CALL.search(line)
        # A comment may quote a call; only numbered lines that start with one count.
        if match is None or not _NUMBERED.match(line) or "COMMENT(" in line[: match.start()]:
            continue
        words = match[2].split(",")
        v = [float(word) * unit for word in words]
        if match[1] == "ARC_FEED":
            turn = int(words[4])
            moves.append(CanonMove("arc", v[0], v[1], v[5], (v[2], v[3]), turn))
        else:
            kind = {"STRAIGHT_TRAVERSE": "rapid", "STRAIGHT_FEED": "feed"}.get(match[1], "probe")
            moves.append(CanonMove(kind, v[0], v[1], v[2]))
    return moves


_PARAMETERS = (
    *range(5161, 5170), *range(5181, 5190), *range(5210, 5221),
    *(n for base in range(5221, 5382, 20) for n in range(base, base + 10)),
)  # fmt: skip


needs_interpreter = pytest.mark.skipif(
    interpreter() is None, reason="no rs274 interpreter (.ci/rs274.sh unpacks one)"
)
