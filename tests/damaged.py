"""Drawings, jobs and netlists damaged at random by a seed, each read by the command line.

Run it from the project's folder: `python -m tests.damaged --count 2000 --seed 1`. Of eight, three
are DXF drawings, which `inspect`, `new` or `inspect --repair` reads, two are Gerber files, one a
drill file, one a netlist and one a job, which `layout` reads. `--kind` takes one of these alone.
Exit code 1 when one ends with anything but 0 to 3, or takes more than `SECONDS` of processor time
or `MEMORY`; a line is printed for it. `--only 17` runs one again and `--keep FOLDER` leaves what
was read there.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import random
import re
import sys
import tempfile
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.helpers.drawn_dialects import DIALECTS, NAMES
from tests.helpers.small_job import JOB, put
from tests.helpers.spoilt_files import put_spoilt

SECONDS = 10
"""Processor time that one may take, s."""
MEMORY = 2**30
"""Memory that one may have resident, bytes."""

NUMBERS = [b"1e308", b"-1", b"nan", b"inf", b"0", b"999999999", b"-32768", b"1e9", b"1e-300", b""]
NUMBERS += [b"%g" % (1.7 * 10**k) for k in range(-3, 12)]
WORDS = [b"\xff\xfe", b"x", b"*Model_Space", b"0" * 30, b"foil", b"INSERT", b"CIRCLE"]
CODES = [0, 1, 2, 5, 8, 10, 11, 20, 40, 41, 42, 50, 62, 66, 67, 70, 90, 91, 93, 210, 1070, 5000]
NUMERIC = {b"10", b"20", b"30", b"11", b"21", b"40", b"41", b"42", b"43", b"50", b"51", b"70"}
NUMERIC |= {b"66", b"67", b"71", b"72", b"73", b"90", b"91", b"92", b"93", b"210", b"230"}
KINDS = ["numbers"] * 3 + ["words", "code", "delete", "twice", "swap", "cut", "line"]


def spoilt(content: bytes, rng: random.Random) -> bytes:
    """A few bytes, or a few tags, changed."""
    if content.startswith(b"AutoCAD") or rng.random() < 0.2:
        changed = bytearray(content)
        for _ in range(rng.randint(1, 6)):
            changed[rng.randrange(len(changed))] = rng.choice(b"\n 019-.eExA\0\xff")
        return bytes(changed)
    rows = content.replace(b"\r\n", b"\n").split(b"\n")
    for _ in range(rng.randint(1, 3)):
        # most in the blocks and the entities, some anywhere
        low = rows.index(b"BLOCKS") if b"BLOCKS" in rows and rng.random() < 0.8 else 0
        high = rows.index(b"OBJECTS") if b"OBJECTS" in rows else len(rows) - 1
        if high - low < 8:
            break
        k = rng.randrange(low // 2 + 1, high // 2) * 2
        kind = rng.choice(KINDS)
        if kind == "numbers":
            numeric = [n for n in range(low // 2 * 2 + 2, high, 2) if rows[n].strip() in NUMERIC]
            if numeric:
                rows[rng.choice(numeric) + 1] = rng.choice(NUMBERS)
        elif kind == "words":
            rows[k + 1] = rng.choice(WORDS)
        elif kind == "code":
            rows[k] = b"%3d" % rng.choice(CODES)
        elif kind == "delete":
            del rows[k : k + 2 * rng.randint(1, 9)]
        elif kind == "twice":
            rows[k:k] = rows[k : k + 2]
        elif kind == "swap":
            j = rng.randrange(low // 2 + 1, high // 2) * 2
            rows[k : k + 2], rows[j : j + 2] = rows[j : j + 2], rows[k : k + 2]
        elif kind == "cut":
            del rows[k + rng.randrange(2) :]
        else:
            del rows[k]
    return b"\n".join(rows)


def spoilt_job(text: str, rng: random.Random) -> str:
    """A job with a few values, keys or characters changed."""
    rows = text.split("\n")
    for _ in range(rng.randint(1, 3)):
        k = rng.randrange(len(rows))
        key, equals, value = rows[k].partition(" = ")
        kind = rng.choice([*["value"] * 4, *["number"] * 8, "row", "twice", "swap", "byte"])
        if kind == "value" and equals:
            rows[k] = f"{key} = {rng.choice([*VALUES, value[1:], value[:-1], f'[{value}]'])}"
        elif kind == "number" and equals:
            times = rng.choice([1e-3, 0.1, 0.5, 2, 10, 1e3, -1])
            parts = re.split(r"\b(\d+\.\d+)", value)
            parts[1::2] = [f"{float(part) * times}" for part in parts[1::2]]
            rows[k] = f"{key} = {''.join(parts)}"
        elif kind == "row":
            del rows[k]
        elif kind == "twice":
            rows.insert(rng.randrange(len(rows)), rows[k])
        elif kind == "swap":
            j = rng.randrange(len(rows))
            rows[j], rows[k] = rows[k], rows[j]
        elif rows[k]:
            at = rng.randrange(len(rows[k]))
            rows[k] = rows[k][:at] + rng.choice("\0\"'[]{}=.,#\\ é0-") + rows[k][at + 1 :]
        rows = rows or [""]
    return "\n".join(rows)


VALUES = ["0", "1e308", "nan", "-inf", "0.000001", "99999999", "true", '""', '"x"', "[]", "{}"]
VALUES += ["-1"]
VALUES += ["[0.0, 0.0]", "[1e9, 1e9]", '["vee", "vee"]', '"lamp.dxf"', '"."', "2026-01-01", "0,3"]


@dataclass(frozen=True, slots=True)
class Damage:
    """What came of one.

    Attributes:
        code: the exit code; None where it was ended.
        seconds: of the processor.
        memory: resident at most, bytes.
    """

    words: str
    code: int | None
    seconds: float
    memory: int

    @property
    def fault(self) -> bool:
        """Whether it shows a fault of ours."""
        return self.code not in (0, 1, 2, 3) or self.seconds > SECONDS or self.memory > MEMORY


def make(seed: int, number: int, folder: Path) -> list[str]:
    """Write the damaged file of a seed and a number; the words of the command that reads it."""
    rng = random.Random(f"{seed} {number}")
    if number % 8 > 3:
        kind = ("gerber", "gerber", "drill", "netlist")[number % 8 - 4]
        return put_spoilt(kind, rng, folder)
    if number % 4 == 3:
        job = put(folder)
        job.write_text(spoilt_job(JOB, rng), "utf-8")
        return ["layout", str(job)]
    name = rng.choice(NAMES)
    file = folder / "spoilt.dxf"
    file.write_bytes(spoilt((DIALECTS / f"{name}.dxf").read_bytes(), rng))
    command = [["inspect"], ["new"], ["inspect", "--repair"]][number % 4]
    return [*command, str(file), *(["--unit", "mm"] if rng.random() < 0.5 else [])]


def run_one(seed: int, number: int, folder: Path) -> Damage:
    """Make and read one in a process of its own. Needs `os.fork`."""
    words = make(seed, number, folder)
    child = os.fork()
    if child == 0:
        try:
            _command(words, folder)
        finally:
            os._exit(70)
    _, status, usage = os.wait4(child, 0)
    code = os.waitstatus_to_exitcode(status)
    # peak memory counts what was loaded before
    return Damage(
        " ".join(words),
        None if code < 0 else code,
        usage.ru_utime + usage.ru_stime,
        usage.ru_maxrss * 1024,
    )


def _command(words: list[str], folder: Path) -> None:
    import resource

    from millprep.cli import main

    resource.setrlimit(resource.RLIMIT_CPU, (2 * SECONDS, 2 * SECONDS))
    resource.setrlimit(resource.RLIMIT_AS, (4 * MEMORY, 4 * MEMORY))
    os.chdir(folder)
    sys.argv = ["millprep", *words]
    code: Any = 0
    with (
        Path("out.txt").open("w", encoding="utf-8") as out,
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(out),
    ):
        try:
            main()
        except SystemExit as end:
            code = end.code
    os._exit(code if isinstance(code, int) else int(code is not None))


def run_all(numbers: Iterable[int], seed: int, keep: Path | None = None) -> list[Damage]:
    """Every one in turn, with a line for each fault."""
    import millprep.cli.main
    import millprep.drawing.survey.survey
    import millprep.workflow.lay_out  # noqa: F401

    found = []
    for number in numbers:
        with tempfile.TemporaryDirectory() as scratch:
            folder = Path(scratch) if keep is None else keep / str(number)
            folder.mkdir(parents=True, exist_ok=True)
            one = run_one(seed, number, folder)
        found.append(one)
        if one.fault:
            taken = f"{one.seconds:6.1f} s {one.memory >> 20} MB"
            line = f"!{number:5d} {taken} {one.code}: {one.words}"
            print(line, flush=True)  # noqa: T201
    return found


def main() -> int:
    """Exit code 1 on a fault."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--start", type=int, default=0, help="number of the first")
    parser.add_argument("--kind", choices=("dxf", "job", "gerber", "drill", "netlist"))
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", type=int, nargs="*", help="numbers to run again")
    parser.add_argument("--keep", type=Path, help="folder that keeps what was read")
    given = parser.parse_args()
    every = {"dxf": (0, 1, 2), "job": (3,), "gerber": (4, 5), "drill": (6,), "netlist": (7,)}
    taken = range(8) if given.kind is None else every[given.kind]
    count = -(-8 * given.count // len(taken))
    some = range(given.start, given.start + count)
    numbers = [number for number in some if number % 8 in taken][: given.count]
    found = run_all(numbers if given.only is None else given.only, given.seed, given.keep)
    counts = Counter(one.code for one in found)
    print(*(f"{n} ended with {code}" for code, n in counts.most_common()), sep=", ")  # noqa: T201
    print(f"at most {max(one.seconds for one in found):.1f} s")  # noqa: T201
    return int(any(one.fault for one in found))


if __name__ == "__main__":
    sys.exit(main())
