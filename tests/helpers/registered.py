"""Registration as a job may ask for it."""

from __future__ import annotations

from millprep.model.job.setup import RegistrationPlan
from tests.helpers.workshop import drill, mill

REGISTRATION = RegistrationPlan(
    method="pins", hole=3.0, key=4.0, wall=2.0, cutters=(drill(3.0), mill(2.0)), pin=2.98,
    pin_diameter=2.99, pin_depth=4.0, overrun=0.4,
)  # fmt: skip
