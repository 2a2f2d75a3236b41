"""Joins with their figures: the mismatch to expect, ticks where they are due, what each stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from millprep.model.milling_pass import Join
from millprep.passes import error_budget, spurs
from millprep.passes.laps_by_pass import CutsByPass
from millprep.passes.machine_errors import ErrorBudget
from millprep.passes.spurs import IsolationGroove, PieceKey, TickRoom


def expect(joins: Sequence[Join], errors: ErrorBudget) -> tuple[Join, ...]:
    """The joins with the mismatch to expect at each."""
    found = []
    for join in joins:
        a, b = join.passes
        rms, most = errors.misalignment(a - 1, b - 1, join.at, join.across)
        found.append(replace(join, predicted=most, predicted_rms=rms))
    return tuple(found)


def with_figures(
    shared: CutsByPass,
    errors: ErrorBudget,
    grooves: Mapping[PieceKey, tuple[str, IsolationGroove]],
    room: TickRoom,
) -> CutsByPass:
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
    return CutsByPass(by_pass, tuple(found))
