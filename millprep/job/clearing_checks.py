"""What must hold between the keys of clearing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from millprep.job.mistakes import Mistake, wrong
from millprep.job.places import KeyPath

Filled = Mapping[str, Any]


def check_clear(at: KeyPath, board: Filled) -> Iterator[Mistake]:
    """Yield every contradiction in the areas of the board at `at`."""
    for j, table in enumerate(board["clear"] or []):
        path = (*at, "clear", j)
        ways = [key for key in ("box", "corners") if key in table]
        if len(ways) != 1:
            words = "gives box and corners; keep one of them" if ways else "gives no box or corners"
            yield wrong(path, words)
        box, corners = table.get("box"), table.get("corners")
        if box and not (box[0] < box[2] and box[1] < box[3]):
            yield wrong((*path, "box"), "must be [x0, y0, x1, y1] with x0 < x1 and y0 < y1")
        if corners and _crosses_itself(corners):
            yield wrong((*path, "corners"), "must go once around an area without crossing")


def check_clearing(isolation: Filled, clearing: Filled | None) -> Iterator[Mistake]:
    """Yield every contradiction between isolation and clearing; None for no [clearing]."""
    around, gap = isolation.get("pad_gap"), isolation.get("gap")
    opened = isolation.get("base_gap") if gap == "by voltage" else gap
    if around is not None and opened is not None and around <= opened:
        yield wrong(
            ("isolation", "pad_gap"),
            f"must be wider than the {opened:g} mm that are opened everywhere; leave it out, or "
            "make it wider",
        )
    if isolation["course"] == "middle":
        if isolation.get("gap") == "by voltage":
            yield wrong(
                ("isolation", "gap"),
                'must be in mm with course = "middle", which leaves no copper between pieces that '
                "could be taken away",
            )
        if around is not None:
            yield wrong(
                ("isolation", "pad_gap"),
                'must be left out with course = "middle", which leaves no copper between pieces '
                "that could be taken away",
            )
        if clearing is not None and clearing["copper"] == "all":
            yield wrong(
                ("clearing", "copper"),
                'must be "areas" with isolation course = "middle", which keeps all copper',
            )


def _crosses_itself(corners: list[list[float]]) -> bool:
    import shapely

    return not shapely.Polygon(corners).is_valid or shapely.Polygon(corners).area == 0
