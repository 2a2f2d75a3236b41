"""The command that counts mutants sees a run that did nothing, and one that killed too few."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.mutants import AREAS, LEAST, ROOT, counted, is_same

LISTED = """\
    millprep.standards.spacing.x_required__mutmut_14: survived
    millprep.standards.holes.x_drill_wander__mutmut_1: no tests
    millprep.standards.holes.x_drill_wander__mutmut_2: timeout
    millprep.geometry.pose.xǁPoseǁinverse__mutmut_12: killed
"""


def test_mutants_are_counted_by_what_became_of_them() -> None:
    counts = counted(LISTED)
    assert (counts.total, counts.killed) == (4, 2)
    assert counts.survived == ("millprep.standards.spacing.x_required__mutmut_14",)
    assert counts.untested == ("millprep.standards.holes.x_drill_wander__mutmut_1",)
    assert counts.share == 0.5 < LEAST


def test_a_run_without_a_mutant_is_not_good() -> None:
    assert counted("").share == 0.0


@pytest.mark.parametrize("name", AREAS)
def test_every_area_names_code_and_tests(name: str) -> None:
    area = AREAS[name]
    assert all(list(ROOT.glob(module)) for module in area.modules)
    assert all((ROOT / test).exists() for test in area.tests)


def test_a_mutant_that_is_no_fault_is_not_asked_of_the_tests() -> None:
    counts = counted(LISTED)
    assert replace(counts, same=counts.survived, survived=()).share == 2 / 3


@pytest.mark.parametrize(
    ("old", "new", "same"),
    [
        ("low = z < floor - SLACK", "low = z <= floor - SLACK", True),
        ("low = z < floor - SLACK", "low = z < floor + SLACK", False),
        ("low = z < floor - SLACK", "low = z > floor - SLACK", False),
        ("low = z < floor", "low = z <= floor", False),
        ("out = (m.x > 1 + SLACK) & (z > y)", "out = (m.x >= 1 + SLACK) & (z > y)", True),
        ("out = (m.x > 1 + SLACK) & (z > y)", "out = (m.x > 1 + SLACK) & (z >= y)", False),
        ("for a, b in zip(x, y, strict=True):", "for a, b in zip(x, y, strict=False):", True),
        ("for a, b in zip(x, y, strict=True):", "for a, b in zip(x, y, ):", True),
        ("for a, b in zip(x, y, strict=True):", "for a, b in zip(None, y, strict=True):", False),
        (
            "for a, b in zip(x, f(y, 1), strict=True):",
            "for a in zip(x, f(y, ), strict=True)",
            False,
        ),
    ],
)
def test_which_mutants_are_no_fault(old: str, new: str, same: bool) -> None:
    shown = f"--- a.py\n+++ a.py\n@@ -1 +1 @@\n     at = 1\n-    {old}\n+    {new}\n"
    assert is_same(shown) == same
