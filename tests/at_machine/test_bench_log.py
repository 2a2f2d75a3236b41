"""Logs that a person may have edited: what is no row is refused in words."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Literal

import pytest

from millprep.at_machine.bench_log import BENCH_LOG, BenchRun, use_of
from millprep.files.row_file import RowFile
from millprep.model.finding import Refusal
from millprep.workflow.set_on_disk import RUNS
from millprep.workflow.time_log import TIME_LOG
from tests.helpers.small_job import run

WHEN = "when = 2026-01-02T03:04:05Z\n"
BENCH_ROW = f'{WHEN}cutter = "vee"\n'
RUN_ROW = f'{BENCH_ROW}set = "s"\nfile = "f"\n'
TIME_ROW = 'machine = "m"\nset = "s"\nprogram = "p"\n'

FAULTS: dict[str, tuple[RowFile[Any], str, str]] = {
    "no time": (BENCH_LOG, 'when = 3\ncutter = "vee"\n', "when is a time"),
    "no name": (BENCH_LOG, f"{WHEN}cutter = 3\n", "cutter, set, job and file are texts"),
    "no file": (BENCH_LOG, f"{BENCH_ROW}file = 3\n", "cutter, set, job and file are texts"),
    "another event": (BENCH_LOG, f'{BENCH_ROW}what = "lost"\n', 'what can only be "replaced"'),
    "below 0": (BENCH_LOG, f"{BENCH_ROW}metres = -1\n", "are 0 or more"),
    "without end": (BENCH_LOG, f"{BENCH_ROW}minutes = inf\n", "are 0 or more"),
    "no number": (BENCH_LOG, f"{BENCH_ROW}metres = nan\n", "are 0 or more"),
    "a quoted length": (BENCH_LOG, f'{BENCH_ROW}metres = "2"\n', "boards are numbers"),
    "boards in words": (BENCH_LOG, f'{BENCH_ROW}boards = "two"\n', "boards are numbers"),
    "boards without end": (BENCH_LOG, f"{BENCH_ROW}boards = inf\n", "are 0 or more"),
    "quoted minutes": (RUNS, f'{RUN_ROW}minutes = "3"\n', "minutes are a number"),
    "no minutes": (RUNS, f"{RUN_ROW}minutes = 0\n", "minutes are above 0"),
    "a quoted estimate": (
        TIME_LOG,
        f'{TIME_ROW}estimate = "10"\nminutes = 12\n',
        "estimate and minutes are numbers",
    ),
    "no estimate": (TIME_LOG, f"{TIME_ROW}estimate = 0\nminutes = 12\n", "are above 0"),
}


@pytest.mark.parametrize(("kind", "row", "words"), FAULTS.values(), ids=FAULTS.keys())
def test_what_is_no_row_is_refused(
    kind: RowFile[Any], row: str, words: str, tmp_path: Path
) -> None:
    file = tmp_path / "log.toml"
    file.write_text(f"[[{kind.table}]]\n{row}")
    with pytest.raises(Refusal) as refused:
        kind.load(file)
    (finding,) = refused.value.findings
    assert finding.code == kind.code
    assert words in finding.message
    assert refused.value.exit_code == 2


def test_whole_numbers_and_what_is_left_out_are_taken(tmp_path: Path) -> None:
    file = tmp_path / "log.toml"
    file.write_text(
        f"[[run]]\n{BENCH_ROW}metres = 2\nminutes = 3\nboards = 1\n[[run]]\n{BENCH_ROW}"
    )
    use = use_of(BENCH_LOG.load(file), {"vee": 1.5})
    assert (use.minutes, use.boards, use.runs) == (3.0, 1, 2)
    assert [(cutter.metres, cutter.worn) for cutter in use.cutters] == [(2.0, True)]


def test_a_quoted_number_in_the_log_of_a_bench_is_said_and_no_fault_of_ours(tmp_path: Path) -> None:
    bench = tmp_path / "mill.toml"
    bench.write_text("")
    (tmp_path / "mill-log.toml").write_text(f'[[run]]\n{BENCH_ROW}boards = "two"\n')
    done = run("bench", "log", bench)
    assert done.exit_code == 2
    assert "[bench-log-unreadable]" in done.stderr


def test_a_replaced_cutter_counts_from_its_day_and_others_go_on() -> None:
    day = datetime(2026, 1, 2, tzinfo=UTC)
    rows: list[tuple[str, Literal["replaced"] | None, float]] = [
        ("vee", None, 4.0), ("mill", None, 1.0), ("vee", "replaced", 0.0), ("vee", None, 0.5),
    ]  # fmt: skip
    runs = [
        BenchRun(day + timedelta(days=n), cutter, what, metres=metres)
        for n, (cutter, what, metres) in enumerate(rows)
    ]
    vee, mill = use_of(runs, {}).cutters
    assert (vee.cutter, vee.metres, vee.runs, vee.since) == ("vee", 0.5, 1, day + timedelta(days=2))
    assert (mill.cutter, mill.metres, mill.runs, mill.worn) == ("mill", 1.0, 1, False)
