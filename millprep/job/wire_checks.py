"""What must hold between the keys of a wire."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from millprep.job.fields import filled
from millprep.job.mistakes import Mistake, wrong
from millprep.job.places import KeyPath
from millprep.job.wire import WireTable

SHORTER = 1e-6
"""A wire may be shorter than straight by the rounding of its ends, mm."""


def check_wires(at: KeyPath, board: dict[str, Any]) -> Iterator[Mistake]:
    """Yield every contradiction in the wires of the board at `at`."""
    for j, written in enumerate(board["wire"] or []):
        path = (*at, "wire", j)
        wire = filled(WireTable, written)
        ways = [key for key in ("diameter", "area") if key in written]
        if len(ways) != 1:
            both = "gives diameter and area; keep one of them"
            yield wrong(path, both if ways else "gives no diameter or area of its copper")
        start, end, length = wire.get("start"), wire.get("end"), wire["length"]
        if not start or not end:
            continue
        straight = math.dist(start, end)
        if straight == 0:
            yield wrong((*path, "end"), "must lead from one point to another")
        elif length is not None and length < straight - SHORTER:
            words = f"is shorter than the {straight:.2f} mm straight between its ends: {length:g}"
            yield wrong((*path, "length"), words)
