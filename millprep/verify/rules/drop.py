"""Voltage drop on the way to every load, and whether the narrowest copper carries the current."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from millprep.geometry.path import Point
from millprep.model.as_cut import AsCut
from millprep.model.blank import Placement, on_blank
from millprep.model.finding import Finding
from millprep.model.job.nets import BALANCED, NetFacts
from millprep.model.judged import AtLoad, AtNeck, AtWire, CurrentNeck
from millprep.standards.copper import (
    MOST_AMPERES,
    MOST_WIDTH,
    OUTSIDE,
    OutsideCurve,
    capacity,
    section_for,
    sheet_resistance,
    width_for,
)
from millprep.verify.rules.conduction import Resistor, Solution, solve
from millprep.verify.rules.mesh import domain
from millprep.verify.rules.necks import bottleneck, currents, sections

JOINT = 1.0
"""Diameter of a soldered joint where there is no hole, mm; common practice, no source."""
RIM = 0.01
"""A joint takes in this much of the copper around its hole, mm, so that its rim is clean."""
SURE = 0.01
"""Volts known to this share of the largest are certain enough."""
NOTHING = 0.01
"""Less current than this warms no copper that a mill can leave, A."""


@dataclass(frozen=True, slots=True, eq=False)
class Drop:
    """The voltage drop along one net.

    Attributes:
        feed: name of the load against which volts are lost: where most current passes, enters
            if as much leaves elsewhere.
        loads: in the job's order, without those that no copper reaches.
        necks: every section of the copper, with the current that crosses it.
        error: estimated share of the largest drop by which the volts are off.
        wires: those that resist.
        solution: potential and current density on triangles in the blank frame, for a picture.
    """

    net: str
    feed: str
    loads: tuple[AtLoad, ...]
    necks: tuple[CurrentNeck, ...]
    wires: tuple[AtWire, ...]
    error: float
    solution: Solution

    @property
    def hottest(self) -> CurrentNeck | None:
        """The section with the most amperes for each mm of its width; None without current."""
        hottest = max(self.necks, key=lambda neck: neck.amperes / neck.width, default=None)
        return hottest if hottest is not None and hottest.amperes > 0 else None


def copper_of(net: NetFacts, placement: Placement, as_cut: AsCut) -> list[shapely.Polygon]:
    """The net's copper at its surface, where it is narrowest; blank frame."""
    own = {(placement.index, piece) for piece in net.pieces}
    parts = as_cut.surface or as_cut.parts
    return [part.shape for part in parts if own.intersection(part.pieces)]


def drop(
    net: NetFacts,
    placement: Placement,
    as_cut: AsCut,
    thickness: float,
    *,
    celsius: float = 20.0,
    most_lost: float | None = None,
) -> tuple[Drop | None, tuple[Finding, ...]]:
    """The drop along a net with loads, of copper `thickness` mm at `celsius`, and its faults.

    `most_lost` is what any load may lose, V. None when the net has no loads, or no copper
    under any of them.
    """
    if not net.loads:
        return None, ()
    shapes = copper_of(net, placement, as_cut)
    places = [placement.pose.point(load.at) for load in net.loads]
    joints = [
        joint(shapes, placement, at, load.contact)
        for at, load in zip(places, net.loads, strict=True)
    ]
    amperes = [load.amperes for load in net.loads]
    resistors: list[Resistor] = []
    for wire in net.wires:
        ends = [placement.pose.point(end) for end in (wire.start, wire.end)]
        resistors.append(Resistor(len(joints), len(joints) + 1, wire.ohms))
        joints += [joint(shapes, placement, end, None) for end in ends]
        amperes += [0.0, 0.0]
    resistors += _shared(joints)
    areas = domain(shapes, joints)
    if areas.is_empty:
        return None, tuple(_lost_loads(net, placement, places, range(len(net.loads))))
    # A return line is fed where it ends: the other way round the same equations hold.
    turned = -1.0 if max(amperes) > -min(amperes) * (1 + BALANCED) else 1.0
    solution = solve(
        shapes,
        joints,
        [turned * amps for amps in amperes],
        sheet_resistance(thickness, celsius),
        resistors=resistors,
    )
    if turned < 0:
        solution = replace(
            solution,
            potential=-solution.potential,
            flow=-solution.flow,
            volts=-solution.volts,
        )
    cut_off = [k for k in solution.unfed if k < len(net.loads)]
    reached = [k for k in range(len(net.loads)) if k not in cut_off]
    findings = _lost_loads(net, placement, places, cut_off)
    loads = tuple(
        AtLoad(net.loads[k], places[k], 0.0 - float(solution.volts[k]), float(solution.ohms[k]))
        for k in reached
    )
    feed = net.loads[min(range(len(net.loads)), key=lambda k: turned * amperes[k])].name
    necks, wires = _necks(areas, solution), _wires(net, placement, solution)
    done = Drop(net.name, feed, loads, necks, wires, solution.error, solution)
    findings += _judged(done, placement, most_lost)
    return done, tuple(findings)


def joint(
    shapes: Sequence[shapely.Polygon], placement: Placement, at: Point, contact: float | None
) -> shapely.Polygon:
    """The soldered joint at a place on the blank: one potential up to its edge.

    That is the hole there as cut and its rim, or a disc of `contact` mm if that is more.
    """
    here = shapely.Point(at)
    spot: shapely.Geometry = here
    width = contact or 0.0
    drawn = shapely.Point(placement.pose.inverse().point(at))
    for hole in placement.board.holes:
        if hole.spine.distance(drawn) <= hole.diameter / 2:
            if width <= hole.diameter:
                spot, width = placement.pose.shape(hole.spine), hole.diameter + 2 * RIM
            break
    metal: shapely.Geometry = shapely.buffer(spot, (width or JOINT) / 2, quad_segs=8)
    for shape in shapes:
        for ring in shape.interiors if shapely.Polygon(shape.exterior).contains(here) else ():
            as_cut = shapely.Polygon(ring)
            if as_cut.contains(here):
                rim = shapely.simplify(shapely.buffer(as_cut, RIM, join_style="mitre"), RIM / 5)
                metal = shapely.union(metal, rim)
    assert isinstance(metal, shapely.Polygon), "a joint is one area"
    return metal


def _wires(net: NetFacts, placement: Placement, solution: Solution) -> tuple[AtWire, ...]:
    """The wires that resist, with the current that the volts at their ends drive."""
    wires = []
    for n, wire in enumerate(net.wires):
        first = len(net.loads) + 2 * n
        volts = float(solution.volts[first] - solution.volts[first + 1])
        if wire.ohms > 0 and np.isfinite(volts):
            ends = [placement.pose.point(end) for end in (wire.start, wire.end)]
            wires.append(AtWire(ends[0], ends[1], wire.ohms, abs(volts) / wire.ohms))
    return tuple(wires)


def _shared(joints: Sequence[shapely.Polygon]) -> list[Resistor]:
    """Joints that touch are one piece of metal."""
    tree = shapely.STRtree(np.array(joints, dtype=object))
    pairs = tree.query(np.array(joints, dtype=object), predicate="dwithin", distance=RIM)
    return [Resistor(a, b, 0.0) for a, b in pairs.T.tolist() if a < b]


def _necks(areas: shapely.MultiPolygon, solution: Solution) -> tuple[CurrentNeck, ...]:
    cuts = [sections(area) for area in areas.geoms]
    widths = np.concatenate([cut.widths for cut in cuts]).tolist()
    middles = np.concatenate([cut.ends.mean(axis=1) for cut in cuts]).tolist()
    # all areas together: the solution is searched once
    flow = currents(np.concatenate([cut.through for cut in cuts]), solution).tolist()
    return tuple(
        CurrentNeck(width, (x, y), amperes)
        for width, (x, y), amperes in zip(widths, middles, flow, strict=True)
        if width > 0
    )


def _lost_loads(
    net: NetFacts, placement: Placement, places: Sequence[Point], which: Sequence[int]
) -> list[Finding]:
    return [
        on_blank(
            placement,
            "load-cut-off",
            "stop",
            f"net {net.name}: no copper as cut carries the current of {net.loads[k].name} from "
            "where it enters. Correct the load's place, or add the jumper wire that is missing.",
            places[k],
        )
        for k in which
    ]


def _judged(done: Drop, placement: Placement, most_lost: float | None) -> list[Finding]:
    findings: list[Finding] = []
    worst = max(done.loads, key=lambda at: abs(at.lost), default=None)
    if worst is None:
        return findings
    if most_lost is not None and abs(worst.lost) > most_lost:
        less = "gets" if worst.lost > 0 else "is"
        off = "less than" if worst.lost > 0 else "above"
        findings.append(
            on_blank(
                placement,
                "drop-too-large",
                "warn",
                f"net {done.net}: {worst.load.name} {less} {abs(worst.lost):.3f} V {off} "
                f"{done.feed}, {most_lost:g} V are allowed. Widen the copper on the way, feed "
                "it in a second place, or solder a wire along it.",
                worst.at,
            )
        )
    if done.error > SURE:
        findings.append(
            on_blank(
                placement,
                "drop-uncertain",
                "note",
                f"net {done.net}: the voltage drop is known to {done.error:.1%} only: its copper "
                "is too ragged for a finer solution.",
                worst.at,
            )
        )
    return findings


def current(
    net: NetFacts,
    placement: Placement,
    as_cut: AsCut,
    thickness: float,
    rise: float,
    drop: Drop | None = None,
) -> tuple[AtNeck | None, tuple[Finding, ...]]:
    """The section of a net that is nearest to its limit, and what is wrong with it.

    With `drop`, the solved sheet, every section is judged by the current that crosses it.
    Without, the net's amperes are taken to cross the narrowest section on the widest way
    between its holes. `thickness` in mm, `rise` in K. None when no current is given.
    """
    if drop is not None:
        necks = [neck for neck in drop.necks if neck.amperes > NOTHING]
    elif net.amperes > NOTHING:
        necks = list(_bottlenecks(net, placement, as_cut))
    else:
        return None, ()
    most = max(necks, key=lambda neck: neck.amperes, default=None)
    if most is None:
        return None, ()
    try:
        section_for(most.amperes, rise)
    except OutsideCurve as beyond:
        return None, (_off_curve(net.name, placement, str(beyond), most.at),)
    judged = [AtNeck(net.name, n, _carries(n.width, thickness, rise)) for n in necks]
    worst = max(judged, key=lambda at: at.share)
    if worst.share <= 1.0:
        return worst, ()
    neck = worst.neck
    try:
        need = f"{width_for(neck.amperes, thickness, rise):.2f} mm would."
    except OutsideCurve as beyond:
        need = f"{beyond}."
    message = (
        f"net {net.name}: a neck of {neck.width:.2f} mm has to carry {neck.amperes:.2f} A, which "
        f"heats it by more than {rise:g} K. It carries {worst.carries:.2f} A; {need} Widen it in "
        "the drawing, cut narrower grooves there, or solder a wire along it."
    )
    return worst, (on_blank(placement, "neck-too-thin", "warn", message, neck.at),)


def _carries(width: float, thickness: float, rise: float) -> float:
    """Amperes of a section, at most what the curves reach."""
    try:
        return capacity(min(width, MOST_WIDTH), thickness, rise)
    except OutsideCurve:
        return MOST_AMPERES[OUTSIDE]


def _bottlenecks(net: NetFacts, placement: Placement, as_cut: AsCut) -> Iterable[CurrentNeck]:
    shapes = copper_of(net, placement, as_cut)
    for shape in shapes:
        solid = shapely.Polygon(shape.exterior)
        spots = [
            placement.pose.point(hole.at)
            for hole in placement.board.holes
            if solid.contains(shapely.Point(placement.pose.point(hole.at)))
        ]
        neck = bottleneck(shape, [joint([shape], placement, at, None) for at in spots])
        if neck is not None:
            yield CurrentNeck(neck.width, neck.at, net.amperes)


def _off_curve(net: str, placement: Placement, why: str, at: tuple[float, float]) -> Finding:
    message = (
        f"net {net}: its current cannot be checked: {why}. Measure how warm a sample gets, or "
        "solder a wire along it."
    )
    return on_blank(placement, "current-off-curve", "warn", message, at)
