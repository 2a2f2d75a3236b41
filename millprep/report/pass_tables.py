"""Tables of a pass on the sheet: its programs with the changes of cutters, its weakest joins."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import shapely

from millprep.model.finding import many
from millprep.model.machine_time import RunningTime
from millprep.model.milling_pass import Join, MillingPass
from millprep.model.program import Program
from millprep.model.set_of_programs import CutSet, MilledBlank
from millprep.report.pass_view import works_words
from millprep.report.words import cutter_words, duration, number, place, plain


@dataclass(frozen=True, slots=True)
class Step:
    """One program as a row of the sheet; `change` if another cutter is fitted for it.

    `program` is its file and its cutter, as the set names them; `joined` if it shares its file.
    """

    program: tuple[str, str]
    file: str
    work: str
    cutter: str
    change: bool
    depth: str
    spindle: str
    time: str
    joined: bool


def program_rows(
    cut_set: CutSet, programs: Sequence[Program], folder: str = ""
) -> tuple[Step, ...]:
    """The programs in order; their files without `folder`, which is named elsewhere."""
    before = [None, *(p.cutter.name for p in programs)]
    return tuple(
        _step(cut_set, program, program.cutter.name != name, folder)
        for program, name in zip(programs, before, strict=False)
    )


def _step(cut_set: CutSet, program: Program, change: bool, folder: str) -> Step:
    figures = program.figures
    return Step(
        program=(plain(program.file), plain(program.cutter.name)),
        file=file_of(program, folder),
        work=works_words(program),
        cutter=cutter_of(cut_set, program, change=change),
        change=change,
        depth=number(program.depth, 3) if program.spins else "",
        spindle=number(program.spindle, 0) if program.spins else "off",
        time="" if figures is None else duration(figures.seconds),
        joined=figures is not None and figures.lines is not None,
    )


def running_time(programs: Sequence[Program]) -> str:
    """How long programs run, in words."""
    running = RunningTime.of(programs)
    return "unknown" if running is None else duration(running.seconds)


def time_rows(programs: Sequence[Program]) -> tuple[tuple[str, str, str, str, str], ...]:
    """Program, running time, by lengths and feeds alone, least, ratio of the two; last the sums."""
    rows = [(file_of(program, ""), RunningTime.of([program])) for program in programs]
    rows.append(("All programs", RunningTime.of(programs)))
    return tuple(
        (
            name,
            duration(running.seconds),
            duration(running.by_feeds),
            duration(running.least),
            "" if running.ratio is None else number(running.ratio),
        )
        for name, running in rows
        if running is not None
    )


def dry_run_words(cut_set: CutSet) -> str:
    """What to check in the dry run that a pass begins with; empty without one."""
    dry = next((program for program in cut_set.programs if program.work == "dry-run"), None)
    if dry is None:
        return ""
    return (
        f"The dry run traces the outline of all cuts {number(dry.start[2])} mm above the "
        "copper. Nothing may be in its way, and the blank must be under all of it."
    )


def engraved_words(milling_pass: MillingPass) -> str:
    """How long the texts outside the boards take in a pass; empty without any."""
    copies = sum(text.board is not None for text in milling_pass.texts)
    parts = [] if not copies else ["the name of 1 copy" if copies == 1 else f"{copies} names"]
    parts += ["the id of the set"] if copies < len(milling_pass.texts) else []
    if not parts:
        return ""
    time = duration(sum(text.seconds for text in milling_pass.texts))
    return f"Engraving {' and '.join(parts)} outside the boards takes about {time}."


def cut_out_words(cut_set: CutSet, milling_pass: MillingPass) -> str:
    """That boards are held by their tabs alone once the profiles of a pass are cut; else empty."""
    blank = cut_set.blank(milling_pass.blank)
    programs = [p for p in milling_pass.programs if "profile" in p.works]
    held = _held_from_below(cut_set, milling_pass)
    if not programs or held is None:
        return ""
    tabs: dict[int, int] = {}
    for profile in blank.cuts.profiles:
        if not profile.inner:
            tabs[profile.placement] = tabs.get(profile.placement, 0) + len(profile.tabs)
    last = {
        index: each.number
        for each in blank.passes
        for index in _cut_out(blank, each)
        if index in tabs
    }
    held = milling_pass.pose.inverse().shape(held)
    loose = [
        placement
        for placement in blank.placements
        if last.get(placement.index) == milling_pass.number
        and not placement.pose.shape(placement.board.outline).intersects(held)
    ]
    if not loose:
        return ""
    folder = milling_pass.programs[0].file.rpartition("/")[0]
    files = ", ".join(file_of(program, f"{folder}/") for program in programs)
    boards = "the board is" if len(loose) == 1 else f"{len(loose)} boards are"
    words = (
        f"After {files} {boards} held by tabs alone, for no clamp and no tape is on what is cut "
        "out. Do not touch a board or loosen a clamp before the spindle is still."
    )
    weak = [p for p in loose if tabs[p.index] < 2]
    if weak:
        names = ", ".join(f"{plain(p.board.name, 40)} {p.copy}" for p in weak)
        words += f" One tab or none is all that holds {names}: put tape under it."
    return words


def _held_from_below(cut_set: CutSet, milling_pass: MillingPass) -> shapely.Geometry | None:
    """Clamps, tape and vacuum of a pass, machine frame; None where all of the blank is held."""
    if cut_set.tape is True or cut_set.vacuum is True:
        return None
    boxes = [clamp.box for clamp in cut_set.clamps if clamp.on_in(milling_pass.number)]
    for areas in (cut_set.tape, cut_set.vacuum):
        boxes += [] if isinstance(areas, bool) else areas
    return shapely.union_all([box.shape for box in boxes])


def _cut_out(blank: MilledBlank, milling_pass: MillingPass) -> list[int]:
    """The placements along whose edges the profiles of a pass run."""
    back, cut = milling_pass.pose.inverse(), []
    reach = 0.0
    for program in milling_pass.programs:
        if "profile" in program.works:
            deep = [(m.x, m.y) for m in program.moves if m.z < -blank.laminate.thickness]
            cut += [back.point(at) for at in deep]
            reach = max(reach, program.cutter.width(program.depth))
    if not cut:
        return []
    way = shapely.MultiPoint(cut)
    return [
        placement.index
        for placement in blank.placements
        if placement.pose.shape(placement.board.outline).exterior.distance(way) < reach
    ]


def change_words(cut_set: CutSet) -> tuple[str, ...]:
    """What to do when a program stops for a cutter, and when it has no comments."""
    machine = cut_set.machine
    above = number(machine.top)
    words: list[str] = []
    if machine.tool_change == "pause":
        words.append(
            "One file uses several cutters. Before each next one the program stops the spindle, "
            f"goes up to Z {above} over the place where Z is zeroed, stops, and names the cutter "
            "to fit. Fit it, zero Z with it there, then continue. The machine must be able to "
            "move and zero Z while a program waits."
        )
    elif machine.tool_change == "changer":
        words.append(
            "The machine changes cutters, by the tool numbers below; load its changer to match. "
            f"Before each change the program goes up to Z {above} over the place where Z is "
            "zeroed, and stops after it: zero Z with the new cutter there, then continue. Stored "
            "tool lengths are not used (G49)."
        )
    if machine.dialect.comments == "none":
        silent = "The programs have no comments"
        by_hand = "at the first stop of each, start the spindle; at the last, stop it."
        words.append(f"{silent}." if machine.spindle_by_program else f"{silent}: {by_hand}")
    return tuple(words)


def cutter_of(cut_set: CutSet, program: Program, *, change: bool) -> str:
    """The cutter of a program, and that it is fitted now."""
    name = plain(program.cutter.name, 60)
    if not change:
        return name
    if cut_set.machine.tool_change == "changer":
        names = [cutter.name for cutter in cut_set.cutters]
        return f"T{names.index(program.cutter.name) + 1}, {name}: {cutter_words(program.cutter)}"
    return f"fit {name}: {cutter_words(program.cutter)}"


def file_of(program: Program, folder: str) -> str:
    """The file of a program without its folder, with its lines in a joined one."""
    file = plain(program.file.removeprefix(folder), 160)
    lines = None if program.figures is None else program.figures.lines
    if lines is None:
        return file
    return f"{file}, lines {lines[0]} to {lines[1]}"


MOST_JOINS = 8
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
    pairs = Counter(join.passes for join in mine)
    counts = " and ".join(f"{n} with pass {min(pair)}" for pair, n in sorted(pairs.items()))
    most = max(join.predicted or 0.0 for join in mine)
    least = min(join.tolerance_electrical or 0.0 for join in mine)
    shown = mine[:MOST_JOINS]
    words = (
        f"On copper this pass has {many(len(mine), 'join')}, {counts}. None is expected to be off "
        f"by more than {number(most, 3)} mm on 99.7 % of blanks; each tolerates at least "
        f"{number(least, 3)} mm."
    )
    if len(mine) > MOST_JOINS:
        words += f" The {MOST_JOINS} weakest of them:"
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
