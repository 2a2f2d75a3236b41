"""Joins with their figures: the mismatch to expect, ticks where they are due, what each stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from millprep.model.milling_pass import Join
from millprep.passes import error_budget, spurs
from millprep.passes.laps_by_pass import Shared
from millprep.passes.machine_errors import Budget
from millprep.passes.spurs import Band, Groove, Room


def expect(joins: Sequence[Join], errors: Budget) -> tuple[Join, ...]:
    """The joins with the mismatch to expect at each."""
    found = []
    for join in joins:
        a, b = join.passes
        rms, most = errors.mismatch(a - 1, b - 1, join.at, join.across)
        found.append(replace(join, predicted=most, predicted_rms=rms))
    return tuple(found)


def strengthen(
    shared: Shared,
    errors: Budget,
    grooves: Mapping[Band, tuple[str, Groove]],
    room: Room,
) -> Shared:
    """Rings cut apart, with ticks where they are due, and their joins with all figures.

    Args:
        shared: rings and joins.
        errors: the mismatch of any two passes.
        grooves: for every joined band the cutter that decides and what its laps cut.
        room: where ticks may go, and the gap that is asked.
    """
    joins, by_pass = spurs.add(expect(shared.joins, errors), shared.by_pass, grooves, room)
    found = []
    for join in joins:
        known = grooves.get((join.placement, join.piece or ""))
        if known is None:
            found.append(join)
            continue
        _, g = known
        found.append(
            replace(
                join,
                tolerance_electrical=error_budget.tolerance_electrical(
                    g.foot, g.laps, g.pitch, join.tick
                ),
                tolerance_gap=error_budget.tolerance_gap(
                    g.foot, g.laps, g.pitch, room.gap, join.overrun, join.tick
                ),
            )
        )
    return Shared(by_pass, tuple(found))
