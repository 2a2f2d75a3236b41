"""From the tables of a checked job file to the plan: defaults worked out, names resolved."""

from __future__ import annotations

import math
from pathlib import Path as File
from typing import Any

from millprep.geometry.path import Point
from millprep.job.bed import BlankTable, ClampTable, MachineTable
from millprep.job.board import BoardTable
from millprep.job.clearing import areas_of, clearing_of
from millprep.job.dialect import dialect_of
from millprep.job.model import JobFile
from millprep.job.net import nets_of
from millprep.job.probe import probe_of
from millprep.job.tools import AnyCutter, DrillTable, EndMillTable
from millprep.job.wire import wires_of
from millprep.job.work import BY_VOLTAGE, DrillingTable, RegistrationTable
from millprep.model.blank import Box, Clamp
from millprep.model.cutter import Cutter, Drill, EndMill, Vee
from millprep.model.machine import Machine
from millprep.model.plan import (
    BlankPlan,
    BoardPlan,
    DrillingPlan,
    FurtherDrawing,
    IsolationPlan,
    JobPlan,
    LayerRoles,
    PlacePlan,
    ProfilePlan,
    RegistrationPlan,
    Selection,
    WireLink,
)

SPACING_WEB = 2.0
"""Laminate left between the kerfs of two boards, mm, so that tabs have something to hold to."""
PIN_DEPTH = 4.5
ASSUMED_ERROR = 0.03
"""Of one registration hole per axis, drilling and finding it together, mm; nobody measured it."""
HALF_ERROR = ASSUMED_ERROR / math.sqrt(2)


def plan_of(file: File, job: JobFile) -> JobPlan:
    """Build the plan of a job whose checks have passed; `file` as given."""
    cutters = {name: _cutter(name, table) for name, table in job.cutters.items()}
    isolation, profile = job.isolation, job.profile
    borer = cutters[job.drilling.borer] if job.drilling.borer else None
    drilling = DrillingPlan(
        cutters=tuple(cutters[name] for name in job.drilling.cutters),
        tolerance=job.drilling.tolerance,
        borer=borer,
        breakthrough=job.drilling.breakthrough,
        spoilboard=job.drilling.spoilboard,
    )
    profile_cutter = cutters[profile.cutter]
    width = profile_cutter.width(0.0)
    return JobPlan(
        file=file,
        name=job.name,
        boards=tuple(_board(file, board, job.rules.celsius) for board in job.board),
        blanks=tuple(_blank(blank, width) for blank in job.blank),
        machine=_machine(job.machine),
        origin=_point(job.setup.origin),
        touch=_point(job.setup.touch) if job.setup.touch else None,
        clamps=tuple(_clamp(clamp) for clamp in job.setup.clamp),
        tape=job.setup.tape,
        turn=job.setup.turn,
        isolation=IsolationPlan(
            gap=isolation.base_gap if isinstance(isolation.gap, str) else isolation.gap,
            depth=isolation.depth,
            flatness=isolation.flatness,
            cutters=tuple(cutters[name] for name in isolation.cutters),
            overlap=isolation.overlap,
            direction=isolation.direction,
            by_voltage=isolation.gap == BY_VOLTAGE,
            course=isolation.course,
            pad_gap=isolation.pad_gap,
        ),
        clearing=clearing_of(job.clearing, isolation.depth, cutters),
        drilling=drilling,
        profile=ProfilePlan(
            cutter=profile_cutter,
            breakthrough=profile.breakthrough,
            tab_width=profile.tab_width,
            tab_height=profile.tab_height,
            tab_every=profile.tab_every,
            ramp=profile.ramp,
            direction=profile.direction,
        ),
        registration=_registration(job.registration, job.drilling, cutters),
        cutters=tuple(cutters.values()),
        rules=job.rules.plan(),
        layout=_further(file, job.layout.file),
    )


def _point(pair: list[float]) -> Point:
    return (float(pair[0]), float(pair[1]))


def _machine(table: MachineTable) -> Machine:
    (x, y), (zero_x, zero_y) = table.travel, table.zero
    return Machine(
        name=table.name,
        travel=Box(0.0 - zero_x, 0.0 - zero_y, x - zero_x, y - zero_y),
        above=table.above,
        below=table.below,
        clearance=table.clearance,
        rapid=table.max_feed if table.rapid is None else table.rapid,
        max_feed=table.max_feed,
        max_plunge=table.max_plunge,
        max_spindle=table.max_spindle,
        spindle_by_program=table.spindle == "program",
        dwell=table.dwell,
        collet=table.collet,
        screw_lead=table.screw_lead,
        scale_error=table.scale_error,
        squareness=table.squareness,
        periodic_error=table.periodic_error,
        backlash=table.backlash,
        surface_probe=table.surface_probe,
        probe_log=table.probe_log,
        probe_repeatability=table.probe_repeatability,
        dialect=dialect_of(table.dialect),
        tool_change=table.tool_change,
    )


def _blank(table: BlankTable, kerf: float) -> BlankPlan:
    spacing = kerf if table.shared_kerf else 2 * kerf + SPACING_WEB
    return BlankPlan(
        size=_point(table.size),
        thickness=table.thickness,
        copper=table.copper,
        margin=table.margin,
        spacing=spacing if table.spacing is None else table.spacing,
        count=table.count,
        outline=tuple(_point(corner) for corner in table.outline) if table.outline else None,
        grade=table.grade,
    )


def _clamp(table: ClampTable) -> Clamp:
    return Clamp(Box(*table.box), table.height, tuple(table.passes) if table.passes else None)


def _board(file: File, table: BoardTable, celsius: float) -> BoardPlan:
    return BoardPlan(
        name=table.name,
        drawing=(file.parent / table.drawing).resolve(),
        drawing_name=table.drawing,
        count=table.count,
        drawn_from=table.drawn_from,
        layers=_roles(table),
        unit=table.unit,
        links=(
            *(WireLink(_point(start), _point(end)) for start, end in table.links),
            *wires_of(table.wire, celsius),
        ),
        outline_drawing=_further(file, table.outline_drawing),
        holes_drawing=_further(file, table.holes_drawing),
        accepted=tuple(table.accept_repairs),
        nets=nets_of(table.net),
        clear=areas_of(table.clear),
        turns=tuple(float(turn) for turn in table.turns),
        priority=table.priority,
        places=tuple(PlacePlan(_point(p.at), p.turn, p.blank) for p in table.place),
    )


def _roles(table: BoardTable) -> LayerRoles:
    layers = table.layers
    return LayerRoles(
        copper=tuple(layers.copper),
        outline=tuple(layers.outline),
        holes=tuple(layers.holes),
        copper_modes=tuple((la, mode) for la, modes in layers.modes.items() for mode in modes),
        line_widths=tuple((layer, float(width)) for layer, width in layers.widths.items()),
        close_gaps=table.close_gaps,
        outline_box=_box(table.outline_box),
        outline_margin=table.outline_margin,
        selections=tuple(
            Selection(
                name=one.name,
                layer=one.layer,
                colour=one.colour,
                line_type=one.line_type,
                block=one.block,
                shape=one.shape,
                region=_box(one.region),
            )
            for one in table.selection
        ),
    )


def _box(four: list[float] | None) -> tuple[float, float, float, float] | None:
    return None if four is None else (four[0], four[1], four[2], four[3])


def _further(file: File, name: str | None) -> FurtherDrawing | None:
    return None if name is None else FurtherDrawing((file.parent / name).resolve(), name)


def _cutter(name: str, table: AnyCutter) -> Cutter:
    common: dict[str, Any] = {
        "name": name,
        "shank": table.shank,
        "flute": table.flute,
        "stickout": table.stickout,
        "runout": table.runout,
        "wear": table.wear,
        "spindle": table.spindle,
        "plunge": table.plunge,
        "chip_load": None if table.chip_load is None else _point(table.chip_load),
    }
    if isinstance(table, DrillTable):
        feed = table.plunge if table.feed is None else table.feed
        return Drill(**common, feed=feed, diameter=table.diameter, point_angle=table.point_angle)
    if isinstance(table, EndMillTable):
        return EndMill(
            **common,
            feed=table.feed,
            diameter=table.diameter,
            step=table.step,
            teeth=table.teeth,
        )
    return Vee(**common, feed=table.feed, tip=table.tip, angle=table.angle, teeth=table.teeth)


def _registration(
    table: RegistrationTable, drilling: DrillingTable, cutters: dict[str, Cutter]
) -> RegistrationPlan:
    names = table.cutters
    if names is None:
        names = [*([drilling.borer] if drilling.borer else []), *drilling.cutters]
    depth = table.pin_depth
    drill, locate = table.drill_error, table.locate_error
    assumed = drill is None and locate is None
    probe = probe_of(table, cutters)
    if locate is None and probe is not None:
        # the middle of two touches, each with its own error
        locate = probe.error / math.sqrt(2)
    return RegistrationPlan(
        method=table.method,
        hole=table.hole,
        key=table.key,
        wall=table.wall,
        cutters=tuple(cutters[name] for name in names),
        pin=table.pin,
        pin_depth=min(PIN_DEPTH, 0.75 * drilling.spoilboard) if depth is None else depth,
        overrun=table.overrun,
        sigma=(
            ASSUMED_ERROR
            if drill is None and locate is None
            else math.hypot(drill or HALF_ERROR, locate or HALF_ERROR)
        ),
        assumed=assumed,
        verniers=table.verniers,
        probe=probe,
    )
