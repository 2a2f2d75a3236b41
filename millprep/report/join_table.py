"""The joins of a pass on the sheet: how many, and the weakest with their misalignment."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from millprep.report.words import number, place, plain

if TYPE_CHECKING:
    from millprep.model.milling_pass import Join, MillingPass
    from millprep.model.set_of_programs import CutSet

MOST = 8
"""Rows of the table."""


@dataclass(frozen=True, slots=True)
class JoinTable:
    """Words, and rows of place, piece, passes, expected misalignment, tolerance, safety factor."""

    words: str
    rows: tuple[tuple[str, str, str, str, str, str], ...]


def join_table(cut_set: CutSet, milling_pass: MillingPass) -> JoinTable | None:
    """Joins on copper of this pass with earlier ones, the weakest first; None without any."""
    number_ = milling_pass.number
    mine = [
        join
        for join in cut_set.blank(milling_pass.blank).joins
        if max(join.passes) == number_
        and join.piece is not None
        and join.predicted is not None
        and join.tolerance_electrical is not None
    ]
    if not mine:
        return None
    mine.sort(key=lambda join: (round(safety_factor(join), 6), join.at))
    pairs: dict[tuple[int, int], int] = {}
    for join in mine:
        pairs[join.passes] = pairs.get(join.passes, 0) + 1
    counts = " and ".join(
        f"{n} with pass {min(pair)}" for pair, n in sorted(pairs.items())
    )
    most = max(join.predicted or 0.0 for join in mine)
    least = min(join.tolerance_electrical or 0.0 for join in mine)
    shown = mine[:MOST]
    joins = "1 join" if len(mine) == 1 else f"{len(mine)} joins"
    words = (
        f"On copper this pass has {joins}, {counts}. None is expected to be off by more than "
        f"{number(most, 3)} mm on 99.7 % of blanks; each tolerates at least {number(least, 3)} mm."
    )
    if len(mine) > MOST:
        words += f" The {MOST} weakest of them:"
    return JoinTable(words, tuple(_row(cut_set, milling_pass, join) for join in shown))


def safety_factor(join: Join) -> float:
    """The safety factor of a join: its tolerance over the misalignment to expect."""
    expected = join.predicted or 0.0
    tolerance = join.tolerance_electrical or 0.0
    return tolerance / expected if expected > 0 else float("inf")


def _row(
    cut_set: CutSet, milling_pass: MillingPass, join: Join
) -> tuple[str, str, str, str, str, str]:
    placement = cut_set.copies[join.placement].placement
    copy = f" {placement.copy}" if placement.copy > 1 else ""
    ratio = safety_factor(join)
    return (
        place(milling_pass.pose.point(join.at)),
        f"{plain(placement.board.name, 40)}{copy}, {plain(join.piece or '', 20)}",
        f"{join.passes[0]} and {join.passes[1]}",
        f"{join.predicted:.3f}",
        f"{join.tolerance_electrical:.3f}",
        "" if ratio == float("inf") else f"{number(ratio, 1)} ×",
    )
