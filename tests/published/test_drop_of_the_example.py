"""The heaters of the example's memory board against finite differences.

On the copper as drawn; nets, loads and wires as the example's job names them, which are invented.
"""

from __future__ import annotations

from pathlib import Path

import pytest
import shapely

from millprep import job
from millprep.geometry.path import FloatArray
from millprep.geometry.pose import Pose
from millprep.model.as_cut import AsCut
from millprep.model.blank import Placement
from millprep.model.job.nets import NetFacts
from millprep.model.judged import NetJudged
from millprep.standards.copper import sheet_resistance
from millprep.verify.rules.drop import copper_of, drop, joint
from millprep.verify.rules.judge import across
from millprep.verify.rules.mesh import domain
from millprep.workflow import nets
from millprep.workflow.inputs import read_boards
from tests.helpers.finite_differences import contact_volts
from tests.helpers.rules_scene import cut

JOB = Path(__file__).parents[2] / "examples" / "lighthouse" / "memory-board.toml"
VALVES = 18
STEP = 0.1
"""Cells of the finite differences, mm: 35 across a heater rail."""


def other_volts(net: NetFacts, placement: Placement, as_cut: AsCut) -> FloatArray:
    """Volts at loads against the first by finite differences; a wire's ends are one contact."""
    shapes = copper_of(net, placement, as_cut)
    contacts: list[shapely.Geometry] = [
        joint(shapes, placement, load.at, load.contact) for load in net.loads
    ]
    amperes = [load.amperes for load in net.loads]
    for wire in net.wires:
        ends = [joint(shapes, placement, end, None) for end in (wire.start, wire.end)]
        contacts.append(shapely.MultiPolygon(ends))
        amperes.append(0.0)
    volts = contact_volts(domain(shapes, contacts), contacts, amperes, STEP)
    return volts[: len(net.loads)] * sheet_resistance(0.035)


def test_heater_volts_at_every_socket_within_one_per_cent() -> None:
    plan = job.load(JOB)
    (board,) = read_boards(plan)
    result, misfits = nets.facts(plan.boards, (board,), plan.rules.celsius)
    assert misfits == ()
    placement = Placement(0, board, 1, 1, Pose())
    as_cut = cut(placement)
    judged: list[NetJudged] = []
    lost_there: dict[str, float] = {}
    for name in ("H1", "H2"):
        net = next(net for net in result["memory-board"] if net.name == name)
        assert len(net.loads) == VALVES + 1
        done, faults = drop(net, placement, as_cut, 0.035)
        assert faults == ()
        assert done is not None
        assert done.feed == f"{name} terminal"
        judged.append(NetJudged(net, feed=done.feed, loads=done.loads))
        other = -other_volts(net, placement, as_cut)
        largest = max(abs(other))
        for at, volts in zip(done.loads, other.tolist(), strict=True):
            assert at.lost == pytest.approx(volts, rel=0.01, abs=0.002 * largest)
            lost_there[at.load.name] = lost_there.get(at.load.name, 0.0) + abs(volts)
    found = across(judged)
    assert len(found) == VALVES
    for one in found:
        assert one.lost == pytest.approx(lost_there[one.load], rel=0.01)
        assert one.volts == pytest.approx(6.3 - lost_there[one.load], rel=0.001)
    # The last socket is the farthest from the feed, along both rails.
    assert max(found, key=lambda one: one.lost).load == "V3-6 heater"
