"""The command that counts mutants sees a run that did nothing, and one that killed too few."""

from __future__ import annotations

import pytest

from tests.mutants import AREAS, LEAST, ROOT, counted

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
