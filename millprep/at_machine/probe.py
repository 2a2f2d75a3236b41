"""Probe: a program that touches the copper around all that a pass cuts, and a table to fill in."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import shapely
from shapely.geometry.base import BaseGeometry

from millprep.at_machine.probe_grid import denied, grid
from millprep.files import writing
from millprep.gcode import probing
from millprep.gcode.post_processor import post_processed
from millprep.gcode.probing import Probing
from millprep.gcode.rs274 import TextSink, run
from millprep.gcode.run_time import figures_of
from millprep.gcode.writing import tool_numbers
from millprep.geometry.path import FloatArray
from millprep.model.blank import Blank
from millprep.model.cutter import Cutter
from millprep.model.finding import Refusal, usage
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import MillingPass
from millprep.model.program import Program
from millprep.report import report_file
from millprep.report.report_model import Report
from millprep.verify import motion, reader
from millprep.verify.as_cut import as_cut
from millprep.verify.cutter_changes import split_by_cutter
from millprep.verify.motion_context import table
from millprep.verify.over_copper import over_flat_copper
from millprep.verify.probing import grid_fault
from millprep.verify.read_back import programs_read
from millprep.verify.trace import Trace, look_at_zero
from millprep.workflow import time_log
from millprep.workflow.planning import Say
from millprep.workflow.source_set import job_of, programs_of, same_inputs, whole

SPACING = 30.0
"""Largest distance of rows and columns by default, mm: common practice, no source."""
UNEVEN = 1.0
"""The copper is searched this far above and below zero by default, mm."""
EDGE = 1.0
"""The tip keeps so far inside the blank's edge, mm."""
SPARE = 0.3
"""And its rim so far from what is cut, mm."""
CHORD = 0.01
"""The grid encloses the cuts by this, mm: arcs are examined by chords."""


@dataclass(frozen=True, slots=True)
class Probed:
    """What was written.

    Attributes:
        program, table: files.
        x, y: of columns and rows, machine frame.
        seconds: estimated running time of the program.
        hull: (x0, y0, x1, y1) of all that the pass cuts, machine frame.
    """

    program: Path
    table: Path
    x: FloatArray
    y: FloatArray
    seconds: float
    hull: tuple[float, float, float, float]


def probe(
    folder: Path,
    out: Path,
    blank: int,
    number: int,
    job_file: Path | None = None,
    say: Say = lambda _: None,
    *,
    spacing: float = SPACING,
    uneven: float = UNEVEN,
    cutter: str | None = None,
) -> Probed:
    """Write the program that probes the copper of a pass, proved, and a table to fill in.

    Args:
        folder: the set that is being cut; it stays as it is.
        out: folder for both files.
        blank: its number.
        number: of the pass.
        job_file: a job to take instead of the one that the set keeps.
        say: takes the name of every step as it begins.
        spacing: of rows and columns, at most, mm.
        uneven: how far the copper may lie above or below zero, mm.
        cutter: name of the tip; None takes the first cutter that isolates.

    Raises:
        Refusal: with what cannot be probed, or what is wrong with set or job.
    """
    say("reading the set")
    source = report_file.read(folder)
    whole(source)
    set_job = job_of(source, folder, job_file)
    plan = set_job.plan
    same_inputs(source, set_job.inputs)
    mill_pass, board = _where(source, blank, number)
    tip = _tip(plan, cutter)
    say("simulating the cuts so far")
    programs = programs_of(source, plan)
    here = [p for p in programs if p.blank == blank and 0 < p.mill_pass <= number]
    read = programs_read(folder, here, plan)
    cuts = _cuts([trace for p, trace in read if p.mill_pass == number and _works(p)])
    before = [
        (_flat(source, p, trace, plan), p.cutter, _where(source, blank, p.mill_pass)[0])
        for p, trace in read
        if _done(p, number)
    ]
    free = _copper(source, board, before, mill_pass, plan, tip)
    say("choosing the points")
    x, y = grid(cuts, spacing, denied(free, mill_pass, plan, tip, uneven), (blank, number))
    machine = plan.machine
    how = Probing(tip, uneven, machine.probe_log is None, machine.surface_probe == "electrical")
    made = probing.surface_program(mill_pass, x.tolist(), y.tolist(), how, machine)
    say("writing the program and reading it back")
    _, fit = time_log.fit_of(machine)
    text, as_written = io.StringIO(), post_processed(made, machine)
    lines = TextSink(text.write, source.set, plan.name, machine, numbers=tool_numbers(plan.cutters))
    run(as_written, lines)
    _prove(text.getvalue(), made, mill_pass, board, plan, free, cuts)
    program, table_file = out / made.file, (out / made.file).with_suffix(".csv")
    places = list(probing.surface_places(mill_pass.touch, x.tolist(), y.tolist()))
    head = _head(source.set, blank, number)
    rows = head + "".join(f"{u:.3f},{v:.3f},\n" for u, v in places)
    _write(out, {program: text.getvalue(), table_file: rows})
    seconds = figures_of(as_written, machine, 1.0 if fit is None else fit.factor).seconds
    return Probed(program, table_file, x, y, seconds, cuts.bounds)


def _head(set_id: str, blank: int, number: int) -> str:
    """The comments that say which pass the map belongs to."""
    return (
        f"# height map: fill in z, positive above Z0\n# set {set_id}\n# blank {blank}\n"
        f"# pass {number}\n# unit mm\nx,y,z\n"
    )


def _where(source: Report, blank: int, number: int) -> tuple[MillingPass, Blank]:
    """The pass and the blank.

    Raises:
        Refusal: exit code 2, when there is no such pass.
    """
    for mill_pass in source.milling_passes():
        if (mill_pass.blank, mill_pass.number) == (blank, number):
            return mill_pass, next(row.blank() for row in source.blanks if row.number == blank)
    message = f"Set {source.set} has no pass {number} of blank {blank}."
    raise usage("pass-unknown", message)


def _tip(plan: JobPlan, name: str | None) -> Cutter:
    """The cutter that touches.

    Raises:
        Refusal: exit code 2, for a name that the job does not have.
    """
    if name is None:
        return plan.isolation.cutters[0]
    for cutter in plan.cutters:
        if cutter.name == name:
            return cutter
    known = ", ".join(cutter.name for cutter in plan.cutters)
    raise usage("cutter-unknown", f"The job has no cutter {name}; it has {known}.")


def _works(program: Program) -> bool:
    """Whether a program follows a height map."""
    return program.work not in ("probe", "dry-run")


def _done(program: Program, number: int) -> bool:
    """Whether a program may have been run when a pass is probed."""
    if not _works(program):
        return False
    early = program.mill_pass == number and program.work in ("engrave", "register")
    return program.mill_pass < number or early


def _flat(source: Report, program: Program, trace: Trace, plan: JobPlan) -> Trace:
    """The moves of a program as if over flat copper."""
    levelling = source.levellings.get((program.blank, program.mill_pass))
    if levelling is None or not _works(program):
        return trace
    return over_flat_copper(trace, levelling.surface, plan.machine.clearance).trace


def _cuts(traces: Sequence[Trace]) -> BaseGeometry:
    """The box around all feeds of a pass, machine frame."""
    boxes: list[BaseGeometry] = []
    for trace in traces:
        moves = table(trace)
        cuts = ~moves.rapid
        look = look_at_zero(trace)
        if look is not None:
            cuts[look.first : look.last + 1] = False
        low, high = moves.low[cuts], moves.high[cuts]
        boxes += shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]).tolist()
    if not boxes:
        raise usage("nothing-to-probe", "The pass cuts nothing that a height map would correct.")
    x0, y0, x1, y1 = shapely.total_bounds(boxes).tolist()
    around: BaseGeometry = shapely.box(x0 - CHORD, y0 - CHORD, x1 + CHORD, y1 + CHORD)
    return around


def _copper(
    source: Report,
    blank: Blank,
    before: Sequence[tuple[Trace, Cutter, MillingPass]],
    mill_pass: MillingPass,
    plan: JobPlan,
    tip: Cutter,
) -> BaseGeometry:
    """Where the tip touches copper that closes the circuit, or any with a switch, machine frame."""
    cut = as_cut(blank, before, ())
    sheet = shapely.box(0.0, 0.0, *blank.size) if blank.outline is None else blank.outline
    holes = [
        hole.spine.buffer(hole.diameter / 2)
        for registered in source.milling_passes()
        for hole in registered.registration
        if registered.blank == blank.number and hole.drilled_in <= mill_pass.number
    ]
    wide = tip.width(0.05) / 2 + SPARE
    parts = [part.shape for part in cut.surface]
    if plan.machine.surface_probe == "electrical":
        # the wire is on the copper that zero is touched on
        zero = shapely.Point(mill_pass.pose.inverse().point(mill_pass.touch))
        parts = [part for part in parts if part.intersects(zero)]
    copper = shapely.difference(shapely.union_all(parts), shapely.union_all(holes))
    solid = shapely.buffer(copper, -wide, quad_segs=4)
    inside = shapely.buffer(sheet, -EDGE, quad_segs=4)
    free: BaseGeometry = shapely.intersection(solid, inside)
    return mill_pass.pose.shape(free)


def _prove(
    text: str,
    made: Program,
    mill_pass: MillingPass,
    blank: Blank,
    plan: JobPlan,
    free: BaseGeometry,
    cuts: BaseGeometry,
) -> None:
    """Read the program back and check it against the rules.

    Raises:
        Refusal: with every rule that it breaks.
    """
    # where the machine changes cutters, an earlier part fits the tip
    machine = plan.machine
    read = reader.read(text, file=made.file, dialect=machine.dialect)
    trace = split_by_cutter(read)[-1].trace
    findings = list(
        motion.check(
            trace,
            cutter=made.cutter,
            machine=machine,
            clamps=plan.setup.clamps,
            mill_pass=mill_pass,
            blank=blank,
            spoilboard=plan.drilling.spoilboard,
            file=made.file,
            at=mill_pass.touch,
            # how uneven it is is not known yet: nothing goes down at rapid
            flatness=machine.clearance,
            # zero is touched as well, on copper that other rules have chosen
            touching=shapely.union(free, shapely.Point(mill_pass.touch).buffer(CHORD)),
        )
    )
    fault = grid_fault(trace, cuts, mill_pass.touch, made.file)
    if fault is not None:
        findings.append(fault)
    if findings:
        raise Refusal(findings)


def _write(out: Path, files: dict[Path, str]) -> None:
    """Write all files, replacing those of the same names.

    Raises:
        Refusal: exit code 2, when the folder is a set's; 1, when it cannot be written.
    """
    if (out / "report.json").exists():
        message = f"{out} holds a set. Name another folder for the probing program."
        raise usage("probe-in-set", message)
    with writing.writing_to(out):
        out.mkdir(parents=True, exist_ok=True)
    for file, text in files.items():
        writing.replace_file(file, text.encode("ascii"))
