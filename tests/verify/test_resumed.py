"""A program that takes another up is held against it, and every way to go wrong is seen."""

from __future__ import annotations

import pytest

from millprep.verify.reader import read
from millprep.verify.resumed import _on, check_resumed
from millprep.verify.trace import Trace, TraceMove

HEAD = "G21 G90 G17 G94 G40 G49 G80 G54\nG0 Z5.\nS9000. M3\nG0 X0. Y0.\n"
OLD = """\
G0 X10. Y10.
G1 Z-0.1 F100.
G1 X20. F300.
G3 X22. Y12. I0. J2.
G1 Y20.
G0 Z5.
G0 X30. Y10.
G1 Z-0.1 F100.
G1 X40. F300.
G0 Z5.
G0 X0. Y0.
"""


def trace(body: str) -> Trace:
    return read(f"{HEAD}{body}M2\n", file="p.ngc")


def check(body: str, *, whole: bool = True, plunge: float = 100.0) -> list[str]:
    found = check_resumed(trace(OLD), trace(body), plunge=plunge, whole=whole, file="p.ngc")
    assert {f.code for f in found} <= {"resume-differs"}
    return [f.message for f in found]


SECOND = "G0 X30. Y10.\nG1 Z-0.1 F100.\nG1 X40. F300.\nG0 Z5.\nG0 X0. Y0.\n"
ENTERED = "G0 X15. Y10.\nG1 Z-0.1 F100.\nG1 X20. F300.\nG3 X22. Y12. I0. J2.\nG1 Y20.\nG0 Z5.\n"
TURN = """\
G0 X21.4142 Y10.5858
G1 Z-0.1 F100.
G3 X22. Y12. I-1.4142 J1.4142 F300.
G1 Y20.
G0 Z5.
"""


@pytest.mark.parametrize("body", [OLD, SECOND, ENTERED + SECOND, TURN + SECOND])
def test_what_goes_on_as_the_old_one_is_good(body: str) -> None:
    assert check(body) == []


@pytest.mark.parametrize(
    ("body", "told"),
    [
        ("G0 X30. Y10.\n", "cuts nothing"),
        (SECOND.replace("Y10.", "Y10.1", 1), "enters at no place"),
        (ENTERED.replace("Z-0.1", "Z-0.2"), "enters at no place"),
        (ENTERED.replace("X15. Y10.", "X15. Y10.01") + SECOND, "enters at no place"),
        (TURN.replace("Z-0.1", "Z-0.2") + SECOND, "enters at no place"),
        (ENTERED.replace("G1 Z-0.1 F100.", "G1 Z-0.1 F101.") + SECOND, "enters at no place"),
        (ENTERED, "The old program goes on with line 12"),
        (ENTERED.replace("G1 Y20.\n", "") + SECOND, "Line 9 of the old program is left out"),
        (SECOND + SECOND, "not one of the old program, or comes too early"),
        (SECOND.replace("F300.", "F400."), "not one of the old program"),
        (SECOND.replace("X40.", "X40.0001"), "not one of the old program"),
        (SECOND + ENTERED, "not one of the old program"),
    ],
)
def test_what_does_not_is_reported(body: str, told: str) -> None:
    (message,) = check(body)
    assert told in message


def test_a_share_may_leave_out_but_not_exchange() -> None:
    first = OLD[: OLD.index("G0 X30.")]
    assert check(first, whole=False) == []
    assert check(SECOND, whole=False) == []
    assert check(SECOND + first, whole=False) != []


def test_a_stroke_down_may_begin_lower_but_not_beside_or_higher() -> None:
    lower = SECOND.replace("G0 X30. Y10.\n", "G0 X30. Y10.\nG0 Z1.\n")
    assert check(lower) == []
    neighbour = OLD.replace("G0 X30. Y10.\nG1 Z-0.1 F100.\n", "G0 X30. Y10.\nG1 X30. Z-0.1 F100.\n")
    assert check(neighbour) == []
    slanted = SECOND.replace("G0 X30. Y10.\n", "G0 X29. Y10.\n").replace("G1 Z", "G1 X30. Z")
    assert check(slanted) != []


def test_a_move_of_no_length_has_no_rest() -> None:
    still = TraceMove("feed", (1.0, 1.0, -0.1), (1.0, 1.0, -0.1), None, 300.0, 1)
    assert not _on(still, (1.0, 1.0, -0.1), 0.01)


def test_an_arc_may_be_entered_a_digit_before_its_start() -> None:
    arc = TraceMove("arc_ccw", (20.0, 10.0, -0.1), (22.0, 12.0, -0.1), (20.0, 12.0), 300.0, 1)
    assert _on(arc, (19.9999, 10.0, -0.1), 0.001)
    assert not _on(arc, (19.9, 10.0, -0.1), 0.001)


def test_a_later_stroke_down_may_begin_higher_than_the_old_one_but_not_lower() -> None:
    """A share leaves out what an old hop led from, and comes down from clearance instead."""
    hop = OLD.replace("G0 Z5.\nG0 X30. Y10.\n", "G0 Z1.\nG0 X30. Y10.\n")
    assert check_resumed(trace(hop), trace(OLD), plunge=100.0, whole=True, file="p.ngc") == ()
    (lower,) = check_resumed(trace(OLD), trace(hop), plunge=100.0, whole=True, file="p.ngc")
    assert lower.message.startswith("A move is not one of the old program")
    assert lower.line == trace(hop).moves[9].line


def test_of_moves_that_end_in_one_place_the_one_that_is_entered_goes_on() -> None:
    old = trace(OLD + "G0 X20. Y0.\nG1 Z-.1 F100.\nG1 Y10. F300.\nG0 Z5.\n")
    new = trace("G0 X20. Y5.\nG1 Z-.1 F100.\nG1 Y10. F300.\nG0 Z5.\n")
    assert check_resumed(old, new, plunge=100.0, whole=True, file="p.ngc") == ()
