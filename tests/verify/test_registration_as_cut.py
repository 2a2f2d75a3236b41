"""Registration holes and slots as cut: right ones pass, all others are refused."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
import shapely

from millprep.gcode.slots import slot_paths
from millprep.model.finding import Finding
from millprep.model.milling_pass import RegistrationHole
from millprep.verify.as_cut import as_cut
from millprep.verify.holes_as_cut import check_registration
from millprep.verify.reader import read
from tests.helpers.programs import BLANK, HEAD, PASS, TAIL, cut, end_mill

FULL = -1.8
HOLE = RegistrationHole("r1", (10.0, 10.0), (10.0, 10.0), 3.02, "locate", 1, 2)
SLOT = RegistrationHole("r2", (40.0, 30.0), (40.0, 30.0), 3.02, "locate", 1, 2, (0.6, 0.8), 0.98)
CROSS = RegistrationHole("w2", (50.0, 5.0), (50.0, 5.0), 0.2, "witness", 1, 2)


def rings(spine: shapely.Geometry, width: float, z: float = FULL) -> str:
    """Laps of a 1 mm cutter that clear a hole or slot, the widest last."""
    reaches = [(width - 1.0) / 2 * part for part in (0.45, 1.0)]
    rims = [shapely.get_coordinates(shapely.buffer(spine, r, quad_segs=64)) for r in reaches]
    return "".join(cut(rim.tolist(), z) for rim in rims)


ROUND = rings(shapely.Point(HOLE.blank), 3.02)
LONG = rings(SLOT.spine, 3.02)


def judged(text: str, holes: Sequence[RegistrationHole] = (HOLE, SLOT, CROSS)) -> list[Finding]:
    copper = as_cut(BLANK, [(read(HEAD + text + TAIL, file="a"), end_mill(1.0), PASS)], ())
    return check_registration(copper.grooves, holes, 1)


def test_a_hole_and_a_slot_as_planned_are_no_fault() -> None:
    assert judged(ROUND + LONG) == []


def test_the_paths_of_a_slot_clear_it() -> None:
    """The way the writer mills slots, read back."""
    start, end = SLOT.ends
    assert end is not None
    text = ROUND
    for path in slot_paths(start, end, 3.02, 1.0):
        turns = np.linspace(0.0, path.length, 400)
        text += cut([path.point_at(at) for at in turns.tolist()], FULL)
    assert judged(text) == []


@pytest.mark.parametrize(
    ("text", "code", "at"),
    [
        (LONG, "hole-missing", HOLE.blank),
        (ROUND, "hole-missing", SLOT.ends[0]),
        # a round hole where a slot should be: the pin's distance could not err
        (ROUND + rings(shapely.Point(SLOT.blank), 3.02), "registration-fit", SLOT.ends[0]),
        (ROUND + rings(SLOT.spine, 2.96), "registration-fit", SLOT.ends[0]),
        (ROUND + rings(SLOT.spine, 3.10), "registration-fit", SLOT.ends[0]),
        (rings(shapely.Point(HOLE.blank), 3.10) + LONG, "registration-fit", HOLE.blank),
        (rings(shapely.Point((10.03, 10.0)), 3.02) + LONG, "registration-fit", HOLE.blank),
        (ROUND + rings(SLOT.spine, 3.02, -1.0), "hole-not-through", None),
    ],
)
def test_what_does_not_fit_its_pin_is_refused(
    text: str, code: str, at: tuple[float, float] | None
) -> None:
    found = [finding for finding in judged(text) if finding.code == code]
    assert [(finding.severity, finding.blank) for finding in found] == [("stop", 1)]
    if at is not None:
        assert found[0].at == pytest.approx(at)


def test_a_slot_turned_the_other_way_is_refused() -> None:
    """As long and as wide, but across the line through both holes."""
    turned = shapely.LineString(
        [(40 - 0.8 * 0.49, 30 + 0.6 * 0.49), (40 + 0.8 * 0.49, 30 - 0.6 * 0.49)]
    )
    assert math.isclose(turned.length, SLOT.slot)
    codes = {finding.code for finding in judged(ROUND + rings(turned, 3.02))}
    assert codes & {"slot-not-cleared", "registration-fit"}
