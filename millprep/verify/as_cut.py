"""The copper left on a blank after its programs, found by cutting the blank as they do.

Its connected parts carry pieces of the design, and pieces belong to nets: copper that joins pieces
of one net is no short.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache

import numpy as np
import shapely

from millprep.cache import cached
from millprep.model.as_cut import AsCut, CopperPart, Groove
from millprep.model.blank import Blank, Placement
from millprep.model.cutter import Cutter
from millprep.model.milling_pass import MillingPass
from millprep.verify.sweep import WORKERS, Shapes, Steps, steps_of, sweep
from millprep.verify.trace import Trace

Key = tuple[int, str]
"""A piece of a copy: (placement, piece)."""
Nets = Mapping[Key, str]
"""The net of a piece; one that is not in it is a net of its own."""
CORE = 0.03
"""A piece is looked for in the copper where it would be if shrunk by this much, mm: a
neighbour's edge or a gouge within the tolerances must not be taken for the piece."""
SKIN = 0.02
"""What a hole may leave of the laminate's thickness, mm: it breaks away."""


def net_of(nets: Nets, piece: Key) -> Key:
    """The net of a piece, which copies do not share."""
    return (piece[0], nets.get(piece, piece[1]))


def nets_on(part: CopperPart, nets: Nets) -> set[Key]:
    """The nets whose copper a part carries."""
    return {net_of(nets, piece) for piece in part.pieces}


def as_cut(
    blank: Blank,
    cuts: Sequence[tuple[Trace, Cutter, MillingPass]],
    placements: Sequence[Placement],
) -> AsCut:
    """What `cuts` leave of a blank's copper, and which design pieces its parts carry.

    Every cut is a program read back, the cutter that runs it and the pass it runs in.
    `placements` are the copies on this blank.
    """
    return _as_cut(blank, steps_of(cuts), placements)


@cached
def _as_cut(blank: Blank, cuts: Sequence[Steps], placements: Sequence[Placement]) -> AsCut:
    grooves = tuple(_grooves(blank, cuts))
    sheet = shapely.box(0.0, 0.0, *blank.size)
    foot = [area for groove in grooves for area in groove.foot.geoms]
    surface = [area for groove in grooves for area in groove.surface.geoms]
    keys, shapes = cores(tuple(placements))
    return AsCut(
        blank.number,
        grooves,
        _parts(_copper(sheet, foot), keys, shapes),
        _parts(_copper(sheet, surface), keys, shapes),
    )


def as_copper(
    blank: Blank,
    cuts: Sequence[tuple[Trace, Cutter, MillingPass]],
    placements: Sequence[Placement],
    *,
    raised: Sequence[float],
) -> tuple[CopperPart, ...]:
    """The copper at its foot with the cutter of each cut held higher by its own `raised`, mm."""
    return _as_copper(blank, steps_of(cuts), placements, raised)


@cached
def _as_copper(
    blank: Blank, cuts: Sequence[Steps], placements: Sequence[Placement], raised: Sequence[float]
) -> tuple[CopperPart, ...]:
    swept = []
    for cut, higher in zip(cuts, raised, strict=True):
        steps = cut.steps + np.array([0.0, 0.0, higher, 0.0, 0.0, higher])
        swept.append(sweep(steps, cut.cutter, cut.pose, blank.copper))
    (groove,) = unite([np.concatenate(swept)]) if swept else (shapely.MultiPolygon(),)
    sheet = shapely.box(0.0, 0.0, *blank.size)
    keys, shapes = cores(tuple(placements))
    return _parts(_copper(sheet, list(groove.geoms)), keys, shapes)


@lru_cache(maxsize=16)
def cores(placements: tuple[Placement, ...]) -> tuple[list[Key], Shapes]:
    """Each piece's inner part on the blank, less the board's holes, shrunk by `CORE`.

    A piece too thin for that keeps a thinner core, so that no piece is without one.
    """
    keys: list[Key] = []
    shapes: list[shapely.Geometry] = []
    for placement in placements:
        board = placement.board
        pieces = np.array([piece.shape for piece in board.pieces], dtype=object)
        spines = [hole.spine for hole in board.holes]
        radii = np.array([hole.diameter / 2 for hole in board.holes])
        inner = np.full(len(pieces), shapely.Polygon(), dtype=object)
        for shrunk in (CORE, CORE / 3, CORE / 10, 0.0):
            empty = np.flatnonzero(shapely.is_empty(inner))
            if not len(empty):
                break
            core = shapely.buffer(pieces[empty], -shrunk, quad_segs=2)
            spots = shapely.get_parts(_union(shapely.buffer(spines, radii + shrunk, quad_segs=8)))
            which, spot = shapely.STRtree(spots).query(core, predicate="intersects")
            drilled, nth = np.unique(which, return_inverse=True)
            away = shapely.multipolygons(spots[spot], indices=nth)
            core[drilled] = shapely.difference(core[drilled], away)
            inner[empty] = core
        keys.extend((placement.index, piece.id) for piece in board.pieces)
        shapes.extend(shapely.transform(inner, placement.pose.points))
    return keys, np.array(shapes, dtype=object)


def _grooves(blank: Blank, cuts: Sequence[Steps]) -> list[Groove]:
    """One groove for each cutter, in the order of their first use."""
    swept: dict[str, tuple[list[Shapes], ...]] = {}
    levels = (0.0, blank.copper, blank.thickness - SKIN)
    for cut in cuts:
        of_cutter = swept.setdefault(cut.cutter.name, ([], [], []))
        for level, areas in zip(levels, of_cutter, strict=True):
            areas.append(sweep(cut.steps, cut.cutter, cut.pose, level))
    united = unite([np.concatenate(level) for areas in swept.values() for level in areas])
    return [Groove(name, *united[3 * i : 3 * i + 3]) for i, name in enumerate(swept)]


def unite(jobs: Sequence[Shapes]) -> list[shapely.MultiPolygon]:
    """The union of each array of areas, two arrays at a time."""
    # GEOS releases the interpreter's lock
    with ThreadPoolExecutor(WORKERS) as pool:
        return [shapely.MultiPolygon(_areas(shape)) for shape in pool.map(_union, jobs)]


def _union(shapes: Shapes) -> shapely.Geometry:
    """The union of areas, of which only those that touch are brought together."""
    return shapely.disjoint_subset_union_all(shapely.get_parts(shapes))


def _object_array(shapes: Sequence[shapely.Geometry]) -> Shapes:
    out = np.empty(len(shapes), dtype=object)
    out[:] = shapes
    return out


def _areas(shape: shapely.Geometry) -> list[shapely.Polygon]:
    """The polygons of a geometry: an overlay may leave points and lines with them."""
    parts = shapely.get_parts(shape)
    return [part for part in parts if isinstance(part, shapely.Polygon) and not part.is_empty]


def _copper(sheet: shapely.Polygon, areas: Sequence[shapely.Polygon]) -> Shapes:
    """The parts of a sheet that areas leave."""
    # few are cut by several cutters; the last resort is for those that touch or leave the sheet
    parts = _around(sheet, areas)
    if parts is None:
        areas = _areas(_union(_object_array(areas)))
        parts = _around(sheet, areas)
    if parts is None:
        parts = _object_array(_areas(shapely.difference(sheet, shapely.MultiPolygon(areas))))
    return parts


def _around(sheet: shapely.Polygon, areas: Sequence[shapely.Polygon]) -> Shapes | None:
    """The parts of a sheet around areas; None where some overlap, touch or leave the sheet.

    Every edge within an area is that of a part, which lies around the areas that are within it and
    within no smaller one. Areas that overlap become holes that cross or lie in another.
    """
    rings, area = shapely.get_rings(_object_array(areas), return_index=True)
    outer = np.searchsorted(area, np.arange(len(areas)))
    within = np.asarray(shapely.polygons(np.delete(rings, outer)))
    shells = _object_array([sheet, *within.tolist()])
    shells = shells[np.argsort(-shapely.area(shells), kind="stable")]
    around, hole = shapely.STRtree(rings[outer]).query(shells, predicate="contains_properly")
    part = np.full(len(outer), -1)
    np.maximum.at(part, hole, around)
    if part.min(initial=0) < 0:
        return None
    edges = np.append(shapely.get_exterior_ring(shells), rings[outer])
    part = np.append(np.arange(len(shells)), part)
    order = np.argsort(part, kind="stable")
    parts = np.asarray(shapely.polygons(edges[order], indices=part[order]))
    return parts if shapely.is_valid(parts).all() else None


def _parts(parts: Shapes, keys: Sequence[Key], cores: Shapes) -> tuple[CopperPart, ...]:
    """The parts of the copper, left to right, each with the pieces whose cores it touches."""
    bounds = shapely.bounds(parts).reshape(-1, 4)
    parts = parts[np.lexsort(bounds.T[::-1])] if len(parts) else parts
    carried: list[list[Key]] = [[] for _ in parts]
    if len(cores) and len(parts):
        # The parts are the query side: GEOS prepares that one, and it is the big one. A core that
        # lies in one part touches no other.
        whole = shapely.STRtree(cores).query(parts, predicate="contains_properly")
        rest = np.delete(np.arange(len(cores)), whole[1])
        touched = shapely.STRtree(cores[rest]).query(parts, predicate="intersects")
        touched[1] = rest[touched[1]]
        for part, core in np.append(whole, touched, axis=1).T.tolist():
            carried[part].append(keys[core])
    return tuple(
        CopperPart(part, tuple(sorted(pieces)))
        for part, pieces in zip(parts.tolist(), carried, strict=True)
    )
