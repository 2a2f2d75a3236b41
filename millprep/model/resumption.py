"""A resumption: how a program continues after its cutter broke."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Resumption:
    """Where one program of a set is resumed.

    Attributes:
        file: of the new program, from the folder of its set.
        of: the program it resumes, from the folder of the set it is made from.
        wish: where it was to continue, in the words of the command.
        point: the restart point in which it begins.
        points: how many the program has.
        entry: where the cutter goes down, (x, y, z), machine frame.
        overlap: mm along the path from there to the place that was named; None where it begins at
            a restart point, whose cut it makes anew as a whole.
        cuts: how many of the program's cuts it makes, the first perhaps in part.
        board, copy: the copy whose cuts alone it makes; None for all.
    """

    file: str
    of: str
    wish: str
    point: int
    points: int
    entry: tuple[float, float, float]
    overlap: float | None
    cuts: int
    board: str | None = None
    copy: int | None = None

    def __post_init__(self) -> None:
        if not 1 <= self.point <= self.points or not 1 <= self.cuts <= self.points:
            raise ValueError(f"{self.file}: no restart point {self.point} of {self.points}")
        if (self.board is None) != (self.copy is None):
            raise ValueError("a board needs the number of its copy")
