"""Proof of a layout, from the numbers it is written in alone, not from how it was made."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.ops import nearest_points

from millprep.model.blank import Spot
from millprep.model.finding import Finding
from millprep.nesting.wanted import StockSheet, Wanted, areas_on

SLACK = 1e-6
"""Rounding that a distance may fall short by, mm."""

Areas = Sequence[tuple[Spot, shapely.Polygon]]


@dataclass(frozen=True, slots=True)
class Written:
    """Where a layout is written: its file, and the line of every board and copy."""

    file: str | None = None
    lines: Mapping[tuple[str, int], int] | None = None

    def stop(
        self, code: str, message: str, spot: Spot, at: tuple[float, float] | None = None
    ) -> Finding:
        """A finding about one spot."""
        return Finding(
            code=code,
            severity="stop",
            message=message,
            frame=None if at is None else "blank",
            at=None if at is None else (round(at[0], 4), round(at[1], 4)),
            board=spot.board,
            copy=spot.copy,
            blank=spot.blank,
            file=self.file,
            line=(self.lines or {}).get((spot.board, spot.copy)),
        )


def check_layout(
    spots: Sequence[Spot],
    wanted: Sequence[Wanted],
    sheets: Sequence[StockSheet],
    blanks: Sequence[int],
    written: Written | None = None,
    complete: bool = True,
) -> list[Finding]:
    """Every fault that keeps a layout from being cut, a `stop` each; empty when it is sound.

    Args:
        spots: where the copies lie.
        wanted: every board with the copies that must have a place.
        sheets: sizes of blanks.
        blanks: for every blank, number 1 first, the place of its sheet in `sheets`.
        written: where the layout is written, to name its lines.
        complete: whether a copy without a place is a fault.
    """
    written = written or Written()
    findings = [*_names(spots, wanted, blanks, written), *_counts(spots, wanted, written, complete)]
    for sheet, count in sorted(Counter(blanks).items()):
        if count > sheets[sheet].count:
            message = (
                f"The layout takes {count} blanks of a size of which {sheets[sheet].count} are in "
                "stock. Raise [[blank]] count or lay out again."
            )
            findings.append(
                Finding(code="layout-blanks", severity="stop", message=message, file=written.file)
            )
    for number, sheet in enumerate(blanks, start=1):
        here = areas_on(number, spots, wanted)
        findings += _edges(here, sheets[sheet], written)
        findings += _pairs(here, sheets[sheet].spacing, written)
    return findings


def _names(
    spots: Sequence[Spot], wanted: Sequence[Wanted], blanks: Sequence[int], written: Written
) -> Iterator[Finding]:
    copies = {(board.name, copy) for board in wanted for copy in board.copies}
    boards = {board.name: board for board in wanted}
    for spot in spots:
        if spot.board not in boards:
            message = f"The layout places a {spot.words}, but the job has no such board."
            yield written.stop("layout-unknown-board", f"{message} Delete its line.", spot)
        elif (spot.board, spot.copy) not in copies:
            message = f"The job has no {spot.words}. Delete its line or raise the count."
            yield written.stop("layout-unknown-copy", message, spot)
        elif not any(_same_turn(spot.turn, turn) for turn in boards[spot.board].turns):
            allowed = ", ".join(f"{turn:g}" for turn in boards[spot.board].turns)
            message = (
                f"{_upper(spot)} is turned by {spot.turn:g}°, but the job allows {allowed}. "
                "Turn it back or add the turn to the job."
            )
            yield written.stop("layout-turn", message, spot)
        if spot.blank > len(blanks):
            message = (
                f"{_upper(spot)} is on blank {spot.blank}, but the last blank is {len(blanks)}."
            )
            yield written.stop("layout-no-blank", message, spot)


def _same_turn(first: float, second: float) -> bool:
    return abs((first - second + 180) % 360 - 180) <= 1e-9


def _upper(spot: Spot) -> str:
    return spot.words[0].upper() + spot.words[1:]


def _counts(
    spots: Sequence[Spot], wanted: Sequence[Wanted], written: Written, complete: bool
) -> Iterator[Finding]:
    times = Counter((spot.board, spot.copy) for spot in spots)
    reported: set[tuple[str, int]] = set()
    for spot in spots:
        key = (spot.board, spot.copy)
        if times[key] > 1 and key not in reported:
            reported.add(key)
            message = f"{_upper(spot)} has {times[key]} places. Keep one."
            yield written.stop("layout-twice", message, spot)
    missing = [(o.name, copy) for o in wanted for copy in o.copies if not times[o.name, copy]]
    if complete:
        for name, copy in missing:
            yield Finding(
                code="layout-count",
                severity="stop",
                message=f"Board {name} copy {copy} has no place in the layout. Lay out again.",
                board=name,
                copy=copy,
                file=written.file,
            )


def _edges(here: Areas, sheet: StockSheet, written: Written) -> Iterator[Finding]:
    """Boards that leave their blank or its margin, or lie on a keep-out."""
    rim = sheet.outline.boundary
    for spot, area in here:
        outside = area.difference(sheet.outline)
        if outside.buffer(-SLACK).is_empty:
            lacks = sheet.margin - area.distance(rim)
            if lacks > SLACK:
                on_board, _ = nearest_points(area, rim)
                message = (
                    f"{_upper(spot)} lies {sheet.margin - lacks:.4f} mm from the blank's edge "
                    f"near ({on_board.x:.2f}, {on_board.y:.2f}), but the margin is "
                    f"{sheet.margin:g} mm. Move it inward by {lacks:.4f} mm."
                )
                place = (on_board.x, on_board.y)
                yield written.stop("layout-margin", message, spot, place)
        else:
            point = outside.representative_point()
            message = (
                f"{_upper(spot)} leaves blank {spot.blank} near ({point.x:.2f}, {point.y:.2f}). "
                "Move it back."
            )
            yield written.stop("layout-off-blank", message, spot, (point.x, point.y))
        for keep_out in sheet.keep_outs:
            common = area.intersection(keep_out).buffer(-SLACK)
            if not common.is_empty:
                point = common.representative_point()
                message = (
                    f"{_upper(spot)} covers a place that is kept free for a clamp or a hole, "
                    f"near ({point.x:.2f}, {point.y:.2f}). Move it off."
                )
                yield written.stop("layout-keep-out", message, spot, (point.x, point.y))


def _pairs(here: Areas, spacing: float, written: Written) -> Iterator[Finding]:
    """Boards that overlap, or are nearer to each other than the spacing."""
    areas = np.array([area for _, area in here], dtype=object)
    if len(areas) < 2:
        return
    pairs = shapely.STRtree(areas).query(areas, predicate="dwithin", distance=spacing)
    for i, j in sorted((int(i), int(j)) for i, j in pairs.T if i < j):
        (spot, first), (other, second) = here[i], here[j]
        common = first.intersection(second).buffer(-SLACK / 2)
        if not common.is_empty:
            point = common.representative_point()
            message = (
                f"{_upper(other)} overlaps {spot.words}{_line(spot, written)} near "
                f"({point.x:.2f}, {point.y:.2f}). Move one of them."
            )
            yield written.stop("layout-overlap", message, other, (point.x, point.y))
            continue
        distance = float(first.distance(second))
        if distance < spacing - SLACK:
            near, _ = nearest_points(second, first)
            message = (
                f"{_upper(other)} is {distance:.4f} mm from {spot.words}{_line(spot, written)} "
                f"near ({near.x:.2f}, {near.y:.2f}), but the spacing is {spacing:g} mm. "
                "Move one of them."
            )
            yield written.stop("layout-spacing", message, other, (near.x, near.y))


def _line(spot: Spot, written: Written) -> str:
    line = (written.lines or {}).get((spot.board, spot.copy))
    return "" if line is None else f" (line {line})"
