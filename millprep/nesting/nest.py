"""Nesting: where each board lies, on as few blanks as a bounded search finds."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from millprep.model.blank import Spot
from millprep.model.finding import Finding
from millprep.nesting.place import Lean, NoFit, Orientation, Placer, orientations_of
from millprep.nesting.rectangles import Rectangles, suits
from millprep.nesting.search import STARTS, ChainResult, Put, Task, chain
from millprep.nesting.wanted import StockSheet, Wanted, pose_of

COARSE = 1 / 30
"""Outlines are simplified outward by at most this fraction of the spacing."""


@dataclass(frozen=True, slots=True)
class Effort:
    """How long to search; the same effort finds the same layout on every machine.

    Attributes:
        work: of each chain, counted and not timed: putting one board counts 8 and 1 for every
            kind and turn that still waits for a place.
        chains: searches from different starts, of which the best is taken.
        seed: of the first chain; the next ones count on from it.
    """

    work: int = 75_000
    chains: int = 6
    seed: int = 1

    def __post_init__(self) -> None:
        if self.work < 0 or self.chains < 1:
            raise ValueError("an effort has at least one chain and no work below 0")


EFFORTS = {"low": Effort(8_000, 2), "default": Effort(), "high": Effort(270_000, 12)}


@dataclass(frozen=True, slots=True)
class Nested:
    """The result of the search.

    Attributes:
        spots: by blank, board and copy.
        blanks: for every blank, number 1 first, the place of its sheet in the list of sheets.
        unplaced: (board, copy) of every copy that was not placed.
        findings: why not, a `stop` each.
    """

    spots: tuple[Spot, ...]
    blanks: tuple[int, ...]
    unplaced: tuple[tuple[str, int], ...] = ()
    findings: tuple[Finding, ...] = ()


def nest(
    wanted: Sequence[Wanted],
    sheets: Sequence[StockSheet],
    effort: Effort | None = None,
    fixed: Sequence[Spot] = (),
    blanks: Sequence[int] = (),
    workers: int = 1,
) -> Nested:
    """A place for every copy that has none yet; what has one never moves.

    Fewest blanks, then the shortest used length on the last, along its long direction from
    its low end. The largest sheets are taken first, and the last blank is the smallest that
    holds its boards. The result depends on the arguments but `workers`, and on nothing else.

    Args:
        wanted: boards with the copies that need a place.
        sheets: sizes of blanks, their margins and keep-outs.
        effort: how long to search.
        fixed: places set by hand or by a run before; they are not checked here.
        blanks: for every blank in use, number 1 first, the place of its sheet in `sheets`;
            blanks that `fixed` names beyond these are taken in the order of opening.
        workers: processes to share the chains.

    Raises:
        ValueError: for a fixed spot of an unknown board, and for a blank that is not in stock.
    """
    effort = effort or Effort()
    opening = sorted(range(len(sheets)), key=lambda n: (-sheets[n].usable.area, n))
    begun = _begun(sheets, opening, fixed, blanks)
    taken = {(spot.board, spot.copy) for spot in fixed}
    needed = [[c for c in board.copies if (board.name, c) not in taken] for board in wanted]
    unknown = {spot.board for spot in fixed} - {board.name for board in wanted}
    if unknown:
        raise ValueError(f"boards unknown to the nesting: {', '.join(sorted(unknown))}")
    if not wanted or not sheets:
        raise ValueError("nesting needs boards and blanks")
    problem = _Problem(tuple(wanted), tuple(sheets), tuple(fixed), tuple(begun), tuple(opening))
    counts = tuple(len(copies) for copies in needed)
    best, task = _best(problem, counts, effort, workers)
    puts, stock = _smaller_last(problem, best, task, effort, workers)
    spots, unplaced = _spots(problem, needed, task, puts)
    findings = unplaced_findings(unplaced, wanted, sheets, task) if unplaced else ()
    return Nested(tuple(spots), tuple(stock), tuple(unplaced), tuple(findings))


@dataclass(frozen=True, slots=True)
class _Problem:
    """Everything but counts and effort; what a worker process is given."""

    wanted: tuple[Wanted, ...]
    sheets: tuple[StockSheet, ...]
    fixed: tuple[Spot, ...]
    begun: tuple[int, ...]
    opening: tuple[int, ...]

    def task(self, counts: Sequence[int]) -> Task:
        """The problem with its no-fit polygons and with what lies on the blanks already."""
        tolerance = COARSE * min(sheet.spacing for sheet in self.sheets)
        orientations = orientations_of(self.wanted, tolerance, self.fixed)
        placer: Placer = (Rectangles if suits(orientations, self.sheets) else NoFit)(
            orientations, self.sheets
        )
        names = [board.name for board in self.wanted]
        puts = []
        for spot in self.fixed:
            kind = names.index(spot.board)
            (orientation,) = (
                n for n, w in enumerate(orientations) if w.kind == kind and spot.turn in w.turns
            )
            puts.append(Put(orientation, spot.blank - 1, (spot.x, spot.y)))
        return Task(placer, orientations, self.sheets, counts, self.opening, self.begun, puts)

    def classes(self, counts: Sequence[int], start: int) -> list[list[int]]:
        """Kinds, one entry a copy, by falling priority; the largest or the longest first."""

        def size(kind: int) -> float:
            outline = self.wanted[kind].outline
            x0, y0, x1, y1 = outline.bounds
            return -(max(x1 - x0, y1 - y0) if start % 2 else outline.area)

        ranks = sorted({board.priority for board in self.wanted}, reverse=True)
        return [
            [
                kind
                for kind in sorted(range(len(counts)), key=lambda k: (size(k), k))
                if self.wanted[kind].priority == rank
                for _ in range(counts[kind])
            ]
            for rank in ranks
        ]


def _chain(problem: _Problem, counts: Sequence[int], effort: Effort, number: int) -> ChainResult:
    result = _on(problem.task(counts), problem, counts, effort, number)
    # regions are of no use to whoever receives the result, and large
    light = tuple(replace(blank, held=None) for blank in result.state.blanks)
    return ChainResult(result.score, replace(result.state, blanks=light))


def _on(
    task: Task, problem: _Problem, counts: Sequence[int], effort: Effort, number: int
) -> ChainResult:
    classes = problem.classes(counts, number // len(STARTS))
    return chain(task, classes, number, effort.seed + number, effort.work)


def _best(
    problem: _Problem, counts: Sequence[int], effort: Effort, workers: int
) -> tuple[ChainResult, Task]:
    """The best chain; of equally good ones the first."""
    task = problem.task(counts)
    numbers = range(effort.chains)
    if workers > 1 and effort.chains > 1:
        import multiprocessing
        from concurrent.futures import ProcessPoolExecutor

        context = multiprocessing.get_context("spawn")
        with ProcessPoolExecutor(min(workers, effort.chains), mp_context=context) as pool:
            runs = [pool.submit(_chain, problem, counts, effort, n) for n in numbers]
            results = [run.result() for run in runs]
    else:
        results = [_on(task, problem, counts, effort, n) for n in numbers]
    return min(results, key=lambda result: result.score), task


def _smaller_last(
    problem: _Problem, best: ChainResult, task: Task, effort: Effort, workers: int
) -> tuple[list[Put], list[int]]:
    """Puts and the sheet of every blank, the last blank on the smallest sheet that holds it."""
    puts, stock = list(best.state.puts), [blank.sheet for blank in best.state.blanks]
    if len(stock) <= len(problem.begun):
        return puts, stock
    last = len(stock) - 1
    counts = [0] * len(problem.wanted)
    for put in puts:
        counts[task.orientations[put.orientation].kind] += put.blank == last
    areas = [sheet.usable.area for sheet in problem.sheets]
    for sheet in (n for n in reversed(problem.opening) if areas[n] < areas[stock[last]]):
        if stock.count(sheet) >= problem.sheets[sheet].count:
            continue
        alone = replace(problem, begun=(sheet,), opening=(), fixed=())
        alone_best, others = _best(alone, counts, effort, workers)
        if alone_best.state.left == 0:
            orientations = _same_orientations(others.orientations, task.orientations)
            kept = [put for put in puts if put.blank != last]
            shifted = [
                Put(orientations[put.orientation], last, put.at) for put in alone_best.state.puts
            ]
            return kept + shifted, [*stock[:last], sheet]
    return puts, stock


def _same_orientations(some: Sequence[Orientation], all_: Sequence[Orientation]) -> list[int]:
    """For every way its place in a list that holds it too."""
    places = {(orientation.kind, orientation.turns[0]): n for n, orientation in enumerate(all_)}
    return [places[orientation.kind, orientation.turns[0]] for orientation in some]


def _spots(
    problem: _Problem, needed: Sequence[Sequence[int]], task: Task, puts: Sequence[Put]
) -> tuple[list[Spot], list[tuple[str, int]]]:
    """Spots with their copies' numbers, in reading order, and copies without a place."""
    spots = list(problem.fixed)
    waiting = [list(copies) for copies in needed]
    for put in sorted(puts, key=lambda p: (p.blank, p.at)):
        orientation = task.orientations[put.orientation]
        name, copy = problem.wanted[orientation.kind].name, waiting[orientation.kind].pop(0)
        spots.append(Spot(name, copy, put.blank + 1, *put.at, orientation.turns[0]))
    names = {board.name: n for n, board in enumerate(problem.wanted)}
    spots.sort(key=lambda spot: (spot.blank, names[spot.board], spot.copy))
    return spots, [
        (board.name, copy)
        for board, copies in zip(problem.wanted, waiting, strict=True)
        for copy in copies
    ]


def _begun(
    sheets: Sequence[StockSheet],
    opening: Sequence[int],
    fixed: Sequence[Spot],
    blanks: Sequence[int],
) -> list[int]:
    """The sheet of every blank in use."""
    begun = list(blanks)
    last = max((spot.blank for spot in fixed), default=0)
    stock = [n for n in opening for _ in range(sheets[n].count - begun.count(n))]
    if last - len(begun) > len(stock):
        raise ValueError(f"blank {last} is named, and there are {len(begun) + len(stock)}")
    return begun + stock[: max(0, last - len(begun))]


def unplaced_findings(
    unplaced: Sequence[tuple[str, int]],
    wanted: Sequence[Wanted],
    sheets: Sequence[StockSheet],
    task: Task,
) -> Iterator[Finding]:
    """A `stop` for every board that fits no empty blank, and one for all others."""
    counts = Counter(name for name, _ in unplaced)
    too_many: list[str] = []
    for kind, board in enumerate(wanted):
        if board.name not in counts:
            continue
        empties = (task.placer.empty(n) for n in range(len(sheets)))
        if any(task.placer.best(empty, kind, Lean(0.0, 0.0)) is not None for empty in empties):
            too_many.append(f"{counts[board.name]} × {board.name}")
        else:
            yield _too_large(board, sheets)
    if too_many:
        yield Finding(
            code="blanks-used-up",
            severity="stop",
            message=f"All blanks are full. Not placed: {', '.join(too_many)}. "
            "Raise [[blank]] count or lower [[board]] count.",
        )


def _too_large(board: Wanted, sheets: Sequence[StockSheet]) -> Finding:
    margin = max(sheet.margin for sheet in sheets)
    boxes = []
    for turn in board.turns:
        pose = pose_of(board.outline, board.mirrored, Spot(board.name, 1, 1, 0.0, 0.0, turn))
        _, _, w, h = pose.shape(board.outline).bounds
        boxes.append((w, h))
    for sheet in sheets:
        x0, y0, x1, y1 = sheet.outline.bounds
        room = (x1 - x0 - 2 * sheet.margin + 1e-9, y1 - y0 - 2 * sheet.margin + 1e-9)
        if any(w <= room[0] and h <= room[1] for w, h in boxes):
            return Finding(
                code="board-finds-no-room",
                severity="stop",
                message=f"Board {board.name} fits the size of a blank, but clamps, registration "
                "holes or the blank's own outline leave no room for it. Move the clamps, allow "
                "more turns or add a [[blank]].",
                board=board.name,
            )
    w, h = min(boxes, key=lambda box: (box[0] * box[1], box))
    turned = any(
        w <= x - 2 * sheet.margin + 1e-9 and h <= y - 2 * sheet.margin + 1e-9
        for sheet in sheets
        for y, x in [sheet.outline.bounds[2:]]
    )
    if turned:
        remedy = "It fits a blank that lies the other way: swap the two numbers of [[blank]] size"
    else:
        # rounded up: a blank of this size is large enough
        x, y = (math.ceil((side + 2 * margin) * 100 - 1e-4) / 100 for side in (w, h))
        remedy = f"Use a blank of at least {x:.2f} × {y:.2f} mm, or lower [[blank]] margin"
    return Finding(
        code="board-larger-than-blank",
        severity="stop",
        message=f"Board {board.name} is {w:.2f} × {h:.2f} mm and fits no blank of the job. "
        f"{remedy}.",
        board=board.name,
    )
