"""The parts of a legend: its lines, the pins that the blank is turned about, steps, picture."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path as File

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry import letters
from millprep.geometry.path import FloatArray, Path, Point
from millprep.geometry.pose import Pose
from millprep.model.blank import Blank, Placement, on_drawing
from millprep.model.board import Lettering
from millprep.model.finding import Finding, Refusal, stop
from millprep.model.job.job import JobPlan
from millprep.model.job.work import LegendPlan
from millprep.model.milling_pass import MillingPass, RegistrationHole
from millprep.report.drawing_pictures import LayerPicture, draw_drawing

SHORTEST = 0.2
"""What is left of a line between two holes is engraved if it is longer than this, mm."""


@dataclass(frozen=True, slots=True)
class Lines:
    """A legend, blank frame, copper side up.

    Attributes:
        drawn: all of it.
        kept: what is engraved.
        length: of all that is drawn, mm.
        away: of what holes and edges take away, mm.
        findings: letters left out, texts that were turned, and what is cut short.
    """

    drawn: BaseGeometry
    kept: tuple[Path, ...]
    length: float
    away: float
    findings: tuple[Finding, ...]


def lines_of(placements: Sequence[Placement], plan: LegendPlan, blank: Blank) -> Lines:
    """The legend of all boards of a blank.

    A text that would read backwards on the component side, as text next to copper that is seen from
    the copper, is turned about its middle.
    """
    drawn: list[shapely.LineString] = []
    kept: list[shapely.LineString] = []
    findings: list[Finding] = []
    away = plan.clear + plan.cutter.width(plan.depth) / 2
    for placement in placements:
        board = placement.board
        if board.legend is None:
            continue
        # the component side is seen the other way round than the copper
        backwards = [t for t in board.legend.texts if t.mirrored == placement.pose.mirrored]
        for text in board.legend.texts:
            findings += _left_out(text, placement)
        if backwards:
            count, first = len(backwards), backwards[0]
            words = (
                f"{count} of {len(board.legend.texts)} texts of the legend, {first.words!r} first, "
                "would read backwards on the component side. They are turned about their middles "
                "so that they can be read. Is drawn_from right?"
            )
            findings.append(on_drawing(placement, "legend-backwards", "note", words, first.at))
        paths = board.legend.paths(mirrored=placement.pose.mirrored)
        mine = [placement.pose.shape(path.line()) for path in paths]
        inside = placement.pose.shape(board.outline).buffer(-away, join_style="mitre")
        holes = [
            shapely.buffer(hole.spine, hole.diameter / 2 + away, quad_segs=64)
            for hole in placement.holes
        ]
        room = shapely.difference(inside, shapely.union_all(holes))
        for line in mine:
            parts = shapely.line_merge(shapely.intersection(line, room))
            kept += [
                part
                for part in shapely.get_parts(parts).tolist()
                if isinstance(part, shapely.LineString) and part.length > SHORTEST
            ]
        drawn += mine
    length = sum(line.length for line in drawn)
    gone = length - sum(line.length for line in kept)
    if gone > SHORTEST:
        words = f"{gone:.1f} of {length:.1f} mm of the legend are not engraved: holes and edges"
        findings.append(
            Finding(
                code="legend-cut-short",
                severity="note",
                message=f"{words} with {plan.clear:g} mm around them take them away.",
                blank=blank.number,
            )
        )
    paths_kept = tuple(Path.lines(shapely.get_coordinates(line)) for line in kept)
    return Lines(shapely.union_all(drawn), paths_kept, length, gone, tuple(findings))


def _left_out(text: Lettering, placement: Placement) -> Iterator[Finding]:
    """Characters that have no strokes."""
    left = letters.drawable(" ".join(text.words.split()))[1]
    if left:
        words = f"Text {text.words!r} is engraved without {left!r}: there are no strokes for it."
        yield on_drawing(placement, "legend-letters-left-out", "note", words, text.at)


STEP = 0.5
"""Pins are at whole steps from the blank's corner, mm, so that a rule finds them."""
ODD = 3.0
"""Turned the wrong way round, a blank lies this far off, mm, where there is room, and it shows."""
SPAN = 0.5
"""The pins are at least this part of the blank's length apart."""


@dataclass(frozen=True, slots=True)
class Turning:
    """How a blank is turned over.

    Attributes:
        pose: blank to machine, turned over.
        holes: of the pins, on the line that it is turned over about.
        along: the side that the line runs along, 0 for the blank's x, 1 for its y.
        off: by how much the blank lies off when it is turned the wrong way round, mm.
    """

    pose: Pose
    holes: tuple[RegistrationHole, ...]
    along: int
    off: float

    @property
    def words(self) -> str:
        """What a person does."""
        (x0, y0), (x1, y1) = (hole.machine for hole in self.holes)
        along = "X" if abs(x1 - x0) > abs(y1 - y0) else "Y"
        wrong = (
            f"The other way round it lies {self.off:g} mm off along {along}"
            if self.off >= ODD
            else "Mark one of the holes and its pin first: it fits the other way round as well"
        )
        return (
            f"turn the blank over about the line through its pins, which runs along {along}: each "
            f"pin keeps its hole. {wrong}"
        )


def _ends(good: FloatArray, length: float) -> tuple[float, float]:
    """Two of these places, far apart and `ODD` off the middle, or as they can be without that."""
    low, high = float(good[0]), float(good[-1])
    odd = [(low, float(t)) for t in good] + [(float(t), high) for t in good]
    odd = [(a, b) for a, b in odd if abs(a + b - length) >= ODD and b - a >= SPAN * length]
    return max(odd, key=lambda ends: ends[1] - ends[0], default=(low, high))


def turning(plan: JobPlan, blank: Blank, mill_pass: MillingPass, cut: BaseGeometry) -> Turning:
    """The pins of a blank, as far apart as there is room.

    Args:
        plan: the job.
        blank: a rectangle.
        mill_pass: its only pass.
        cut: what the pass cuts, blank frame.

    Raises:
        Refusal: when the margins have no room for two pins.
    """
    registration = plan.registration
    keep = registration.hole / 2 + registration.wall
    back = mill_pass.pose.inverse()
    clamps = [back.shape(clamp.box.shape) for clamp in plan.setup.clamps if clamp.on_in(1)]
    denied = shapely.union_all([cut, *clamps, shapely.Point(back.point(mill_pass.touch))])
    reach = back.shape(plan.machine.reachable.shape)
    inside = shapely.box(0, 0, *blank.size).buffer(-keep, join_style="mitre")
    # the axis of what bores them stays within the travel
    bored = shapely.intersection(inside, reach.buffer(-registration.hole / 2, join_style="mitre"))
    free = shapely.difference(bored, denied.buffer(keep))
    width, height = blank.size
    for along in (0, 1) if width >= height else (1, 0):
        middle, length = blank.size[1 - along] / 2, blank.size[along]
        t = np.arange(STEP, length, STEP)
        u, v = (t, np.full_like(t, middle)) if along == 0 else (np.full_like(t, middle), t)
        good = t[shapely.intersects_xy(free, u, v)]
        if not len(good) or good[-1] - good[0] < SPAN * length:
            continue
        first, last = _ends(good, length)
        over = Pose.mirror_y(height) if along == 0 else Pose(a=-1.0, c=width)
        places: list[Point] = [(s, middle) if along == 0 else (middle, s) for s in (first, last)]
        holes = tuple(
            RegistrationHole(
                f"t{n}", at, mill_pass.pose.point(at), registration.hole, "locate", 1, 1,
                pin=f"p{n}",
            )
            for n, at in enumerate(places, 1)
        )  # fmt: skip
        return Turning(
            over.then(mill_pass.pose), holes, along, round(abs(first + last - length), 3)
        )
    words = (
        "No room for two pins on a line through the blank's middle: each needs "
        f"{2 * keep:.1f} mm of laminate that nothing cuts and no clamp covers. Give [blank] a "
        "wider margin or a larger size, or move the clamps from the middle of its sides."
    )
    raise Refusal([stop("legend-no-room", words)])


def steps_words(
    turned: Turning, plan: JobPlan, blank: Blank, files: Sequence[str]
) -> tuple[str, ...]:
    """What a person does, in order."""

    def of(stage: str) -> str:
        return ", ".join(file for file in files if file.startswith(stage))

    first, second = turned.holes
    places = " and ".join(f"X{x:g} Y{y:g}" for x, y in (first.machine, second.machine))
    words = turned.words[0].upper() + turned.words[1:]
    return (
        "Lay the blank copper side up where pass 1 has it, and hold it as for pass 1. "
        f"Set Z zero on the copper. Run {of('1-')}. It makes two holes at {places}.",
        f"Take the blank and its clamps off. Set Z zero on the spoilboard. Run {of('2-')}. Press "
        f"two pins of {plan.registration.pin_diameter:g} mm in; their tops must end below the "
        f"blank's top, {blank.thickness:g} mm above the spoilboard.",
        f"{words}. Component side up, copper down, press it onto the pins and hold it as before.",
        f"Set Z zero anew, on the laminate: there is no copper on this side. Run {of('3-')}. It "
        f"engraves {plan.legend.depth:g} mm deep.",
        "Turn the blank back the same way, copper side up, onto the same pins, and hold it as "
        "before. Set Z zero on the copper. Now run the set from its first program.",
    )


def draw(
    folder: File,
    job: str,
    blank: Blank,
    placements: Sequence[Placement],
    turned: Turning,
    lines: Lines,
) -> None:
    """Write `legend.png`: the component side, as it lies on the machine once it is turned over."""
    width, height = blank.size
    over = Pose.mirror_y(height) if turned.along == 0 else Pose(a=-1.0, c=width)
    rings = [shapely.box(0, 0, width, height).exterior]
    areas: list[shapely.Polygon] = []
    for placement in placements:
        outline = placement.pose.shape(placement.board.outline)
        rings += [outline.exterior, *outline.interiors]
        areas += [shapely.buffer(hole.spine, hole.diameter / 2) for hole in placement.holes]
    areas += [hole.spine.buffer(hole.diameter / 2) for hole in turned.holes]
    shown = [np.asarray(shapely.get_coordinates(ring)) for ring in rings]
    shown += [path.xy for path in lines.kept]
    draw_drawing(
        [
            LayerPicture(
                stem="legend",
                title=f"{job}: legend of blank {blank.number}",
                words="the component side, as the blank lies once it is turned over",
                lines=tuple(over.points(xy) for xy in shown),
                areas=tuple(over.shape(area) for area in areas),
                box=(0.0, 0.0, width, height),
                below=(f"{lines.length - lines.away:.0f} mm are engraved",),
                unit="mm",
                keys=("engraved, and edges", "hole, or pin"),
            )
        ],
        folder,
    )
