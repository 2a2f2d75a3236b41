"""How long the proof takes beside the paths, and how it grows: `python -m tests.bench.proof`.

Steps go by the clock, so they want a machine that does nothing else; growth goes by processor
time. The limits of the house: the proof, certificate apart, at most twice the making of the paths;
the certificate and the worst case at most three times the proof; growth with the area no steeper
than n to the power of 1.25.
"""

from __future__ import annotations

import math
import tempfile
import time
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import TypeVar
from unittest import mock

import click
import shapely

from millprep.geometry.pose import Pose
from millprep.model.blank import Blank
from millprep.model.layout import Layout, Placement
from millprep.passes import blank_cuts, blank_passes
from millprep.verify import prove
from millprep.verify.as_cut import as_cut
from millprep.verify.compare import compare
from millprep.verify.reader import read
from millprep.workflow import prepare as walk
from millprep.workflow import second_core
from tests.conftest import EXAMPLES
from tests.helpers.programs import HEAD, PASS, TAIL, around, board, vee

T = TypeVar("T")


def timed(spent: dict[str, float], name: str, work: Callable[..., T]) -> Callable[..., T]:
    """The work, with the time by the clock that it takes added to `spent`."""

    def measured(*args: object, **words: object) -> T:
        start = time.perf_counter()
        try:
            return work(*args, **words)
        finally:
            spent[name] = spent.get(name, 0.0) + time.perf_counter() - start

    return measured


def ratios() -> dict[str, float]:
    """Seconds of each step on the half-metre board."""
    spent: dict[str, float] = {}
    steps = (
        (blank_cuts, "cuts"),
        (blank_passes, "passes"),
        (walk, "read_programs"),
        (prove, "cut_blanks"),
        (prove, "check_copper"),
        (prove, "worst"),
        (prove, "certify"),
    )
    with tempfile.TemporaryDirectory() as folder, ExitStack() as patched:
        for module, name in steps:
            work = timed(spent, name, getattr(module, name))
            patched.enter_context(mock.patch.object(module, name, work))
        # all in this process, so that its time is counted
        patched.enter_context(mock.patch.object(second_core, "cores", return_value=1))
        walk.prepare(EXAMPLES / "memory-board.toml", Path(folder) / "out")
    return spent


def growth(times: int) -> float:
    """Seconds of proof for a board of `times` × `times` fields of tracks."""
    cutter = vee()
    rails = [
        shapely.LineString([(x, y), (x + 6, y), (x + 8, y + 2)]).buffer(0.5, quad_segs=8)
        for x in range(4, 4 + 10 * 2 * times, 10)
        for y in range(4, 4 + 3 * 6 * times, 3)
    ]
    size = (20.0 * times + 10, 18.0 * times + 10)
    blank = Blank(1, size, 1.6, 0.035)
    where = Layout((blank,), (Placement(0, board(rails), 1, 1, Pose()),))
    text = HEAD + "".join(around(rail, cutter.width(0.08) / 2) for rail in rails) + TAIL
    start = time.process_time()
    copper = as_cut(blank, [(read(text, file="a"), cutter, PASS)], where.placements)
    (proof,), _ = compare([copper], where)
    assert (proof.pieces, proof.shorts, proof.opens) == (len(rails), 0, 0)
    return time.process_time() - start


def main() -> None:
    """Say the figures beside their limits."""
    say = click.echo
    spent = ratios()
    paths = spent["cuts"] + spent["passes"]
    more = spent["worst"] + spent["certify"]
    steps = ("read_programs", "cut_blanks", "check_copper")
    proof = sum(spent[step] for step in steps) - spent["worst"]
    say(f"paths {paths:.2f} s, proof {proof:.2f} s, worst case {spent['worst']:.2f} s, "
          f"certificate {spent['certify']:.2f} s")  # fmt: skip
    say(f"proof / paths {proof / paths:.2f}, at most 2")
    say(f"certificate and worst case / proof {more / proof:.2f}, at most 3")
    growth(2)
    small, large = growth(5), growth(20)
    power = math.log(large / small) / math.log(16)
    say(f"{small:.2f} s and {large:.2f} s at 16 × the area: n^{power:.2f}, at most 1.25")


if __name__ == "__main__":
    main()
