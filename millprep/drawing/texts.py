"""Texts of a drawing: part names with the pads that they belong to, and what a legend engraves.

A pad here is a hole on copper. A text goes to the pads nearest to its middle: the nearest one, and
all that are no more than `AS_NEAR` times as far. So a text between the two pads of a resistor, or
in the middle of a valve base, names all of them, and a text next to one pad names that one.

- A pad that two texts claim gets the nearer one. Where the other is no more than `AS_NEAR` times as
  far it gets none: a wrong name is worse than no name.
- A text names no pad that is farther than `REACH`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from millprep.drawing.ledger import Ledger
from millprep.drawing.marks.mark import Curve, Fill, Mark, Stroke, Words
from millprep.geometry.path import Path, Point
from millprep.model.board import Board, Hole, Legend, Lettering, NetPoint
from millprep.model.finding import Finding, Severity


def legend_of(
    by_layer: Mapping[str, Sequence[Mark]], names: Sequence[str], ledger: Ledger
) -> Legend | None:
    """The legend that layers of these names draw; None without any name.

    A line is engraved along its centre, whatever its width. A filled area has no line to follow
    and is left out.
    """
    lines: list[Path] = []
    texts: list[Lettering] = []
    for name in dict.fromkeys(name.casefold() for name in names):
        before = len(lines) + len(texts)
        for mark in by_layer.get(name, ()):
            if isinstance(mark, Words):
                texts.append(replace(mark.text, layer=mark.source.layer))
                ledger.use(mark.source, "legend")
            elif isinstance(mark, Curve | Stroke):
                curve = mark if isinstance(mark, Curve) else mark.curve
                ends = curve.points[:1] if curve.closed else curve.points[:0]
                lines.append(Path.lines(np.vstack((curve.points, ends))))
                ledger.use(mark.source, "legend")
            elif isinstance(mark, Fill):
                ledger.leave(mark.source, "a filled area is not engraved")
        if len(lines) + len(texts) == before:
            ledger.stop(
                "legend-empty",
                f"layer {name!r} (legend) holds no line and no text in the drawing of the copper",
                "name the layer that holds the legend, or leave layers.legend out",
            )
    return Legend(tuple(lines), tuple(texts)) if names else None


REACH = 15.0
"""The middle of a text is no farther from the pads that it names, mm (a rule of this tool)."""
AS_NEAR = 1.5
"""Pads, or texts, that are no more than so many times as far count as near as the nearest."""
PIN_NEAR = 0.1
"""A point of the netlist this close to a hole's centre line, mm, is the pin in it."""
SAME = 0.01
"""Texts that say the same this close together, mm, are one, drawn twice."""


def named_in(texts: Iterable[Lettering], layers: Iterable[str]) -> list[Lettering]:
    """The texts on these layers that say something, each once."""
    wanted = {layer.casefold() for layer in layers}
    kept: dict[tuple[str, int, int], Lettering] = {}
    for text in texts:
        words = _name(text)
        if text.layer.casefold() in wanted and words:
            x, y = text.middle
            kept.setdefault((words, round(x / SAME), round(y / SAME)), text)
    return list(kept.values())


def with_part_names(board: Board, texts: Iterable[Lettering], shown_as: str) -> Board:
    """The board with the parts that texts of its drawing name, and what is doubtful in them.

    A netlist wins: its points keep the part they name, and take one from a text only where they
    name none.

    Args:
        board: with the points of its netlist, placed.
        texts: see `named_in`.
        shown_as: the drawing, for the findings.
    """
    reading = _TextsOnPads(board, list(texts), shown_as)
    parts: list[NetPoint] = []
    points = list(board.points)
    netlist = shapely.STRtree([shapely.Point(point.at) for point in points])
    for hole, name in reading.names():
        on = netlist.query(hole.spine, predicate="dwithin", distance=PIN_NEAR).tolist()
        if not on:
            parts.append(NetPoint(None, hole.at, name))
        for n in sorted(on):
            if not points[n].part:
                points[n] = replace(points[n], part=name)
            elif points[n].part.casefold() != name.casefold():
                reading.contradicts(hole, name, points[n])
    return replace(
        board,
        points=tuple(points),
        parts=tuple(parts),
        doubts=(*board.doubts, *reading.findings),
    )


@dataclass(frozen=True, slots=True)
class _Claim:
    """A text that a pad may have its name from, and how far its middle is, mm."""

    far: float
    text: int


class _TextsOnPads:
    """Texts laid on the pads of a board, with what is doubtful."""

    def __init__(self, board: Board, texts: list[Lettering], shown_as: str) -> None:
        self.board, self.texts, self.shown_as = board, texts, shown_as
        self.pads = [hole for hole in board.holes if hole.piece is not None]
        self.findings: list[Finding] = []

    def names(self) -> list[tuple[Hole, str]]:
        """Every pad that has a name, in the order of the pads."""
        claims = self._claims()
        named: list[tuple[Hole, str]] = []
        owners: dict[str, set[int]] = {}
        for pad, some in sorted(claims.items()):
            first, *others = sorted(some, key=lambda claim: (claim.far, claim.text))
            name = _name(self.texts[first.text])
            rivals = [
                other
                for other in others
                if other.far <= AS_NEAR * first.far and _name(self.texts[other.text]) != name
            ]
            if rivals:
                self._ambiguous(self.pads[pad], first, rivals[0])
                continue
            named.append((self.pads[pad], name))
            owners.setdefault(name.casefold(), set()).add(first.text)
        for texts in owners.values():
            self._twice(sorted(texts))
        return named

    def _claims(self) -> dict[int, list[_Claim]]:
        """The texts that claim each pad, by the pad's number."""
        claims: dict[int, list[_Claim]] = {}
        tree = shapely.STRtree([hole.spine for hole in self.pads])
        for n, text in enumerate(self.texts):
            middle = shapely.Point(text.middle)
            near = tree.query(middle, predicate="dwithin", distance=REACH)
            if not len(near):
                self._far(text, tree)
                continue
            far = shapely.distance(tree.geometries[near], middle)
            for pad, distance in zip(near.tolist(), far.tolist(), strict=True):
                if distance <= AS_NEAR * far.min():
                    claims.setdefault(pad, []).append(_Claim(distance, n))
        return claims

    def contradicts(self, hole: Hole, name: str, point: NetPoint) -> None:
        """The netlist puts another part on a pad than the text next to it."""
        self._add(
            "part-name-unlike-netlist",
            "warn",
            f"Text {name!r} is nearest to {hole.words}, where the netlist puts {point.words}. The "
            "lists say what the netlist says. Move the text to its own pads, or correct the "
            "netlist.",
            hole.at,
        )

    def _far(self, text: Lettering, tree: shapely.STRtree) -> None:
        words = "The board has no hole on copper."
        if len(tree.geometries):
            far = shapely.distance(tree.geometries, shapely.Point(text.middle)).min()
            words = f"The nearest pad with a hole is {far:.1f} mm away, more than {REACH:g} mm."
        self._add(
            "part-name-far",
            "warn",
            f"Text {_name(text)!r} names no part. {words} Move it to its pads, or off the layers "
            "of layers.parts.",
            text.middle,
        )

    def _ambiguous(self, hole: Hole, first: _Claim, other: _Claim) -> None:
        names = [_name(self.texts[claim.text]) for claim in (first, other)]
        self._add(
            "part-name-ambiguous",
            "note",
            f"The pad at {hole.words} gets no part name: {names[0]!r} is {first.far:.1f} mm away "
            f"and {names[1]!r} {other.far:.1f} mm. Move the right text nearer to it.",
            hole.at,
        )

    def _twice(self, texts: list[int]) -> None:
        """Texts that name different pads and say the same."""
        if len(texts) < 2:
            return
        places = [self.texts[n].middle for n in texts]
        where = " and ".join(f"({x:.3f}, {y:.3f})" for x, y in places[:2])
        more = f", and {len(texts) - 2} more times" if len(texts) > 2 else ""
        self._add(
            "part-name-twice",
            "warn",
            f"{len(texts)} parts are called {_name(self.texts[texts[0]])!r}: its text is at "
            f"{where} mm{more}. Give each part a name of its own in the drawing.",
            places[1],
        )

    def _add(self, code: str, severity: Severity, message: str, at: Point) -> None:
        self.findings.append(
            Finding(
                code=code,
                severity=severity,
                message=message,
                frame="drawing",
                at=at,
                board=self.board.name,
                file=self.shown_as,
            )
        )


def _name(text: Lettering) -> str:
    """What it says, in one line."""
    return " ".join(text.words.split())
