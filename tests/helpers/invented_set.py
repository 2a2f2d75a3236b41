"""An invented set: a board of repeated stages, cut in two passes, with findings."""

from __future__ import annotations

import math
from dataclasses import replace

import shapely

from millprep.geometry.path import Path, Point
from millprep.geometry.pose import Pose
from millprep.model.as_cut import AsCut, BoardProof, CopperPart, Differences, Groove
from millprep.model.blank import Blank, Box, Clamp, Placement
from millprep.model.board import Board, CopperPiece, Hole
from millprep.model.cut import Cuts, HoleCut, Lap, Profile, Tab
from millprep.model.cutter import Cutter, Drill, EndMill, Vee
from millprep.model.finding import Finding
from millprep.model.job.keys import InputFile
from millprep.model.machine import Machine
from millprep.model.milling_pass import Join, MillingPass, RegistrationHole
from millprep.model.program import Figures, Move, Program
from millprep.model.set_of_programs import BoardCopy, CutSet, MilledBlank

COPPER, THICK, MARGIN, SHIFT = 0.035, 1.6, 10.0, 200.0
VEE = Vee(
    name="vee30", shank=3.175, flute=4, stickout=20, spindle=12000, feed=300, plunge=100,
    tip=0.1, angle=30,
)  # fmt: skip
DRILL = Drill(
    name="drill-1.1", shank=3.175, flute=8, stickout=20, spindle=10000, feed=200, plunge=100,
    diameter=1.1,
)  # fmt: skip
MILL = EndMill(
    name="mill-2", shank=3.175, flute=8, stickout=20, spindle=12000, feed=250, plunge=60,
    diameter=2.0, step=0.4,
)  # fmt: skip
DEPTH = 0.12
MACHINE = Machine(
    name="bench mill", travel_size=(300, 180), above=30, below=5, clearance=3, rapid=1500,
    max_feed=1200, max_plunge=300, max_spindle=12000, spindle="hand", dwell=3,
    collet=16,
)  # fmt: skip


def board(stages: int) -> Board:
    shapes: list[shapely.Polygon] = []
    holes: list[Point] = []
    length = stages * 80.0
    rails = [shapely.LineString([(4, y), (length - 4, y)]).buffer(1.2) for y in (5.0, 85.0)]
    for s in range(stages):
        for row in (25.0, 62.0):
            for col in (20.0, 58.0):
                cx, cy = s * 80 + col, row
                for k in range(7):
                    a = math.radians(90 + 45 * (k + 1))
                    pad = (cx + 4.765 * math.cos(a), cy + 4.765 * math.sin(a))
                    far = (cx + 13 * math.cos(a), cy + 13 * math.sin(a))
                    holes += [pad, far]
                    whole = shapely.union_all(
                        [
                            shapely.LineString([pad, far]).buffer(0.5),
                            shapely.Point(pad).buffer(0.85, quad_segs=24),
                            shapely.Point(far).buffer(1.1, quad_segs=24),
                        ]
                    )
                    assert isinstance(whole, shapely.Polygon)
                    shapes.append(whole)
    pieces = tuple(CopperPiece(f"c{i + 1}", s) for i, s in enumerate([*rails, *shapes]))
    cut_out = shapely.get_coordinates(shapely.box(36, 40, 42, 50))
    edge = shapely.get_coordinates(shapely.box(0, 0, length, 90))
    return Board(
        name="memory",
        outline=shapely.Polygon(edge, [cut_out]),
        pieces=pieces,
        holes=tuple(Hole(f"h{i + 1}", at, 1.1) for i, at in enumerate(holes)),
    )


def _laps(placement: Placement) -> tuple[Lap, ...]:
    width = VEE.width(DEPTH, COPPER)
    laps = []
    for piece in placement.board.pieces:
        for number in range(2):
            away = width / 2 + number * width * 0.8
            edge = placement.pose.shape(piece.shape).buffer(away, quad_segs=12).exterior
            path = Path.lines(shapely.get_coordinates(edge))
            laps.append(Lap(path, placement.index, piece.id, number, VEE.name, DEPTH))
    return tuple(laps)


def _program(
    number: int, mill_pass: int, cutter: Cutter, work: str, depth: float, lines: list[Path],
    points: list[Point], pose: Pose,
) -> Program:  # fmt: skip
    moves = [Move("rapid", 0.0, 0.0, 5.0)]
    for line in lines:
        moved = line.transformed(pose)
        (x, y) = moved.start
        moves += [Move("rapid", x, y, 3.0), Move("feed", x, y, -depth, feed=100.0)]
        for part in moved.segments():
            if part.centre is None:
                moves.append(Move("feed", *part.end, -depth, feed=300.0))
            else:
                i, j = part.centre[0] - part.start[0], part.centre[1] - part.start[1]
                motion = "arc_ccw" if part.sweep > 0 else "arc_cw"
                moves.append(Move(motion, *part.end, -depth, i, j, 300.0))  # type: ignore[arg-type]
        moves.append(Move("rapid", *moved.end, 3.0))
    for point in points:
        x, y = pose.point(point)
        moves += [
            Move("rapid", x, y, 3.0),
            Move("feed", x, y, -depth, feed=100.0),
            Move("rapid", x, y, 3.0),
        ]
    return Program(
        file=f"blank-1/pass-{mill_pass}/{number:02}-{work}-{cutter.name}.ngc", blank=1,
        mill_pass=mill_pass, cutter=cutter, works=(work,),  # type: ignore[arg-type]
        depth=depth, spindle=cutter.spindle, start=(0.0, 0.0, 3.0), moves=tuple(moves),
        notes=("invented for the tests",),
    )  # fmt: skip


def invented(stages: int = 6) -> CutSet:
    """A board of `stages` 80 mm stages on one blank, in two passes where it is long."""
    length = stages * 80.0
    blank = Blank(1, (length + 2 * MARGIN, 90 + 2 * MARGIN), THICK, COPPER)
    pose = Pose.mirror_y(90.0).then(Pose.shift(MARGIN, MARGIN))
    placement = Placement(0, board(stages), 1, 1, pose)
    laps = _laps(placement)
    holes = tuple(
        HoleCut(pose.point(h.at), h.diameter, DRILL.name, 2.0, "drill", 0, h.id, None)
        for h in placement.board.holes
    )
    edge = shapely.box(MARGIN - 1, MARGIN - 1, MARGIN + length + 1, MARGIN + 91)
    edge_path = Path.lines(shapely.get_coordinates(edge.exterior))
    inner = Path.circle((MARGIN + 39, MARGIN + 45), 2.0)
    tabs = tuple(Tab(s, s + 3.0) for s in (60.0, 110.0 + length / 2, edge_path.length - 90))
    profiles = (
        Profile(inner, MILL.name, 1.8, 1.8, (), 0, True),
        Profile(edge_path, MILL.name, 1.8, 1.1, tabs, 0, False),
    )
    two = stages > 3
    poses = [Pose.shift(15, 30)] + ([Pose.shift(15 - SHIFT, 30)] if two else [])
    seam = 250.0
    found = tuple(
        RegistrationHole(
            f"r{i + 1}", at, poses[1].point(at), d, "key" if d > 3.1 else "locate", 1, 2
        )
        for i, (at, d) in enumerate([((212.0, 5.0), 3.02), ((275.0, 105.0), 3.02),
                                     ((275.0, 5.0), 4.02)])
    ) if two else ()  # fmt: skip
    passes, programs, joins = [], [], []
    for k, there in enumerate(poses, start=1):
        window = there.inverse().shape(shapely.box(0, 0, 300, 180))
        passes.append(MillingPass(1, k, window, there, found if k == 2 else (), (20.0, 34.0)))

        def mine(x: float, k: int = k) -> bool:
            return not two or (x < seam) == (k == 1)

        lines = [
            lap.path for lap in laps if lap.number == 0 and mine(float(lap.path.xy[:, 0].mean()))
        ]
        at = [hole.at for hole in holes if mine(hole.at[0])]
        programs.append(_program(1, k, VEE, "isolate", DEPTH, lines, [], there))
        programs.append(_program(2, k, DRILL, "drill", 2.0, [], at, there))
        cut = [inner] if k == 1 else []
        low, high = (MARGIN - 1, seam) if k == 1 else (seam, MARGIN + length + 1)
        part = edge.exterior.intersection(shapely.box(low, 0, high, 200)) if two else edge.exterior
        runs = shapely.get_parts(shapely.line_merge(part))
        cut += [Path.lines(shapely.get_coordinates(run)) for run in runs]
        programs.append(_program(3, k, MILL, "profile", 1.8, cut, [], there))
    if two:
        for y, piece in ((15.0, "c1"), (95.0, "c2")):
            joins += [
                Join(1, 0, piece, (seam, y + dy), (1, 2), 0.4, (0.0, 1.0)) for dy in (-1.3, 1.3)
            ]
        joins.append(Join(1, 0, None, (seam, 9.0), (1, 2), 1.2, (0.0, 1.0)))
    findings = (
        Finding(code="text-mirrored", severity="note", message="Text on copper is readable."),
        Finding(
            code="gap-too-narrow", severity="warn", frame="drawing", at=(27.0, 20.0),
            board="memory", copy=1, message="c3 and c4 stand 0.210 mm apart, the narrowest "
            "cutter needs 0.250 mm. A tip of 0.05 mm would fit.",
        ),
        Finding(
            code="move-through-clamp", severity="stop", frame="machine", at=(12.0, 60.0),
            blank=1, mill_pass=1, file=programs[0].file, line=12,
            message="The collet would touch a clamp 12 mm high. Move the clamp to the left.",
        ),
    )  # fmt: skip
    ran = [
        replace(program, figures=Figures(61.5 + 60 * i, 60.5 + 60 * i, 1234.5678 + i, 456.7 + i))
        for i, program in enumerate(programs)
    ]
    nets = {
        piece.id: "heater" if piece.id == "c1" else f"n{i}"
        for i, piece in enumerate(placement.board.pieces)
    }
    proof = BoardProof(
        0,
        len(placement.board.pieces),
        0,
        0,
        0.2471,
        (30.0, 31.0),
        differences=Differences(
            shapely.MultiPolygon([shapely.box(40, 30, 41, 31)]),
            shapely.MultiPolygon([shapely.box(50, 30, 50.5, 31)]),
        ),
    )
    milled = MilledBlank(
        laminate=blank,
        copies=(BoardCopy(placement, 1, nets, proof=proof),),
        cuts=Cuts(laps=laps, holes=holes, profiles=profiles),
        passes=tuple(
            replace(one, programs=tuple(p for p in ran if p.mill_pass == one.number))
            for one in passes
        ),
        joins=tuple(joins),
        as_cut=_as_cut(placement, blank, laps),
    )
    return CutSet(
        id="5f0c2a91d3b7", job="lamp sequencer", machine=MACHINE,
        clamps=(Clamp(Box(0, 60, 12, 90), 12.0, (1,)), Clamp(Box(290, 70, 300, 100), 12.0),
                Clamp(Box(80, 145, 110, 160), 8.0, (2,))),
        cutters=(VEE, DRILL, MILL), gap=0.4,
        inputs=(InputFile("sequencer.toml", "a" * 64), InputFile("memory.dxf", "b" * 64)),
        blanks=(milled,), findings=findings,
    )  # fmt: skip


def _as_cut(placement: Placement, blank: Blank, laps: tuple[Lap, ...]) -> AsCut:
    lines = [lap.path.line() for lap in laps]
    foot = shapely.union_all([ln.buffer(VEE.width(DEPTH, COPPER) / 2, quad_segs=6) for ln in lines])
    left = shapely.box(0, 0, *blank.size).difference(foot)
    pieces = [(p.id, placement.pose.point(p.at)) for p in placement.board.pieces]
    tree = shapely.STRtree([shapely.Point(at) for _, at in pieces])
    parts = []
    for part in shapely.get_parts(left):
        on = sorted(int(i) for i in tree.query(part, predicate="contains"))
        parts.append(CopperPart(part, tuple((0, pieces[i][0]) for i in on)))
    groove = Groove(VEE.name, *[shapely.MultiPolygon()] * 3)
    return AsCut(1, (groove,), tuple(parts))


def refused(stages: int = 1) -> CutSet:
    """The same board as far as a run knows it that stops before any path."""
    whole = invented(stages)
    stop = Finding(
        code="gap-too-narrow", severity="stop", frame="drawing", at=(27.0, 20.0), board="memory",
        copy=1, message="c3 and c4 stand 0.05 mm apart and no cutter fits. Move them apart.",
    )  # fmt: skip
    (blank,) = whole.blanks
    copies = tuple(replace(copy, proof=None) for copy in blank.copies)
    return replace(whole, blanks=(MilledBlank(blank.laminate, copies),), findings=(stop,))
