"""The rules of the trade on every copy of a set, on its copper as cut, and on its cutters."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from millprep.model.as_cut import AsCut
from millprep.model.cutter import Drill, wider
from millprep.model.cutting import Cutting
from millprep.model.finding import Finding
from millprep.model.hole_made import HoleMade
from millprep.model.judged import BoardJudged
from millprep.model.net import NetFacts
from millprep.model.plan import JobPlan
from millprep.model.set_of_programs import CutSet
from millprep.verify.rules.copies import Copies
from millprep.verify.rules.cutters import cutters
from millprep.verify.rules.judge import judge


@dataclass(frozen=True, slots=True)
class Judged:
    """What the rules find on a set: of every board, of every program's cutting, and in words."""

    boards: tuple[BoardJudged, ...]
    cutting: tuple[Cutting, ...]
    findings: tuple[Finding, ...]


def judged(
    cut_set: CutSet,
    as_cut: Sequence[AsCut],
    plan: JobPlan,
    facts: Mapping[str, tuple[NetFacts, ...]],
    *,
    whole: bool = False,
) -> Judged:
    """What the rules find.

    Args:
        cut_set: as planned.
        as_cut: its copper as cut, one for each blank.
        plan: the job, with what is asked.
        facts: nets that the job names, by the board's name.
        whole: whether currents and volts at loads are worked out as well, which takes seconds
            for each net, and boards without a named net are judged too, by their holes.
    """
    by_blank = {one.blank: one for one in as_cut}
    copper = {blank.number: blank.copper for blank in cut_set.layout.blanks}
    made = holes_made(cut_set)
    flatness = plan.isolation.flatness
    grooves = max(wider(cutter, flatness) for cutter in plan.isolation.cutters)
    copies = Copies()
    done: list[BoardJudged] = []
    findings: list[Finding] = []
    for placement in cut_set.layout.placements:
        told = facts[placement.board.name]
        if told or whole:
            blank = placement.blank
            board, faults = judge(
                told,
                placement,
                by_blank[blank],
                copper[blank],
                plan.rules,
                solve=whole,
                made=made.get(placement.index, {}),
                wider=grooves,
                copies=copies,
            )
            done.append(board)
            findings += faults
    bare = [name for name, told in facts.items() if not told]
    if bare:
        findings.append(_not_judged(bare))
    loaded = [net.name for told in facts.values() for net in told if net.loads]
    if loaded and not whole:
        findings.append(_not_solved(loaded))
    grades = {blank.number: blank.grade for blank in cut_set.layout.blanks}
    cutting, faults = cutters(cut_set.programs, grades, cut_set.machine, whole=whole)
    return Judged(tuple(done), cutting, (*findings, *faults))


def holes_made(cut_set: CutSet) -> dict[int, dict[str, HoleMade]]:
    """How the holes of every copy are made, by placement and the hole's id."""
    cutters = {cutter.name: cutter for cutter in cut_set.cutters}
    apart = {(one.placement, one.hole): one.most for one in cut_set.apart}
    found: dict[int, dict[str, HoleMade]] = {}
    for hole in cut_set.holes:
        if hole.placement is None:
            continue
        cutter = cutters[hole.cutter]
        found.setdefault(hole.placement, {})[hole.hole] = HoleMade(
            hole.diameter,
            cutter.diameter if isinstance(cutter, Drill) else None,
            wider(cutter, 0.0),
            apart.get((hole.placement, hole.hole), 0.0),
        )
    return found


def _not_judged(boards: list[str]) -> Finding:
    message = (
        f"No net of {', '.join(boards)} is named, so no voltage, current or drop is judged there. "
        "Name nets with [[board.net]]; millprep check lists what is found of them."
    )
    return Finding(code="nets-not-named", severity="note", message=message)


def _not_solved(nets: list[str]) -> Finding:
    message = (
        f"Volts and currents at the loads of {', '.join(nets)} are worked out by millprep check, "
        "not here; spacing is judged."
    )
    return Finding(code="loads-not-solved", severity="note", message=message)
