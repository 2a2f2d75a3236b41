"""Grooves that nobody levelled: their widths, and where nothing is isolated."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from millprep.gcode.levelling import uncorrected, with_maps
from millprep.geometry.pose import Pose
from millprep.job import load
from millprep.model.derivation import Derivation
from millprep.model.finding import Refusal
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import MillingPass
from millprep.model.program import Move, Program
from millprep.model.set_of_programs import CutSet, MilledBlank
from millprep.model.surface_map import Levelling, SurfaceMap
from tests.helpers.flat_programs import cut, program
from tests.helpers.sample_job import write
from tests.helpers.workshop import BLANK, MACHINE

COPPER = 0.035


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> JobPlan:
    return load(write(tmp_path_factory.mktemp("job")))


def tilted(slope: float) -> SurfaceMap:
    """Copper that rises along x, zero at x = 50."""
    x, y = np.array([0.0, 50.0, 100.0]), np.array([0.0, 40.0, 80.0])
    return SurfaceMap(x, y, np.array([[slope * (u - 50) for u in x] for _ in y]))


def test_a_rise_of_50_um_widens_a_30_degree_groove_by_27() -> None:
    """Computed by hand: 2 × 0.05 × tan 15° = 0.0268."""
    level = cut(Move("feed", 51.0, 13.0, -0.1, feed=300.0), at=(50.0, 13.0))
    rise = SurfaceMap(tilted(0).x, tilted(0).y, np.full((3, 3), 0.05))
    flat = uncorrected(level, tilted(0.0), depth=0.1, copper=COPPER)
    high = uncorrected(level, rise, depth=0.1, copper=COPPER)
    assert flat is not None
    assert high is not None
    assert high.surface[0] - flat.surface[0] == pytest.approx(0.0268, abs=1e-4)
    assert high.foot[0] - flat.foot[0] == pytest.approx(0.0268, abs=1e-4)


def test_where_copper_lies_low_nothing_is_isolated() -> None:
    # 0.1 deep, through 0.035: lost where the copper lies more than 0.065 low, x < 50 - 32.5
    line = cut(Move("feed", 90.0, 13.0, -0.1, feed=300.0), at=(10.0, 13.0))
    moves = uncorrected(line, tilted(0.002), depth=0.1, copper=COPPER)
    assert moves is not None
    assert moves.lost_length == pytest.approx(7.5, abs=1.0)
    assert len(moves.lost) == 1
    assert moves.lost[0][0] == pytest.approx(10.5)
    assert moves.foot.min() == 0.0
    assert moves.surface.min() > 0.1
    assert moves.foot.max() == pytest.approx(
        0.1 + 2 * (0.1 + 0.002 * 39.5 - COPPER) * math.tan(math.radians(15)), abs=1e-3
    )


def test_deep_cuts_are_holes_and_edges_and_not_reported() -> None:
    deep = cut(Move("feed", 90.0, 13.0, -1.9, feed=300.0), depth=1.9)
    assert uncorrected(deep, tilted(0.0), depth=0.1, copper=COPPER) is None


def test_arcs_are_looked_at_all_the_way() -> None:
    arc = Move("arc_ccw", 40.0, 30.0, -0.1, -10.0, 0.0, 300.0)
    ring = program(Move("rapid", 60.0, 30.0, 2.5), Move("feed", 60.0, 30.0, -0.1, feed=100.0), arc)
    moves = uncorrected(ring, tilted(0.0), depth=0.1, copper=COPPER)
    assert moves is not None
    length = np.hypot(*(moves.segments[:, 2:] - moves.segments[:, :2]).T).sum()
    assert length == pytest.approx(10 * math.pi, rel=0.01)


def mapped(plan: JobPlan, z: float, *programs: Program) -> CutSet:
    """A set of one pass over copper that lies this high everywhere."""
    mill_pass = MillingPass(
        1, 1, shapely.box(0, 0, 100, 80), Pose(), (), (5.0, 5.0), programs=programs
    )
    whole = CutSet(
        "0" * 12, "job", MACHINE, (), (), 0.4, (), blanks=(MilledBlank(BLANK, passes=(mill_pass,)),)
    )
    level = SurfaceMap(tilted(0).x, tilted(0).y, np.full((3, 3), z))
    levelling = Levelling(1, 1, level, "readings.csv", 0.01, False, 0.02)
    return with_maps(
        whole, plan, Derivation("1" * 12, "1" * 12, "level", (), {}, (), {(1, 1): levelling})
    )


def test_a_set_over_its_map_says_what_grooves_would_be_without(plan: JobPlan) -> None:
    line = cut(Move("feed", 51.0, 13.0, -0.05, feed=300.0), at=(50.0, 13.0), depth=0.05)
    # 0.1 deep, and 0.065 below the foil: 0.1 mm of tip and twice as much by tan 15 degrees
    (high,) = mapped(plan, 0.05, line).findings
    assert high.message == (
        "Without the surface map the grooves of vee would be 0.135 to 0.135 mm wide at the foot of "
        "the copper and 0.154 to 0.154 at its surface."
    )
    (low,) = mapped(plan, -0.02, line).findings
    assert low.message.endswith("; 1 mm of them would not cut through the copper.")
    assert (low.frame, low.at) == ("machine", (50.5, 13.0))
    assert mapped(plan, 0.05).findings == ()


def test_a_dry_run_stays_above_the_highest_copper(plan: JobPlan) -> None:
    shown = program(Move("feed", 50.0, 13.0, 1.0, feed=300.0))
    dry = replace(shown, works=("dry-run",), spins=False, file="blank-1/pass-1/01-dry-run-vee.ngc")
    assert mapped(plan, 0.7, dry).findings == ()
    with pytest.raises(Refusal) as refused:
        mapped(plan, 0.71, dry)
    (finding,) = refused.value.findings
    assert (finding.code, finding.file) == ("map-above-clearance", dry.file)
    assert finding.message.startswith(
        "The copper rises to 0.710 mm, and the dry run goes down to 1 mm."
    )
