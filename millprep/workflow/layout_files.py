"""A layout as files: the places, and for every blank the offcut that a later job can take."""

from __future__ import annotations

from pathlib import Path

import shapely

from millprep.model.job.job import BlankPlan, JobPlan
from millprep.nesting import figures, file
from millprep.workflow.laying import Laid

LAYOUT = "layout"
"""Stem of the files in a set."""


def write(laid: Laid, plan: JobPlan, folder: Path) -> None:
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
