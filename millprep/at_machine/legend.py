"""Legend: programs that engrave the component side of a blank before anything else is cut of it.

The blank is turned over about a line through its middle, parallel to one of its sides, and both of
its pins are on that line: so the same pins hold it either way up, and it covers the same place.

The legend comes first, before pass 1. Then the blank is whole and flat, and firm to its edges. The
copper under it has no grooves and no burrs around holes. Copper, holes and edge are cut afterwards
without moving the blank between them, so turning it costs them no accuracy.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from millprep.at_machine.legend_parts import Lines, Turning, draw, lines_of, steps_words, turning
from millprep.files import writing
from millprep.gcode.build import build
from millprep.gcode.post_processor import post_processed
from millprep.gcode.rs274 import TextSink, run
from millprep.gcode.run_time import figures_of
from millprep.gcode.spoilboard import spoilboard_pass, spoilboard_program
from millprep.gcode.writing import tool_numbers
from millprep.model.blank import Blank, Placement
from millprep.model.cut import Engraving
from millprep.model.finding import Finding, Refusal, stop, usage
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import MillingPass, RegistrationHole
from millprep.model.program import Program
from millprep.model.set_of_programs import MilledBlank
from millprep.report import report_file
from millprep.report.report_model import Report
from millprep.toolpaths import drilling
from millprep.verify import reader
from millprep.verify.cutter_changes import split_by_cutter
from millprep.verify.legend import LegendRequired, check_bores, check_legend
from millprep.verify.read_back import check_motion, programs_read
from millprep.verify.sweep import segments
from millprep.verify.trace import Trace
from millprep.workflow.inputs import read_boards
from millprep.workflow.planning import Say
from millprep.workflow.source_set import job_of, same_inputs, unlike_job, whole

ON_LAMINATE = "the laminate, component side up"
CAUTION = (
    "Dust, chips and the spindle can hurt you: all cautions on the plan of the set hold here too. "
    "Stop the spindle before you touch blank, pins or clamps. Local codes come first."
)


@dataclass(frozen=True, slots=True)
class LegendMade:
    """What was written.

    Attributes:
        files: in the order in which they are run.
        steps: what a person does, in order.
        lines: what is engraved, and what is not.
        seconds: estimated running time of all.
        findings: what a person should know.
    """

    files: tuple[Path, ...]
    steps: tuple[str, ...]
    lines: Lines
    seconds: float
    findings: tuple[Finding, ...]


def legend(
    folder: Path, out: Path, blank: int, job_file: Path | None = None, say: Say = lambda _: None
) -> LegendMade:
    """Write the programs that engrave the legend of a blank, each proved from its file.

    Args:
        folder: the set; it stays as it is.
        out: new folder for the programs, the steps and a picture.
        blank: its number.
        job_file: a job to take instead of the one that the set keeps.
        say: takes the name of every step as it begins.

    Raises:
        Refusal: with what is wrong with set, job or programs; nothing is written.
    """
    if out.exists():
        raise usage("legend-exists", f"{out} exists. Delete it, or name another folder.", out)
    say("reading the set")
    source = report_file.read(folder)
    whole(source)
    set_job = job_of(source, folder, job_file)
    plan = set_job.plan
    same_inputs(source, set_job.inputs)
    try:
        layout = source.layout(read_boards(plan, repair=True))
        programs = source.programs(plan.cutters, plan.machine)
    except ValueError as fault:
        raise Refusal([unlike_job(fault)]) from None
    laminate = next((b for b in layout.blanks if b.number == blank), None)
    if laminate is None:
        raise usage("blank-unknown", f"Set {source.set} has no blank {blank}.")
    placements = layout.on(blank)
    mill_pass = _only_pass(source, plan, laminate, placements)
    cut = _cut_area(folder, plan, mill_pass, [p for p in programs if p.blank == blank])
    say("planning the legend")
    turned = turning(plan, laminate, mill_pass, cut)
    lines = lines_of(placements, plan.legend, laminate)
    if not lines.kept:
        raise Refusal([stop("legend-nothing-left", "Holes and edges leave nothing of the legend.")])
    made = _programs(plan, laminate, mill_pass, turned, lines)
    say("writing the programs and reading them back")
    texts: dict[str, str] = {}
    seconds = 0.0
    findings: list[Finding] = []
    for lying, program in made:
        text, as_written = io.StringIO(), post_processed(program, plan.machine)
        numbers = tool_numbers(plan.cutters)
        sink = TextSink(text.write, source.set, plan.name, plan.machine, numbers=numbers)
        run(as_written, sink)
        texts[program.file] = text.getvalue()
        seconds += figures_of(as_written, plan.machine).seconds
        read = reader.read(text.getvalue(), file=program.file, dialect=plan.machine.dialect)
        trace = split_by_cutter(read)[-1].trace
        findings += check_motion(plan, MilledBlank(laminate), lying, program, trace)
        findings += _check_cuts(plan, laminate, placements, lying, program, trace, turned, lines)
    if any(finding.severity == "stop" for finding in findings):
        raise Refusal(findings)
    steps = steps_words(turned, plan, laminate, list(texts))
    with writing.staged(out) as new:
        for file, content in texts.items():
            (new / file).parent.mkdir(exist_ok=True)
            (new / file).write_bytes(content.encode("ascii"))
        head = f"Legend of blank {blank}, set {source.set}\n\n{CAUTION}\n\n"
        body = "".join(f"{n}. {step}\n" for n, step in enumerate(steps, 1))
        (new / "steps.txt").write_text(head + body, "utf-8")
        draw(new, plan.name, laminate, placements, turned, lines)
        writing.put_in_place(new, out)
    files = tuple(out / file for file in texts)
    return LegendMade(files, steps, lines, seconds, (*findings, *lines.findings))


def _only_pass(
    source: Report, plan: JobPlan, laminate: Blank, placements: Sequence[Placement]
) -> MillingPass:
    """The one pass of the blank.

    Raises:
        Refusal: where a legend cannot be engraved, with what to change.
    """
    faults: list[Finding] = []
    passes = [p for p in source.milling_passes() if p.blank == laminate.number]
    if not any(p.board.legend for p in placements):
        words = 'No board of the blank has a legend. Set layers.legend = ["…"] in [[board]], and '
        faults.append(stop("legend-not-named", f"{words}prepare the set again."))
    if len(passes) != 1:
        words = (
            f"Blank {laminate.number} is cut in {len(passes)} passes, and a legend can be engraved "
            "on blanks of one pass only: its whole component side must be within the travel."
        )
        faults.append(stop("legend-several-passes", words))
    if plan.registration.method != "pins":
        words = 'The blank is turned over on two pins. Set [registration] method = "pins".'
        faults.append(stop("legend-needs-pins", words))
    if laminate.outline is not None:
        words = "An offcut turned over covers another place. A legend needs a rectangular blank."
        faults.append(stop("legend-on-offcut", words))
    most = laminate.thickness - laminate.copper
    if plan.legend.depth + plan.isolation.flatness >= most / 2:
        words = f"[legend] depth must be below {most / 2 - plan.isolation.flatness:.2f} mm, half of"
        faults.append(stop("legend-too-deep", f"{words} the laminate less flatness."))
    if faults:
        raise Refusal(faults)
    return passes[0]


def _cut_area(
    folder: Path, plan: JobPlan, mill_pass: MillingPass, programs: Sequence[Program]
) -> BaseGeometry:
    """All that the set cuts of the blank, blank frame."""
    areas: list[BaseGeometry] = []
    back = mill_pass.pose.inverse()
    for program, trace in programs_read(folder, programs, plan):
        steps = segments(trace)
        if not len(steps) or program.mill_pass == 0:
            continue
        ends = np.stack((back.points(steps[:, 0:2]), back.points(steps[:, 3:5])), axis=1)
        half = program.cutter.width(float(-steps[:, [2, 5]].min())) / 2
        areas.append(
            shapely.union_all(shapely.buffer(shapely.linestrings(ends), half, quad_segs=4))
        )
    return shapely.union_all(areas)


def _programs(
    plan: JobPlan, laminate: Blank, mill_pass: MillingPass, turned: Turning, lines: Lines
) -> list[tuple[MillingPass, Program]]:
    """Every program in order, with the pass as which the blank lies."""
    holes = turned.holes
    cuts, findings = drilling.register(holes, laminate, plan.registration, plan.drilling)
    cutter, missing = drilling.pin_cutter(plan.registration)
    if findings or missing or cutter is None:
        raise Refusal((*findings, *missing))
    before = replace(mill_pass, registration=(), programs=(), verniers=(), levelling=None)
    over = replace(before, pose=turned.pose, window=_window(plan, turned))
    engraved = [
        Engraving(path, plan.legend.cutter.name, plan.legend.depth, "legend") for path in lines.kept
    ]
    made: list[tuple[MillingPass, Program]] = []
    for stage, lying, lies, some in (
        ("1-pin-holes", before, "copper side up, before pass 1", cuts[1]),
        ("3-legend", over, "turned over, component side up", engraved),
    ):
        built = build(
            some, lying, plan.cutters, plan.machine, plan.profile, clamps=plan.setup.clamps,
            flatness=plan.isolation.flatness,
        )  # fmt: skip
        zero = ON_LAMINATE if lying is over else "the copper"
        notes = (turned.words, "the pins are in the spoilboard") if lying is over else ()
        for program in built:
            file = f"{stage}/{program.file.rsplit('/', 1)[-1]}"
            named = replace(
                program, file=file, zero_on=zero, lies=lies, notes=(*notes, *program.notes)
            )
            made.append((lying, named))
        if lying is before:
            bored = spoilboard_program(plan, holes, cutter, laminate)
            file = f"2-spoilboard/{bored.file.rsplit('/', 1)[-1]}"
            made.append((spoilboard_pass(plan.machine, laminate.number), replace(bored, file=file)))
    return made


def _window(plan: JobPlan, turned: Turning) -> shapely.Polygon:
    """What the machine reaches of the blank turned over, blank frame."""
    return turned.pose.inverse().shape(plan.machine.reachable.shape)


def _check_cuts(
    plan: JobPlan,
    laminate: Blank,
    placements: Sequence[Placement],
    lying: MillingPass,
    program: Program,
    trace: Trace,
    turned: Turning,
    lines: Lines,
) -> Sequence[Finding]:
    """What is wrong with what a program cuts."""
    if not program.spins:
        return ()
    at = [hole.machine for hole in turned.holes]
    registration = plan.registration
    if program.work == "engrave":
        boards = [p.pose.shape(p.board.outline) for p in placements]
        required = LegendRequired(
            lines.drawn,
            _holes(placements, turned.holes),
            shapely.union_all(boards),
            plan.legend.clear,
            plan.legend.depth,
            plan.legend.cutter,
        )
        return tuple(check_legend(trace, required, lying.pose, laminate, program.file))
    if lying.number == 0:
        depth = (registration.pin_depth, registration.pin_depth)
        return tuple(check_bores(trace, at, registration.pin, depth, program.cutter, program.file))
    depth = (laminate.thickness, laminate.thickness + plan.drilling.spoilboard)
    return tuple(check_bores(trace, at, registration.hole, depth, program.cutter, program.file))


def _holes(placements: Sequence[Placement], pins: Sequence[RegistrationHole]) -> BaseGeometry:
    """Areas of all holes, blank frame."""
    areas = [
        shapely.buffer(hole.spine, hole.diameter / 2, quad_segs=64)
        for p in placements
        for hole in p.holes
    ]
    areas += [hole.spine.buffer(hole.diameter / 2) for hole in pins]
    return shapely.union_all(areas)
