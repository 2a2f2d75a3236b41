"""Files of every kind, damaged at random by a seed, each read in this process.

Run it from the project's folder: `python -m tests.fuzz --count 1000 --seed 1`, which tries so many
of each kind; `--kind` takes some kinds alone. Half are damaged by bytes, half by tokens, and
lines of two files of a kind are mixed. A reader may refuse what it gets. A line is printed for one
that raises anything else or takes more than `SECONDS` of processor time, and the exit code is 1.
`--only 17` tries one again and `--keep FOLDER` leaves what was read there. `tests.damaged` does the
same through the command line, a process each, and looks at memory as well.
"""

from __future__ import annotations

import argparse
import random
import re
import sys
import tempfile
import time
import traceback
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from millprep.drawing.gerber.statements import UnreadableError
from millprep.model.finding import Refusal
from tests.helpers.fuzz_readers import Kind, kinds

SECONDS = 10
"""Processor time that one may take, s."""

TOKEN = re.compile(rb"[A-Za-z_]+|[-+]?\d+(?:\.\d*)?|\s+|.", re.DOTALL)
NUMBERS: tuple[bytes, ...] = (
    b"0",
    b"-0",
    b"-1",
    b"1",
    b"1e308",
    b"-1e308",
    b"1e-308",
    b"2147483648",
    b"0.1",
    b".",
)
NUMBERS += (
    b"99999999999999999999",
    b"1" + b"0" * 400,
    b"00001",
    b"1_0",
    b"+5",
    b"1.5",
    b"\xd9\xa1",
)
BYTES: tuple[bytes, ...] = (
    b"\0",
    b"\xff",
    b"\xef\xbb\xbf",
    b"\n",
    b"\r",
    b"\t",
    b" ",
    b"-",
    b".",
    b"0",
    b"9",
    b"e",
)
BYTES += (b'"', b"'", b"[", b"]", b"{", b"}", b"=", b"%", b"*", b"\xc3\xa9", b"\xe2\x80\xae", b"\\")

TIMES = (1, 1, 1, 1, 1, 2, 2, 3, 5)
"""How often one is damaged; most once, so that readers get beyond the first fault."""


def by_bytes(content: bytes, rng: random.Random) -> bytes:
    """A few bytes changed, added, taken out, repeated or cut off."""
    changed = bytearray(content)
    for _ in range(rng.choice(TIMES)):
        at = rng.randrange(len(changed) + 1)
        span = rng.choice((1, 1, 1, 4, 40, 400))
        way = rng.randrange(12)
        if way < 4:
            changed[at : at + 1] = rng.choice(BYTES)
        elif way < 6:
            changed[at:at] = rng.choice(BYTES) * rng.choice((1, 1, 1, 100))
        elif way < 8:
            del changed[at : at + span]
        elif way < 10:
            changed[at:at] = changed[at : at + span]
        elif way < 11:
            changed[at : at + 1] = bytes([rng.randrange(256)])
        else:
            del changed[at:]
    return bytes(changed)


def by_tokens(content: bytes, rng: random.Random, words: tuple[str, ...]) -> bytes:
    """A few numbers, words and lines changed, repeated, left out or put elsewhere."""
    tokens = TOKEN.findall(content)
    for _ in range(rng.choice(TIMES)):
        if not tokens:
            break
        at = rng.randrange(len(tokens))
        way = rng.randrange(10)
        if way < 4:
            numbers = [n for n, token in enumerate(tokens) if token[-1:].isdigit()]
            at = rng.choice(numbers) if numbers else at
            tokens[at] = rng.choice(NUMBERS)
        elif way < 6:
            tokens[at] = rng.choice(words).encode()
        elif way < 7:
            tokens.insert(at, rng.choice((rng.choice(words).encode(), rng.choice(tokens))))
        elif way < 8:
            del tokens[at : at + rng.choice((1, 1, 5, 50))]
        elif way < 9:
            other = rng.randrange(len(tokens))
            tokens[at], tokens[other] = tokens[other], tokens[at]
        else:
            tokens[at:at] = tokens[at : at + rng.choice((1, 5, 50))] * rng.choice((1, 1, 30))
    return b"".join(tokens)


def mixed(one: bytes, other: bytes, rng: random.Random) -> bytes:
    """The first lines of one file and the last of another, or lines of one twice."""
    first, last = one.split(b"\n"), other.split(b"\n")
    return b"\n".join(first[: rng.randrange(len(first) + 1)] + last[rng.randrange(len(last)) :])


def damaged(kind: Kind, rng: random.Random) -> bytes:
    """A damaged file of a kind."""
    content = rng.choice(kind.good)
    if rng.random() < 0.15:
        content = mixed(content, rng.choice(kind.good), rng)
    if rng.random() < 0.5:
        return by_bytes(content, rng)
    return by_tokens(content, rng, kind.words)


@dataclass(frozen=True, slots=True)
class Tried:
    """What came of one.

    Attributes:
        kind, number: which it was.
        end: "read", "refused", or the error of a reader that failed.
        seconds: of the processor.
    """

    kind: str
    number: int
    end: str
    seconds: float

    @property
    def fault(self) -> bool:
        """Whether it shows a fault of ours."""
        return self.end not in ("read", "refused") or self.seconds > SECONDS


class TooLongError(BaseException):
    """A reader took twice the time that it may take; no reader may catch it."""


@contextmanager
def bounded() -> Iterator[None]:
    """Break off what takes twice the time it may, where the system has such a clock."""
    try:
        import signal

        clock = signal.ITIMER_PROF
    except (ImportError, AttributeError):
        yield
        return

    def late(*_: object) -> None:
        raise TooLongError

    before = signal.signal(signal.SIGPROF, late)
    signal.setitimer(clock, 2 * SECONDS)
    try:
        yield
    finally:
        signal.setitimer(clock, 0)
        signal.signal(signal.SIGPROF, before)


def try_one(name: str, kind: Kind, seed: int, number: int, folder: Path) -> Tried:
    """Damage a file by a seed and a number, and read it."""
    file = folder / kind.name
    file.write_bytes(damaged(kind, random.Random(f"{seed} {name} {number}")))
    begun = time.process_time()
    end = "read"
    try:
        with bounded():
            kind.read(file)
    except (Refusal, UnreadableError):
        end = "refused"
    except (Exception, TooLongError) as fault:
        where = traceback.extract_tb(fault.__traceback__)[-1]
        end = f"{type(fault).__name__}: {fault!s:.80} ({Path(where.filename).name}:{where.lineno})"
    return Tried(name, number, end, time.process_time() - begun)


def run_all(
    names: Iterable[str], numbers: Iterable[int], seed: int, keep: Path | None = None
) -> list[Tried]:
    """Every number of every kind, with a line for each fault."""
    known = kinds()
    numbers = list(numbers)
    tried = []
    with tempfile.TemporaryDirectory() as scratch:
        for name in names:
            folder = (Path(scratch) if keep is None else keep) / name
            folder.mkdir(parents=True, exist_ok=True)
            known[name].others(folder)
            for number in numbers:
                one = try_one(name, known[name], seed, number, folder)
                tried.append(one)
                if one.fault:
                    line = f"! {name} {number} {one.seconds:.1f} s {one.end}"
                    print(line, flush=True)  # noqa: T201
    return tried


def main() -> int:
    """Exit code 1 on a fault."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=1000, help="of each kind")
    parser.add_argument("--start", type=int, default=0, help="number of the first")
    parser.add_argument("--kind", action="append", choices=list(kinds()))
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", type=int, nargs="*", help="numbers to try again")
    parser.add_argument("--keep", type=Path, help="folder that keeps what was read")
    given = parser.parse_args()
    numbers = given.only or range(given.start, given.start + given.count)
    tried = run_all(given.kind or kinds(), numbers, given.seed, given.keep)
    for name in dict.fromkeys(one.kind for one in tried):
        mine = [one for one in tried if one.kind == name]
        read = sum(one.end == "read" for one in mine)
        refused = sum(one.end == "refused" for one in mine)
        slowest = max(one.seconds for one in mine)
        words = f"{read} read, {refused} refused, {sum(one.fault for one in mine)} faults"
        print(f"{name:10s} {len(mine):6d}: {words}, at most {slowest:.2f} s")  # noqa: T201
    return int(any(one.fault for one in tried))


if __name__ == "__main__":
    sys.exit(main())
