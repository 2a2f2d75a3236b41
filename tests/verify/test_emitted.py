"""Programs of a real set spoilt at random, each by one change, with the hashes left aside.

Whether copper moves is told by the exact areas of the clean and the spoilt sweep. What moves
copper, on a board or in the frame around it, the simulation must find alone, and so must the
table of motions; what moves none is let pass or told, and its copper is the same.
"""

from __future__ import annotations

import random
import re
from collections import Counter
from typing import NamedTuple

import pytest
import shapely

from millprep.model.finding import Refusal
from millprep.verify.reader import read
from millprep.verify.trace import check_rows
from tests.helpers.proof_bench import Bench

COUNT = 220


class Outcome(NamedTuple):
    kind: str
    work: str
    text: str
    found: bool
    row_found: bool
    moved: bool
    harm: bool


def spoil(rnd: random.Random, text: str) -> tuple[str, str]:
    """One change of one line of a program, and its kind."""
    lines = text.split("\n")
    i = rnd.choice([i for i, line in enumerate(lines) if re.match(r"G[0-3] .*[XY]", line)])
    line = lines[i]
    kind = rnd.choice(("drop", "twice", "swap", "move", "digit", "sign", "rapid", "z", "arc"))
    match kind:
        case "drop":
            del lines[i]
        case "twice":
            lines.insert(i, line)
        case "swap":
            lines[i], lines[i + 1] = lines[i + 1], lines[i]
        case "move":
            by = rnd.choice((0.002, 0.01, 0.03, 0.1, 0.5, 3.0)) * rnd.choice((1, -1))
            lines[i] = re.sub(
                r"([XY])([\d.]+)", lambda m: f"{m[1]}{float(m[2]) + by:.4f}", line, count=1
            )
        case "digit":
            k = rnd.choice([k for k, c in enumerate(line) if c.isdigit() and k > 2])
            lines[i] = line[:k] + rnd.choice("0123456789") + line[k + 1 :]
        case "sign":
            lines[i] = re.sub(r"([XYIJ])", r"\g<1>-", line, count=1).replace("--", "")
        case "rapid":
            lines[i] = re.sub(r"^G[123]", "G0", line)
        case "z":
            i = rnd.choice([k for k, text in enumerate(lines) if re.match("G1.*Z-", text)])
            depth = rnd.choice((0.0, -0.03, -0.07, -0.12, -0.3, -9.0))
            lines[i] = re.sub(r"Z-[\d.]+", f"Z{depth:.4f}", lines[i])
        case "arc":
            lines[i] = line.replace("G2", "G9").replace("G3", "G2").replace("G9", "G3")
    return kind, "\n".join(lines)


@pytest.fixture(scope="module")
def outcomes(tmp_path_factory: pytest.TempPathFactory) -> list[Outcome]:
    bench = Bench(tmp_path_factory.mktemp("spoilt"))
    rnd = random.Random(7)
    out: list[Outcome] = []
    cutting = [k for k, one in enumerate(bench.programs) if one.work != "dry-run"]
    while len(out) < COUNT:
        k = rnd.choice(cutting)
        kind, text = spoil(rnd, bench.texts[k])
        if text == bench.texts[k]:
            continue
        work = bench.programs[k].work
        try:
            trace = read(text, file="a")
        except Refusal:
            out.append(Outcome(kind, work, text, True, True, False, False))
            continue
        traces = [*bench.traces[:k], trace, *bench.traces[k + 1 :]]
        copper = bench.cut(traces)
        change = bench.moved(copper)
        rows = bench.rows[bench.programs[k].file]
        out.append(
            Outcome(
                kind,
                work,
                text,
                bool(bench.codes_of(k, traces, copper)),
                bool(check_rows(trace, rows, file="a")),
                not shapely.is_empty(change),
                bool(shapely.intersects(change, bench.board)),
            )
        )
    return out


def test_copper_that_moves_is_found_by_the_simulation_alone(outcomes: list[Outcome]) -> None:
    """On the boards it must; here it does in the frame around them as well."""
    changed = [outcome for outcome in outcomes if outcome.moved]
    assert sum(outcome.harm for outcome in changed) > 50
    assert len([o for o in changed if not o.harm]) > 0
    assert [(o.kind, o.work, o.harm) for o in changed if not o.found] == []


def test_copper_that_moves_is_found_by_the_table_of_motions_alone(
    outcomes: list[Outcome],
) -> None:
    changed = [outcome for outcome in outcomes if outcome.moved]
    assert [(o.kind, o.work) for o in changed if not o.row_found] == []


def test_programs_of_all_works_are_spoilt_in_all_ways_and_some_do_no_harm(
    outcomes: list[Outcome],
) -> None:
    """Or the test would show only that everything is refused."""
    assert any(not outcome.found and not outcome.moved for outcome in outcomes)
    assert len(Counter(outcome.work for outcome in outcomes)) == 3
    assert len(Counter(outcome.kind for outcome in outcomes)) == 9
