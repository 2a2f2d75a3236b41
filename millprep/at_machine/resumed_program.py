"""A program resumed after its cutter broke: it enters before the break and continues."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from millprep.at_machine.restart_points import (
    READ,
    Entry,
    PassHoles,
    TrailCut,
    holes,
    makes_hole,
    move_of,
    near,
    strokes,
)
from millprep.gcode.moves import Pen
from millprep.geometry.path import Point
from millprep.model.finding import usage
from millprep.model.machine import Machine
from millprep.model.program import RAPID, Program, Resumption, Trail

OVERLAP = 2.0
"""A place is entered this far before it along the path, mm, or a cutter's width if that is more:
more than the error of the place as read, and more than half the smallest arc."""


@dataclass(frozen=True, slots=True)
class Wish:
    """Where a person wants to continue.

    Attributes:
        after: the last restart point that was passed.
        near: a place of the machine near which the cutter broke.
        hole: a hole by its number in the program, or by its name.
        overlap: mm along the path before the place; None for what fits the cutter.
        board, copy: the copy of a board whose cuts alone are made.
    """

    after: int | None = None
    near: Point | None = None
    hole: str | None = None
    overlap: float | None = None
    board: str | None = None
    copy: int = 1

    @property
    def words(self) -> str:
        """In the words of the command."""
        options = []
        if self.after is not None:
            options.append(f"--after {self.after}")
        if self.near is not None:
            options.append("--near {:g},{:g}".format(*self.near))
        if self.hole is not None:
            options.append(f"--hole {self.hole}")
        if self.overlap is not None:
            options.append(f"--overlap {self.overlap:g}")
        if self.board is not None:
            options.append(f"--board {self.board}:{self.copy}")
        return " ".join(options)


def resumed_program(
    trail: Trail,
    program: Program,
    wish: Wish,
    machine: Machine,
    *,
    set_id: str,
    of_pass: PassHoles,
    outlines: Mapping[tuple[str, int], shapely.Polygon],
) -> tuple[Program, Resumption, Entry] | None:
    """The program that continues as wished, its resumption, and its entry.

    Args:
        trail: the program as its file was read back.
        program: all about it but its moves.
        wish: where to continue.
        machine: heights and limits.
        set_id: of the set it is of.
        of_pass: the holes of its pass.
        outlines: of every copy on the blank, machine frame, in this pass.

    None when it cuts nothing of the wished board.

    Raises:
        Refusal: exit code 2, when there is no such restart point, place or hole.
    """
    cuts = strokes(trail)
    if not cuts:
        raise usage("resume-nothing-cut", f"{program.file} cuts nothing. Run it from its start.")
    overlap = wish.overlap or max(OVERLAP, program.cutter.width(program.depth))
    entry = _entry(trail, program, cuts, wish, overlap, of_pass, machine.dialect.decimals)
    kept = [cut for cut in cuts if cut.number >= entry.stroke.number]
    if wish.board is not None:
        kept = [c for c in kept if _board(trail, c, program, outlines) == (wish.board, wish.copy)]
        if not kept:
            return None
        if kept[0] != entry.stroke:
            entry = Entry(kept[0], kept[0].first)
    pen = Pen(machine, program.cutter, program.start)
    last: TrailCut | None = None
    for cut in kept:
        if last is not None and last.number + 1 == cut.number:
            # there as before, as low as that was
            _same(pen, trail, cut, last.last)
        else:
            pen.rise()
            _again(pen, trail, cut, entry if cut == entry.stroke else Entry(cut, cut.first))
        last = cut
    pen.rise()
    at = next((m.x, m.y, m.z) for m in pen.moves if m.motion != "rapid")
    pen.over(*program.start[:2])
    new = replace(
        program,
        file=_named(program.file),
        depth=-min(move.z for move in pen.moves),
        moves=tuple(pen.moves),
    )
    resumption = Resumption(
        file=new.file,
        of=program.file,
        wish=wish.words,
        point=kept[0].number,
        points=len(cuts),
        entry=at if entry.at is None else entry.at,
        overlap=entry.overlap,
        cuts=len(kept),
        board=wish.board,
        copy=None if wish.board is None else wish.copy,
    )
    return replace(new, notes=_notes(resumption, set_id)), resumption, entry


def _again(pen: Pen, trail: Trail, cut: TrailCut, entry: Entry) -> None:
    """The moves of one cut from where it is entered."""
    x, y, approach = trail.xyz[cut.first].tolist()
    # rapids go down as far as they went before: over uneven copper less far than over flat
    pen.approach = approach
    if entry.at is None:
        pen.over(x, y)
        pen.descend()
    else:
        pen.over(*entry.at[:2])
        pen.plunge(entry.at[2])
        pen.moves.append(move_of(trail, entry.move, entry.at))
    _same(pen, trail, cut, cut.first if entry.at is None else entry.move + 1)


def _same(pen: Pen, trail: Trail, cut: TrailCut, first: int) -> None:
    """The moves from `first` to the end of a cut as they were."""
    approach = trail.xyz[cut.first, 2]
    # a rapid down into a pecked hole belongs to its cycle, which makes it again
    pen.moves += [
        move_of(trail, move)
        for move in range(first, cut.last)
        if not (_falls(trail, move) and trail.xyz[move + 1, 2] < approach)
    ]
    x, y, z = trail.xyz[cut.last].tolist()
    pen.at = (x, y, z)


def _falls(trail: Trail, move: int) -> bool:
    """Whether a move goes down at rapid."""
    return bool(trail.kind[move] == RAPID and trail.xyz[move + 1, 2] < trail.xyz[move, 2])


def _entry(
    trail: Trail,
    program: Program,
    cuts: Sequence[TrailCut],
    wish: Wish,
    overlap: float,
    of_pass: PassHoles,
    decimals: int,
) -> Entry:
    """The entry that a wish means."""
    within = tuple(cuts)
    if wish.after is not None:
        if not 1 <= wish.after <= len(cuts):
            raise usage(
                "resume-no-such-point",
                f"{program.file} has restart points 1 to {len(cuts)}, not {wish.after}. Use the "
                "last one above the line where it stopped.",
            )
        within = (cuts[wish.after - 1],)
    if wish.hole is not None:
        stroke = _hole(trail, program, cuts, wish.hole, of_pass)
        return Entry(stroke, stroke.first)
    if wish.near is None:
        return Entry(within[0], within[0].first)
    nearest = near(trail, within, wish.near, overlap, decimals)
    if isinstance(nearest, Entry):
        return nearest
    away, (x, y) = nearest
    at = f"X {wish.near[0]:g} Y {wish.near[1]:g}"
    where = "" if wish.after is None else f" after restart point {wish.after}"
    raise usage(
        "resume-place-far",
        f"{program.file} cuts nothing near {at}{where}: its path is {away:.1f} mm away, at "
        f"X {x:.3f} Y {y:.3f}. Give the place in work coordinates, as the display shows them with "
        "the spindle over the break, to half a millimetre.",
    )


def _hole(
    trail: Trail,
    program: Program,
    cuts: Sequence[TrailCut],
    wished: str,
    of_pass: PassHoles,
) -> TrailCut:
    """The first cut of a hole."""
    made, named = holes(trail, cuts, of_pass), of_pass.named
    if not made:
        raise usage(
            "resume-no-such-hole",
            f"{program.file} makes no holes but cuts paths ({program.work}). Give --after or "
            "--near instead.",
        )
    # the first cut of each: a wide hole takes several
    by_name = {
        name: stroke
        for name, (x, y) in sorted(named.items())
        for (u, v), stroke in reversed(made)
        if abs(u - x) <= READ and abs(v - y) <= READ
    }
    if wished in by_name:
        return by_name[wished]
    if wished.isdecimal() and 1 <= int(wished) <= len(made):
        return made[int(wished) - 1][1]
    names = f", and {', '.join(by_name)} by name" if by_name else ""
    other = f" Another program of the pass makes {wished}." if wished in named else ""
    if not makes_hole(trail, cuts[-1], of_pass):
        other += " For the paths that it cuts after them give --after or --near."
    raise usage(
        "resume-no-such-hole",
        f"{program.file} makes holes 1 to {len(made)} in its order{names}, not {wished}.{other}",
    )


def _board(
    trail: Trail,
    cut: TrailCut,
    program: Program,
    outlines: Mapping[tuple[str, int], shapely.Polygon],
) -> tuple[str, int] | None:
    """The copy that a cut is made on; None for what is cut in the margin.

    Most of the cut lies within its outline, grown by the cutter's half width.
    """
    xy = trail.xyz[cut.first : cut.last + 1, :2]
    # by single segments: depth steps on top of each other all count
    pieces = shapely.linestrings(np.stack((xy[:-1], xy[1:]), axis=1))
    total = float(shapely.length(pieces).sum())
    fraction: dict[tuple[str, int], float] = {}
    for key, outline in outlines.items():
        grown = outline.buffer(program.cutter.width(program.depth) / 2 + 0.05)
        if total:
            inside = float(shapely.length(shapely.intersection(pieces, grown)).sum())
            fraction[key] = inside / total
        else:
            fraction[key] = float(grown.covers(shapely.Point(xy[0])))
    best = max(fraction, key=lambda key: fraction[key], default=None)
    return best if best is not None and fraction[best] > 0.5 else None


def _named(file: str) -> str:
    """The new program's file: it cannot be mistaken for the one that it resumes."""
    return re.sub(r"(-resumed)?\.ngc$", "-resumed.ngc", file)


def _notes(resumption: Resumption, set_id: str) -> tuple[str, ...]:
    x, y, z = resumption.entry
    entry = (
        f"restart point {resumption.point}, whose whole cut is made again"
        if resumption.overlap is None
        else f"X{x:.4f} Y{y:.4f} Z{z:.4f}, {resumption.overlap:.1f} mm before the place, in the "
        f"cut of restart point {resumption.point}"
    )
    notes = [
        f"resumes {resumption.of} of set {set_id}",
        f"enters at {entry}",
        "only if the blank, its clamps and X and Y zero have not been moved",
    ]
    if resumption.board is not None:
        notes.append(f"only the cuts of board {resumption.board} copy {resumption.copy}")
    return tuple(notes)
