"""Whether a blank is held where it is cut: how far it lifts when the cutter pulls it up.

What holds a blank is a spring over its area: a clamp squeezes the blank against the spoilboard,
so a small one holds little and gives way to tilting. Pins are a slip fit and hold sideways only.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from millprep.cache import cached
from millprep.geometry.path import FloatArray
from millprep.model.blank import Blank
from millprep.model.cutter import Drill
from millprep.model.finding import Finding
from millprep.model.job.job import JobPlan
from millprep.model.job.setup import SetupTable
from millprep.model.milling_pass import CELL, Holding, MillingPass
from millprep.model.program import RAPID, Program, Trail
from millprep.model.set_of_programs import MilledBlank
from millprep.verify.rules.extra_support import clamp_room, extra_supports, on_blank
from millprep.verify.rules.plate import Plate, Support, rigidity

CLAMPED = 10.0
"""Stiffness of what is pressed onto the spoilboard, N/mm³: 12 mm of fibreboard with 120 N/mm²
across its thickness; from memory."""
TAPED = 1.0
"""Stiffness of double-sided tape, N/mm³: 0.2 mm of an adhesive with 0.2 N/mm², softer than most;
from memory."""
STEP = 1.0
"""Cuts are counted in steps of this length, mm."""
DEEPEST = 1e-3
"""A cut that ends so much above the deepest of its program is not judged, mm: a tab, a ramp."""
FAR = 5.0
"""Of larger lifts no figure is given, mm: the blank is loose."""


def held(
    blank: MilledBlank, job: JobPlan
) -> tuple[tuple[Holding | None, ...], tuple[Finding, ...]]:
    """How a blank is held in each of its passes, and where it is not.

    Where tape or vacuum holds all of it nothing is worked out: on springs k under all of a plate of
    stiffness D a pull F lifts it by F / (8·√(k·D)), 3 µm for 2 N on 1.6 mm of FR-4 on tape.

    Args:
        blank: with its programs as they were read back.
        job: what holds it, and the pull.
    """
    if job.setup.tape is True or job.setup.vacuum is True or job.machine.lift_force == 0:
        return tuple(None for _ in blank.passes), ()
    holdings = tuple(_held(blank.laminate, mill_pass, job) for mill_pass in blank.passes)
    findings = [
        _not_held(blank.number, mill_pass.number, holding)
        for mill_pass, holding in zip(blank.passes, holdings, strict=True)
        if holding is not None and holding.share > 0
    ]
    return holdings, tuple(findings)


def _held(laminate: Blank, mill_pass: MillingPass, job: JobPlan) -> Holding | None:
    """How the blank is held in a pass; None where no cut of it is judged."""
    cuts = _judged_cuts(mill_pass.programs, laminate, job.isolation.flatness)
    if not len(cuts):
        return None
    plate = _plate(laminate, mill_pass, job.setup)
    squares, counts = _squares(cuts)
    force = job.machine.lift_force
    lift = force * _compliance(plate, mill_pass.pose.inverse().points(squares[:, :2]))
    used = lift / squares[:, 2]
    # rounded, so that the first of equals is the same on every machine
    worst = int(np.argmax(used.round(6)))
    room = clamp_room(laminate, mill_pass, job)
    holding = Holding(
        force=force,
        lift=float(lift[worst]),
        allowed=float(squares[worst, 2]),
        at=(float(squares[worst, 0]), float(squares[worst, 1])),
        share=float(counts[used > 1].sum() / counts.sum()),
        room=room,
        places=np.column_stack((squares[:, :2], lift, squares[:, 2])),
    )
    if holding.share == 0:
        return holding
    springs = {"clamp": CLAMPED, "tape": TAPED}
    return replace(
        holding, better=extra_supports(plate, laminate, mill_pass, job, holding, counts, springs)
    )


@cached
def _compliance(plate: Plate, places: FloatArray) -> FloatArray:
    return plate.compliance(places)


def _plate(laminate: Blank, mill_pass: MillingPass, setup: SetupTable) -> Plate:
    """The blank on what holds it in a pass."""
    boxes = [(clamp.box, CLAMPED) for clamp in setup.clamps if clamp.on_in(mill_pass.number)]
    for areas, stiffness in ((setup.vacuum, CLAMPED), (setup.tape, TAPED)):
        if not isinstance(areas, bool):
            boxes += [(box, stiffness) for box in areas]
    return Plate(
        laminate.size,
        rigidity(laminate.modulus, laminate.poisson, laminate.thickness),
        laminate.poisson,
        tuple(Support(on_blank(box, mill_pass.pose), stiffness) for box, stiffness in boxes),
        laminate.outline,
    )


def _judged_cuts(programs: Iterable[Program], laminate: Blank, flatness: float) -> FloatArray:
    """(n, 3) places of all cuts, x and y on the machine and how far the blank may lift there.

    Copper must be cut through to its foot where the surface is lowest; a hole or a profile must
    go through the blank. A program that lift leaves no room at all has findings of its own.
    """
    parts = [np.empty((0, 3))]
    for program in programs:
        assert program.trail is not None, "programs were read back before"
        if not program.spins or program.depth <= 0:
            continue
        below = laminate.copper + flatness
        if program.depth >= laminate.thickness:
            point = program.cutter.point if isinstance(program.cutter, Drill) else 0.0
            below = laminate.thickness + point
        allowed = program.depth - below
        if allowed > 1e-6:
            places = _deepest(program.trail)
            parts.append(np.column_stack((places, np.full(len(places), allowed))))
    return np.concatenate(parts)


def _deepest(trail: Trail) -> FloatArray:
    """(n, 2) places every `STEP` along the deepest cuts of a program."""
    start, end = trail.xyz[:-1], trail.xyz[1:]
    low = end[:, 2] <= trail.xyz[:, 2].min() + DEEPEST
    along = low & (start[:, 2] <= trail.xyz[:, 2].min() + DEEPEST) & (trail.kind != RAPID)
    return np.concatenate((end[low, :2], trail.steps(along, STEP)))


def _squares(cuts: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Of each square the cut that allows least, (m, 3), and how many cuts it is for."""
    ordered = cuts[np.argsort(cuts[:, 2], kind="stable")]
    x, y = np.floor(ordered[:, :2] / CELL).astype(np.int64).T
    # as one number each, which is sorted far more quickly than pairs
    _, first, counts = np.unique((x << 32) + y, return_index=True, return_counts=True)
    return ordered[first], counts.astype(float)


def _not_held(blank: int, number: int, holding: Holding) -> Finding:
    x, y = holding.at
    lift = f"{holding.lift:.2g} mm" if holding.lift < FAR else f"more than {FAR:g} mm"
    words = (
        f"In pass {number} blank {blank} is not held well enough: a pull of {holding.force:g} N "
        f"lifts it by {lift} at X {x:.1f}, Y {y:.1f}, where {holding.allowed:.2g} mm is allowed. "
        f"{_percent(holding.share)} of the cuts lift too much and may not cut through the copper "
        "or the blank."
    )
    for n, more in enumerate(holding.better):
        b = more.box
        noun = "clamp at" if more.kind == "clamp" else "strip of tape under"
        begin = "What would help most is one more" if n == 0 else "The next best is a"
        left = "enough" if more.share == 0 else f"{more.lift:.2g} mm in the worst case"
        words += f" {begin} {noun} X {b.x0:g} to {b.x1:g}, Y {b.y0:g} to {b.y1:g}: {left}."
    words += " Add clamps or tape, use tape = true, or cut deeper."
    return Finding(
        code="blank-not-held",
        severity="warn",
        message=words,
        frame="machine",
        at=(round(x, 3), round(y, 3)),
        blank=blank,
        mill_pass=number,
    )


def _percent(share: float) -> str:
    """A share in words."""
    return f"{100 * share:.0f} %" if share >= 0.01 else "less than 1 %"
