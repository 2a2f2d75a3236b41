"""A program as its file was read back: where the cutter goes, line by line, machine frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from millprep.geometry.path import FloatArray

IntArray = NDArray[np.int64]

RAPID, FEED, ARC_CW, ARC_CCW = range(4)
"""Kinds of motion, as numbers."""


@dataclass(frozen=True, eq=False, slots=True)
class Trail:
    """The motion of one program, in order.

    Attributes:
        file: the program's path relative to the set's folder.
        xyz: (n + 1, 3) places; move i leads from place i to place i + 1.
        kind: (n,) kinds of motion.
        centre: (n, 2) centres of the arcs, nan for what is straight.
        feed: (n,) mm/min, nan for a rapid.
        line: (n,) lines of the file, from 1.
        wait: (n,) seconds that the cutter stands before the move.

    Raises:
        ValueError: for arrays that do not fit together, or places that are not finite.
    """

    file: str
    xyz: FloatArray
    kind: IntArray
    centre: FloatArray
    feed: FloatArray
    line: IntArray
    wait: FloatArray

    def __post_init__(self) -> None:
        n = len(self.kind)
        fits = (
            self.xyz.shape == (n + 1, 3)
            and self.centre.shape == (n, 2)
            and self.feed.shape == self.line.shape == self.wait.shape == self.kind.shape == (n,)
        )
        if not fits:
            raise ValueError(f"trail {self.file}: its arrays do not fit together")
        if not np.isfinite(self.xyz).all():
            raise ValueError(f"trail {self.file}: a place is not finite")
        for array in (self.xyz, self.kind, self.centre, self.feed, self.line, self.wait):
            array.setflags(write=False)

    def __len__(self) -> int:
        return len(self.kind)
