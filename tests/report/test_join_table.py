"""The joins of a pass on its page: counts, and the weakest first."""

from __future__ import annotations

from dataclasses import replace

from millprep.model.set_of_programs import CutSet
from millprep.report.pass_tables import MOST_JOINS, join_table
from millprep.report.sheet import sheet
from tests.helpers.changed_set import with_blank
from tests.helpers.invented_set import invented


def known(*stands: float) -> CutSet:
    """Two passes whose first join on copper stands at every of these places so much."""
    whole = invented(4)
    first = whole.joins[0]
    joins = [
        replace(first, at=(250.0, 15.0 + n), predicted=0.05, tolerance_electrical=much)
        for n, much in enumerate(stands)
    ]
    return with_blank(whole, joins=(*joins, whole.joins[-1]))


def test_counts_and_the_weakest_first() -> None:
    cut_set = known(0.3, 0.1, 0.2)
    table = join_table(cut_set, cut_set.passes[1])
    assert table is not None
    assert table.words.startswith("On copper this pass has 3 joins, 3 with pass 1. ")
    assert "off by more than 0.05 mm" in table.words
    assert "each tolerates at least 0.1 mm." in table.words
    assert [row[4:] for row in table.rows] == [("0.100", "2 ×"), ("0.200", "4 ×"), ("0.300", "6 ×")]
    # the second join: 250, 16 on the blank, which lies at 15 - 200, 30
    assert table.rows[0][:4] == ("X 65  Y 46", "memory, c1", "1 and 2", "0.050")


def test_no_more_rows_than_fit() -> None:
    cut_set = known(*(0.1 + 0.01 * n for n in range(20)))
    table = join_table(cut_set, cut_set.passes[1])
    assert table is not None
    assert len(table.rows) == MOST_JOINS
    assert "20 joins" in table.words
    assert f"The {MOST_JOINS} weakest" in table.words
    assert table.rows[-1][4] == "0.170"


def test_the_first_pass_and_joins_nobody_predicted_have_none() -> None:
    cut_set = known(0.1)
    assert join_table(cut_set, cut_set.passes[0]) is None
    bare = invented(4)
    assert join_table(bare, bare.passes[1]) is None


def test_it_stands_on_the_sheet() -> None:
    plan, details = sheet(known(0.1)).split('<div class="details">')
    assert "<h2>Blank 1, pass 2 of 2: Joins with earlier passes</h2>" in details
    assert "Joins with earlier passes" not in plan
