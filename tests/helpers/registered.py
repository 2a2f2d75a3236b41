"""Registration as a job may ask for it."""

from __future__ import annotations

from millprep.geometry.path import FloatArray, Point
from millprep.model.job.setup import RegistrationPlan
from millprep.model.milling_pass import RegistrationHole
from millprep.passes.error_budget import HoleErrors
from tests.helpers.workshop import drill, mill

REGISTRATION = RegistrationPlan(
    method="pins", hole=3.0, key=4.0, wall=2.0, cutters=(drill(3.0), mill(2.0)), pin=2.98,
    pin_diameter=2.99, pin_depth=4.0, overrun=0.4,
)  # fmt: skip


def sigma_across(holes: FloatArray, at: Point, across: Point, sigma: float) -> float:
    """Standard deviation of how far a pass that is found by (n, 2) holes misses the one before."""
    places: list[Point] = [(float(x), float(y)) for x, y in holes]
    made = [RegistrationHole(f"r{n}", p, p, 3.0, "locate", 1, 2) for n, p in enumerate(places)]
    return HoleErrors.of(made, 2, keys=False).sigma_across(0, 1, at, across, sigma)
