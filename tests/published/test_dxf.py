"""What the DXF format says, checked against its publishers' own words.

Sources: Autodesk's ActiveX reference (GetBulge, SetBulge), Autodesk's pages on INSUNITS,
LWPOLYLINE and ELLIPSE in the DXF reference, the ezdxf documentation ("DXF Units"), and the
arbitrary axis algorithm of the DXF reference. ezdxf's own helpers give a second opinion.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import ezdxf.filemanagement
import numpy as np
import pytest
import shapely
from ezdxf.math import OCS, bulge_to_arc

from millprep.drawing import read, unit
from millprep.geometry.path import SAGITTA
from millprep.geometry.path import Path as Chain
from millprep.model.board import Board
from millprep.model.job.layers import LayerRoles

FOIL = {"layer": "foil"}


def board(tmp_path: Path, draw: Any, *, insunits: int = 4) -> Board:
    doc: Any = ezdxf.filemanagement.new("R2010")
    doc.header["$INSUNITS"] = insunits
    draw(doc.modelspace())
    doc.saveas(tmp_path / "a.dxf")
    layers = LayerRoles(("foil",), (), (), outline_margin=1.0)
    return read(tmp_path / "a.dxf", name="b", shown_as="a.dxf", layers=layers, unit=None)


def rim(found: Board) -> np.ndarray:
    return np.asarray(found.pieces[0].shape.exterior.coords)[:-1]


# Bulge = tan(included angle / 4), positive counter-clockwise (Autodesk, GetBulge).
# Chord (0, 0) to (10, 0): centre and radius of the arc, and the side of the chord it lies on.
BULGES = [
    (1.0, (5.0, 0.0), 5.0, -1),
    (0.41421356237309503, (5.0, 5.0), 7.0710678118654755, -1),
    (0.5, (5.0, 3.75), 6.25, -1),
    (-1.0, (5.0, 0.0), 5.0, 1),
]


@pytest.mark.parametrize(("bulge", "centre", "radius", "side"), BULGES)
def test_bulge(
    tmp_path: Path, bulge: float, centre: tuple[float, float], radius: float, side: int
) -> None:
    found = board(
        tmp_path,
        lambda s: s.add_lwpolyline([(0, 0, bulge), (10, 0, 0)], format="xyb", close=True,
                                   dxfattribs=FOIL),
    )  # fmt: skip
    points = rim(found)
    arc = points[np.abs(points[:, 1]) > 1e-9]
    assert (np.sign(arc[:, 1]) == side).all()
    assert np.hypot(*(arc - centre).T) == pytest.approx(radius, abs=1e-9)
    # sagitta = bulge · chord / 2
    assert np.abs(arc[:, 1]).max() == pytest.approx(abs(bulge) * 5, abs=SAGITTA)


@pytest.mark.parametrize(("bulge", "centre", "radius", "side"), BULGES)
def test_second_opinion_on_bulges(
    bulge: float, centre: tuple[float, float], radius: float, side: int
) -> None:
    theirs, start, end, r = bulge_to_arc((0, 0), (10, 0), bulge)
    assert (theirs.x, theirs.y, r) == pytest.approx((*centre, radius))
    (ours,) = Chain(np.array([(0, 0), (10, 0)]), np.array([bulge])).segments()
    assert ours.centre == pytest.approx(centre)
    assert abs(ours.sweep) == pytest.approx((end - start) % (2 * math.pi))
    assert math.degrees(4 * math.atan(0.5)) == pytest.approx(106.2602, abs=1e-4)


def test_a_vertex_beyond_the_bulge_is_not_the_points_of_another(tmp_path: Path) -> None:
    # the check can fail: with the bulge's sign turned, the arc lies on the other side
    found = board(
        tmp_path,
        lambda s: s.add_lwpolyline([(0, 0, -0.5), (10, 0, 0)], format="xyb", close=True,
                                   dxfattribs=FOIL),
    )  # fmt: skip
    assert rim(found)[:, 1].max() > 2


# $INSUNITS to mm (Autodesk, INSUNITS system variable).
TO_MM = {
    1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1000.0, 7: 1e6, 8: 2.54e-5, 9: 0.0254, 10: 914.4,
    13: 0.001, 14: 100.0,
}  # fmt: skip


@pytest.mark.parametrize(("code", "mm"), TO_MM.items())
def test_insunits(tmp_path: Path, code: int, mm: float) -> None:
    assert unit.INSUNITS[code][1] == pytest.approx(mm)
    size = 20 / mm
    found = board(
        tmp_path,
        lambda s: s.add_lwpolyline(
            [(0, 0), (size, 0), (size, size), (0, size)], close=True, dxfattribs=FOIL
        ),
        insunits=code,
    )
    assert found.pieces[0].shape.area == pytest.approx(400)


def test_second_opinion_on_insunits() -> None:
    from ezdxf.enums import InsertUnits
    from ezdxf.units import conversion_factor

    for code in (1, 2, 4, 5, 6, 10, 14):
        assert conversion_factor(InsertUnits(code), InsertUnits.Millimeters) == pytest.approx(
            unit.INSUNITS[code][1]
        )


def test_a_point_is_a_seventy_second_of_an_inch() -> None:
    # PostScript Language Reference, section 4.3.1: 1/72 inch (from memory)
    assert pytest.approx(25.4 / 72) == unit.MM["point"]


def test_constant_width_is_not_used_where_vertices_have_their_own(tmp_path: Path) -> None:
    # Autodesk, LWPOLYLINE: group 43 is not used if 40 or 41 is set
    found = board(
        tmp_path,
        lambda s: s.add_lwpolyline([(0, 0, 1, 1), (10, 0, 1, 1)], format="xyse",
                                   dxfattribs={**FOIL, "const_width": 3}),
    )  # fmt: skip
    assert found.pieces[0].shape.bounds == pytest.approx((-0.5, -0.5, 10.5, 0.5))


def test_ellipse_parameters_are_not_polar_angles(tmp_path: Path) -> None:
    # Autodesk, ELLIPSE: 41 and 42 are parameters; at π/4 on (10, 0), ratio 0.5: (7.071, 3.536)
    found = board(
        tmp_path,
        lambda s: (
            s.add_ellipse((0, 0), (10, 0), 0.5, 0, math.pi / 4, dxfattribs=FOIL),
            s.add_lwpolyline([(10, 0), (0, 0), (7.0710678118654755, 3.5355339059327378)],
                             dxfattribs=FOIL),
        ),
    )  # fmt: skip
    assert found.pieces[0].shape.area == pytest.approx(10 * 5 * math.pi / 8, abs=0.02)
    points = rim(found)
    off_chord = np.abs(points[:, 0] * 0.5 - points[:, 1]) > 1e-6
    bent = points[off_chord & (points[:, 1] > 1e-9)]
    assert len(bent) > 10
    assert (bent[:, 0] / 10) ** 2 + (bent[:, 1] / 5) ** 2 == pytest.approx(1.0)


def test_an_ellipse_seen_from_behind_runs_the_other_way(tmp_path: Path) -> None:
    # minor axis = extrusion × major axis, so that it turns over with the extrusion
    found = board(
        tmp_path,
        lambda s: (
            s.add_ellipse((0, 0), (10, 0), 0.5, 0, math.pi,
                          dxfattribs={**FOIL, "extrusion": (0, 0, -1)}),
            s.add_line((-10, 0), (10, 0), dxfattribs=FOIL),
        ),
    )  # fmt: skip
    assert found.pieces[0].shape.bounds == pytest.approx((-10, -5, 10, 0), abs=SAGITTA)


def test_arbitrary_axis(tmp_path: Path) -> None:
    # DXF reference: extrusion (0, 0, -1) has the x axis (-1, 0, 0), the y axis (0, 1, 0)
    ocs = OCS((0, 0, -1))
    assert tuple(ocs.to_wcs((3, 4, 0))) == pytest.approx((-3, 4, 0))
    found = board(
        tmp_path,
        lambda s: s.add_circle((3, 4), 1, dxfattribs={**FOIL, "extrusion": (0, 0, -1)}),
    )
    assert found.pieces[0].shape.centroid.coords[0] == pytest.approx((-3, 4))


def test_arcs_run_counter_clockwise_from_start_to_end(tmp_path: Path) -> None:
    # ARC, groups 50 and 51, degrees (from memory; ezdxf agrees)
    found = board(
        tmp_path,
        lambda s: (
            s.add_arc((0, 0), 5, 300, 60, dxfattribs=FOIL),
            s.add_line((2.5, 5 * math.sin(math.pi / 3)), (2.5, -5 * math.sin(math.pi / 3)),
                       dxfattribs=FOIL),
        ),
    )  # fmt: skip
    assert found.pieces[0].shape.bounds[0] == pytest.approx(2.5)
    assert found.pieces[0].shape.bounds[2] == pytest.approx(5.0, abs=SAGITTA)


def test_second_opinion_on_flattened_curves(tmp_path: Path) -> None:
    # ezdxf's own flattening of the same polyline, to 0.1 µm, encloses the same area
    vertices = [(0, 0, 0.3), (12, 1, -0.6), (14, 9, 0.2), (3, 11, 0)]
    found = board(
        tmp_path,
        lambda s: s.add_lwpolyline(vertices, format="xyb", close=True, dxfattribs=FOIL),
    )
    doc: Any = ezdxf.filemanagement.readfile(tmp_path / "a.dxf")
    (entity,) = doc.modelspace()
    # exploded: its general path would stand cubic curves in for the arcs, 0.03 % off
    points: list[tuple[float, float]] = []
    for part in entity.virtual_entities():
        run = [part.dxf.start, part.dxf.end] if part.dxftype() == "LINE" else part.flattening(1e-4)
        xy = [(p.x, p.y) for p in run]
        if points and math.dist(points[-1], xy[0]) > 1e-6:
            xy.reverse()
        points += xy
    theirs = shapely.Polygon(points)
    ours = found.pieces[0].shape
    assert shapely.hausdorff_distance(ours, theirs) <= SAGITTA + 2e-4
    assert ours.area == pytest.approx(theirs.area, abs=SAGITTA * ours.length)
