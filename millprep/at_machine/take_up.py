"""A program taken up again after its cutter broke: it enters before the break and goes on."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from millprep.at_machine.entry import READ, Entry, near
from millprep.at_machine.strokes import Stroke, holes, move_of, strokes
from millprep.gcode.moves import Pen
from millprep.geometry.path import Point
from millprep.model.finding import Finding, Refusal
from millprep.model.machine import Machine
from millprep.model.program import RAPID, Program, Trail
from millprep.model.resumption import Resumption

OVERLAP = 2.0
"""A place is entered this far before it along the path, mm, or a cutter's width if that is more:
more than a person misreads the place by, and more than half way round the smallest arc."""
HOLES = ("register", "drill", "bore")
"""Works whose cuts are holes."""


@dataclass(frozen=True, slots=True)
class Wish:
    """Where a person wants to go on.

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
        said = []
        if self.after is not None:
            said.append(f"--after {self.after}")
        if self.near is not None:
            said.append("--near {:g},{:g}".format(*self.near))
        if self.hole is not None:
            said.append(f"--hole {self.hole}")
        if self.overlap is not None:
            said.append(f"--overlap {self.overlap:g}")
        if self.board is not None:
            said.append(f"--board {self.board}:{self.copy}")
        return " ".join(said)


def resumed(
    trail: Trail,
    program: Program,
    wish: Wish,
    machine: Machine,
    *,
    set_id: str,
    named: Mapping[str, Point],
    outlines: Mapping[tuple[str, int], shapely.Polygon],
) -> tuple[Program, Resumption, Entry] | None:
    """The program that goes on as wished, what is told of it, and how its entry was found.

    Args:
        trail: the program as its file was read back.
        program: all about it but its moves.
        wish: where to go on.
        machine: heights and limits.
        set_id: of the set it is of.
        named: centres of holes that have names, machine frame.
        outlines: of every copy on the blank, machine frame, in this pass.

    None when nothing of it is on the board that was asked for.

    Raises:
        Refusal: exit code 2, when there is no such restart point, place or hole.
    """
    cuts = strokes(trail)
    if not cuts:
        raise _usage("resume-nothing-cut", f"{program.file} cuts nothing; run it from its start.")
    overlap = wish.overlap or max(OVERLAP, program.cutter.width(program.depth))
    entry = _entry(trail, program, cuts, wish, overlap, named, machine.dialect.decimals)
    kept = [cut for cut in cuts if cut.number >= entry.stroke.number]
    if wish.board is not None:
        kept = [c for c in kept if _board(trail, c, program, outlines) == (wish.board, wish.copy)]
        if not kept:
            return None
        if kept[0] != entry.stroke:
            entry = Entry(kept[0], kept[0].first)
    pen = Pen(machine, program.cutter, program.start)
    for cut in kept:
        _again(pen, trail, cut, entry if cut == entry.stroke else Entry(cut, cut.first))
    at = next((m.x, m.y, m.z) for m in pen.moves if m.motion != "rapid")
    pen.over(*program.start[:2])
    new = replace(
        program,
        file=_named(program.file),
        depth=-min(move.z for move in pen.moves),
        moves=tuple(pen.moves),
    )
    told = Resumption(
        file=new.file,
        of=program.file,
        asked=wish.words,
        point=kept[0].number,
        points=len(cuts),
        entry=at if entry.at is None else entry.at,
        overlap=entry.overlap,
        cuts=len(kept),
        board=wish.board,
        copy=None if wish.board is None else wish.copy,
    )
    return replace(new, notes=_notes(told, set_id)), told, entry


def _again(pen: Pen, trail: Trail, cut: Stroke, entry: Entry) -> None:
    """The moves of one cut from where it is entered."""
    if entry.at is None:
        x, y = trail.xyz[cut.first, :2].tolist()
        pen.over(x, y)
    else:
        pen.over(*entry.at[:2])
        pen.plunge(entry.at[2])
        pen.moves.append(move_of(trail, entry.move, entry.at))
    first = cut.first if entry.at is None else entry.move + 1
    # the way down at rapid into a pecked hole is a cycle's, which makes it anew
    pen.moves += [
        move_of(trail, move) for move in range(first, cut.last) if not _falls(trail, move)
    ]
    x, y, z = trail.xyz[cut.last].tolist()
    pen.at = (x, y, z)
    pen.rise()


def _falls(trail: Trail, move: int) -> bool:
    """Whether a move goes down at rapid."""
    return bool(trail.kind[move] == RAPID and trail.xyz[move + 1, 2] < trail.xyz[move, 2])


def _entry(
    trail: Trail,
    program: Program,
    cuts: Sequence[Stroke],
    wish: Wish,
    overlap: float,
    named: Mapping[str, Point],
    decimals: int,
) -> Entry:
    """Where a wish leads."""
    within = tuple(cuts)
    if wish.after is not None:
        if not 1 <= wish.after <= len(cuts):
            raise _usage(
                "resume-no-such-point",
                f"{program.file} has restart points 1 to {len(cuts)}, and no {wish.after}. Take "
                "the last one above the line where it stopped.",
            )
        within = (cuts[wish.after - 1],)
    if wish.hole is not None:
        stroke = _hole(trail, program, cuts, wish.hole, named)
        return Entry(stroke, stroke.first)
    if wish.near is None:
        return Entry(within[0], within[0].first)
    found = near(trail, within, wish.near, overlap, decimals)
    if isinstance(found, Entry):
        return found
    away, (x, y) = found
    at = f"X {wish.near[0]:g} Y {wish.near[1]:g}"
    where = "" if wish.after is None else f" after restart point {wish.after}"
    raise _usage(
        "resume-place-far",
        f"{program.file} cuts nothing near {at}{where}: its path comes no nearer than "
        f"{away:.1f} mm, at X {x:.3f} Y {y:.3f}. Give the place in machine coordinates, as the "
        "display shows them with the spindle's axis over the break, and read it to half a "
        "millimetre.",
    )


def _hole(
    trail: Trail,
    program: Program,
    cuts: Sequence[Stroke],
    wished: str,
    named: Mapping[str, Point],
) -> Stroke:
    """The first cut of a hole."""
    if program.work not in HOLES:
        raise _usage(
            "resume-no-such-hole",
            f"{program.file} makes no holes but cuts paths ({program.work}). Say --after or "
            "--near instead.",
        )
    made = holes(trail, tuple(cuts))
    if wished in named:
        x, y = named[wished]
        for (u, v), stroke in made:
            if abs(u - x) <= READ and abs(v - y) <= READ:
                return stroke
    elif wished.isdecimal() and 1 <= int(wished) <= len(made):
        return made[int(wished) - 1][1]
    names = f", and {', '.join(sorted(named))} by name" if named else ""
    raise _usage(
        "resume-no-such-hole",
        f"{program.file} makes holes 1 to {len(made)} in its order{names}; {wished} is none.",
    )


def _board(
    trail: Trail,
    cut: Stroke,
    program: Program,
    outlines: Mapping[tuple[str, int], shapely.Polygon],
) -> tuple[str, int] | None:
    """The copy that a cut is made on; None for what is cut in the margin.

    Most of the cut lies within its outline, grown by the cutter's half width.
    """
    xy = trail.xyz[cut.first : cut.last + 1, :2]
    # piece by piece: laps that lie on each other all count
    pieces = shapely.linestrings(np.stack((xy[:-1], xy[1:]), axis=1))
    total = float(shapely.length(pieces).sum())
    share: dict[tuple[str, int], float] = {}
    for key, outline in outlines.items():
        grown = outline.buffer(program.cutter.width(program.depth) / 2 + 0.05)
        if total:
            inside = float(shapely.length(shapely.intersection(pieces, grown)).sum())
            share[key] = inside / total
        else:
            share[key] = float(grown.covers(shapely.Point(xy[0])))
    best = max(share, key=lambda key: share[key], default=None)
    return best if best is not None and share[best] > 0.5 else None


def _named(file: str) -> str:
    """The new program's file: it cannot be taken for the one it takes up."""
    return re.sub(r"(-resumed)?\.ngc$", "-resumed.ngc", file)


def _notes(told: Resumption, set_id: str) -> tuple[str, ...]:
    x, y, z = told.entry
    went = (
        f"restart point {told.point}, whose cut is made anew as a whole"
        if told.overlap is None
        else f"X{x:.4f} Y{y:.4f} Z{z:.4f}, {told.overlap:.1f} mm before the place, in the cut of "
        f"restart point {told.point}"
    )
    notes = [
        f"takes up {told.of} of set {set_id}",
        f"enters at {went}",
        "only while the blank lies as it lay, held as it was, X and Y zero unmoved",
    ]
    if told.board is not None:
        notes.append(f"only what is cut on board {told.board} copy {told.copy}")
    return tuple(notes)


def _usage(code: str, message: str) -> Refusal:
    return Refusal([Finding(code=code, severity="stop", message=message)], exit_code=2)
