"""A few damaged files of every kind, and what the command calls a fault."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import pytest

from millprep.model.finding import usage
from tests.fuzz import SECONDS, TooLongError, Tried, damaged, run_all, try_one
from tests.helpers.fuzz_readers import Kind, kinds

KINDS = kinds()
GOOD = Tried("job", 1, "read", 0.1)


def test_damaged_files_of_every_kind_are_read_or_refused() -> None:
    tried = run_all(KINDS, range(80), 1)
    assert [one for one in tried if one.fault] == []
    for name in KINDS:
        assert {one.end for one in tried if one.kind == name} == {"read", "refused"}


@pytest.mark.parametrize("name", sorted(set(KINDS) - {"dxf"}))
def test_a_whole_file_of_each_kind_is_read(name: str, tmp_path: Path) -> None:
    """Else nothing of what follows its first fault would ever be tried."""
    kind = KINDS[name]
    kind.others(tmp_path)
    for content in kind.good:
        (tmp_path / kind.name).write_bytes(content)
        kind.read(tmp_path / kind.name)


def test_damage_depends_on_its_seed_and_number_alone() -> None:
    first, again, other = (damaged(KINDS["job"], random.Random(seed)) for seed in "112")
    assert first == again != other


def refuse(file: Path) -> None:
    raise usage("a-b", "no", file)


def fail(file: Path) -> None:
    raise OverflowError("too large")


def linger(file: Path) -> None:
    raise TooLongError


@pytest.mark.parametrize(
    ("read", "end"),
    [(len, "TypeError"), (refuse, "refused"), (fail, "OverflowError"), (linger, "TooLong")],
)
def test_a_reader_that_fails_is_seen(read, end: str, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    one = try_one("a", Kind("a", (b"a = 1",), ("b",), read), 1, 1, tmp_path)
    assert one.end.startswith(end)
    assert one.fault == (end != "refused")


def test_a_slow_reader_is_seen() -> None:
    assert not GOOD.fault
    assert replace(GOOD, seconds=SECONDS + 1).fault
