"""The picture of one pass: what stands where on the machine, and what is cut."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.report import captions, clamps, marks
from millprep.report.blank_views import registration_hole, titled
from millprep.report.canvas import Canvas, canvas
from millprep.report.captions import Caption
from millprep.report.palette import COPPER, EARLIER, INK, LAMINATE, PAPER, cutter_style
from millprep.report.picture_words import say
from millprep.report.scene import Scene, around, moved
from millprep.report.words import WORK_WORDS, place, plain

if TYPE_CHECKING:
    from millprep.geometry.path import Point
    from millprep.model.blank import Clamp
    from millprep.model.milling_pass import MillingPass, RegistrationHole
    from millprep.model.program import Program
    from millprep.model.set_of_programs import CutSet

FloatArray = NDArray[np.float64]

PRINTED = 9.5
"""Widest figure in inches whose words stay legible once printed 184 mm wide."""


def pass_view(scene: Scene, cut_set: CutSet, milling_pass: MillingPass) -> Canvas:
    """The blank as it lies in this pass, in machine coordinates."""
    number_, pose = milling_pass.number, milling_pass.pose
    travel = cut_set.machine.travel
    held = [clamp for clamp in cut_set.clamps if clamp.on_in(number_)]
    programs = [p for p in scene.programs if p.mill_pass == number_]
    used, drilled = milling_pass.registration, drilled_in(scene, number_)
    x, y = scene.blank.size
    blank = pose.shape(shapely.box(0, 0, x, y))
    corners = [(travel.x0, travel.y0), (travel.x1, travel.y1), (0.0, 0.0)]
    corners += [(clamp.box.x0, clamp.box.y0) for clamp in held]
    corners += [(clamp.box.x1, clamp.box.y1) for clamp in held]
    corners += [tuple(xy) for xy in shapely.get_coordinates(blank).tolist()]

    order = {cutter.name: i for i, cutter in enumerate(scene.cutters)}
    legend: list[Any] = []
    for i, program in enumerate(programs):
        if not program.spins:
            continue  # what stays above the work or touches it leaves nothing to see
        style = cutter_style(order.get(program.cutter.name, i))
        words = say(
            "program", number=file_number(program), works=works_words(program),
            cutter=plain(program.cutter.name, 22),
        )  # fmt: skip
        legend.append(marks.swatch(style.colour, words, hatch=style.hatch))
    if number_ > 1:
        legend.append(marks.swatch(EARLIER, say("pass.earlier")))
    legend.append(marks.swatch(COPPER, say("copper")))
    legend.append(marks.line_swatch(INK, say("pass.travel"), style=(0, (7, 3))))
    if held:
        legend.append(clamps.swatch(say("pass.clamp")))
    if used or drilled:
        legend.append(marks.sign_swatch("P", say("registration.one")))
    legend.append(marks.sign_swatch("X", say("pass.zero")))
    legend.append(marks.sign_swatch("v", say("pass.touch", place=place(milling_pass.touch))))
    on = canvas(
        around(corners, 0.045),
        titled(cut_set.job, scene, "title.pass", nth=number_, last=len(scene.passes)),
        say("from.bed"), cut_set.id,
        axis_words=(say("axis.x.machine"), say("axis.y.machine")), legend=legend,
        widest=PRINTED, dpi=200,
    )  # fmt: skip

    marks.fill(on, [blank], LAMINATE, edge=INK, width=0.9, over=0.5)
    marks.fill(on, moved(scene.pieces, pose), COPPER, over=1)
    engraved: list[FloatArray] = []
    for earlier in scene.passes:
        if earlier.number < number_:
            here = earlier.pose.inverse().then(pose)
            for program in scene.programs:
                if program.mill_pass == earlier.number:
                    lines, points = contacts(program, on.tolerance)
                    lines = [here.points(line) for line in lines]
                    engraved += lines
                    at = [here.point(point) for point in points]
                    _draw(on, program, lines, at, EARLIER, "", 1.5)
    for i, program in enumerate(programs):
        style = cutter_style(order.get(program.cutter.name, i))
        lines, points = contacts(program, on.tolerance)
        engraved += lines
        _draw(on, program, lines, points, style.colour, style.hatch, 2 + 0.01 * i)
    _machine(on, cut_set, held)
    named = [
        (pose.point(hole.blank), hole, "engraved" if hole.role == "witness" else "drilled")
        for hole in drilled
    ]
    named += [
        (hole.machine, hole, "look" if hole.role == "witness" else "locates") for hole in used
    ]
    for at_, hole, _ in named:
        registration_hole(on, at_, hole.diameter)
    marks.signs(on, [(0.0, 0.0)], "X", size=8, over=7)
    marks.signs(on, [milling_pass.touch], "v", size=8, over=7)
    said = [
        Caption((0.0, 0.0), "X0 Y0", 5.0),
        Caption(milling_pass.touch, say("pass.touch_here"), 5.0),
        *(
            Caption(
                at_, say(f"mark.{what}", hole=hole.id), max(3.0, hole.diameter / 2 * on.per_mm)
            )
            for at_, hole, what in named
        ),
    ]
    boards = shapely.union_all(moved([placed.outline for placed in scene.placed], pose))
    shapely.prepare(boards)
    # numbers, crosses and combs lie beside the boards
    beside = [line for line in map(shapely.LineString, engraved) if not boards.intersects(line)]
    blocks = [shapely.box(c.box.x0, c.box.y0, c.box.x1, c.box.y1) for c in held]
    frame = shapely.box(travel.x0, travel.y0, travel.x1, travel.y1).exterior
    captions.put(on, said, [*beside, *blocks], boards, [frame, blank.exterior])
    return on


def drilled_in(scene: Scene, number_: int) -> list[RegistrationHole]:
    """The registration holes that a pass drills for later ones."""
    return [hole for hole in scene.registration.values() if hole.drilled_in == number_]


def file_number(program: Program) -> str:
    """The number that leads the program's file name."""
    return program.file.rsplit("/", 1)[-1].split("-", 1)[0]


def works_words(program: Program) -> str:
    """The works of a program in words."""
    return ", ".join(WORK_WORDS.get(work, work) for work in program.works)


def _machine(on: Canvas, cut_set: CutSet, held: list[Clamp]) -> None:
    travel = cut_set.machine.travel
    frame = shapely.get_coordinates(shapely.box(travel.x0, travel.y0, travel.x1, travel.y1))
    marks.hairline(on, [frame], points=1.1, style=(0, (7, 3)), over=4.5)
    clamps.draw(on, held)


def _draw(
    on: Canvas, program: Program, lines: list[FloatArray], at: list[Point], colour: str,
    hatch: str, over: float,
) -> None:  # fmt: skip
    width = program.cutter.width(program.depth)
    marks.stroke(on, lines, width, colour, over=over)
    marks.discs(
        on, at, width, colour, edge=PAPER if hatch else colour, hatch=hatch, over=over + 1
    )


def contacts(program: Program, sagitta: float) -> tuple[list[FloatArray], list[Point]]:
    """Where a program is in the work: (n, 2) lines and the points of plain plunges.

    A program that touches holes cuts nothing.
    """
    if program.work == "probe":
        return [], []
    lines: list[FloatArray] = []
    plunges: dict[Point, None] = {}
    x, y, z = program.start
    run: list[Point] = []
    aside = False  # whether this contact has moved sideways
    for move in program.moves:
        still = move.x == x and move.y == y and move.i is None
        if min(z, move.z) < 0 and not still:
            aside = True
            if not run:
                run.append((x, y))
            if move.i is None or move.j is None:
                run.append((move.x, move.y))
            else:
                run.extend(_arc((x, y), (move.x, move.y), (move.i, move.j), move.motion, sagitta))
        elif move.z >= 0:
            if z < 0 and not aside:
                plunges[(x, y)] = None
            if run:
                lines.append(np.array(run))
            run, aside = [], False
        x, y, z = move.x, move.y, move.z
    if run:
        lines.append(np.array(run))
    return lines, list(plunges)


def _arc(start: Point, end: Point, lead: Point, motion: str, sagitta: float) -> list[Point]:
    """Points along an arc after its start; a full turn when it ends where it starts."""
    centre = (start[0] + lead[0], start[1] + lead[1])
    radius = math.hypot(*lead)
    first = math.atan2(-lead[1], -lead[0])
    sweep = math.atan2(end[1] - centre[1], end[0] - centre[0]) - first
    turn = 2 * math.pi
    sweep = sweep % turn or turn if motion == "arc_ccw" else -((-sweep) % turn or turn)
    step = 2 * math.acos(max(1 - sagitta / radius, 0.5)) if radius > 0 else turn
    count = max(1, math.ceil(abs(sweep) / step))
    between = [
        (
            centre[0] + radius * math.cos(first + sweep * k / count),
            centre[1] + radius * math.sin(first + sweep * k / count),
        )
        for k in range(1, count)
    ]
    return [*between, end]
