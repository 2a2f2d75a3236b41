"""Programs that follow a surface map: every feed goes where it did, and rises with the copper.

A straight move crosses a cell in which the surface is bilinear, so its height runs as a parabola;
a chord over it is off by a quarter of |d·Δx·Δy|, d being the surface's twist there. Around an
arc of radius r the height's second derivative by the angle is at most r·|slope| + r²·|d|, and a
chord over an angle a is off by an eighth of that times a². Moves are split where they cross from
cell to cell and then until no chord is off by more than `CHORD`.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

from millprep.gcode.moves import FLAT_ARC, SHORT_ARC
from millprep.gcode.travel import rounded_up
from millprep.geometry.path import Point
from millprep.model.finding import Finding, Refusal
from millprep.model.machine import Machine
from millprep.model.program import Move, Program
from millprep.model.surface_map import SLACK, SurfaceMap

CHORD = 0.0015
"""How far a levelled move may leave the map's surface, mm, before digits are rounded."""
CRUMB = 0.004
"""Cells are separated no nearer to the ends of a move than this, mm."""
ABOVE_COPPER = 1.0
"""Rapid moves clear the highest copper by this, at least, mm: common practice, no source."""
STEEPEST = 0.98
"""Fraction of the plunge feed for a ramp over sloping copper: digits are rounded after."""


def levelled(program: Program, surface: SurfaceMap, machine: Machine, left: float = 0.0) -> Program:
    """The program whose feeds rise and fall with the copper.

    Rapids at clearance stay where they were; lower ones run as far above the highest copper as they
    do over flat copper. `left` is how far the copper may still lie above the map, mm.

    Raises:
        Refusal: when a cut leaves the map, or the copper comes too near to the rapids.
    """
    findings = list(_check(program, surface, machine))
    if findings:
        raise Refusal(findings)
    over = _Over(surface)
    plunge = min(program.cutter.plunge, machine.max_plunge)
    rise = rounded_up(max(surface.highest, 0.0) + left, machine)
    made: list[Move] = []
    x, y, z = program.start
    here = z
    for move in program.moves:
        if move.motion == "rapid" and move.z < machine.clearance:
            low = min(move.z + rise, machine.clearance)
            if (move.x, move.y) != (x, y) or move.z > z or low < here:
                made.append(move._replace(z=low))
                here = low
        elif move.motion == "rapid" or move.z >= machine.clearance:
            made.append(move)
            here = move.z
        else:
            for piece in over.follow((x, y, z), move):
                fall, run = here - piece.z, math.hypot(move.x - x, move.y - y)
                made.append(piece if run == 0 or fall <= 0 else _slowed(piece, made, fall, plunge))
                here = piece.z
        x, y, z = move.x, move.y, move.z
    low = min(move.z for move in made)
    note = (
        f"heights follow the surface map of this pass, copper from Z{surface.lowest:+.3f} to "
        f"Z{surface.highest:+.3f}"
    )
    return replace(program, moves=tuple(made), depth=-low, notes=(*program.notes, note))


def _slowed(piece: Move, before: Sequence[Move], fall: float, plunge: float) -> Move:
    """A falling move no faster than the cutter may go down."""
    assert piece.feed is not None
    last = before[-1]
    length = math.hypot(piece.x - last.x, piece.y - last.y, fall)
    return piece._replace(feed=min(piece.feed, max(STEEPEST * plunge * length / fall, 1.0)))


def _check(program: Program, surface: SurfaceMap, machine: Machine) -> Iterator[Finding]:
    """Stops for a program that cannot follow a map."""
    at = {"blank": program.blank, "mill_pass": program.mill_pass}
    if surface.highest > machine.clearance - ABOVE_COPPER:
        yield Finding(
            code="map-above-clearance",
            severity="stop",
            message=f"The copper rises to {surface.highest:.3f} mm, and rapid moves run at "
            f"{machine.clearance:g} mm. Set Z zero on the copper and probe again, or flatten the "
            "blank.",
            blank=program.blank,
            mill_pass=program.mill_pass,
        )
    outside = beyond(program, surface, machine)
    if outside is not None:
        (x0, x1), (y0, y1) = (surface.x[0], surface.x[-1]), (surface.y[0], surface.y[-1])
        yield Finding(
            code="map-too-small",
            severity="stop",
            message=f"{program.file} cuts at X{outside[0]:.3f} Y{outside[1]:.3f}; the map "
            f"ends at X{x0:g} to {x1:g}, Y{y0:g} to {y1:g}. Probe all points that millprep probe "
            "lists for this pass.",
            frame="machine",
            at=outside,
            file=program.file,
            **at,  # type: ignore[arg-type]  # two numbers
        )


def beyond(program: Program, surface: SurfaceMap, machine: Machine) -> Point | None:
    """The place of a program's cuts that lies farthest outside a map; None within it."""
    far, farthest = SLACK, None
    x, y, _ = program.start
    for move in program.moves:
        if move.motion != "rapid" and move.z < machine.clearance:
            for at in _extremes((x, y), move):
                off = max(
                    float(surface.x[0]) - at[0],
                    at[0] - float(surface.x[-1]),
                    float(surface.y[0]) - at[1],
                    at[1] - float(surface.y[-1]),
                )
                if off > far:
                    far, farthest = off, at
        x, y = move.x, move.y
    return farthest


def _extremes(start: Point, move: Move) -> Iterator[Point]:
    """Ends of a move, and of an arc the places farthest left, right, low and high."""
    yield start
    yield (move.x, move.y)
    if move.i is None or move.j is None:
        return
    arc = Arc.of(start, move)
    for k in range(4):
        angle = k * math.pi / 2
        if arc.fraction(angle) < 1:
            yield arc.at(arc.fraction(angle))


class Arc(NamedTuple):
    """An arc around a centre: its first angle, radius, and sweep in radians, + = ccw."""

    centre: Point
    first: float
    radius: float
    sweep: float

    @classmethod
    def of(cls, start: Point, move: Move) -> Arc:
        """The arc of a move that has a centre."""
        assert move.i is not None
        assert move.j is not None
        centre = (start[0] + move.i, start[1] + move.j)
        first = math.atan2(-move.j, -move.i)
        sweep = math.atan2(move.y - centre[1], move.x - centre[0]) - first
        turn = math.tau
        sweep = sweep % turn or turn if move.motion == "arc_ccw" else -((-sweep) % turn or turn)
        return cls(centre, first, math.hypot(move.i, move.j), sweep)

    def at(self, fraction: float) -> Point:
        """The place at this fraction of the sweep."""
        angle = self.first + self.sweep * fraction
        return (
            self.centre[0] + self.radius * math.cos(angle),
            self.centre[1] + self.radius * math.sin(angle),
        )

    def fraction(self, angle: float) -> float:
        """How far along the sweep an angle is; 1 or more for an angle that is not on it."""
        turned = (angle - self.first) % math.tau
        if self.sweep < 0:
            turned = (-(angle - self.first)) % math.tau
        return turned / abs(self.sweep)


class _Over:
    """A map, and moves over it."""

    def __init__(self, surface: SurfaceMap) -> None:
        self.x, self.y = surface.x.tolist(), surface.y.tolist()
        self.z = surface.z.tolist()

    def cell(self, at: Point) -> tuple[int, int]:
        """Column and row of the cell that holds a place."""
        i = bisect_right(self.x, at[0]) - 1
        j = bisect_right(self.y, at[1]) - 1
        return min(max(i, 0), len(self.x) - 2), min(max(j, 0), len(self.y) - 2)

    def height(self, at: Point) -> float:
        """The copper's height at a place within the map."""
        i, j = self.cell(at)
        t = (at[0] - self.x[i]) / (self.x[i + 1] - self.x[i])
        u = (at[1] - self.y[j]) / (self.y[j + 1] - self.y[j])
        low, high = self.z[j], self.z[j + 1]
        return float(
            (low[i] * (1 - t) + low[i + 1] * t) * (1 - u)
            + (high[i] * (1 - t) + high[i + 1] * t) * u
        )

    def shape(self, cell: tuple[int, int]) -> tuple[float, float]:
        """The steepest slope in a cell, or more, and its twist, 1/mm."""
        i, j = cell
        wide, high = self.x[i + 1] - self.x[i], self.y[j + 1] - self.y[j]
        f11, f21 = self.z[j][i], self.z[j][i + 1]
        f12, f22 = self.z[j + 1][i], self.z[j + 1][i + 1]
        along = max(abs(f21 - f11), abs(f22 - f12)) / wide
        across = max(abs(f12 - f11), abs(f22 - f21)) / high
        return math.hypot(along, across), abs(f11 - f21 - f12 + f22) / (wide * high)

    def follow(self, start: tuple[float, float, float], move: Move) -> Iterator[Move]:
        """The pieces of a feed over the copper; `start` and `move` are as over flat copper."""
        x, y, z = start
        if move.i is None or move.j is None:
            ends = self._straight((x, y), (move.x, move.y))
            for fraction in ends[:-1]:
                at = (x + (move.x - x) * fraction, y + (move.y - y) * fraction)
                there = z + (move.z - z) * fraction + self.height(at)
                yield move._replace(x=at[0], y=at[1], z=there, wait=0.0, stop="")
            yield move._replace(z=move.z + self.height((move.x, move.y)))
            return
        arc = Arc.of((x, y), move)
        before, last = (x, y), 0.0
        for fraction in (ends := self._round(arc)):
            last_piece = fraction == ends[-1]
            at = (move.x, move.y) if last_piece else arc.at(fraction)
            there = z + (move.z - z) * fraction + self.height(at)
            piece = move._replace(
                x=at[0], y=at[1], z=there,
                i=arc.centre[0] - before[0], j=arc.centre[1] - before[1],
                wait=move.wait if last_piece else 0.0, stop=move.stop if last_piece else "",
            )  # fmt: skip
            chord = math.dist(before, at)
            rise = chord / 2 * math.tan(abs(arc.sweep) * (fraction - last) / 4)
            if len(ends) > 1 and (chord < SHORT_ARC or rise < FLAT_ARC):
                piece = piece._replace(motion="feed", i=None, j=None)
            yield piece
            before, last = at, fraction

    def _straight(self, start: Point, end: Point) -> list[float]:
        """Fractions of a straight move at which its pieces end."""
        (x, y), (dx, dy) = start, (end[0] - start[0], end[1] - start[1])
        first, last = self.cell(start), self.cell(end)
        crossed: list[float] = []
        if first != last:
            rims = [(g - x) / dx for g in self.x[1:-1]] if dx else []
            rims += [(g - y) / dy for g in self.y[1:-1]] if dy else []
            crossed = _spaced(rims, CRUMB / math.hypot(dx, dy))
        fractions: list[float] = []
        before = 0.0
        for fraction in (*crossed, 1.0):
            middle = (before + fraction) / 2
            _, twist = self.shape(self.cell((x + dx * middle, y + dy * middle)))
            part = fraction - before
            off = twist * abs(dx * dy) * part * part / 4
            fractions += _equal_parts(before, fraction, math.sqrt(off / CHORD))
            before = fraction
        return fractions

    def _round(self, arc: Arc) -> list[float]:
        """Fractions of an arc at which its pieces end."""
        (cx, cy), r = arc.centre, arc.radius
        rims: list[float] = []
        for grid, middle, turn in ((self.x, cx, 0.0), (self.y, cy, math.pi / 2)):
            for g in grid[1:-1]:
                if abs(g - middle) < r:
                    angle = math.acos((g - middle) / r)
                    rims += [arc.fraction(turn + angle), arc.fraction(turn - angle)]
        fractions: list[float] = []
        before = 0.0
        for fraction in (*_spaced(rims, CRUMB / (r * abs(arc.sweep))), 1.0):
            slope, twist = self.shape(self.cell(arc.at((before + fraction) / 2)))
            angle = abs(arc.sweep) * (fraction - before)
            bend = r * slope + r * r * twist
            fractions += _equal_parts(before, fraction, angle * math.sqrt(bend / 8 / CHORD))
            before = fraction
        return fractions


def _spaced(fractions: Sequence[float], least: float) -> list[float]:
    """The fractions within a move in order, none nearer to another or to an end than `least`."""
    kept: list[float] = []
    for fraction in sorted(fractions):
        if fraction - (kept[-1] if kept else 0.0) > least and 1 - fraction > least:
            kept.append(fraction)
    return kept


def _equal_parts(start: float, end: float, count: float) -> list[float]:
    """Ends of equal parts between two fractions, as many as `count` at least."""
    n = max(1, math.ceil(count - 1e-9))
    return [start + (end - start) * k / n for k in range(1, n)] + [end]
