"""The ledger: what became of every entity, and everything that is wrong with the drawing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import shapely

from millprep.drawing.marks.chain import TOLERANCE
from millprep.drawing.marks.mark import Aside, Curve, Mark, Source, Stroke
from millprep.geometry.path import Point
from millprep.model.board import LeftOut
from millprep.model.finding import MOST_PER_CODE, Finding, Refusal


class Ledger:
    """Collects, for one drawing, what is used, what is left out and what is wrong.

    Attributes:
        used: numbers of the model space entities of which something is used.
        repairs: what was changed to open damaged files, as sentences.
        changed: names of all such changes.
        warnings: of how the drawing is read.
    """

    def __init__(self, board: str | None, shown_as: str) -> None:
        self.board = board
        self.shown_as = shown_as
        self.used: set[int] = set()
        self.repairs: list[str] = []
        self.changed: list[str] = []
        self.warnings: list[Finding] = []
        self._roles: dict[int, set[str]] = {}
        self._left: list[tuple[Source, str, bool]] = []
        self._stops: list[Finding] = []
        self._more: Counter[str] = Counter()

    def use(self, source: Source, role: str) -> None:
        """The mark of this source is used."""
        self.used.add(source.number)
        self._roles.setdefault(source.number, set()).add(role)

    def leave(self, source: Source, reason: str, *, harmless: bool = False) -> None:
        """The mark of this source plays none; `harmless` if the board is the same without it."""
        self._left.append((source, reason, harmless))

    def stop(
        self,
        code: str,
        what: str,
        remedy: str,
        *,
        source: Source | None = None,
        at: Point | None = None,
    ) -> None:
        """Note a fault that refuses the drawing; `at` in mm, drawing frame."""
        self._more[code] += 1
        if self._more[code] > MOST_PER_CODE:
            return
        where = []
        if source is not None:
            where.append(str(source))
        if at is not None:
            where.append(f"at ({at[0]:.3f}, {at[1]:.3f}) mm")
        head = f"{', '.join(where)}: " if where else ""
        self._stops.append(
            Finding(
                code=code,
                severity="stop",
                message=f"{head}{what}; {remedy}" if remedy else f"{head}{what}",
                frame="drawing" if at is not None else None,
                at=at,
                board=self.board,
                file=self.shown_as,
            )
        )

    def warn(self, code: str, message: str, at: Point) -> None:
        """Note how the drawing is read where a person may have meant something else."""
        self.warnings.append(
            Finding(
                code=code,
                severity="warn",
                message=message,
                frame="drawing",
                at=at,
                board=self.board,
                file=self.shown_as,
            )
        )

    @property
    def stopped(self) -> bool:
        """Whether anything refuses the drawing."""
        return bool(self._stops)

    def refuse_if_stopped(self) -> None:
        """Raise all faults together.

        Raises:
            Refusal: exit code 3, when there is any.
        """
        if self._stops:
            raise Refusal(self.take(), exit_code=3)

    def take(self) -> tuple[Finding, ...]:
        """All faults so far; the ledger forgets them."""
        last = {finding.code: n for n, finding in enumerate(self._stops)}
        for code, n in last.items():
            more = max(self._more[code] - MOST_PER_CODE, 0)
            self._stops[n] = replace(self._stops[n], more=more)
        findings = tuple(self._stops)
        self._stops.clear()
        self._more.clear()
        return findings

    def left_out(self) -> tuple[LeftOut, ...]:
        """Entities of which nothing is used, then parts of used inserts, grouped and sorted.

        Entities count once each, under the reason first given for them; what lies in a
        block carries its block's name in its kind.
        """
        whole: dict[int, tuple[str, str, str, bool]] = {}
        inside: Counter[tuple[str, str, str, bool]] = Counter()
        for source, reason, harmless in self._left:
            if source.number in self.used:
                if source.block is not None:
                    kind = f"{source.kind} in block {source.block}"
                    inside[(source.layer, kind, reason, harmless)] += 1
                continue
            kind = source.kind if source.block is None else f"INSERT of {source.block}"
            whole.setdefault(source.number, (source.layer, kind, reason, harmless))
        counts = Counter(whole.values())
        return tuple(
            LeftOut(layer, kind, n, reason, harmless)
            for group in (counts, inside)
            for (layer, kind, reason, harmless), n in sorted(group.items())
        )

    def roles(self) -> dict[str, int]:
        """Number of model space entities for each set of roles, "copper + holes"."""
        return dict(sorted(Counter(" + ".join(sorted(r)) for r in self._roles.values()).items()))


ON_A_LINE = "{}, and lies on a line of its layer, so that nothing changes without it"


def leave_points(
    places: Sequence[Aside], by_layer: Mapping[str, Sequence[Mark]], ledger: Ledger
) -> None:
    """Hand them to the ledger; what is alone may be a dot or a hole that was meant.

    Args:
        places: with where they lie, on layers that the job uses.
        by_layer: what is read, by folded layer name.
        ledger: takes them.
    """
    alike: dict[str, list[Aside]] = {}
    for place in places:
        alike.setdefault(place.source.layer.casefold(), []).append(place)
    for layer, some in alike.items():
        lines = [line for mark in by_layer.get(layer, ()) if (line := _line(mark)) is not None]
        points = shapely.points(np.array([entry.at for entry in some], dtype=float))
        tree = shapely.STRtree(lines)
        on, _ = tree.query(points, predicate="dwithin", distance=TOLERANCE)
        met = set(on.tolist())
        for n, entry in enumerate(some):
            reason = ON_A_LINE.format(entry.reason) if n in met else entry.reason
            ledger.leave(entry.source, reason, harmless=n in met)


def _line(mark: Mark) -> shapely.LineString | None:
    """The line that a mark draws, whatever its width."""
    if isinstance(mark, Stroke):
        mark = mark.curve
    if not isinstance(mark, Curve) or len(mark.points) < 2:
        return None
    points = mark.points
    return shapely.LineString(np.vstack((points, points[:1])) if mark.closed else points)
