"""What stands in the way of a tip that probes a surface: travel, clamps, and missing copper."""

from __future__ import annotations

import shapely
from shapely.geometry.base import BaseGeometry

from millprep.at_machine.probe_grid import Denied
from millprep.model.cutter import Cutter
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import MillingPass

CLAMP_SPARE = 1.0
"""The widest part of the tip keeps so far from clamps, mm."""
FAR = 500.0
"""What lies so far beyond everything is denied as well, mm."""


def denied(
    free: BaseGeometry, mill_pass: MillingPass, plan: JobPlan, tip: Cutter, uneven: float
) -> list[Denied]:
    """Where no point may stand, and why; machine frame.

    Args:
        free: copper that may be touched, machine frame.
        mill_pass: the pass that is probed.
        plan: its machine and clamps.
        tip: what touches.
        uneven: how far the copper may lie above or below zero, mm.
    """
    t = plan.machine.travel
    reach = shapely.box(t.x0, t.y0, t.x1, t.y1)
    x0, y0, x1, y1 = (mill_pass.pose.shape(mill_pass.window) | reach | free).bounds
    all_ = shapely.box(x0 - FAR, y0 - FAR, x1 + FAR, y1 + FAR)
    found = [
        Denied(
            shapely.difference(all_, reach),
            f"the machine's travel ends at X{t.x0:g} to {t.x1:g}, Y{t.y0:g} to {t.y1:g}, and the "
            "copper must be known on all sides of the cuts. Move the blank so that the cuts lie "
            "farther inside.",
        )
    ]
    for clamp in plan.setup.clamps:
        if clamp.on_in(mill_pass.number):
            # the tip may stand `uneven` below zero when the nut passes the clamp's top
            nut = clamp.height + uneven + CLAMP_SPARE > tip.stickout
            wide = max(plan.machine.collet * nut, tip.shank, tip.width(uneven)) / 2
            b = clamp.box.grown(wide + CLAMP_SPARE)
            part = "collet" if nut else "shank"
            found.append(
                Denied(
                    shapely.box(b.x0, b.y0, b.x1, b.y1),
                    f"the {part} would meet the clamp at X{clamp.box.x0:g} to {clamp.box.x1:g}, "
                    f"Y{clamp.box.y0:g} to {clamp.box.y1:g}. Move the clamp, or give another "
                    "--spacing.",
                )
            )
    words = (
        "no copper that hangs together with the touch point is there any more: it was cut in an "
        "earlier pass, or the blank ends. Give another --spacing, or probe with a switch "
        '([machine] surface_probe = "switch").'
    )
    if plan.machine.surface_probe == "switch":
        words = "the copper is cut there, or the blank ends. Give another --spacing."
    found.append(Denied(shapely.difference(all_, free), words))
    return found
