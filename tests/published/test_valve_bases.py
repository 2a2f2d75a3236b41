"""The example's sockets against the 7-pin miniature base.

Seven of eight positions, 45° apart, on a circle of 9.53 mm (0.375 in): read in a public
footprint library's file for that base, whose pads lie at a radius of 4.766 mm; its pin 1 to
pin 7 stand 6.74 mm apart, neighbours 3.647 mm. The standards' own sheets were not read.
"""

from __future__ import annotations

import itertools
import math
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import shapely

from fixtures import valve_boards
from millprep.drawing import read
from millprep.geometry.path import FloatArray
from millprep.model.job.layers import LayerRoles
from millprep.standards.bases import BASES, Base, patterns

EXAMPLE = Path(__file__).parents[2] / "examples" / "lighthouse"
RADIUS = 4.766
"""Of the pin circle in that file, mm; 9.53 / 2 = 4.765."""
NEIGHBOUR, ACROSS_THE_GAP = 3.647, 6.74
SLACK = 0.0015
"""Half the last digit of the radius and of the two chords."""


@cache
def pins() -> FloatArray:
    """Holes of the pins; the drawing is read once."""
    board = read(
        EXAMPLE / "memory-board.dxf",
        name="memory-board",
        shown_as="memory-board.dxf",
        layers=LayerRoles(("foil",), ("rim",), ("bores",)),
        unit=None,
    )
    return np.array([hole.at for hole in board.holes if hole.diameter == pytest.approx(1.1)])


def sockets(holes: FloatArray) -> list[FloatArray]:
    """Groups of exactly seven holes on one circle of the base's radius."""
    tree = shapely.STRtree([shapely.Point(at) for at in holes])
    centres: set[tuple[float, float]] = set()
    for i, j in itertools.combinations(range(len(holes)), 2):
        apart = holes[j] - holes[i]
        chord = float(np.hypot(*apart))
        if abs(chord - NEIGHBOUR) > SLACK:
            continue
        rise = math.sqrt(RADIUS**2 - chord**2 / 4) / chord
        middle = (holes[i] + holes[j]) / 2
        for side in (rise, -rise):
            x, y = middle + side * np.array([-apart[1], apart[0]])
            centres.add((round(float(x), 1), round(float(y), 1)))
    found: dict[tuple[int, ...], FloatArray] = {}
    for x, y in centres:
        near = tree.query(shapely.Point(x, y), predicate="dwithin", distance=RADIUS + 0.2)
        ring = [n for n in near.tolist() if math.dist(holes[n], (x, y)) > RADIUS - 0.2]
        if len(ring) == 7:
            found[tuple(sorted(ring))] = holes[ring]
    return list(found.values())


def misfit(ring: FloatArray) -> float:
    """How far seven holes are from seven places of the base, by their chords, mm."""
    x, y, c = ring[:, 0], ring[:, 1], np.ones(len(ring))
    a, b, _ = np.linalg.lstsq(np.column_stack((2 * x, 2 * y, c)), x**2 + y**2, rcond=None)[0]
    around = ring[np.argsort(np.arctan2(y - b, x - a))]
    chords = sorted(np.hypot(*(around - np.roll(around, 1, axis=0)).T).tolist())
    radii = np.hypot(x - a, y - b)
    worst: float = max(
        float(np.abs(radii - RADIUS).max()),
        max(abs(chord - NEIGHBOUR) for chord in chords[:6]),
        abs(chords[6] - ACROSS_THE_GAP),
    )
    return worst


def test_every_socket_of_the_memory_board_is_the_base() -> None:
    found = sockets(pins())
    # three valves in each of six stages
    assert len(found) == 18
    # the last digits of file and circle differ by a micrometre
    assert max(map(misfit, found)) <= SLACK


def test_a_base_on_a_wrong_circle_is_not_taken_for_it() -> None:
    ring = sockets(pins())[0]
    centre = ring.mean(axis=0)
    assert misfit(centre + (ring - centre) * 9.8 / 9.53) > 0.1


@pytest.mark.parametrize(
    ("base", "radius", "neighbours"),
    [(BASES[0], 4.766, 3.647), (BASES[1], 5.943, 3.674), (BASES[2], 8.726, 6.678)],
)
def test_bases_as_the_footprint_library_has_them(
    base: Base, radius: float, neighbours: float
) -> None:
    # The file's name says D11.89, its pads lie 2 µm nearer: two published figures.
    assert base.circle / 2 == pytest.approx(radius, abs=0.0021)
    assert base.neighbours == pytest.approx(neighbours, abs=0.0006)


def test_chords_across_the_gap() -> None:
    """Noval pin 1 to 9 6.99 mm, B7G pin 1 to 7 6.74 mm."""
    for base, chord in ((BASES[0], 6.74), (BASES[1], 6.99)):
        places = base.places()
        assert math.dist(places[0], places[-1]) == pytest.approx(chord, abs=0.005)


def test_the_package_finds_the_same_sockets() -> None:
    holes = pins()
    found = patterns(holes)
    assert {tuple(sorted(p.holes)) for p in found} == {
        tuple(sorted(np.flatnonzero((holes[:, None] == ring).all(axis=2).any(axis=1)).tolist()))
        for ring in sockets(holes)
    }
    assert {p.base.name for p in found} == {"7-pin miniature (B7G)"}
    assert max(p.error for p in found) <= SLACK


NOVAL = 5.943, 3.674, 6.989
"""Radius of the pin circle in the same library's file for the 9-pin base (nine of ten positions,
36° apart, 11.89 mm), and by 2 R sin the chords of neighbours and across the gap."""


def test_the_sockets_of_the_boards_from_seeds_are_both_bases() -> None:
    radius, neighbour, across_the_gap = NOVAL
    assert {count for count, _ in valve_boards.BASES} == {7, 9}
    for count, circle in valve_boards.BASES:
        place = [math.pi / 2 + n * 2 * math.pi / (count + 1) for n in range(1, count + 1)]
        ring = circle / 2 * np.column_stack((np.cos(place), np.sin(place)))
        steps = np.hypot(*(ring - np.roll(ring, 1, axis=0)).T)
        found = (circle / 2, float(steps[1:].max()), float(steps[0]))
        published = (radius, neighbour, across_the_gap)
        if count == 7:
            published = (RADIUS, NEIGHBOUR, ACROSS_THE_GAP)
        # the footprint's circle and the base's differ in their last digits
        assert found == pytest.approx(published, abs=0.004)
