"""Whether nets are far enough from each other for the voltage between them.

Measured on the copper as cut, at its foot, where gaps are narrowest. Copper that belongs to no
net is no insulator: a way from net to net may lead over it, and only the gaps on the way add
up. The same holds for copper whose volts the job does not give, because it may be at either.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import shapely

from millprep.cache import cached
from millprep.model.as_cut import AsCut
from millprep.model.blank import Placement, metal, on_blank
from millprep.model.finding import Finding, Severity, limited
from millprep.model.job.nets import NetFacts
from millprep.model.judged import Spacing
from millprep.standards.spacing import Column, required
from millprep.verify.pads import LEFT_BY_CUT, pad_areas, united
from millprep.verify.rules.gaps import TOUCHING, Gap, WayOver, Ways, gaps, gaps_to

INSIDE = 0.05
"""Copper that reaches this far into the outline is of the board, mm."""
FARTHER, AROUND = 1.2, 0.5
"""Neighbours are looked for within so many times the largest requirement, and this more, mm."""
ENOUGH = 1e-6
"""A gap short by less is wide enough, mm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SpacingRule:
    """What is required.

    Attributes:
        column: of IPC-2221 table 6-1.
        pad_column: for the gap between two pads; None for `column` there too.
        least_counted: gaps narrower than this count as nothing, mm.
        edge: whether the edge and the fixing holes are judged, as metal at 0 V.
        fixing_metal: diameter of what a screw covers around its hole, mm; None for a washer.
    """

    column: Column = "B2"
    pad_column: Column | None = None
    least_counted: float = 0.0
    edge: bool = True
    fixing_metal: float | None = None


@dataclass(slots=True)
class _Scene:
    """The copper of one copy, net by net, and what else may be metal."""

    areas: list[shapely.Polygon] = field(default_factory=list)
    tracks: dict[str, list[int]] = field(default_factory=dict)
    pads: dict[str, list[int]] = field(default_factory=dict)
    stones: set[int] = field(default_factory=set)

    def add(self, shape: shapely.Polygon) -> int:
        self.areas.append(shape)
        return len(self.areas) - 1

    def sides(self, net: str) -> Iterator[tuple[bool, list[int]]]:
        """(whether they are pads, areas) of a net."""
        yield False, self.tracks.get(net, [])
        yield True, self.pads.get(net, [])


@cached
def spacing(
    nets: Sequence[NetFacts],
    placement: Placement,
    as_cut: AsCut,
    rule: SpacingRule = SpacingRule(),
) -> tuple[tuple[Spacing, ...], tuple[Finding, ...]]:
    """Every pair of neighbours with volts, the least margin first, and what is too near."""
    with_volts = [net for net in nets if net.volts is not None]
    ground = NetFacts("0 V", ("",), (0.0, 0.0))
    pairs = [*itertools.combinations(with_volts, 2), *((net, ground) for net in with_volts)]
    if not with_volts:
        return (), ()
    columns = {rule.column, rule.pad_column or rule.column}
    most = max(required(_volts(a, b), column) for a, b in pairs for column in columns)
    reach = FARTHER * most + AROUND
    scene = _scene(with_volts, placement, as_cut, rule)
    metals = list(metal(placement, rule.fixing_metal)) if rule.edge else []
    between = gaps(scene.areas, reach)
    to_metal = gaps_to(scene.areas, [shape for _, shape in metals], reach)
    ways = Ways((*between, *to_metal), rule.least_counted)
    direct = {(gap.area, gap.other): gap.width for gap in (*between, *to_metal)}
    others = [*with_volts, *(NetFacts(name, ("",), (0.0, 0.0)) for name, _ in metals)]
    side_of = {
        area: (n, on_pads)
        for n, net in enumerate(with_volts)
        for on_pads, areas in scene.sides(net.name)
        for area in areas
    }
    side_of |= {len(scene.areas) + n: (len(with_volts) + n, False) for n in range(len(metals))}

    worst: dict[tuple[str, str], Spacing] = {}
    for n, net in enumerate(with_volts):
        for on_pads, starts in scene.sides(net.name):
            if not starts:
                continue
            reached = ways.shortest(starts, scene.stones, reach)
            met: dict[tuple[int, bool], list[int]] = {}
            for end in sorted(side_of.keys() & reached.keys()):
                met.setdefault(side_of[end], []).append(end)
            for (other, other_on_pads), ends in sorted(met.items()):
                if other <= n:
                    continue
                column = rule.column
                if rule.pad_column and on_pads and other_on_pads:
                    column = rule.pad_column
                _keep(worst, _pair(net, others[other], reached, starts, ends, direct, column))
    fixed = dict(metals)
    spacings = tuple(
        _straight(pair, scene, fixed)
        for pair in sorted(worst.values(), key=lambda s: (s.margin, s.net, s.other))
    )
    near = [s for s in spacings if s.margin < -ENOUGH]
    return spacings, limited(
        [_too_near(placement, s, "warn" if s.other in fixed else "stop") for s in near]
    )


def _volts(net_facts: NetFacts, other: NetFacts) -> float:
    volts = net_facts.volts_to(other)
    assert volts is not None
    return volts


def _pair(
    net: NetFacts,
    other: NetFacts,
    reached: Mapping[int, WayOver],
    starts: Sequence[int],
    ends: Sequence[int],
    direct: Mapping[tuple[int, int], float],
    column: Column,
) -> Spacing:
    """The shortest way from a net to areas of another that were reached."""
    way = min((reached[end] for end in ends), key=lambda way: way.length)
    sides = ((min(a, b), max(a, b)) for a in starts for b in ends)
    straight = [direct[pair] for pair in sides if pair in direct]
    narrowest: Gap | None = way.narrowest
    assert narrowest is not None, "areas of two nets are never one"
    volts = _volts(net, other)
    return Spacing(
        net.name,
        other.name,
        volts,
        required(volts, column),
        way.length,
        min(straight, default=None),
        len(way.gaps) - 1,
        narrowest.at,
        column,
        tuple(gap.ends for gap in way.gaps if gap.width > TOUCHING),
    )


def _straight(pair: Spacing, scene: _Scene, metal: Mapping[str, shapely.Geometry]) -> Spacing:
    """The pair with its distance through the air, if it is too near and that is not yet known."""
    if pair.direct is not None or pair.margin >= -ENOUGH:
        return pair
    mine, theirs = (
        shapely.MultiPolygon([scene.areas[n] for _, areas in scene.sides(net) for n in areas])
        for net in (pair.net, pair.other)
    )
    return replace(pair, direct=float(shapely.distance(mine, metal.get(pair.other, theirs))))


def _keep(worst: dict[tuple[str, str], Spacing], new: Spacing) -> None:
    old = worst.get((new.net, new.other))
    if old is None or new.margin < old.margin:
        worst[new.net, new.other] = new


def _scene(
    nets: Sequence[NetFacts], placement: Placement, as_cut: AsCut, rule: SpacingRule
) -> _Scene:
    """The board's copper by net; copper of two nets at once is a short and reported as such."""
    scene = _Scene()
    owner = {(placement.index, piece): net.name for net in nets for piece in net.pieces}
    outline = placement.pose.shape(placement.board.outline)
    within = shapely.buffer(outline, -INSIDE)
    shapely.prepare(within)
    soldered = _pads(placement) if rule.pad_column else None
    for part in as_cut.parts:
        names = sorted({owner[key] for key in part.pieces if key in owner})
        mine = any(copy == placement.index for copy, _ in part.pieces)
        if not mine and not (not part.pieces and shapely.intersects(within, part.shape)):
            continue
        if not names:
            # What lies beyond the outline falls off, or is another copy's.
            inner: shapely.Geometry = part.shape
            if not shapely.contains_properly(within, inner):
                inner = shapely.intersection(inner, outline)
            scene.stones.update(scene.add(area) for area in _areas(inner))
            continue
        track: shapely.Geometry = part.shape
        if soldered is not None:
            track = shapely.difference(part.shape, soldered)
            for area in _areas(shapely.intersection(part.shape, soldered)):
                scene.pads.setdefault(names[0], []).append(scene.add(area))
        for area in _areas(track):
            scene.tracks.setdefault(names[0], []).append(scene.add(area))
    return scene


def _areas(shape: shapely.Geometry) -> list[shapely.Polygon]:
    """The polygons of a geometry: an overlay may leave points and lines with them."""
    parts = shapely.get_parts(shape)
    return [part for part in parts if isinstance(part, shapely.Polygon) and not part.is_empty]


def _pads(placement: Placement) -> shapely.Geometry:
    """The pads of a copy as cut, blank frame."""
    return placement.pose.shape(united(pad_areas(placement.board), LEFT_BY_CUT))


def _too_near(placement: Placement, pair: Spacing, severity: Severity) -> Finding:
    way = ""
    if pair.stones:
        areas = "an area" if pair.stones == 1 else f"{pair.stones} areas"
        straight = f"straight across {pair.direct:.3f} mm"
        way = f", by way of {areas} of floating copper ({straight})"
    code = "spacing-too-narrow" if severity == "stop" else "spacing-to-metal"
    remedy = (
        "Draw them farther from each other, or isolate by voltage"
        if severity == "stop"
        else "Move it away, clear the copper between, or keep metal off there"
    )
    message = (
        f"gap of {pair.measured:.3f} mm between {pair.net} and {pair.other}{way}; {pair.volts:g} V "
        f"require {pair.required:g} mm (IPC-2221 table 6-1, {pair.column}). {remedy}."
        f"{_fits(pair) if severity == 'stop' else ''}"
    )
    finding = on_blank(placement, code, severity, message, pair.at)
    middles = [((a[0] + b[0]) / 2, (a[1] + b[1]) / 2) for a, b in pair.way]
    return replace(finding, places=tuple(at for at in middles if at != pair.at))


def _fits(pair: Spacing) -> str:
    """What would be wide enough where the way leads over floating copper."""
    gaps_ = len(pair.way)
    if gaps_ < 2:
        return ""
    each = math.ceil(pair.required / gaps_ * 100 - 1e-6) / 100
    words = f" {gaps_} gaps of {each:g} mm would fit"
    if pair.direct is not None and pair.direct >= pair.required:
        words += ", or the copper between cleared"
    return f"{words}."
