"""The programs on disk, read back and proved: what counts is the file, not our intention."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from millprep.geometry.pose import Pose
from millprep.model.as_cut import AsCut, BoardProof, LandGap
from millprep.model.blank import Blank
from millprep.model.certificate import Certificate
from millprep.model.dialect import Dialect
from millprep.model.finding import Finding, Refusal
from millprep.model.layout import Layout
from millprep.model.milling_pass import Join, MillingPass
from millprep.model.plan import JobPlan
from millprep.model.program import Program
from millprep.model.surface_map import Levelling, SurfaceMap
from millprep.model.trail import ARC_CCW, ARC_CW, FEED, RAPID, Trail
from millprep.verify import motion, reader
from millprep.verify.as_cut import Nets, as_cut
from millprep.verify.certificate import certificate_of
from millprep.verify.clearances import land_gaps, unopened
from millprep.verify.compare import compare
from millprep.verify.cutter_changes import as_told
from millprep.verify.edges import EDGE
from millprep.verify.over_copper import laid_flat
from millprep.verify.required import opened, skirt, wanted
from millprep.verify.rows import Row, check_rows, rows_by_file
from millprep.verify.stray_cuts import Cutting, astray
from millprep.verify.trace import Trace
from millprep.verify.worst_case import worst, worst_findings

Beside = Callable[[Callable[[], Any]], Callable[[], Any]]
"""Takes work and gives back what waits for its result; at its simplest the work itself."""

TABLE = "toolpaths.csv"
"""All motion of a set, written beside the programs and held against them."""


@dataclass(frozen=True, slots=True)
class Proved:
    """What the programs of a set prove."""

    as_cut: tuple[AsCut, ...]
    proofs: tuple[BoardProof, ...]
    certificate: Certificate | None
    findings: tuple[Finding, ...]
    trails: tuple[Trail, ...] = ()


def prove(
    folder: Path,
    job: JobPlan,
    layout: Layout,
    passes: Sequence[MillingPass],
    programs: Sequence[Program],
    *,
    joins: Sequence[Join] = (),
    levellings: Sequence[Levelling] = (),
    nets: Nets | None = None,
    table: bool = True,
    beside: Beside = lambda work: work,
    once_cut: Callable[[tuple[AsCut, ...]], object] = lambda _: None,
) -> Proved:
    """Read every program of a set, check its motion, cut the blanks with it, compare.

    Programs of passes with `levellings` are judged from the copper as their maps tell it.
    `nets` names the net of every piece; copper between pieces of one net is no short. With
    `table` False the programs are not held against the table of motions. `beside` may begin work
    that another core can do. `once_cut` is told the copper as soon as it is known.

    Raises:
        Refusal: when programs are not RS-274, with the faults of all of them, or the table of
            motions is damaged.
    """
    by_pass = {(p.blank, p.number): p for p in passes}
    blanks = {blank.number: blank for blank in layout.blanks}
    bed, bed_board = _bed(job)
    rows = motion_rows(folder / TABLE, programs) if table else None
    traces: dict[int, list[tuple[Trace, Program]]] = {}
    findings: list[Finding] = []
    read: list[tuple[Program, Trace]] = []
    for file, trace in _traces(folder, programs, job.machine.dialect).items():
        if rows is not None:
            findings += check_rows(trace, rows.get(file, ()), file=file)
        mine = [program for program in programs if program.file == file]
        parts = as_told(trace, mine, job.cutters, job.machine)
        findings += parts.findings
        read += zip(parts.programs, parts.traces, strict=True)
    trails: list[Trail] = []
    followed = {(one.blank, one.mill_pass): one for one in levellings}
    for program, trace in read:
        mill_pass = by_pass.get((program.blank, program.mill_pass), bed)
        on_bed = mill_pass is bed
        probing = program.work == "probe"
        over = _over(program, followed)
        laid = trace if over is None else laid_flat(trace, over, job.machine.clearance).trace
        trails.append(trail_of(laid, program))
        # a touch that breaks no rule stays within a hole and cuts nothing
        if not on_bed and not probing:
            traces.setdefault(program.blank, []).append((laid, program))
        findings += motion.check(
            trace,
            cutter=program.cutter,
            machine=job.machine,
            clamps=() if on_bed else tuple(c for c in job.clamps if c.on_in(mill_pass.number)),
            mill_pass=mill_pass,
            blank=bed_board if on_bed else blanks[program.blank],
            spoilboard=0.0 if on_bed else job.drilling.spoilboard,
            file=program.file,
            # the person has just zeroed z there
            at=program.start[:2],
            probing=probing,
            surface=over,
        )
    cuts = {
        number: [
            (trace, program.cutter, by_pass[program.blank, program.mill_pass])
            for trace, program in traces.get(number, ())
        ]
        for number in blanks
    }
    cut = tuple(
        as_cut(blank, cuts[blank.number], layout.on(blank.number)) for blank in layout.blanks
    )
    once_cut(cut)
    certificate = beside(
        lambda: certificate_of(
            layout, cuts, passes, joins, cut, gap=job.isolation.gap, edges=2 * EDGE
        )
    )
    reach = max(cutter.width(job.isolation.depth) / 2 for cutter in job.isolation.cutters)
    depth, copper = job.isolation.depth, max(blank.copper for blank in layout.blanks)
    slope = max(c.width(depth) - c.width(depth, copper) for c in job.isolation.cutters) / 2
    kept = job.isolation.course == "middle"
    proofs, faults = compare(cut, layout, reach=reach, slope=slope, nets=nets, kept=kept)
    findings += faults
    lands: dict[int, tuple[LandGap, ...]] = {}
    for blank, copper_left in zip(layout.blanks, cut, strict=True):
        here = layout.on(blank.number)
        gap, around = opened(job, blank), job.isolation.pad_gap
        if gap is not None:
            far = around and opened(job, blank, around)
            findings += [f for one in here for f in unopened(copper_left, one, gap, far)]
        if around is not None:
            for one in here:
                lands[one.index], narrow = land_gaps(
                    copper_left, one, around, skirt(job, blank), nets
                )
                findings += narrow
        findings += astray(
            blank,
            [
                Cutting(p.file, trace, p.cutter, by_pass[p.blank, p.mill_pass])
                for trace, p in traces.get(blank.number, ())
            ],
            here,
            [one for one in passes if one.blank == blank.number],
            [one for one in joins if one.blank == blank.number],
            wanted(job, blank, here),
        )
    proofs = tuple(replace(one, lands=lands.get(one.placement)) for one in proofs)
    if any(finding.severity == "stop" for finding in findings):
        # What is spoilt as asked needs no worst case.
        return Proved(cut, proofs, None, tuple(findings), tuple(trails))
    by_index = {proof.placement: proof for proof in proofs}
    for blank, asked in zip(layout.blanks, cut, strict=True):
        here = layout.on(blank.number)
        flatness = [
            job.isolation.flatness if level is None else level.left
            for _, p in traces.get(blank.number, ())
            for level in [followed.get((p.blank, p.mill_pass))]
        ]
        told = worst(blank, cuts[blank.number], here, asked, by_index, flatness, nets)
        for index, case in told.items():
            by_index[index] = replace(by_index[index], worst=case)
            findings += worst_findings(layout.placements[index], case, max(flatness))
    return Proved(cut, tuple(by_index.values()), certificate(), tuple(findings), tuple(trails))


def _over(program: Program, followed: Mapping[tuple[int, int], Levelling]) -> SurfaceMap | None:
    """The map that a program follows; what touches or only shows places follows none."""
    one = followed.get((program.blank, program.mill_pass))
    return None if one is None or program.work in ("probe", "dry-run") else one.surface


def programs_read(
    folder: Path, programs: Sequence[Program], job: JobPlan
) -> tuple[tuple[Program, Trace], ...]:
    """Programs of a set, each as its file has it.

    Raises:
        Refusal: when one cannot be read, with the faults of all of them.
    """
    missing = [p.file for p in programs if not (folder / p.file).is_file()]
    if missing:
        raise Refusal([_damaged(file, "the file is missing.") for file in dict.fromkeys(missing)])
    found: list[tuple[Program, Trace]] = []
    for file, trace in _traces(folder, programs, job.machine.dialect).items():
        told = as_told(trace, [p for p in programs if p.file == file], job.cutters, job.machine)
        found += zip(told.programs, told.traces, strict=True)
    return tuple(found)


def _traces(folder: Path, programs: Sequence[Program], dialect: Dialect) -> dict[str, Trace]:
    """Every file read, by its name."""
    found: dict[str, Trace] = {}
    faults: list[Finding] = []
    for file in dict.fromkeys(program.file for program in programs):
        try:
            # line ends are left as they are
            text = (folder / file).read_bytes().decode("ascii")
            found[file] = reader.read(text, file=file, dialect=dialect)
        except UnicodeDecodeError as fault:
            line = fault.object.count(b"\n", 0, fault.start) + 1
            message = "the file holds characters that no program may hold. Write the set again."
            faults.append(_damaged(file, message, line))
        except Refusal as refusal:
            faults += refusal.findings
    if faults:
        raise Refusal(faults)
    return found


_KINDS = {"rapid": RAPID, "feed": FEED, "probe": FEED, "arc_cw": ARC_CW, "arc_ccw": ARC_CCW}


def trail_of(trace: Trace, program: Program) -> Trail:
    """A trace as plain arrays; where no word has told a place yet, the program's start stands."""
    moves = trace.moves
    places = np.array([program.start, *(move.end for move in moves)], dtype=float)
    for column, start in zip(places.T, program.start, strict=True):
        column[np.isnan(column)] = start
    wait = np.zeros(len(moves) + 1)
    for dwell in trace.dwells:
        wait[dwell.before] += dwell.seconds
    nowhere = (np.nan, np.nan)
    return Trail(
        file=program.file,
        xyz=places,
        kind=np.array([_KINDS[move.kind] for move in moves], dtype=np.int64),
        centre=np.array([move.centre or nowhere for move in moves], dtype=float).reshape(-1, 2),
        feed=np.array([np.nan if m.feed is None else m.feed for m in moves], dtype=float),
        line=np.array([move.line for move in moves], dtype=np.int64),
        wait=wait[: len(moves)],
    )


def _damaged(file: str, message: str, line: int | None = None) -> Finding:
    return Finding(code="file-damaged", severity="stop", message=message, file=file, line=line)


def motion_rows(table: Path, programs: Sequence[Program]) -> dict[str, list[Row]]:
    """The table's rows by program file.

    Raises:
        Refusal: when it is no such table.
    """
    try:
        with table.open(encoding="ascii", newline="") as lines:
            return rows_by_file(lines, programs)
    except (KeyError, TypeError, ValueError) as fault:
        words = f"the table of motions is damaged ({fault}). Write the set again."
        raise Refusal([_damaged(table.name, words)]) from None


def _bed(job: JobPlan) -> tuple[MillingPass, Blank]:
    """The bed as the motion rules see it: a sheet as large as the travel, the spoilboard thick."""
    t = job.machine.travel
    pose = Pose.shift(t.x0, t.y0)
    size = (t.x1 - t.x0, t.y1 - t.y0)
    window = shapely.box(0.0, 0.0, *size)
    thickness = job.drilling.spoilboard
    return (
        MillingPass(0, 0, window, pose, (), (t.x0, t.y0)),
        Blank(1, size, thickness, thickness / 2),
    )
