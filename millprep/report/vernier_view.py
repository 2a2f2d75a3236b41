"""Verniers on the sheet: where they stand, how they are read, and what to do with the readings."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

from millprep.report.palette import CUTTERS, INK
from millprep.report.plan_words import say
from millprep.report.words import number, place, plain

if TYPE_CHECKING:
    from millprep.model.milling_pass import MillingPass
    from millprep.model.set_of_programs import CutSet
    from millprep.model.vernier import Vernier

EXAMPLE = 3
"""The line that runs through in the drawing."""
_PITCH, _STEP, _LINE, _LONGER = 13.0, 1.3, 16.0, 6.0
"""Of the drawing, in its own units: the step is drawn five times too large, to be seen."""


@dataclass(frozen=True, slots=True)
class VernierPage:
    """What the sheet shows of the verniers of a pass.

    Attributes:
        rows: (id, measured direction, machine place, its lines) for each vernier.
        drawing: SVG of one along x with an example.
        how: how they are read, in words.
        example: what the drawing shows, in words.
        readings: text of a readings file to fill in.
        command: that uses it.
    """

    rows: tuple[tuple[str, str, str, str], ...]
    drawing: str
    how: str
    example: str
    readings: str
    command: str


def vernier_page(cut_set: CutSet, milling_pass: MillingPass) -> VernierPage | None:
    """The verniers of a pass, or None when it has none."""
    mine = milling_pass.verniers
    if not mine:
        return None
    here = (milling_pass.blank, milling_pass.number)
    file = next(
        (p.file for p in cut_set.programs
         if (p.blank, p.mill_pass) == here and p.works == ("engrave",)), ""
    )  # fmt: skip
    lines = "\n".join(f"{plain(one.id)} =" for one in mine)
    blank = f" --blank {here[0]}" if len(cut_set.layout.blanks) > 1 else ""
    first = mine[0]
    return VernierPage(
        tuple(_row(one, milling_pass) for one in mine),
        drawing(first),
        say("vernier.how", file=plain(file.rsplit("/", 1)[-1], 80), step=number(first.step, 3)),
        say("vernier.coarse", line=EXAMPLE, mm=number(EXAMPLE * first.step, 3)),
        f'set = "{plain(cut_set.id)}"\n[verniers]\n{lines}\n',
        f"millprep refit OUT --pass {here[1]}{blank} --vernier READINGS.toml --out NEW",
    )


def _row(one: Vernier, milling_pass: MillingPass) -> tuple[str, str, str, str]:
    return (
        plain(one.id),
        say(f"along.{one.measures}"),
        place(milling_pass.pose.point(one.at)),
        say("vernier.range", low=f"−{one.reach}", high=one.reach),
    )


def drawing(one: Vernier) -> str:
    """SVG of a vernier along x in which line `EXAMPLE` runs through."""
    reach = one.reach
    half = reach * _PITCH + 24
    shift = EXAMPLE * _STEP
    parts = []
    for i in range(-reach, reach + 1):
        long = _LINE + _LONGER * (2 if i == 0 else int(i % 5 == 0))
        x = i * _PITCH
        parts.append(_line(x, 0, x, long, INK))
        u = i * (_PITCH - _STEP) + shift
        parts.append(_line(u, 0, u, -_LINE, CUTTERS[1]))
        if i % 5 == 0:
            label = f"−{-i}" if i < 0 else str(i)
            parts.append(
                f'<text x="{x:.1f}" y="{long + 11:.1f}" text-anchor="middle" '
                f'font-size="10">{label}</text>'
            )
    x, y = reach * _PITCH - 4, _LINE + _LONGER + 22
    parts += [_line(x - 4, y, x + 4, y, INK), _line(x, y - 4, x, y + 4, INK)]
    at = EXAMPLE * _PITCH
    parts.append(
        f'<ellipse cx="{at:.1f}" cy="0" rx="5" ry="{_LINE + 4:.1f}" fill="none" '
        f'stroke="{INK}" stroke-width="1.2"/>'
    )
    low, high = (escape(say("vernier.pass", nth=nth)) for nth in one.passes)
    parts.append(
        f'<text x="{-half - 20:.1f}" y="{_LINE:.1f}" font-size="10">{low}</text>'
        f'<text x="{-half - 20:.1f}" y="{-6:.1f}" font-size="10">{high}</text>'
    )
    top, foot = -_LINE - 8, _LINE + 3 * _LONGER + 24
    wide = half + 34
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="{-wide:.0f} {top:.0f} '
        f'{2 * wide:.0f} {foot - top:.0f}">'
        f"<title>{escape(say('vernier.picture', line=EXAMPLE))}</title>"
        + "".join(parts)
        + "</svg>"
    )


def _line(x0: float, y0: float, x1: float, y1: float, colour: str) -> str:
    return (
        f'<line x1="{x0:.1f}" y1="{y0:.1f}" x2="{x1:.1f}" y2="{y1:.1f}" stroke="{colour}" '
        'stroke-width="1.6"/>'
    )
