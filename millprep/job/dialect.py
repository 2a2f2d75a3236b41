"""The table that tells what of RS-274 a machine understands: `[machine.dialect]`."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from millprep.job.fields import Table, choice, entry, number
from millprep.model.dialect import (
    ARC_DECIMALS,
    FEWEST_DECIMALS,
    MOST_DECIMALS,
    Comments,
    Dialect,
    DwellUnit,
    End,
    LineEnds,
)

LONGEST = 190
Line = Annotated[str, Field(min_length=1, max_length=LONGEST)]


class DialectTable(Table):
    """What of RS-274 the machine understands; as it stands, what NISTIR 6556 has."""

    arcs: bool = entry(
        "Whether it knows arcs, G2 and G3; if not, they are told as lines, 0.002 mm off at most",
        "true or false",
        default=True,
    )
    cycles: bool = entry(
        "Whether straight drilling is told as the cycles G81 and G83", "true or false",
        default=False,
    )  # fmt: skip
    comments: Comments = choice(
        "Where comments stand: in brackets as the report has them, after a semicolon, or nowhere",
        Comments,
        default="brackets",
    )
    line_numbers: bool = entry(
        "Whether every line begins with N and its number in the file, 99999 at most",
        "true or false",
        default=False,
    )
    decimals: int = number(
        f"Decimals of every number; {ARC_DECIMALS} at least where there are arcs",
        "",
        default=4,
        least=FEWEST_DECIMALS,
        most=MOST_DECIMALS,
        whole=True,
    )
    line_ends: LineEnds = choice(
        "What ends a line: line feed, or carriage return and line feed", LineEnds, default="lf"
    )
    dwell_unit: DwellUnit = choice(
        "Unit of P in a dwell, G4: seconds as the report has it, or milliseconds",
        DwellUnit,
        default="s",
    )
    percent: bool = entry(
        "Whether a line with % alone stands first and last in a file", "true or false",
        default=False,
    )  # fmt: skip
    end: End = choice("The word that ends a program", End, default="M2")
    start_lines: list[Line] = entry(
        "Lines put before all that a program does, as they stand; they may move nothing",
        'a list of lines of RS-274, such as ["M8"]',
        default=[],
        words="none",
    )
    end_lines: list[Line] = entry(
        "Lines put just before the word that ends a program; they may move nothing",
        'a list of lines of RS-274, such as ["M9"]',
        default=[],
        words="none",
    )


def dialect_of(table: DialectTable) -> Dialect:
    """The dialect that a table tells."""
    return Dialect(
        arcs=table.arcs,
        cycles=table.cycles,
        comments=table.comments,
        line_numbers=table.line_numbers,
        decimals=table.decimals,
        line_ends=table.line_ends,
        dwell_unit=table.dwell_unit,
        percent=table.percent,
        end=table.end,
        start_lines=tuple(table.start_lines),
        end_lines=tuple(table.end_lines),
    )
