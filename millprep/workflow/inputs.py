"""What a job names, read: drawings, nets, a stored layout."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from millprep import cache, job
from millprep.files.reading import MOST_TEXT, contents, hash_of
from millprep.model.board import Board, LeftOut
from millprep.model.dialect import PROMISED
from millprep.model.finding import Finding, Refusal, many, usage
from millprep.model.job.board import BoardPlan
from millprep.model.job.job import JobPlan
from millprep.model.job.nets import NetFacts
from millprep.model.job.work import feed_along_copper
from millprep.workflow import nets
from millprep.workflow.laying import Choice, Stored

Facts = dict[str, tuple[NetFacts, ...]]
"""Nets by the name of their board."""


def read_boards(plan: JobPlan, *, repair: bool = False) -> tuple[Board, ...]:
    """Every drawing read, with the points of its netlist and the parts that its texts name.

    Raises:
        Refusal: exit code 3, with the faults of all of them together.
    """
    boards: list[Board] = []
    faults: list[Finding] = []
    for board in plan.boards:
        try:
            boards.append(_board(board, repair=repair))
        except Refusal as refusal:
            faults += [replace(f, board=f.board or board.name) for f in refusal.findings]
    if faults:
        raise Refusal(faults, exit_code=3)
    return tuple(boards)


def read_nets(plan: JobPlan, boards: tuple[Board, ...], job_file: Path) -> Facts:
    """The nets that the job names, by the board's name.

    Raises:
        Refusal: exit code 2, with every key that a drawing does not bear out.
    """
    facts, misfits = nets.facts(plan.boards, boards, plan.rules.celsius)
    if misfits:
        raise job.refusal_of(job_file, misfits)
    return facts


def _board(plan: BoardPlan, *, repair: bool) -> Board:
    """A drawing read, unless it was read before as it is now.

    Raises:
        Refusal: when it is refused.
    """
    # what a net carries changes nothing of the drawing
    plan = replace(plan, nets=())
    kept = cache.current()
    if kept is None:
        return _read_board(plan, repair=repair)
    try:
        hashes = [hash_of(file) for file, _ in plan.files]
    except OSError:
        # who reads it says why
        return _read_board(plan, repair=repair)
    return kept.value(
        "drawing",
        (plan, repair, hashes),
        lambda: _read_board(plan, repair=repair),
        # a file that is saved meanwhile was read in part as it was before
        lambda: hashes == [hash_of(file) for file, _ in plan.files],
    )


def _read_board(plan: BoardPlan, *, repair: bool) -> Board:
    # not needed for what is kept
    from millprep import drawing
    from millprep.drawing.netlist_placing import with_netlist
    from millprep.drawing.texts import named_in, with_part_names

    files = plan.drawing
    drawn = drawing.read(
        files.copper.file,
        name=plan.name,
        shown_as=files.copper.name,
        layers=plan.roles,
        unit=plan.unit,
        outline_file=files.outline and files.outline.file,
        holes_files=None if files.holes is None else tuple(h.file for h in files.holes),
        repair=repair,
        accepted=plan.accepted,
    )
    if plan.netlist is not None:
        shift, mirrored = plan.netlist_offset, plan.netlist_mirrored
        drawn = with_netlist(drawn, *plan.netlist, shift, mirrored=mirrored)
    if plan.layers.parts:
        texts = named_in((*drawn.notes, *drawn.lettering), plan.layers.parts)
        drawn = with_part_names(drawn, texts, files.copper.name)
    return drawn


def check_drawings(plan: JobPlan, boards: Iterable[Board]) -> tuple[Finding, ...]:
    """What the drawings were mended by, and what of them is not on the boards."""
    boards = tuple(boards)
    mended = tuple(
        Finding(code="drawing-repaired", severity="warn", message=change, board=board.name)
        for board in boards
        for change in board.repairs
    )
    return (
        _bench_used(plan)
        + _few_decimals(plan)
        + _short_corners(plan)
        + mended
        + _legends(boards)
        + tuple(doubt for board in boards for doubt in board.doubts)
        + tuple(
            _left_out(board, board_plan, left)
            for board, board_plan in zip(boards, plan.boards, strict=True)
            for left in board.left_out
            if left.layer.casefold() not in _known(board_plan)
        )
    )


def _legends(boards: Iterable[Board]) -> tuple[Finding, ...]:
    """A note for each board whose component side is engraved, which comes before all else."""
    return tuple(
        Finding(
            code="legend-first",
            severity="note",
            message="The board has a legend. Engrave it before pass 1, with the programs that "
            "`millprep legend` writes for the set.",
            board=board.name,
        )
        for board in boards
        if board.legend is not None
    )


def _known(plan: BoardPlan) -> set[str]:
    """Layers of which nothing that is left out is worth a word, in lower case."""
    roles = plan.roles
    read = {layer.casefold() for layer in (*roles.copper, *roles.outline, *roles.holes)}
    named = {layer.casefold() for layer in (*roles.parts, *roles.legend)}
    return {layer.casefold() for layer in roles.other} | (named - read)


def _bench_used(plan: JobPlan) -> tuple[Finding, ...]:
    """A note that names the bench file."""
    if plan.bench is None:
        return ()
    message = f"What the job does not state is taken from the bench file {plan.bench.name}."
    for side in ("components", "copper"):
        boards = [plan.boards[i] for i in plan.sided]
        names = ", ".join(board.name for board in boards if board.drawn_from == side)
        if names:
            message += f' It says drawn_from = "{side}" of {names}.'
    return (Finding(code="bench-used", severity="note", message=message),)


def _few_decimals(plan: JobPlan) -> tuple[Finding, ...]:
    """A warning where a program's digits take more than the table of tolerances leaves them."""
    dialect = plan.machine.dialect
    if dialect.edge <= PROMISED:
        return ()
    return (
        Finding(
            code="decimals-few",
            severity="warn",
            message=f"With {dialect.decimals} decimals a copper edge may lie {dialect.edge:.3f} mm "
            f"off, digits and all other tolerances together; {PROMISED:g} mm are promised "
            "otherwise. Raise [machine.dialect] decimals if the controller takes more.",
        ),
    )


def _short_corners(plan: JobPlan) -> tuple[Finding, ...]:
    """A warning where blending takes more than the table of tolerances leaves it."""
    machine = plan.machine
    feed = min(feed_along_copper(plan.isolation, plan.clearing), machine.max_feed)
    short = machine.cut_short(feed)
    edge = machine.dialect.edge + short
    if short == 0 or edge <= PROMISED:
        return ()
    return (
        Finding(
            code="corners-cut-short",
            severity="warn",
            message=f"At {feed:g} mm/min blending may cut corners {short:.3f} mm short; with all "
            f"other tolerances a copper edge may lie {edge:.3f} mm off, and {PROMISED:g} mm are "
            'promised otherwise. Set [machine] path_mode = "exact path" or path_tolerance, if the '
            "controller takes G61 or P with G64, or lower the feed.",
        ),
    )


def with_stored(plan: JobPlan, choice: Choice | None) -> Choice:
    """The choice with the stored layout that the job names, unless it has one of its own.

    Raises:
        Refusal: exit code 2, for a file that cannot be read.
    """
    choice = choice or Choice()
    if choice.stored is not None or plan.layout.file is None:
        return choice
    return replace(choice, stored=stored(*plan.layout.file))


def stored(path: Path, name: str) -> Stored:
    """A layout file as it is.

    Raises:
        Refusal: exit code 2, for a file that cannot be read.
    """
    try:
        return Stored(name, contents(path, MOST_TEXT).decode())
    except OSError as fault:
        message = f"The layout file cannot be read ({fault.strerror})."
        raise usage("layout-file", message, name) from None
    except UnicodeDecodeError as fault:
        message = f"The layout file cannot be read ({fault})."
        raise usage("layout-file", message, name) from None


def _left_out(board: Board, plan: BoardPlan, left: LeftOut) -> Finding:
    """What of a drawing is not on the board; on a layer the job names, it deserves a look.

    What changes nothing does not.
    """
    roles = plan.roles
    looked_at = {selection.layer for selection in plan.selections}
    used = None in looked_at or left.layer in {
        *roles.copper, *roles.outline, *roles.holes, *looked_at,
    }  # fmt: skip
    used = used and not left.harmless
    kind, _, of_block = left.kind.partition(" ")
    entities = many(left.count, f"{kind} entity", f"{kind} entities")
    block = f" {of_block}" if of_block else ""
    look = " The job uses this layer: look whether it is missing on the board." if used else ""
    return Finding(
        code="drawing-left-out",
        severity="warn" if used else "note",
        message=f'{entities}{block} on layer "{left.layer}" ignored: {left.reason}.{look}',
        board=board.name,
    )
