"""Programs of one pass: a file for every cutter, in the order of the work."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial

from millprep.cache import cached
from millprep.gcode import dry_run, moves, probing, slots, travel
from millprep.geometry import tour
from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.blank import Clamp
from millprep.model.cut import WORK_ORDER, Clearing, Cut, Engraving, HoleCut, Lap, Profile, Work
from millprep.model.cutter import Cutter, Drill, Vee
from millprep.model.dialect import ToolChange
from millprep.model.job.setup import RegistrationPlan
from millprep.model.job.work import ProfilePlan
from millprep.model.machine import Machine
from millprep.model.milling_pass import MillingPass
from millprep.model.program import Program

READ = "verniers: read them, as the sheet shows, before anything else is cut"


def work_of(cut: Cut) -> Work:
    """The kind of work a cut is."""
    if isinstance(cut, Lap):
        return "isolate"
    if isinstance(cut, Clearing):
        return "clear"
    if isinstance(cut, Engraving):
        return "engrave"
    return "profile" if isinstance(cut, Profile) else cut.work


def build(
    cuts: Sequence[Cut],
    mill_pass: MillingPass,
    cutters: Sequence[Cutter],
    machine: Machine,
    profile: ProfilePlan,
    shown: Sequence[Point] = (),
    ahead: Sequence[Engraving] = (),
    probe: RegistrationPlan | None = None,
    left_out: Collection[int] = (),
    clamps: Sequence[Clamp] = (),
    *,
    dry: bool = True,
    flatness: float = 0.0,
) -> tuple[Program, ...]:
    """One program for every cutter that has work in this pass; several may share a file.

    Args:
        cuts: blank frame.
        mill_pass: its pose leads to the machine frame.
        cutters: all of the job's.
        machine: heights and limits.
        profile: how profiles are entered.
        shown: places, machine frame, that a dry run with the first cutter shows before anything
            is cut; before that it goes around all that the pass cuts, above the clamps.
        ahead: lines of second combs, blank frame: a program of their own, to be read before the
            rest is cut.
        probe: how the holes that find this pass are touched, before anything is cut; the tip
            makes the dry run then, and the marks are shown afterwards. None for no probing.
        left_out: placements whose cuts have their place in the order and are not made, so that
            all others are entered where they would be, and only travel changes.
        clamps: of all passes.
        dry: whether a dry run comes first.
        flatness: how far the copper may lie above Z0, mm.
    """
    by_cutter: dict[str, list[Cut]] = {}
    for cut in cuts:
        by_cutter.setdefault(cut.cutter, []).append(_on_machine(cut, mill_pass.pose))
    named = {cutter.name: cutter for cutter in cutters}
    names = sorted(by_cutter, key=lambda name: _rank(by_cutter[name], named[name]))
    first = named[ahead[0].cutter if ahead else names[0]] if names else None
    if probe is not None and not probing.probed_holes(mill_pass):
        probe = None
    # the dry run comes before all else; it goes around what is made after it
    count = 1 if dry and first is not None else 0
    new_pen = partial(_new_pen, mill_pass, machine, clamps, flatness)
    marks = shown if dry else ()
    programs = _before_cutting(
        mill_pass, named, machine, new_pen, profile, marks, ahead, probe, first, count
    )
    mains = [
        _program(
            _file(mill_pass, number, _works(by_cutter[name]), named[name]),
            by_cutter[name],
            _works(by_cutter[name]),
            mill_pass,
            new_pen(named[name]),
            profile,
            left_out,
        )
        for number, name in enumerate(names, len(programs) + count + 1)
        if any(not _is_of(cut, left_out) for cut in by_cutter[name])
    ]
    # a program that a person must read or look at first keeps a file of its own
    programs += joined(mains, machine.tool_change)
    if not dry or first is None:
        return tuple(programs)
    tool = first if probe is None else probe.tip
    outline = dry_run.program(
        _file(mill_pass, 1, ("dry-run",), tool),
        mill_pass,
        tool,
        machine,
        programs,
        clamps,
        () if probe is not None else shown,
    )
    return tuple(programs) if outline is None else (outline, *programs)


def _new_pen(
    mill_pass: MillingPass,
    machine: Machine,
    clamps: Sequence[Clamp],
    flatness: float,
    cutter: Cutter,
) -> moves.Pen:
    """A pen at the start of a program."""
    # a hole that a cycle is to drill stays one stroke
    by_cycle = machine.dialect.cycles and isinstance(cutter, Drill)
    return moves.Pen(
        machine,
        cutter,
        (*mill_pass.touch, machine.clearance),
        approach=travel.approach_height(machine, flatness),
        near=math.inf if by_cycle else travel.near_height(machine, flatness),
        hops=travel.hops_of(mill_pass, cutter, machine, clamps, flatness),
    )


def _rank(cuts: Sequence[Cut], cutter: Cutter) -> tuple[int, int, float, str]:
    """Where a cutter comes in its pass."""
    works = [WORK_ORDER.index(work) for work in _works(cuts)]
    if WORK_ORDER.index("isolate") in works and WORK_ORDER.index("engrave") in works:
        works.remove(WORK_ORDER.index("engrave"))
    # wide cutters before fine ones where copper is cut, small drills before large ones
    size = cutter.width(1e3)
    wide_first = WORK_ORDER[min(works)] in ("isolate", "clear")
    # what frees the boards comes last, whatever else the same cutter does
    frees = int(max(works) == len(WORK_ORDER) - 1)
    return (frees, min(works), -size if wide_first else size, cutter.name)


def _before_cutting(
    mill_pass: MillingPass,
    named: Mapping[str, Cutter],
    machine: Machine,
    new_pen: Callable[[Cutter], moves.Pen],
    profile: ProfilePlan,
    shown: Sequence[Point],
    ahead: Sequence[Engraving],
    probe: RegistrationPlan | None,
    first: Cutter | None,
    count: int,
) -> list[Program]:
    """Programs whose result a person reads before the cuts: probed rims, marks, second combs.

    `count` programs come before them.
    """
    programs: list[Program] = []
    if probe is not None:
        file = _file(mill_pass, count + 1, ("probe",), probe.tip)
        programs.append(probing.rim_program(file, mill_pass, probe, machine))
        if first is not None and shown:
            file = _file(mill_pass, count + 2, ("dry-run",), first)
            marks = dry_run.program(file, mill_pass, first, machine, shown=shown)
            programs += [] if marks is None else [marks]
    if ahead:
        lines = [_on_machine(cut, mill_pass.pose) for cut in ahead]
        name = ahead[0].cutter
        file = _file(mill_pass, len(programs) + count + 1, ("engrave",), named[name])
        combs = _program(file, lines, ("engrave",), mill_pass, new_pen(named[name]), profile)
        programs.append(replace(combs, notes=(READ,)))
    return programs


def joined(programs: Sequence[Program], tool_change: ToolChange) -> tuple[Program, ...]:
    """One file for the programs of a pass, where the machine stops for each cutter.

    The file is named by its first and its last work; a single program keeps its own.
    """
    if tool_change == "files" or len(programs) < 2:
        return tuple(programs)
    first, last = programs[0], programs[-1]
    folder, _, name = first.file.rpartition("/")
    number = name.partition("-")[0]
    file = f"{folder}/{number}-{first.work}-to-{last.works[-1]}.ngc"
    return tuple(replace(program, file=file) for program in programs)


def _is_of(cut: Cut, placements: Collection[int]) -> bool:
    """Whether a cut is made on one of these copies."""
    return cut.placement in placements


def _works(cuts: Sequence[Cut]) -> tuple[Work, ...]:
    """The works of one cutter in their order; an engraving among others names no file."""
    made = {work_of(cut) for cut in cuts}
    works = tuple(work for work in WORK_ORDER if work in made)
    if "isolate" in works and "engrave" in works:
        return ("isolate", "engrave", *(w for w in works if w not in ("isolate", "engrave")))
    return works


def _file(mill_pass: MillingPass, number: int, works: Sequence[Work], cutter: Cutter) -> str:
    """What a program does and with what: the diameter, which a person finds on the cutter."""
    folder = f"blank-{mill_pass.blank}/pass-{mill_pass.number}"
    work = works[0] if works[-1] in (works[0], "engrave") else f"{works[0]}-and-{works[-1]}"
    if isinstance(cutter, Vee):
        size = re.sub(r"[^A-Za-z0-9.-]", "-", cutter.name)
    else:
        size = f"{cutter.width(cutter.flute):g}"
        size += "" if "." in size else ".0"
    return f"{folder}/{number:02d}-{work}-{size}.ngc"


def _on_machine(cut: Cut, pose: Pose) -> Cut:
    if isinstance(cut, HoleCut):
        return cut.transformed(pose)
    return replace(cut, path=cut.path.transformed(pose))


_way = cached(tour.way)


def _ordered(
    cuts: Sequence[Cut], work: Work, here: Point, *, back: bool
) -> Iterator[tuple[Cut, int]]:
    """The cuts of one work in visiting order, with the vertex that laps are entered at.

    `back` says that the cutter goes back from the last of them to where it is.

    Laps are cut board by board, each from its own first piece outward: so a board is cut by the
    same moves wherever it lies, whatever lies next to it.
    """
    if work in ("isolate", "clear"):
        boards: dict[int, list[Lap | Clearing]] = {}
        for cut in (cut for cut in cuts if isinstance(cut, Lap | Clearing)):
            boards.setdefault(cut.placement, []).append(cut)
        laps = list(boards.values())
        first = [mine[0].path.mean_point for mine in laps]
        for k in _way(first, here):
            for n, vertex in travel.paths([cut.path for cut in laps[k]], first[k]):
                yield laps[k][n], vertex
    elif work == "engrave":
        lines = [cut for cut in cuts if isinstance(cut, Engraving)]
        for n, vertex in travel.paths([cut.path for cut in lines], here):
            yield lines[n], vertex
    elif work == "profile":
        profiles = [cut for cut in cuts if isinstance(cut, Profile)]
        for inner in (True, False):
            some = [p for p in profiles if p.inner == inner]
            for n in _way([p.path.start for p in some], here):
                yield some[n], 0
    else:
        holes = [cut for cut in cuts if isinstance(cut, HoleCut)]
        way = travel.round_trip if back else _way
        for n in way([h.at for h in holes], here):
            yield holes[n], 0


def _make(pen: moves.Pen, cut: Cut, vertex: int, profile: ProfilePlan) -> None:
    """The moves of one cut."""
    if isinstance(cut, Lap | Clearing):
        moves.lap(pen, cut, vertex)
    elif isinstance(cut, Profile):
        moves.profile(pen, cut, profile)
    elif isinstance(cut, Engraving):
        moves.engraving(pen, cut)
    elif cut.end is None:
        moves.hole(pen, cut)
    else:
        slots.slot(pen, cut, profile.ramp)


def _program(
    file: str,
    cuts: Sequence[Cut],
    works: tuple[Work, ...],
    mill_pass: MillingPass,
    pen: moves.Pen,
    profile: ProfilePlan,
    left_out: Collection[int] = (),
) -> Program:
    """A program by a pen that has drawn nothing yet."""
    machine, cutter, start = pen.machine, pen.cutter, pen.at
    # goes everywhere, so that the order of the next work does not depend on what is left out
    whole = moves.Pen(machine, cutter, start) if left_out else pen
    for work in works:
        mine = [cut for cut in cuts if work_of(cut) == work]
        here = (whole.at[0], whole.at[1])
        for cut, vertex in _ordered(mine, work, here, back=len(works) == 1):
            if whole is not pen:
                _make(whole, cut, vertex, profile)
            if not _is_of(cut, left_out):
                _make(pen, cut, vertex, profile)
    works = tuple(
        work
        for work in works
        if any(work_of(cut) == work and not _is_of(cut, left_out) for cut in cuts)
    )
    # the next cutter is put in and zeroed where this one ends
    pen.rise()
    pen.over(*mill_pass.touch)
    return Program(
        file=file,
        blank=mill_pass.blank,
        mill_pass=mill_pass.number,
        cutter=cutter,
        works=works,
        depth=-min(move.z for move in pen.moves),
        spindle=min(cutter.spindle, machine.max_spindle),
        start=start,
        moves=tuple(pen.moves),
    )
