"""The layout of a job alone: places, how well the blanks are filled, and what is left of them.

As files it is the places, and for every blank the offcut that a later job can take.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import shapely

from millprep.files import writing
from millprep.model.finding import usage
from millprep.model.job.job import BlankPlan, JobPlan
from millprep.nesting import figures, file
from millprep.nesting.wanted import areas_on
from millprep.passes import layout_for_passes
from millprep.passes.layout_for_passes import BlankWithPasses
from millprep.workflow import laying
from millprep.workflow.inputs import with_stored
from millprep.workflow.laying import Choice, Laid
from millprep.workflow.planning import Say, read_job

if TYPE_CHECKING:
    from millprep.report.drawing_pictures import LaidBlank


@dataclass(frozen=True, slots=True)
class LaidOut:
    """A job's layout with its figures.

    Attributes:
        blanks: those with boards on them.
        used: mm along every such blank, from its low end to the farthest board.
        most: share of its usable area that boards could cover at most, for every such blank.
        least: no layout does with fewer blanks.
    """

    plan: JobPlan
    laid: Laid
    blanks: tuple[LaidBlank, ...]
    used: tuple[float, ...]
    most: tuple[float, ...]
    least: int


def lay_out(
    job_file: Path,
    choice: Choice | None = None,
    say: Say = lambda _: None,
    *,
    repair: bool = False,
) -> LaidOut:
    """Lay the boards of a job out; what finds no place is among the findings.

    Raises:
        Refusal: for mistakes in job, drawings, or a stored layout.
    """
    plan, boards = read_job(job_file, say, repair=repair)
    say("laying the boards out")
    laid = laying.lay(plan, boards, with_stored(plan, choice))
    # prepare, which draws no layout, shall not wait for it
    from millprep.report.drawing_pictures import LaidBlank

    blanks: list[LaidBlank] = []
    used: list[float] = []
    most: list[float] = []
    for number, index in enumerate(laid.blanks, start=1):
        sheet = laid.sheets[index]
        here = areas_on(number, laid.spots, laid.wanted)
        if not here:
            continue
        passes = layout_for_passes.of(plan, number, index, here)
        clamped = () if passes is None or sheet.keep_outs else passes.clamped
        blanks.append(
            LaidBlank(
                number,
                sheet.outline,
                sheet.usable,
                tuple((f"{spot.board} {spot.copy}", area) for spot, area in here),
                sheet.keep_outs or clamped,
                figures.offcut(number, laid.spots, laid.wanted, sheet),
                figures.covered(number, laid.spots, laid.wanted, sheet),
                _join_lines(passes, sheet.outline),
            )
        )
        used.append(figures.used_length(number, laid.spots, laid.wanted, sheet))
        most.append(figures.most_covered(laid.wanted, sheet))
    least = figures.least_blanks(laid.wanted, laid.sheets)
    return LaidOut(plan, laid, tuple(blanks), tuple(used), tuple(most), least)


def _join_lines(
    passes: BlankWithPasses | None, outline: shapely.Polygon
) -> tuple[shapely.LineString, ...]:
    """Where one pass takes over from another, as far as it lies on the blank."""
    met = (
        []
        if passes is None
        else [line.intersection(outline) for line in passes.regions.join_lines()]
    )
    return tuple(line for line in met if isinstance(line, shapely.LineString) and line.length > 0)


def write(laid_out: LaidOut, out: Path, *, replace: bool = False) -> tuple[Path, ...]:
    """The layout file, a picture of every blank, and every offcut, in one folder.

    Args:
        laid_out: what to write.
        out: the layout file; the others take its stem.
        replace: whether a file of this name may be replaced.

    Returns:
        every file written, the layout first.

    Raises:
        Refusal: exit code 2, when the file exists or cannot be written.
    """
    if out.exists() and not replace:
        raise usage(
            "layout-exists",
            f"{out} exists and may have been edited by hand. Keep its places with --layout {out}, "
            "or name another file with --out.",
            out,
        )
    from millprep.report.drawing_pictures import draw

    written = [out]
    with writing.writing_to(out):
        out.parent.mkdir(parents=True, exist_ok=True)
        stems = [f"{out.stem}-blank-{blank.number}" for blank in laid_out.blanks]
        draw(laid_out.blanks, laid_out.plan.name, stems, out.parent)
        written += [out.parent / f"{stem}.png" for stem in stems]
        for name, text in texts(laid_out.laid, laid_out.plan, out.stem).items():
            path = out.parent / name if name != f"{out.stem}.toml" else out
            writing.replace_file(path, text.encode())
            written += [path] if path != out else []
    return tuple(written)


def row(laid_out: LaidOut) -> dict[str, Any]:
    """The layout with its figures, for JSON."""
    rows = zip(laid_out.blanks, laid_out.used, laid_out.most, strict=True)
    return {
        "job": laid_out.plan.name,
        "least_blanks": laid_out.least,
        "blanks": [
            {
                "number": blank.number,
                "size": [round(v, 4) for v in blank.outline.bounds[2:]],
                "covered": round(blank.covered, 4),
                "most_covered": round(most, 4),
                "used_length": round(used, 4),
                "offcut": None
                if blank.offcut is None
                else [
                    [round(v, 4) for v in corner] for corner in blank.offcut.exterior.coords[:-1]
                ],
            }
            for blank, used, most in rows
        ],
        "boards": [
            {
                "board": spot.board,
                "copy": spot.copy,
                "blank": spot.blank,
                "at": [spot.x, spot.y],
                "turn": spot.turn,
            }
            for spot in laid_out.laid.spots
        ],
    }


LAYOUT = "layout"
"""Stem of the files in a set."""


def write_layout(laid: Laid, plan: JobPlan, folder: Path) -> None:
    """The layout and its offcuts as files of a set."""
    for name, text in texts(laid, plan).items():
        (folder / name).write_bytes(text.encode("utf-8"))


def texts(laid: Laid, plan: JobPlan, stem: str = LAYOUT) -> dict[str, str]:
    """The layout file and the offcuts' by their names, the layout first.

    Offcuts are what is left when every board of the layout is cut, those that are skipped as well.
    """
    result = {f"{stem}.toml": file.text_of(laid.spots, laid.blanks, laid.sheets)}
    used = {spot.blank for spot in laid.spots}
    for number, index in enumerate(laid.blanks, start=1):
        left = figures.offcut(number, laid.spots, laid.wanted, laid.sheets[index])
        if left is not None and number in used:
            text = offcut_text(left, number, plan.name, plan.blanks[index])
            result[f"{stem}-offcut-{number}.toml"] = text
    return result


def offcut_text(shape: shapely.Polygon, number: int, name: str, plan: BlankPlan) -> str:
    """An offcut as the [blank] of a later job, its low corner at the origin."""
    x0, y0, x1, y1 = shape.bounds
    lines = [
        f"# What is left of blank {number} of the job {name!r} once it is sawn off behind its",
        "# boards: the [blank] of a later job.",
        "[blank]",
        f"size = [{_number(x1 - x0)}, {_number(y1 - y0)}]",
        f"thickness = {plan.thickness}",
        f"copper = {plan.copper}",
        f"margin = {plan.margin}",
        *([f'grade = "{plan.grade}"'] if plan.grade else []),
    ]
    if abs(shape.area - (x1 - x0) * (y1 - y0)) > 1e-6:
        corners = [f"[{_number(x - x0)}, {_number(y - y0)}]" for x, y in shape.exterior.coords[:-1]]
        lines.append(f"outline = [{', '.join(corners)}]")
    return "\n".join(lines) + "\n"


def _number(value: float) -> float:
    return round(value, 4) + 0.0
