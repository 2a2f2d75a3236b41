"""The picture of one pass: the blank, clamps and zero on the machine, and what is cut."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from millprep.gcode.run_time import Motions
from millprep.geometry.path import FloatArray, Point
from millprep.model.blank import Box, Clamp
from millprep.model.milling_pass import MillingPass, RegistrationHole
from millprep.model.program import Program
from millprep.model.set_of_programs import CutSet
from millprep.report import captions, marks
from millprep.report.blank_contents import BlankContents, DrawnProgram, around, posed
from millprep.report.blank_views import board_names, registration_hole, titled
from millprep.report.canvas import PRINTED, PRINTED_DPI, Canvas, LegendEntry, canvas
from millprep.report.captions import Caption
from millprep.report.palette import cutter_style
from millprep.report.words import WORK_WORDS, cutter_words, place, plain

WORK_AXES = ("work X, mm", "work Y, mm")


ROLES = {"witness": "check", "key": "key", "locate": "locates", "turn": "turn", "slot": "slot"}
"""What a registration hole is for, in a word next to it."""


def pass_view(
    contents: BlankContents,
    cut_set: CutSet,
    milling_pass: MillingPass,
    programs: Sequence[DrawnProgram],
) -> Canvas:
    """The blank as it lies in this pass, in work coordinates.

    `programs` are those of this pass and those before.
    """
    now = [drawn for drawn in programs if drawn.program.mill_pass == milling_pass.number]
    held = [clamp for clamp in cut_set.clamps if clamp.on_in(milling_pass.number)]
    blank = milling_pass.pose.shape(shapely.box(0, 0, *contents.blank.size))
    nth, last = milling_pass.number, contents.passes[-1].number
    on = canvas(
        _view(cut_set, blank, held),
        titled(cut_set.job, contents.blank.number, f"pass {nth} of {last}"),
        "on the machine, seen from above, copper side up; the axes show what the display shows",
        axis_words=WORK_AXES,
        legend=_legend(contents, cut_set, milling_pass, now, held),
        widest=PRINTED,
        dpi=PRINTED_DPI,
    )
    marks.fill(on, [blank], "laminate", edge="ink", width=0.9, over=0.5)
    marks.fill(on, posed(contents.pieces, milling_pass.pose), "copper", over=1)
    cut = _before(on, contents, milling_pass, programs) + _now(on, contents, now)
    frame = machine_frame(on, cut_set)
    marks.clamps(on, held)
    marks.strips(on, cut_set.tape)
    marks.strips(on, cut_set.vacuum)
    said = _signs(on, contents, milling_pass)
    outlines = [placed.outline for placed in contents.placed]
    boards = shapely.union_all(posed(outlines, milling_pass.pose))
    shapely.prepare(boards)
    # numbers, crosses and verniers are next to the boards
    engraved = [line for line in map(shapely.LineString, cut) if not boards.intersects(line)]
    blocks = [c.box.shape for c in held]
    marked = [shapely.Point(c.at).buffer(c.radius / on.per_mm, quad_segs=2) for c in said]
    names = board_names(on, contents, [*engraved, *blocks, *marked], milling_pass.pose)
    kept_free = [*engraved, *blocks, *(placed.box for placed in names)]
    captions.put(on, captions.arrange(on, said, kept_free, boards, [frame, blank.exterior]))
    return on


def _view(cut_set: CutSet, blank: shapely.Polygon, held: list[Clamp]) -> Box:
    """The machine's travel, the blank, the clamps and the work zero."""
    travel = cut_set.machine.travel
    corners = [(travel.x0, travel.y0), (travel.x1, travel.y1), (0.0, 0.0)]
    corners += clamp_corners(held)
    corners += [(x, y) for x, y in shapely.get_coordinates(blank).tolist()]
    return around(corners, 0.045)


def clamp_corners(held: list[Clamp]) -> list[Point]:
    """Opposite corners of every clamp."""
    boxes = [clamp.box for clamp in held]
    return [at for box in boxes for at in ((box.x0, box.y0), (box.x1, box.y1))]


def _legend(
    contents: BlankContents,
    cut_set: CutSet,
    milling_pass: MillingPass,
    now: Sequence[DrawnProgram],
    held: list[Clamp],
) -> list[LegendEntry]:
    """The programs by their numbers, then what else is seen."""
    order = {cutter.name: i for i, cutter in enumerate(contents.cutters)}
    legend = []
    for i, program in enumerate(drawn.program for drawn in now):
        # what stays above the work or touches it leaves nothing to see
        if program.spins:
            style = cutter_style(order.get(program.cutter.name, i))
            cutter = plain(cutter_words(program.cutter), 32)
            words = f"{file_number(program)} {works_words(program)}: {cutter}"
            legend.append(marks.swatch(style.role, words, hatch=style.hatch))
    if milling_pass.number > 1:
        legend.append(marks.swatch("earlier pass", "cut in an earlier pass"))
    legend.append(marks.swatch("copper", "copper as drawn"))
    legend.append(marks.line_swatch("ink", "travel of the machine", dash=marks.TRAVEL))
    if held:
        legend.append(marks.clamp_swatch("clamp, with its height above the copper"))
    for areas, noun in ((cut_set.tape, "tape"), (cut_set.vacuum, "vacuum")):
        if not isinstance(areas, bool):
            words = f"{noun} under the blank"
            legend.append(marks.line_swatch("ink", words, dash=marks.TAPE))
    if milling_pass.registration or drilled_in(contents, milling_pass.number):
        legend.append(marks.sign_swatch("plus", "registration hole"))
        crosses = [*milling_pass.registration, *drilled_in(contents, milling_pass.number)]
        if any(hole.role == "witness" for hole in crosses):
            legend.append(marks.sign_swatch("target", "check cross"))
    legend.append(marks.sign_swatch("cross", "work zero X0 Y0"))
    touch = f"Z touch point at {place(milling_pass.touch)}"
    return [*legend, marks.sign_swatch("triangle", touch)]


def _before(
    on: Canvas,
    contents: BlankContents,
    milling_pass: MillingPass,
    programs: Sequence[DrawnProgram],
) -> list[FloatArray]:
    """Draw what the passes before have cut; its lines on this pass's machine coordinates."""
    cut: list[FloatArray] = []
    for before in contents.passes:
        if before.number < milling_pass.number:
            here = before.pose.inverse().then(milling_pass.pose)
            mine = [drawn for drawn in programs if drawn.program.mill_pass == before.number]
            for drawn in mine:
                lines, points = contacts(drawn, on.tolerance)
                lines = [here.points(line) for line in lines]
                cut += lines
                at = [here.point(point) for point in points]
                _draw(on, drawn.program, lines, at, "earlier pass", "", 1.5)
    return cut


def _now(on: Canvas, contents: BlankContents, now: Sequence[DrawnProgram]) -> list[FloatArray]:
    """Draw what this pass cuts; its lines."""
    order = {cutter.name: i for i, cutter in enumerate(contents.cutters)}
    cut: list[FloatArray] = []
    for i, drawn in enumerate(now):
        style = cutter_style(order.get(drawn.program.cutter.name, i))
        lines, points = contacts(drawn, on.tolerance)
        cut += lines
        _draw(on, drawn.program, lines, points, style.role, style.hatch, 2 + 0.01 * i)
    return cut


def _signs(on: Canvas, contents: BlankContents, milling_pass: MillingPass) -> list[Caption]:
    """Draw zero, touch point and registration holes; their captions."""
    pose = milling_pass.pose
    named = [
        (pose.point(hole.blank), hole, _made(hole))
        for hole in drilled_in(contents, milling_pass.number)
    ]
    named += [(hole.machine, hole, ROLES[_kind(hole)]) for hole in milling_pass.registration]
    for _, hole, _ in named:
        registration_hole(on, hole, pose.shape(hole.spine))
    marks.signs(on, [(0.0, 0.0)], "cross", size=8, over=7)
    marks.signs(on, [milling_pass.touch], "triangle", size=8, over=7)
    return [
        Caption((0.0, 0.0), "X0 Y0", 5.0),
        Caption(milling_pass.touch, "Z touch", 5.0),
        *(
            Caption(at, f"{hole.id} {what}", max(3.0, (hole.diameter + hole.slot) / 2 * on.per_mm))
            for at, hole, what in named
        ),
    ]


def _kind(hole: RegistrationHole) -> str:
    """A key of `ROLES`."""
    if hole.slot:
        return "slot"
    return "turn" if hole.free is not None else hole.role


def _made(hole: RegistrationHole) -> str:
    """How a pass makes a hole or cross for a later one."""
    if hole.role == "witness":
        return "check, engraved now"
    if hole.role == "key":
        return "key, drilled now"
    return "slot now" if hole.slot else "drilled now"


def drilled_in(contents: BlankContents, number_: int) -> list[RegistrationHole]:
    """The registration holes that a pass drills for later ones."""
    return [hole for hole in contents.registration.values() if hole.drilled_in == number_]


def file_number(program: Program) -> str:
    """The number that leads the program's file name."""
    return program.file.rsplit("/", 1)[-1].split("-", 1)[0]


def works_words(program: Program) -> str:
    """The works of a program in words."""
    return ", ".join(WORK_WORDS.get(work, work) for work in program.works)


def machine_frame(on: Canvas, cut_set: CutSet) -> shapely.LinearRing:
    """Draw the travel of the machine; its rim."""
    frame = cut_set.machine.travel.shape.exterior
    marks.hairline(on, [shapely.get_coordinates(frame)], points=1.1, dash=marks.TRAVEL, over=4.5)
    return frame


def _draw(
    on: Canvas, program: Program, lines: list[FloatArray], at: list[Point], role: str,
    hatch: str, over: float,
) -> None:  # fmt: skip
    width = program.cutter.width(program.depth)
    marks.stroke(on, lines, width, role, over=over)
    edge = "paper" if hatch else role
    marks.discs(on, at, width, "paper", edge="paper", points=2 * marks.HOLE_RIM, over=over + 0.9)
    marks.discs(on, at, width, role, edge=edge, points=0.0, hatch=hatch, over=over + 1)


def contacts(drawn: DrawnProgram, sagitta: float) -> tuple[list[FloatArray], list[Point]]:
    """Where a program is in the work: (n, 2) lines and the points of plain plunges.

    A program that touches holes cuts nothing.
    """
    if drawn.program.work == "probe":
        return [], []
    motions = Motions(drawn.program.start, drawn.ends, drawn.clockwise)
    starts, ends = motions.xyz[:-1], motions.xyz[1:]
    still = ~motions.curved & (starts[:, :2] == ends[:, :2]).all(axis=1)
    cuts = (np.minimum(starts[:, 2], ends[:, 2]) < 0) & ~still
    lifts = ~cuts & (ends[:, 2] >= 0)
    # each contact with the work by its number; a lift ends one
    contact = np.cumsum(lifts) - lifts
    plunges = lifts & (starts[:, 2] < 0) & ~np.isin(contact, contact[cuts])
    first = np.flatnonzero(cuts)[np.diff(contact[cuts], prepend=-1) != 0]
    of, xy = motions.places(cuts, sagitta)
    opens = np.searchsorted(of, first)
    xy = np.insert(xy, opens, starts[first, :2], axis=0)
    lines = np.split(xy, opens + np.arange(len(opens)))[1:]
    points = [(x, y) for x, y in starts[plunges, :2].tolist()]
    return lines, list(dict.fromkeys(points))
