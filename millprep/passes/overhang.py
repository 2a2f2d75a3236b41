"""A word on every side over which so much of a blank hangs that it tips."""

from __future__ import annotations

from millprep.geometry.pose import Pose
from millprep.model.blank import Blank, Box
from millprep.model.finding import Finding
from millprep.model.overhang import overhangs


def told(pose: Pose, blank: Blank, travel: Box, number: int) -> tuple[Finding, ...]:
    """A note for every side over which more than half of the blank hangs."""
    return tuple(
        Finding(
            code="blank-overhangs",
            severity="note",
            message=(
                f"In pass {number} {one.by:.0f} mm of blank {blank.number}, "
                f"{100 * one.share:.0f} % of its length, hang over the {one.side} end of the "
                "travel: it tips off the bed unless it is held up level with it, at about "
                f"X {one.prop[0]:g}, Y {one.prop[1]:g} of the machine."
            ),
            frame="machine",
            at=one.prop,
            blank=blank.number,
            mill_pass=number,
        )
        for one in overhangs(pose, blank, travel)
        if one.share > 0.5
    )
