"""What of RS-274 a machine's controller understands, feature by feature.

The features are those in which controllers that read NISTIR 6556 differ from it and from each
other; nothing here is about a maker.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Comments = Literal["brackets", "semicolon", "none"]
LineEnds = Literal["lf", "crlf"]
DwellUnit = Literal["s", "ms"]
End = Literal["M2", "M30"]
ToolChange = Literal["files", "pause", "changer"]

FEWEST_DECIMALS, MOST_DECIMALS = 2, 6
ARC_DECIMALS = 3
"""Arcs need so many decimals: by NISTIR 6556, 3.5.3.2, the radii at an arc's two ends may
differ by 0.002 mm at most, and with two decimals rounding alone takes up 0.014 mm."""
FLATTENED = 0.002
"""How far a line may run from the arc that it stands for, mm."""
SHAPES = 0.011
"""Flattening, offset sagitta, gouge and arc fit of the house's table together, mm."""
PROMISED = 0.015
"""All tolerances together may move a copper edge by this much, mm."""
LAST_NUMBER = 99_999
"""A line number has five digits at most: NISTIR 6556, 3.3.1."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dialect:
    """How programs are spelt; as it stands, plain RS-274 by NISTIR 6556.

    Attributes:
        arcs: False when every arc must be told as lines.
        cycles: whether straight drilling is told as G81 and G83.
        comments: in brackets by the report, after a semicolon to the end of the line, or none.
        line_numbers: whether every line has an N word, the line's own number in the file.
        decimals: of every number.
        line_ends: what ends a line.
        dwell_unit: of P in G4.
        percent: whether a percent line stands first and last.
        end: the word that ends a program.
        start_lines: before everything else that is done, as they stand.
        end_lines: before the word that ends.
    """

    arcs: bool = True
    cycles: bool = False
    comments: Comments = "brackets"
    line_numbers: bool = False
    decimals: int = 4
    line_ends: LineEnds = "lf"
    dwell_unit: DwellUnit = "s"
    percent: bool = False
    end: End = "M2"
    start_lines: tuple[str, ...] = ()
    end_lines: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not FEWEST_DECIMALS <= self.decimals <= MOST_DECIMALS:
            raise ValueError(f"decimals must be {FEWEST_DECIMALS} to {MOST_DECIMALS}")
        if self.arcs and self.decimals < ARC_DECIMALS:
            raise ValueError(f"arcs need {ARC_DECIMALS} decimals or more")

    @property
    def digit(self) -> float:
        """The last digit, mm."""
        return float(10**-self.decimals)

    @property
    def edge(self) -> float:
        """How far a copper edge may lie off by all tolerances together, mm."""
        return SHAPES + self.digit + (0.0 if self.arcs else FLATTENED)
