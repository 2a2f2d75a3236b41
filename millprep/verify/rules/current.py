"""Whether the narrowest copper on a current's way carries it."""

from __future__ import annotations

from collections.abc import Iterable

import shapely

from millprep.model.as_cut import AsCut
from millprep.model.copy_findings import on_blank
from millprep.model.finding import Finding
from millprep.model.judged import AtNeck, Neck
from millprep.model.layout import Placement
from millprep.model.net import NetFacts
from millprep.standards.current import (
    MOST_AMPERES,
    MOST_RISE,
    MOST_WIDTH,
    OUTSIDE,
    OutsideCurve,
    capacity,
    section_for,
    width_for,
)
from millprep.verify.rules.drop import Drop, copper_of, joint
from millprep.verify.rules.necks import bottleneck

NOTHING = 0.01
"""Less current than this warms no copper that a mill can leave, A."""


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
    between its holes. `thickness` in mm, `rise` in K. None when no current is told.
    """
    if drop is not None:
        necks = [neck for neck in drop.necks if neck.amperes > NOTHING]
    elif net.amperes > NOTHING:
        necks = list(_bottlenecks(net, placement, as_cut))
    else:
        return None, ()
    try:
        section_for(max((n.amperes for n in necks), default=NOTHING), rise)
        judged = [AtNeck(net.name, n, _carries(n.width, thickness, rise)) for n in necks]
    except OutsideCurve as beyond:
        at = necks[0].at
        return None, (_off_curve(net.name, placement, str(beyond), at),)
    worst = max(judged, key=lambda at: at.share, default=None)
    if worst is None or worst.share <= 1.0:
        return worst, ()
    neck = worst.neck
    try:
        need = f"{width_for(neck.amperes, thickness, rise):.2f} mm would."
    except OutsideCurve as beyond:
        need = f"{beyond}."
    message = (
        f"net {net.name}: a neck of {neck.width:.2f} mm has to carry {neck.amperes:.2f} A, which "
        f"warm it by more than {rise:g} K; it carries {worst.carries:.2f} A, {need} Widen it in "
        "the drawing, cut narrower grooves there, or solder a wire along it."
    )
    return worst, (on_blank(placement, "neck-too-thin", "warn", message, neck.at),)


def _carries(width: float, thickness: float, rise: float) -> float:
    """Amperes of a section, at most what the curves reach."""
    try:
        return capacity(min(width, MOST_WIDTH), thickness, rise)
    except OutsideCurve:
        if rise > MOST_RISE:
            raise
        return MOST_AMPERES[OUTSIDE]


def _bottlenecks(net: NetFacts, placement: Placement, as_cut: AsCut) -> Iterable[Neck]:
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
            yield Neck(neck.width, neck.at, net.amperes)


def _off_curve(net: str, placement: Placement, why: str, at: tuple[float, float]) -> Finding:
    message = (
        f"net {net}: its current cannot be judged, {why}. Ask for a rise within the curves, or "
        "measure a sample."
    )
    return on_blank(placement, "current-off-curve", "warn", message, at)
