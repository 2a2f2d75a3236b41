"""Copies of a board whose copper is cut alike: a net is solved on the first and moved to the rest.

To solve a sheet takes seconds, to compare two outlines far less. Whether they are alike is never
assumed: programs enter loops at other places, passes change over elsewhere, a neighbour's groove
may gouge, and then a copy is solved by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from millprep.geometry.path import FloatArray
from millprep.geometry.pose import Pose
from millprep.model.blank import Placement
from millprep.model.board import Board
from millprep.model.finding import Finding
from millprep.model.job.nets import NetFacts
from millprep.model.judged import AtLoad, AtNeck, AtWire, CurrentNeck, Field, NetJudged

ALIKE = 0.004
"""Outlines are alike when no corner of one is farther than this from the other, mm: both are
flattened to 2 µm, each from where its programs begin."""

Judgement = tuple[NetJudged, tuple[Finding, ...]]


@dataclass(frozen=True, slots=True, eq=False)
class _Known:
    """A net that was solved on a copy: its copper in the frame of the drawing, and what came."""

    board: Board
    net: NetFacts
    thickness: float
    placement: Placement
    copper: tuple[shapely.Polygon, ...]
    judgement: Judgement


class Copies:
    """Nets solved so far.

    Attributes:
        reused: how many judgements were taken from another copy.
    """

    def __init__(self) -> None:
        self._known: list[_Known] = []
        self.reused = 0

    def judged(
        self,
        net: NetFacts,
        placement: Placement,
        copper: Sequence[shapely.Polygon],
        thickness: float,
        solve: Callable[[], Judgement],
    ) -> Judgement:
        """What `solve` would say of a net, from another copy with the same copper if there is one.

        Args:
            net: with loads.
            placement: the copy.
            copper: of the net as cut, blank frame.
            thickness: of the copper, mm.
            solve: what to do when there is none.
        """
        back = placement.pose.inverse()
        mine = tuple(back.shape(shape) for shape in copper)
        for known in self._known:
            same = (
                known.board is placement.board and known.net == net and known.thickness == thickness
            )
            if same and alike(known.copper, mine):
                self.reused += 1
                return on_copy(known.judgement, known.placement, placement)
        judgement = solve()
        self._known.append(_Known(placement.board, net, thickness, placement, mine, judgement))
        return judgement


def alike(first: Sequence[shapely.Polygon], second: Sequence[shapely.Polygon]) -> bool:
    """Whether two lots of copper are the same up to the flattening of their curves."""
    if sorted(map(_rings, first)) != sorted(map(_rings, second)):
        return False
    a, b = shapely.MultiPolygon(list(first)), shapely.MultiPolygon(list(second))
    if abs(a.area - b.area) > ALIKE * max(a.length, b.length):
        return False
    return _near(a, b) and _near(b, a)


def _rings(shape: shapely.Polygon) -> int:
    return 1 + len(shape.interiors)


def _near(first: shapely.MultiPolygon, second: shapely.MultiPolygon) -> bool:
    """Whether all corners of one lie on the outline of the other, and its sides half way too."""
    outline = second.boundary
    shapely.prepare(outline)
    spots: list[FloatArray] = []
    for ring in shapely.get_rings(shapely.get_parts(first)).tolist():
        xy = shapely.get_coordinates(ring)
        spots += [xy, (xy[1:] + xy[:-1]) / 2]
    points = shapely.points(np.concatenate(spots))
    return bool(shapely.dwithin(outline, points, ALIKE).all())


def on_copy(judgement: Judgement, first: Placement, to: Placement) -> Judgement:
    """What was judged of one copy, as of another."""
    net, findings = judgement
    way = first.pose.inverse().then(to.pose)
    done = replace(
        net,
        neck=None if net.neck is None else _at_neck(net.neck, way),
        loads=tuple(_at_load(load, way) for load in net.loads),
        hottest=None if net.hottest is None else _neck(net.hottest, way),
        field=None if net.field is None else _field(net.field, way),
        wires=tuple(_wire(wire, way) for wire in net.wires),
    )
    return done, tuple(_finding(finding, way, to) for finding in findings)


def _neck(neck: CurrentNeck, way: Pose) -> CurrentNeck:
    return replace(neck, at=way.point(neck.at))


def _at_neck(at_neck: AtNeck, way: Pose) -> AtNeck:
    return replace(at_neck, neck=_neck(at_neck.neck, way))


def _at_load(at_load: AtLoad, way: Pose) -> AtLoad:
    return replace(at_load, at=way.point(at_load.at))


def _wire(at_wire: AtWire, way: Pose) -> AtWire:
    return replace(at_wire, start=way.point(at_wire.start), end=way.point(at_wire.end))


def _field(field: Field, way: Pose) -> Field:
    return replace(field, points=way.points(field.points))


def _finding(finding: Finding, way: Pose, to: Placement) -> Finding:
    at = None if finding.at is None else way.point(finding.at)
    return replace(finding, at=at, copy=to.copy, blank=to.blank)
