"""What a blank that is moved between passes needs of its layout.

Where passes meet depends on where boards lie, and boards had better lie where no passes meet. So
a layout is made first and its passes are planned; then it is made again, its boards off the
join lines and off what clamps and registration holes of all passes need. That is done a fixed
number of times, every layout is judged by its own passes, and the best one stays.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import shapely
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import Point
from millprep.model.blank import Blank, Box, Spot
from millprep.model.finding import Finding, Refusal
from millprep.model.job.job import JobPlan
from millprep.nesting.figures import used_length
from millprep.nesting.nest import Effort, Nested, nest
from millprep.nesting.wanted import StockSheet, Wanted, areas_on
from millprep.passes import registration
from millprep.passes.clamping import Clamping
from millprep.passes.regions import Regions, profile_overrun
from millprep.passes.shift import ShiftPlan
from millprep.passes.windows import joined_by, windows

ROUNDS = 4
"""Layouts that are made anew, at most; most settle in the first."""
PLAY = 0.01
"""What boards keep from a join line beyond the cutter's radius, mm."""
ROOM = 0.5
"""What a collet nut that is higher than the clamps keeps from them all the same, mm."""
NO_PASSES = 1000
"""A layout whose boards no passes hold is worse than one with this many passes."""

Areas = Sequence[tuple[Spot, shapely.Polygon]]
Places = tuple[shapely.Polygon, ...]
Score = tuple[int, int, int, float]
"""Passes, boards in the way of clamps or holes, short boards across join lines, used length of the
last blank."""


def clamp_reach(job: JobPlan, *, collet: bool) -> float:
    """How far the axis keeps from a clamp, mm, so that cutters do, and the collet nut as well."""
    needed = max(c.shank for c in job.cutters) / 2 + job.machine.clamp_clearance
    return max(needed, job.machine.collet / 2 + ROOM) if collet else needed


@dataclass(frozen=True, slots=True)
class BlankWithPasses:
    """A blank with its boards and its passes, as far as both are known from the layout alone.

    Attributes:
        reach: of the profile cutter's axis outside a board.
        here: the boards on it.
    """

    job: JobPlan
    blank: Blank
    reach: float
    here: Areas
    shift: ShiftPlan
    regions: Regions

    @property
    def join_strips(self) -> Places:
        """Strips that no board lies across which is cut in one pass."""
        return tuple(_box(line, self.reach + PLAY) for line in self.regions.join_lines())

    @property
    def across(self) -> tuple[Spot, ...]:
        """Boards that are cut in several passes, though one could cut them as they are turned."""
        numbers = self.regions.across(_numbered(self.here), self.reach, self.blank.size)
        return tuple(self.here[n][0] for n in numbers)

    @property
    def clamped(self) -> Places:
        """What the clamps of all passes need, where it lies on the blank."""
        reach = clamp_reach(self.job, collet=True) + self.reach
        areas = []
        for k, pose in enumerate(self.shift.poses):
            for clamp in self.job.setup.clamps:
                if clamp.on_in(k + 1):
                    area = pose.inverse().shape(clamp.box.grown(reach).shape)
                    areas.append(shapely.box(*area.bounds))
        return self._on_blank(areas)

    def drilled(self, usable: BaseGeometry) -> Places:
        """What the registration holes need that would be chosen if no board lay in the way.

        Nothing where they have room outside of what boards may cover.
        """
        kerf = 2 * self.reach
        if len(self.shift.poses) < 2 or self._holes(usable.buffer(kerf)):
            return ()
        registration_plan = self.job.registration
        around = registration_plan.key / 2 + registration_plan.wall + kerf
        return self._on_blank([_box(shapely.Point(at), around) for at in self._holes()])

    def _holes(self, taken: BaseGeometry | None = None) -> list[Point]:
        """Where holes would be chosen outside of what is taken; empty where there is no room."""
        job, missing = joined_by(self.job, self.blank), _missing(self.blank)
        clamping = Clamping(job.setup.clamps, job.machine.collet / 2 + job.machine.clamp_clearance)
        try:
            holes = registration.choose(
                self.shift,
                self.blank,
                job.registration,
                missing if taken is None else shapely.union(missing, taken),
                clamping,
                _need(self.here, self.reach),
                2 * self.reach,
            )
        except Refusal:
            return []  # said better when boards lie where they lie
        return [hole.blank for hole in holes]

    def _on_blank(self, places: Sequence[shapely.Polygon]) -> Places:
        whole = shapely.box(0.0, 0.0, *self.blank.size)
        met = (place.intersection(whole) for place in places)
        return tuple(area for area in met if isinstance(area, shapely.Polygon) and area.area > 0)


def of(job: JobPlan, number: int, plan: int, here: Areas) -> BlankWithPasses | None:
    """A blank with its passes; None where nothing lies on it, or no passes hold its boards.

    Args:
        job: what is required.
        number: the blank's.
        plan: place of its size in the job.
        here: its boards.
    """
    if not here:
        return None
    stock = job.blanks[plan]
    outline = shapely.Polygon(stock.outline) if stock.outline else None
    blank = Blank(number, stock.size, stock.thickness, stock.copper, outline)
    reach = job.profile.cutter.width(blank.thickness) / 2
    try:
        shift = windows(joined_by(job, blank), blank, _need(here, reach), _numbered(here))
    except Refusal:
        return None
    regions = Regions.of(shift, profile_overrun(reach))
    return BlankWithPasses(job, blank, reach, here, shift, regions)


def moves(job: JobPlan, size: tuple[float, float]) -> bool:
    """Whether a blank of this size reaches past what the machine does."""
    reach, (ox, oy) = job.machine.reachable, job.setup.origin
    return ox + size[0] > reach.x1 + 1e-9 or oy + size[1] > reach.y1 + 1e-9


def settled(
    job: JobPlan,
    wanted: Sequence[Wanted],
    sheets: Sequence[StockSheet],
    nested: Nested,
    fixed: Sequence[Spot],
    effort: Effort,
    workers: int = 1,
) -> Nested:
    """A layout that is as full, and off what the passes need, as far as there is room.

    Args:
        job: what is required.
        wanted: every board.
        sheets: one for each of the job's sizes.
        nested: a layout of all copies, made without regard to passes.
        fixed: places that stay.
        effort: how long each search goes on.
        workers: processes that share a search.
    """
    if not any(moves(job, job.blanks[plan].size) for plan in nested.blanks):
        return nested
    best = now = _judged(job, wanted, sheets, nested)
    if best.score[1:3] == (0, 0):
        return nested
    for _ in range(ROUNDS):
        made = _again(wanted, sheets, now, fixed, effort, workers)
        if made.findings or made.spots == now.nested.spots:
            break
        now = _judged(job, wanted, sheets, made)
        best = min(best, now, key=lambda judged: judged.score)
        if now.score[2] == 0:
            break
    return best.nested


@dataclass(frozen=True, slots=True)
class _Judged:
    """A layout, how good its own passes make it, and what they need, blank by blank."""

    nested: Nested
    score: Score
    required: tuple[tuple[Places, ...], ...]


def _judged(
    job: JobPlan, wanted: Sequence[Wanted], sheets: Sequence[StockSheet], nested: Nested
) -> _Judged:
    """A layout judged by its own passes."""
    passes = met = across = 0
    required: list[tuple[Places, ...]] = []
    for number, plan in enumerate(nested.blanks, start=1):
        planned = of(job, number, plan, areas_on(number, nested.spots, wanted))
        if planned is None:
            passes += NO_PASSES
            required.append(())
            continue
        clamped, drilled = planned.clamped, planned.drilled(sheets[plan].usable)
        required.append((clamped, drilled, planned.join_strips))
        passes += len(planned.shift.poses)
        across += len(planned.across)
        kept = shapely.union_all([*clamped, *drilled])
        met += sum(area.intersection(kept).area > PLAY for _, area in planned.here)
    last = len(nested.blanks)
    reach = used_length(last, nested.spots, wanted, sheets[nested.blanks[-1]])
    return _Judged(nested, (passes, met, across, round(reach, 4)), tuple(required))


def _again(
    wanted: Sequence[Wanted],
    sheets: Sequence[StockSheet],
    judged: _Judged,
    fixed: Sequence[Spot],
    effort: Effort,
    workers: int,
) -> Nested:
    """A layout on the same blanks, off what its passes need."""
    blanks = judged.nested.blanks
    bare = [replace(sheets[plan], count=1) for plan in blanks]
    asking = []
    for sheet, groups in zip(bare, judged.required, strict=True):
        met = (tuple(area for area in group if sheet.usable.intersects(area)) for group in groups)
        asking.append(replace(sheet, avoided=tuple(group for group in met if group)))
    numbers = range(len(bare))
    result = nest(wanted, asking, effort, fixed, numbers, workers)
    if result.unplaced:
        # what finds no place off them has one on them
        result = nest(wanted, bare, effort, result.spots, numbers, workers)
    last = max((spot.blank for spot in result.spots), default=0)
    return replace(result, blanks=blanks[:last])


def check_boards_across(
    job: JobPlan,
    wanted: Sequence[Wanted],
    spots: Sequence[Spot],
    blanks: Sequence[int],
    given: Collection[tuple[str, int]],
) -> tuple[Finding, ...]:
    """A note for every blank with boards that are cut in several passes, though one holds them.

    Args:
        job: what is required.
        wanted: every board.
        spots: where the copies lie.
        blanks: place in the job of every blank's size.
        given: copies whose place was not searched for.
    """
    findings = []
    for number, plan in enumerate(blanks, start=1):
        planned = of(job, number, plan, areas_on(number, spots, wanted))
        if planned is not None and planned.across:
            findings.append(_note(planned, given))
    return tuple(findings)


def _note(planned: BlankWithPasses, given: Collection[tuple[str, int]]) -> Finding:
    lines = []
    for line in planned.regions.join_lines():
        (x0, y0), (x1, y1) = line.coords[0], line.coords[-1]
        lines.append(f"x = {x0:.1f}" if abs(x1 - x0) < abs(y1 - y0) else f"y = {y0:.1f}")
    placed = [s.words for s in planned.across if (s.board, s.copy) in given]
    free = [s.words for s in planned.across if (s.board, s.copy) not in given]
    why = []
    if free:
        words = "found no room next to it on as few blanks and in as few passes"
        why.append(f"{', '.join(free)} {words}")
    if placed:
        why.append(f"{', '.join(placed)} lies there by the place it was given")
    return Finding(
        code="boards-across-passes",
        severity="note",
        message=(
            f"One pass could cut these boards whole, but they lie across {_listed(lines)} of blank "
            f"{planned.blank.number}, where one pass takes over from another: {'; '.join(why)}. "
            "Their cuts meet as well as the registration holes find the blank. Another place in "
            "the layout file, or a blank more, keeps them whole."
        ),
        blank=planned.blank.number,
    )


def _listed(lines: Sequence[str]) -> str:
    return " and ".join(dict.fromkeys(lines))


def _need(here: Areas, reach: float) -> Box:
    """Extent of the cutters' axes: profiles reach farthest."""
    x0, y0, x1, y1 = shapely.total_bounds([area for _, area in here]).tolist()
    return Box(x0 - reach, y0 - reach, x1 + reach, y1 + reach)


def _numbered(here: Areas) -> dict[int, shapely.Polygon]:
    return dict(enumerate(area for _, area in here))


def _missing(blank: Blank) -> BaseGeometry:
    """What of its rectangle an offcut lacks."""
    if blank.outline is None:
        return shapely.Polygon()
    return shapely.box(0.0, 0.0, *blank.size).difference(blank.outline)


def _box(shape: BaseGeometry, reach: float) -> shapely.Polygon:
    x0, y0, x1, y1 = shape.bounds
    return shapely.box(x0 - reach, y0 - reach, x1 + reach, y1 + reach)
