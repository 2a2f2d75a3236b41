"""The program that probes a surface: every node from above, and the rules take it."""

from __future__ import annotations

import io

import pytest
import shapely

from millprep.gcode import rs274
from millprep.gcode.probing import Probing, surface_places, surface_program
from millprep.gcode.rs274 import TextSink
from millprep.geometry.pose import Pose
from millprep.model.milling_pass import MillingPass
from millprep.verify import motion, reader
from millprep.verify.probing import grid_fault
from tests.helpers.workshop import BLANK, MACHINE, vee

PASS = MillingPass(1, 2, shapely.box(0, 0, 100, 80), Pose(), (), (50.0, 5.0))
X, Y = [10.0, 50.0, 90.0], [12.0, 40.0, 70.0]
PROBING = Probing(vee(), 1.0, stops=False, electrical=True)


def text(probing: Probing = PROBING) -> str:
    out = io.StringIO()
    rs274.run(
        surface_program(PASS, X, Y, probing, MACHINE), TextSink(out.write, "0123", "job", MACHINE)
    )
    return out.getvalue()


def test_rows_are_probed_to_and_fro_between_two_touches_of_zero() -> None:
    places = list(surface_places(PASS.touch, X, Y))
    assert places[0] == places[-1] == (50.0, 5.0)
    assert places[3:6] == [(90.0, 12.0), (90.0, 40.0), (50.0, 40.0)]
    assert set(places[1:-1]) == {(x, y) for x in X for y in Y}


def test_every_touch_feels_its_way_down_from_clearance() -> None:
    made = surface_program(PASS, X, Y, PROBING, MACHINE)
    touches = [i for i, m in enumerate(made.moves) if m.motion == "probe"]
    assert len(touches) == 11
    for i in touches:
        touch, after = made.moves[i : i + 2]
        x, y, z = made.moves[i - 1][1:4] if i else made.start
        assert (x, y, z) == (touch.x, touch.y, MACHINE.clearance)
        assert (touch.z, touch.feed, touch.again) == (-1.0, 100.0, (0.5, 30.0))
        assert (after.motion, after.z) == ("rapid", MACHINE.clearance)
    assert not made.spins


def test_a_place_is_touched_fast_and_then_slowly_from_close_above() -> None:
    touch = "G38.2 Z-1.0000 F100.0000\nG91\nG0 Z0.5000\nG38.2 Z-1.0000 F30.0000\nG90\nG0 Z2.5000\n"
    assert text().count(touch) == 11


def test_every_rule_takes_it() -> None:
    trace = reader.read(text(), file="p.ngc")
    findings = motion.check(
        trace, cutter=vee(), machine=MACHINE, clamps=(), mill_pass=PASS, blank=BLANK,
        spoilboard=6.0, file="p.ngc", at=PASS.touch, touching=shapely.box(1, 1, 99, 79),
    )  # fmt: skip
    assert findings == ()
    assert grid_fault(trace, shapely.box(10, 12, 90, 70), PASS.touch, "p.ngc") is None


def test_it_stops_only_where_nobody_logs() -> None:
    assert text().count("M0") == 1, "for the look at Z zero"
    assert "M3" not in text()
    by_hand = text(Probing(vee(), 1.0, stops=True, electrical=True))
    assert by_hand.count("M0") == 11 + 1
    assert "(MSG, point 2: write down Z as the display shows it, then go on)\nM0\n" in by_hand


def test_the_head_says_how_contact_is_reported() -> None:
    assert "clip one wire of the probe input to the tip" in text()
    switch = text(Probing(vee(), 1.0, stops=False, electrical=False))
    assert "clip one wire" not in switch
    assert "probe's own switch" in switch


def test_copper_that_is_nowhere_off_zero_is_not_probed() -> None:
    with pytest.raises(ValueError, match="needs no probing"):
        Probing(vee(), 0.0, stops=False, electrical=True)
