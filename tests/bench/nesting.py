"""Densities and seconds of nesting, beside what was published.

Run it from the project's folder: `MILLPREP_SHARED=… python -m tests.bench.nesting`, with
`--effort high --workers 2` for the long search, or with names of single instances. Strips are
blanks of the strip's height that are longer than needed; the density is the area of the pieces
by height times used length. Every layout is proved from its written numbers before it counts.

Instances: ESICUP's irregular strip packing set and the jigsaws of Dighe and Jakiela (1996).
Best densities: Gardeyn, Vanden Berghe, Wauters, arXiv 2509.13329 (2025), tables 2 and 3.
Rectangles: cut from a rectangle, in the sizes and numbers of Hopper and Turton, European
Journal of Operational Research 128 (2001), whose own lists of items are not at hand; ours are
cut at random by guillotine, so the optimum is 100 % too.
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import random
import resource
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import shapely
from shapely.geometry.base import BaseGeometry

from millprep.nesting.check import check_layout
from millprep.nesting.figures import covered, used_length
from millprep.nesting.nest import EFFORTS, Effort, Nested, nest
from millprep.nesting.wanted import StockSheet, Wanted

CLASSIC = (
    "albano",
    "dagli",
    "fu",
    "jakobs1",
    "mao",
    "marques",
    "shapes0",
    "shirts",
    "swim",
    "trousers",
)
JIGSAWS = ("dighe1", "dighe2")
RECTANGLES = {
    "C1": (20, 20, 16),
    "C2": (60, 30, 28),
    "C3": (40, 15, 25),
    "C4": (60, 60, 49),
    "C5": (60, 90, 73),
    "C6": (80, 120, 97),
    "C7": (160, 240, 196),
}
"""Strip width, optimal height, number of items."""


def folder() -> Path:
    """The published instances."""
    return Path(os.environ["MILLPREP_SHARED"]) / "reference" / "nesting"


def best_published() -> dict[str, float]:
    """Densities in per cent by name of the instance."""
    with (folder() / "best_known_irregular.csv").open(encoding="utf-8") as lines:
        return {row["instance"]: float(row["best_density_pct"]) for row in csv.DictReader(lines)}


def instance(name: str) -> tuple[list[Wanted], float]:
    """Pieces and height of the strip."""
    if name in JIGSAWS:
        said = json.loads((folder() / "jigsaw_dighe" / f"{name}.json").read_text("utf-8"))
        pieces = [(item["polygon"], item["quantity"], [0.0]) for item in said["items"]]
        height = 100.0
    else:
        said = json.loads((folder() / "irregular" / f"{name}.json").read_text("utf-8"))
        pieces = [
            (item["shape"]["data"], item["demand"], item["allowed_orientations"])
            for item in said["items"]
        ]
        height = said["strip_height"]
    return [
        Wanted(f"p{n}", shapely.Polygon(xy), tuple(range(1, count + 1)), turns=tuple(turns))
        for n, (xy, count, turns) in enumerate(pieces)
    ], height


def strip(wanted: list[Wanted], height: float) -> StockSheet:
    """A blank of the strip's height, longer than needed."""
    area = sum(one.outline.area * len(one.copies) for one in wanted)
    return StockSheet(shapely.box(0, 0, max(3 * area / height, 1.01 * height), height), 0.0, 0.0)


def density(wanted: list[Wanted], height: float, effort: Effort, workers: int = 1) -> float:
    """Per cent of the used strip that pieces cover, proved."""
    sheet = strip(wanted, height)
    nested = nest(wanted, [sheet], effort, workers=workers)
    assert not nested.findings
    assert not check_layout(nested.spots, wanted, [sheet], nested.blanks)
    area = sum(one.outline.area * len(one.copies) for one in wanted)
    return 100 * area / (height * used_length(1, nested.spots, wanted, sheet))


def tiles(width: float, height: float, count: int, seed: int) -> list[Wanted]:
    """Rectangles cut from one, whole millimetres, the largest that can be is cut next."""
    rng = random.Random(seed)
    pieces = [(width, height)]
    while len(pieces) < count:
        pieces.sort(key=lambda size: -size[0] * size[1])
        w, h = pieces.pop(next(n for n, size in enumerate(pieces) if max(size) >= 2))
        if w >= h:
            cut = 1 + int(rng.random() * (w - 1))
            pieces += [(cut, h), (w - cut, h)]
        else:
            cut = 1 + int(rng.random() * (h - 1))
            pieces += [(w, cut), (w, h - cut)]
    return [
        Wanted(f"r{n}", shapely.box(0, 0, w, h), (1,), turns=(0.0, 90.0))
        for n, (w, h) in enumerate(sorted(pieces))
    ]


def filled(width: float, height: float, count: int, effort: Effort, workers: int = 1) -> float:
    """Per cent of a blank that rectangles cut from it cover again, proved."""
    wanted, sheet = (
        tiles(width, height, count, 1),
        StockSheet(shapely.box(0, 0, width, height), 0, 0),
    )
    nested = nest(wanted, [sheet], effort, workers=workers)
    assert not check_layout(nested.spots, wanted, [sheet], nested.blanks, complete=False)
    return 100 * covered(1, nested.spots, wanted, sheet)


def small_boards() -> list[Wanted]:
    """The realistic set, invented: six outlines, 32 boards that fill most of two blanks."""
    box = shapely.box
    shapes = {
        "notched": (box(0, 0, 84, 60).difference(box(30, 42, 54, 60)), 8),
        "ell": (box(0, 0, 72, 30).union(box(0, 0, 30, 72)), 6),
        "plain": (box(0, 0, 54, 36), 8),
        "long": (shapely.LineString([(18, 18), (78, 18)]).buffer(18, quad_segs=40), 5),
        "disc": (shapely.Point(26.4, 26.4).buffer(26.4, quad_segs=50), 3),
        "tee": (box(0, 48, 84, 72).union(box(30, 0, 54, 72)), 2),
    }
    return [
        Wanted(name, _polygon(shape), tuple(range(1, count + 1)), turns=(0, 90, 180, 270))
        for name, (shape, count) in shapes.items()
    ]


def _polygon(shape: BaseGeometry) -> shapely.Polygon:
    assert isinstance(shape, shapely.Polygon)
    return shape


def small_blank() -> StockSheet:
    """300 × 200 mm, margin 5, spacing 3, a clamp in two corners, three of them."""
    clamps = (shapely.box(0, 0, 20, 20), shapely.box(280, 180, 300, 200))
    return StockSheet(shapely.box(0, 0, 300, 200), 5.0, 3.0, 3, clamps)


def realistic(effort: Effort, workers: int = 1) -> tuple[Nested, float]:
    """The layout of the realistic set and the share of the first two blanks it covers."""
    wanted, sheet = small_boards(), small_blank()
    nested = nest(wanted, [sheet], effort, workers=workers)
    assert not check_layout(nested.spots, wanted, [sheet], nested.blanks)
    return nested, sum(covered(n, nested.spots, wanted, sheet) for n in (1, 2)) / 2


def _seconds() -> float:
    used = [resource.getrusage(w) for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


def lines(names: list[str], effort: Effort, workers: int) -> Iterator[str]:
    """The table, line by line."""
    gaps = []
    published = best_published() if os.environ.get("MILLPREP_SHARED") else {}
    for name in names or [*(CLASSIC + JIGSAWS if published else ()), *RECTANGLES, "boards"]:
        cpu, wall = _seconds(), time.perf_counter()
        if name == "boards":
            nested, share = realistic(effort, workers)
            value, best = 100 * share, 73.5
            note = f"{len(nested.spots)} on {len(nested.blanks)} blanks, at least 73.5"
        elif name in RECTANGLES:
            width, height, count = RECTANGLES[name]
            value = filled(width, height, count, effort, workers)
            best, note = 100.0, "known optimum 100"
        else:
            value = density(*instance(name), effort, workers)
            best = published.get(name, 100.0)
            note = f"best published {best:.2f}" if name in published else "known optimum 100"
        if name in CLASSIC:
            gaps.append(best - value)
        cpu, wall = _seconds() - cpu, time.perf_counter() - wall
        yield (
            f"{name:10} {value:6.2f} % ({note}), gap {best - value:6.2f}, "
            f"{cpu:6.1f} s of processors, {wall:6.1f} s"
        )
    if gaps:
        yield f"mean gap over {len(gaps)} instances: {sum(gaps) / len(gaps):.2f} points"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", help="instances; all when none is given")
    parser.add_argument("--effort", choices=sorted(EFFORTS), default="default")
    parser.add_argument("--workers", type=int, default=1, help="processes")
    given = parser.parse_args()
    for line in lines(given.names, EFFORTS[given.effort], given.workers):
        sys.stdout.write(line + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
