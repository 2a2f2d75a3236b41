"""A place for every board of a job: stored, pinned by hand, or found by nesting; proved either way.

A part of the walk: it knows the job's plan and the drawn boards, and reads no file.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import shapely

from millprep.model.blank import Layout, Spot
from millprep.model.board import Board
from millprep.model.finding import Finding, Refusal
from millprep.model.job.job import BlankPlan, JobPlan
from millprep.nesting import check, figures, file
from millprep.nesting.nest import EFFORTS, Nested, nest
from millprep.nesting.place import DIGITS
from millprep.nesting.wanted import (
    Copy,
    StockSheet,
    Wanted,
    area_of,
    check_choice,
    layout_of,
    only,
    sheet_of,
    wanted_of,
)
from millprep.passes import layout_for_passes
from millprep.toolpaths.checks import check_depth

EffortName = Literal["low", "default", "high"]


@dataclass(frozen=True, slots=True)
class Stored:
    """A layout file: its name and its text."""

    file: str
    text: str


@dataclass(frozen=True, slots=True)
class Choice:
    """How boards are laid out.

    Attributes:
        effort: how long places are searched for.
        stored: a layout whose places are kept; None lays out anew.
        skip: copies left out of the programs, the places of all others staying.
        only: the copies that are made, no others; empty for all.
        workers: processes that share a long search; they change nothing in what it finds.
    """

    effort: EffortName = "default"
    stored: Stored | None = None
    skip: tuple[Copy, ...] = ()
    only: tuple[Copy, ...] = ()
    workers: int = 1

    @property
    def words(self) -> tuple[str, ...]:
        """What of it a set's id depends on; nothing when nothing was chosen."""
        parts = [] if self.effort == "default" else [f"effort {self.effort}"]
        parts += [f"{kind} {name}:{copy}" for kind, copies in (("skip", self.skip),
                  ("only", self.only)) for name, copy in copies]  # fmt: skip
        if self.stored is not None:
            digest = hashlib.sha256(self.stored.text.encode()).hexdigest()
            parts.append(f"layout {digest}")
        return tuple(parts)

    @classmethod
    def of(cls, words: Sequence[str], stored: Stored | None = None) -> Choice | None:
        """The choice that has these words.

        `stored` is the layout of the set that was made with it; None when it is not known, and
        then nothing is where a layout was outside the job.
        """
        effort: EffortName = "default"
        copies: dict[str, list[Copy]] = {"skip": [], "only": []}
        kept: Stored | None = None
        for kind, value in (word.split(" ", 1) for word in words):
            if kind == "effort":
                effort = "low" if value == "low" else "high"
            elif kind in copies:
                name, copy = value.rsplit(":", 1)
                copies[kind].append((name, int(copy)))
            elif stored is None:
                return None
            else:
                kept = stored
        return cls(effort, kept, tuple(copies["skip"]), tuple(copies["only"]))


@dataclass(frozen=True, slots=True)
class Laid:
    """Every copy at its place.

    Attributes:
        wanted: every board with its copies.
        sheets: one for each of the job's blanks, with what clamps keep out.
        spots: what is laid out; those that `skip` leaves out come last.
        blanks: for every blank, number 1 first, the place of its sheet in `sheets`.
        skipped: how many spots at the end are left out of the programs.
        findings: why copies have no place, a `stop` each; the layout holds the others.
        notes: what else a person should know of it.
    """

    wanted: tuple[Wanted, ...]
    sheets: tuple[StockSheet, ...]
    spots: tuple[Spot, ...]
    blanks: tuple[int, ...]
    skipped: int = 0
    findings: tuple[Finding, ...] = ()
    notes: tuple[Finding, ...] = ()

    def layout(self, boards: Sequence[Board], plans: Sequence[BlankPlan]) -> Layout:
        """Boards on blanks as the rest of the walk takes them; what is skipped comes last."""
        by_name = {board.name: board for board in boards}
        made = layout_of(self.spots, self.blanks, self.wanted, by_name, plans)
        used = {placement.blank for placement in made.placements}
        return replace(made, blanks=tuple(blank for blank in made.blanks if blank.number in used))


def lay(plan: JobPlan, boards: Sequence[Board], choice: Choice | None = None) -> Laid:
    """A place for every copy that the job asks for.

    Raises:
        Refusal: for grooves that do not pass through the copper, for a stored layout or a place
            by hand that cannot be cut, and for copies to skip or to make that there are not.
    """
    choice = choice or Choice()
    wrong = check_depth(
        plan.isolation,
        max(blank.copper for blank in plan.blanks),
        min(blank.thickness for blank in plan.blanks),
    )
    if wrong:
        raise Refusal(wrong)
    wanted = [wanted_of(b, board) for b, board in zip(boards, plan.boards, strict=True)]
    # which cutter meets a clamp is known when paths are: the collet keeps off if there is room
    wide = [sheet_of(blank, kept_out(plan, blank, collet=True)) for blank in plan.blanks]
    close = [sheet_of(blank, kept_out(plan, blank, collet=False)) for blank in plan.blanks]
    fixed, blanks = _fixed(plan, wanted, close, choice)
    pinned = {board.name: tuple(place.turn for place in board.places) for board in plan.boards}
    check_choice(wanted, choice.skip, choice.only)
    skip = set(choice.skip)
    if choice.only:
        made = list(only(wanted, choice.only))
        if choice.stored is not None:
            # every place stays, and with it where laps begin and tabs lie
            every = {(board.name, copy) for board in wanted for copy in board.copies}
            skip |= every - set(choice.only)
        else:
            wanted = made
            skip &= set(choice.only)
            names = {(board.name, copy) for board in wanted for copy in board.copies}
            fixed = [spot for spot in fixed if (spot.board, spot.copy) in names]
    nested, sheets = _nested(plan, wanted, wide, close, choice, fixed, blanks)
    if not nested.findings:
        # a place by hand may be turned as no free copy may
        turned = [replace(board, turns=(*board.turns, *pinned[board.name])) for board in wanted]
        faults = check.check_layout(nested.spots, turned, sheets, nested.blanks)
        if faults:
            raise Refusal(faults)
    spots = tuple(spot for spot in nested.spots if (spot.board, spot.copy) not in skip)
    left_out = tuple(spot for spot in nested.spots if spot not in spots)
    return Laid(
        tuple(wanted),
        tuple(sheets),
        (*spots, *left_out),
        nested.blanks,
        len(left_out),
        nested.findings,
        () if nested.findings else _notes(plan, wanted, spots, nested.blanks, fixed),
    )


def _notes(
    plan: JobPlan,
    wanted: Sequence[Wanted],
    spots: Sequence[Spot],
    blanks: Sequence[int],
    fixed: Sequence[Spot],
) -> tuple[Finding, ...]:
    """What a person should know of a layout that can be cut."""
    given = {(spot.board, spot.copy) for spot in fixed}
    return layout_for_passes.check_boards_across(plan, wanted, spots, blanks, given)


def kept_out(plan: JobPlan, blank: BlankPlan, *, collet: bool) -> tuple[shapely.Polygon, ...]:
    """What the clamps of pass 1 keep boards out of, blank frame.

    A blank that is moved along or turned passes under its clamps: what they need there is known
    when the passes are, and boards keep off it where they can.
    """
    if layout_for_passes.moves(plan, blank.size):
        return ()
    ox, oy = plan.setup.origin
    # the cutter's axis runs half its width outside the board
    reach = layout_for_passes.clamp_reach(plan, collet=collet)
    reach += plan.profile.cutter.width(0.0) / 2
    areas = []
    whole = shapely.box(0.0, 0.0, *blank.size)
    for clamp in plan.setup.clamps:
        box = clamp.box.grown(reach)
        area = shapely.box(box.x0 - ox, box.y0 - oy, box.x1 - ox, box.y1 - oy)
        common = area.intersection(whole)
        if clamp.on_in(1) and isinstance(common, shapely.Polygon) and common.area > 0:
            areas.append(common)
    return tuple(areas)


def _fixed(
    plan: JobPlan, wanted: Sequence[Wanted], sheets: Sequence[StockSheet], choice: Choice
) -> tuple[list[Spot], tuple[int, ...]]:
    """Places that are given, and the blanks that a stored layout names."""
    fixed: list[Spot] = []
    blanks: tuple[int, ...] = ()
    lines: Mapping[Copy, int] = {}
    if choice.stored is not None:
        stored = file.read(choice.stored.text, choice.stored.file)
        blanks = file.sheets_of(stored, sheets, choice.stored.file)
        fixed, lines = list(stored.spots), stored.lines
    there = {(spot.board, spot.copy) for spot in fixed}
    pinned = [
        Spot(board.name, copy, place.blank, *place.at, place.turn)
        for board in plan.boards
        for copy, place in enumerate(board.places, start=1)
        if (board.name, copy) not in there
    ]
    stock = [n for n, sheet in enumerate(sheets) for _ in range(sheet.count - blanks.count(n))]
    last = max((spot.blank for spot in pinned), default=0)
    begun = (*blanks, *stock[: max(0, last - len(blanks))])
    fixed += pinned
    turns = {board.name: tuple(place.turn for place in board.places) for board in plan.boards}
    turned = [replace(board, turns=(*board.turns, *turns[board.name])) for board in wanted]
    name = choice.stored.file if choice.stored else plan.file.name
    written = check.Written(name, lines)
    faults = check.check_layout(fixed, turned, sheets, begun, written, complete=False)
    if faults:
        raise Refusal(faults)
    return fixed, begun


def _nested(
    plan: JobPlan,
    wanted: Sequence[Wanted],
    wide: Sequence[StockSheet],
    close: Sequence[StockSheet],
    choice: Choice,
    fixed: Sequence[Spot],
    blanks: Sequence[int],
) -> tuple[Nested, Sequence[StockSheet]]:
    """What the search finds, and the sheets that its places are proved on."""
    copies = [(board, copy) for board in wanted for copy in board.copies]
    if len(copies) == 1 and not fixed and not choice.only:
        return _alone(*copies[0], close), [replace(sheet, keep_outs=()) for sheet in close]
    if fixed and len(fixed) == len(copies):
        # as a layout file lists them, so that its own set is made again alike
        return Nested(tuple(sorted(fixed, key=lambda spot: spot.blank)), tuple(blanks)), close
    sheets = wide
    nested = _searched(wanted, wide, choice, fixed, blanks)
    if nested.findings and list(wide) != list(close):
        sheets = close
        nested = _searched(wanted, close, choice, fixed, blanks)
    if not nested.findings:
        effort = EFFORTS["low" if _easy(nested, choice, blanks) else choice.effort]
        nested = layout_for_passes.settled(
            plan, wanted, sheets, nested, fixed, effort, choice.workers
        )
    return nested, close


def _easy(nested: Nested, choice: Choice, blanks: Sequence[int]) -> bool:
    """Whether a short search does: what goes on one blank with ease needs no long one."""
    single_blank = not nested.findings and len(nested.blanks) == max(1, len(blanks))
    return choice.effort == "low" or (choice.effort == "default" and single_blank)


def _searched(
    wanted: Sequence[Wanted],
    sheets: Sequence[StockSheet],
    choice: Choice,
    fixed: Sequence[Spot],
    blanks: Sequence[int],
) -> Nested:
    """What a search finds; a short one goes first."""
    short = nest(wanted, sheets, EFFORTS["low"], fixed, blanks)
    if _easy(short, choice, blanks):
        return short
    if short.findings and figures.least_blanks(wanted, sheets) > sum(s.count for s in sheets):
        return short
    return nest(wanted, sheets, EFFORTS[choice.effort], fixed, blanks, choice.workers)


def _alone(wanted: Wanted, copy: int, sheets: Sequence[StockSheet]) -> Nested:
    """A job's only board in the middle of the first blank that holds it, clear of clamps if one is.

    Clamps are judged when the passes are known, and said better then.
    """
    bare = [replace(sheet, keep_outs=()) for sheet in sheets]
    spots: list[tuple[int, Spot]] = []
    for number, sheet in enumerate(bare):
        for turn in wanted.turns:
            spot = _middle(wanted, copy, sheet, turn)
            if not check.check_layout([spot], [replace(wanted, copies=(copy,))], [sheet], [0]):
                spots.append((number, spot))
    clear = [
        (number, spot)
        for number, spot in spots
        if not any(
            area_of(wanted, spot).intersection(keep_out).area > 1e-6
            for keep_out in sheets[number].keep_outs
        )
    ]
    for number, spot in [*clear[:1], *spots[:1]]:
        return Nested((spot,), (number,))
    return nest([wanted], bare, EFFORTS["low"])


def _middle(wanted: Wanted, copy: int, sheet: StockSheet, turn: float) -> Spot:
    low = area_of(wanted, Spot(wanted.name, copy, 1, 0.0, 0.0, turn)).bounds
    x0, y0, x1, y1 = sheet.outline.bounds
    x = round((x0 + x1 - low[2]) / 2, DIGITS) + 0.0
    y = round((y0 + y1 - low[3]) / 2, DIGITS) + 0.0
    return Spot(wanted.name, copy, 1, x, y, turn)
