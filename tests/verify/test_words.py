"""What the words of a program say to the controller and to the person: wrong ones are found."""

from __future__ import annotations

import dataclasses

import pytest

from millprep.model.cut import Work
from millprep.model.dialect import Dialect
from millprep.model.machine import Machine
from millprep.model.program import Program
from millprep.verify.reader import read
from millprep.verify.words import check_comments, check_words
from tests.helpers.programs import MACHINE, drill, vee

HAND = dataclasses.replace(MACHINE, spindle="hand")
MODES = "G17 G21 G40 G49 G54 G80 G90 G94\n"
UP, DOWN = "G0 Z2.\n", "G1 Z-.1 F60.\n"
START = "(start the spindle at 10000 rpm, then go on)\nM0\n"


def program(work: Work = "isolate", number: int = 1) -> Program:
    return Program(
        file="a.ngc", blank=1, mill_pass=number, cutter=vee(), works=(work,), depth=0.1,
        spindle=10000.0, start=(1.0, 1.0, 2.0), moves=(),
    )  # fmt: skip


def words(text: str, machine: Machine = MACHINE, work: Work = "isolate") -> list[str]:
    trace = read(f"{MODES}{text}M2\n", file="a.ngc", dialect=Dialect())
    return [finding.code for finding in check_words(trace, program(work), machine)]


@pytest.mark.parametrize(
    ("text", "machine", "work", "codes"),
    [
        (f"M3 S10000\nG4 P2.\n{UP}{DOWN}{UP}M5\n", MACHINE, "isolate", []),
        (f"M3 S10000\nG4 P2.\n{UP}{DOWN}{UP}", MACHINE, "isolate", ["ends-turning"]),
        (f"M3 S9999\nG4 P2.\n{UP}{DOWN}{UP}M5\n", MACHINE, "isolate", ["spindle-speed"]),
        (f"M3 S10000\n{UP}M5\n", MACHINE, "dry-run", ["spindle-not-off"]),
        (f"M5\n{UP}", MACHINE, "dry-run", []),
        (f"{START}G4 P2.\n{UP}{DOWN}{UP}(stop it)\nM0\n", HAND, "isolate", []),
        (f"{START}G4 P2.\n{UP}{DOWN}{UP}", HAND, "isolate", ["ends-turning"]),
        (f"{START}G4 P2.\n{UP}{DOWN}{UP}(stop it)\nM1\n", HAND, "isolate", ["ends-turning"]),
        (f"{START}G4 P2.\n{UP}", HAND, "isolate", []),
        (f"{UP}{DOWN}{UP}", HAND, "isolate", []),
    ],
)
def test_the_spindle_is_on_where_it_should_be(
    text: str, machine: Machine, work: Work, codes: list[str]
) -> None:
    assert words(text, machine, work) == codes


@pytest.mark.parametrize(
    ("remark", "good"),
    [
        ("set Z zero with it on the copper at X1.00 Y1.00", True),
        ("set Z zero with it on the copper at X1.01 Y1.00", False),
        ("set Z zero with it on the copper at X1.00 Y1.01", False),
        ("set Z zero with it on the spoilboard at X1.00 Y1.00", False),
        ("set Z zero with it on the copper at X1,00 Y1.00", False),
        ("deepest Z-0.1000, and so on", True),
        ("deepest Z-0.2000, and so on", False),
        ("deepest Z-0.1.0, and so on", False),
        ("fit vee30, then set Z zero", True),
        ("fit drill, then set Z zero", False),
        ("cutter vee30: vee, tip 0.2 mm, 30 degrees included", True),
        ("cutter vee30: vee, tip 0.3 mm, 30 degrees included", False),
        ("change to drill, T2: drill, 1 mm. Set Z zero", True),
        ("cutter drill: drill, 1.1 mm", False),
        ("cutter other: drill, 1.1 mm", True),
    ],
)
def test_a_comment_says_what_is_so(remark: str, good: bool) -> None:
    trace = read(f"{MODES}({remark})\n{UP}G0 X1.\n{DOWN}{UP}M2\n", file="a.ngc")
    found = [finding.code for finding in check_comments(trace, [program()], [vee(), drill()])]
    assert found == ([] if good else ["comment-differs"])


def test_each_part_of_a_file_names_its_own_deepest_place() -> None:
    two = f"(deepest Z-.10)\n{UP}{DOWN}{UP}(deepest Z-.20)\nG1 Z-.2\n{UP}M2\n"
    for text, lines in ((two, []), (two.replace("Z-.10", "Z-.15"), [2])):
        trace = read(MODES + text, file="a.ngc")
        found = check_comments(trace, [program()], [vee()])
        assert [finding.line for finding in found] == lines


def waited(seconds: float, dialect: Dialect) -> list[str]:
    """The codes of a program that waits so long, once, after the spindle was switched on."""
    p = seconds * 1000 if dialect.dwell_unit == "ms" else seconds
    text = f"{MODES}M3 S10000\nG4 P{p:.6g}\n{UP}{DOWN}{UP}M5\nM2\n"
    machine = dataclasses.replace(MACHINE, dialect=dialect)
    trace = read(text, file="a.ngc", dialect=dataclasses.replace(dialect, line_numbers=False))
    return [finding.code for finding in check_words(trace, program(), machine)]


@pytest.mark.parametrize(
    ("dialect", "longest"),
    [
        (Dialect(), 4.0),
        (Dialect(start_lines=("M8", "G4 P3")), 4.0),
        (Dialect(start_lines=("g4 p6.5",)), 6.5),
        (Dialect(end_lines=("G4 P6.5",), dwell_unit="ms"), 4.0),
        (Dialect(end_lines=("G4 P6500",), dwell_unit="ms"), 6.5),
        (Dialect(start_lines=("(P9) G04 P 6.5",)), 6.5),
        (Dialect(start_lines=("M8 (P9)",)), 4.0),
    ],
)
def test_no_wait_is_longer_than_a_look_or_a_line_of_the_persons_own(
    dialect: Dialect, longest: float
) -> None:
    assert waited(longest, dialect) == []
    assert waited(longest + 0.1, dialect) == ["dwell-too-long"]


def test_modes_are_said_before_the_first_move() -> None:
    late = f"{MODES.replace(' G49', '')}{UP}G49\nM2\n"
    (found,) = check_words(read(late, file="a.ngc"), program("dry-run"), MACHINE)
    assert (found.code, found.line) == ("mode-missing", 2)
    assert "moves before it says G49, so" in found.message
    # a file that moves nothing depends on nothing
    assert list(check_words(read("G21\nM2\n", file="a.ngc"), program("dry-run"), MACHINE)) == []
