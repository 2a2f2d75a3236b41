"""Processor seconds of the pass plan of the half-metre example, beside those of its isolation.

Run it from the project's folder: `python -m tests.bench.plan`; `--runs` says how often, `--json`
writes one object instead of words. Both are measured in turns in one process, so that whatever
else the machine does slows both; the least of all runs counts. The pass plan is everything from
the windows to the judged joins: holes, joins in two rounds, sharing, ticks, profiles with tabs. The
last figure is what planning with depths of least time costs beside planning with fixed ones: 1.5
is the most.
Exit code 1 when it takes twice the time of the isolation or more.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any
from unittest.mock import patch

from millprep import drawing, job
from millprep.model.set_of_programs import BoardCopy, MilledBlank
from millprep.passes import blank_cuts, blank_passes
from millprep.toolpaths import least_time
from millprep.toolpaths.isolation import Island, isolate
from millprep.workflow import laying

EXAMPLE = Path(__file__).parents[2] / "examples" / "lighthouse" / "memory-board.toml"
MOST = 2.0


def measured(runs: int) -> dict[str, Any]:
    """Seconds of isolation, pass plan and programs, and the plan's share of the isolation."""
    plan = job.load(EXAMPLE)
    (one,) = plan.boards
    board = drawing.read(
        one.drawing.copper.file,
        name=one.name,
        shown_as=one.drawing.copper.name,
        layers=one.roles,
        unit=one.unit,
    )
    free = plan
    plan = least_time.chosen(free, [board])
    layout = laying.lay(plan, [board]).layout([board], plan.blanks)
    (blank,), placements = layout.blanks, layout.placements
    made, _ = blank_cuts.cuts(plan, blank, placements)
    milled = MilledBlank(blank, tuple(map(BoardCopy, placements)), made)
    (placement,) = placements
    islands = [Island(0, p.id, placement.pose.shape(p.shape)) for p in board.pieces]
    edge = placement.pose.shape(board.outline)

    def without_programs() -> object:
        with patch.object(blank_passes, "build", lambda *_, **__: ()):
            return blank_passes.passes(plan, milled)

    works: dict[str, Callable[[], object]] = {
        "least time": lambda: least_time.chosen(free, [board]),
        "isolation": lambda: isolate(islands, edge, plan.isolation, blank.copper),
        "plan": without_programs,
        "plan and programs": lambda: blank_passes.passes(plan, milled),
    }
    least = dict.fromkeys(works, float("inf"))
    for _ in range(runs):
        for name, work in works.items():
            start = time.process_time()
            work()
            least[name] = min(least[name], time.process_time() - start)
    found: dict[str, Any] = {name: round(seconds, 3) for name, seconds in least.items()}
    found["plan / isolation"] = round(least["plan"] / least["isolation"], 2)
    fixed = least["isolation"] + least["plan and programs"]
    found["with least time / fixed depth"] = round((least["least time"] + fixed) / fixed, 2)
    return found


def main() -> int:
    """Measure and say."""
    parser = argparse.ArgumentParser(description="pass plan against isolation")
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--json", action="store_true")
    rules = parser.parse_args()
    found = measured(rules.runs)
    if rules.json:
        sys.stdout.write(json.dumps(found) + "\n")
    else:
        sys.stdout.writelines(f"{name:<30} {value}\n" for name, value in found.items())
    return 0 if found["plan / isolation"] < MOST else 1


if __name__ == "__main__":
    sys.exit(main())
