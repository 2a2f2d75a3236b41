"""A key of the job that its drawing does not bear out."""

from __future__ import annotations

from dataclasses import dataclass

from millprep.geometry.path import Point


@dataclass(frozen=True, slots=True)
class Misfit:
    """Something in the job that its drawing does not bear out.

    Attributes:
        code: as a finding's.
        path: keys from the top of the job file, with the index of an element of an array.
        words: follow the key's name.
        board: name of the board.
        at: place in the drawing frame, mm; None when there is none.
    """

    code: str
    path: tuple[str | int, ...]
    words: str
    board: str
    at: Point | None = None
