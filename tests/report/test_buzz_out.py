"""The short list of checks: what is likeliest to fail, of every kind of board."""

from __future__ import annotations

from dataclasses import replace

from millprep.model.judged import Check, GapReason, JoinReason, NetReason, Touch
from millprep.model.set_of_programs import CutSet
from millprep.report.buzz_out import MOST_CONNECTED, MOST_ISOLATED, shortest, tables
from tests.helpers.changed_set import with_copies
from tests.helpers.invented_set import invented


def touch(x: float) -> Touch:
    return Touch("c1", "n1", "h1", (x, 5.0))


def gap(wide: float, placement: int = 0) -> Check:
    return Check(
        placement, "isolation", touch(1), touch(2), "any time", GapReason(wide),
    )  # fmt: skip


def join(x: float) -> Check:
    return Check(
        0, "isolation", touch(x), touch(2), "before soldering", JoinReason((1, 2), (x, 5.0)),
    )  # fmt: skip


def way(long: float, placement: int = 0) -> Check:
    return Check(
        placement, "continuity", touch(0), touch(long), "any time", NetReason("n1"),
    )  # fmt: skip


def known(*checks: Check) -> CutSet:
    whole = invented(1)
    return with_copies(whole, whole.blanks[0].placements, checks)


def test_a_set_without_checks_has_no_list() -> None:
    assert shortest(known()) is None


def test_few_checks_are_all_there_in_their_order() -> None:
    found = shortest(known(way(5), gap(0.4), join(3.0), gap(0.3)))
    assert found is not None
    assert (found.shown, found.all, found.marks) == (4, 4, True)
    (table,) = found.tables
    assert [row.name for row in table.isolated] == ["2", "3", "4"]
    assert [row.short for row in table.isolated] == ["0.40 mm", "join 1|2", "0.30 mm"]
    assert [row.when for row in table.isolated] == ["", "†", ""]
    assert [row.name for row in table.connected] == ["1"]


def test_the_narrowest_gaps_and_the_longest_ways_stay() -> None:
    gaps = [gap(0.2 + 0.01 * ((7 * k) % 60)) for k in range(60)]
    ways = [way(float(k)) for k in range(30)]
    found = shortest(known(*gaps, *ways))
    assert found is not None
    (table,) = found.tables
    assert len(table.isolated) == MOST_ISOLATED
    kept = {row.name for row in table.isolated}
    widest = max(one.gap or 0 for n, one in enumerate(gaps, 1) if str(n) in kept)
    assert all((one.gap or 0) >= widest for n, one in enumerate(gaps, 1) if str(n) not in kept)
    assert [row.name for row in table.connected] == [str(n) for n in range(82, 91)]
    assert len(table.connected) == MOST_CONNECTED
    assert found.all == 90


def test_joins_and_gaps_share_the_list() -> None:
    found = shortest(known(*(gap(0.3) for _ in range(50)), *(join(float(k)) for k in range(50))))
    assert found is not None
    shown = [row.short for row in found.tables[0].isolated]
    assert shown.count("join 1|2") == shown.count("0.30 mm") == MOST_ISOLATED // 2


def test_of_every_kind_of_board_the_copy_with_the_narrowest_gap() -> None:
    whole = invented(1)
    (first,) = whole.blanks[0].placements
    other = replace(first.board, name="driver")
    placements = (
        first, replace(first, index=1, copy=2), replace(first, index=2, board=other, copy=1),
    )  # fmt: skip
    some = with_copies(whole, placements, (gap(0.4), gap(0.2, 1), way(3, 2), gap(0.5, 2)))
    found = shortest(some)
    assert found is not None
    assert [table.title for table in found.tables] == [
        "memory, copy 2 of 2, blank 1", "driver, copy 1 of 1, blank 1",
    ]  # fmt: skip
    assert [row.name for row in found.tables[0].isolated] == ["2"]
    assert [table.title for table in tables(some)][2] == "driver, copy 1, blank 1"
