"""The longest rail of the example's memory board against a second solver.

scikit-fem with quadratic elements, on the copper as drawn. The pins and
their currents are invented: the feed at one end, 0.15 A to every other hole of the rail.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely
import skfem

from millprep.drawing import read
from millprep.rules.drop import drop, joint
from millprep.rules.mesh import joined
from millprep.rules.meshing import meshed
from millprep.rules.sheet import domain
from millprep.trade.copper import sheet_resistance
from millprep.values.layout import Placement
from millprep.values.net import Load, NetFacts
from millprep.values.plan import LayerRoles
from millprep.values.pose import Pose
from tests.published.test_sheet import second_solver
from tests.rules.scene import cut

EXAMPLE = Path(__file__).parents[2] / "examples" / "lighthouse"


def test_volts_at_every_load_of_the_longest_rail() -> None:
    board = read(
        EXAMPLE / "memory-board.dxf",
        name="memory-board",
        shown_as="memory-board.dxf",
        layers=LayerRoles(("foil",), ("rim",), ("bores",)),
        unit=None,
    )
    rail = max(board.pieces, key=lambda piece: (np.ptp(piece.shape.bounds[::2]), piece.id))
    pins = sorted((hole for hole in board.holes if hole.piece == rail.id), key=lambda h: h.at)
    amperes = [-0.15 * (len(pins) - 1)] + [0.15] * (len(pins) - 1)
    assert len(pins) > 15
    loads = tuple(Load(h.id, h.at, a) for h, a in zip(pins, amperes, strict=True))
    placement = Placement(0, board, 1, 1, Pose())
    as_cut = cut(placement)
    done, faults = drop(NetFacts("rail", (rail.id,), loads=loads), placement, as_cut, 0.035)
    assert faults == ()
    assert done is not None

    shapes = [part.shape for part in as_cut.parts if part.pieces == ((0, rail.id),)]
    joints = [joint(shapes, placement, hole.at, None) for hole in pins]
    mesh = joined([meshed(area) for area in domain(shapes, joints).geoms])
    fine = skfem.MeshTri(mesh.points.T.copy(), mesh.triangles.T.copy())
    rims = [
        lambda x, rim=metal.boundary: shapely.distance(shapely.points(*x), rim) < 1e-6
        for metal in joints
    ]
    volts = second_solver(fine, rims, amperes) * sheet_resistance(0.035)
    lost = [at.lost for at in done.loads]
    assert lost == pytest.approx((-volts).tolist(), rel=0.005, abs=0.002 * max(lost))
    assert max(lost) > 0.05
