"""How far a plate gives way under a pull at one place.

Closed forms and coefficients of Timoshenko and Woinowsky-Krieger, Theory of Plates and Shells, from
memory: clamped circle w = F·a²/(16·π·D); square under a central load, simply supported
w = 0.01160·F·a²/D, clamped w = 0.00560·F·a²/D. The cantilever is the beam's δ = F·L³/(3·E·I), the
plate on springs that hold all of it Westergaard's w = F/(8·√(k·D)), both from memory. A blank on
clamps is compared with Morley's triangles of a general finite-element library (scikit-fem).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.sparse.linalg import splu
from skfem import Basis, BilinearForm, ElementTriMorley, MeshTri
from skfem.helpers import dd, ddot, trace

from millprep.geometry.path import FloatArray, Point
from millprep.model.blank import Box
from millprep.verify.rules.plate import Plate, Support, rigidity

E, NU, THICK = 22.0, 0.14, 1.6
D = rigidity(E, NU, THICK)
RIGID = 1e6
SIDE = 120.0
CLAMPS = ((105.0, 0.0, 120.0, 4.0), (190.0, 0.0, 205.0, 4.0), (105.0, 116.0, 120.0, 120.0))


def at(plate: Plate, *places: Point) -> FloatArray:
    return plate.compliance(np.array(places))


def frame(width: float, stiffness: float) -> tuple[Support, ...]:
    """Springs in a frame around a square of `SIDE`, its low corner at (width, width)."""
    whole = SIDE + 2 * width
    boxes = (
        Box(0, 0, whole, width), Box(0, whole - width, whole, whole),
        Box(0, width, width, whole - width), Box(whole - width, width, whole, whole - width),
    )  # fmt: skip
    return tuple(Support(box, stiffness) for box in boxes)


def test_rigidity() -> None:
    assert rigidity(20.0, 0.0, 1.6) == pytest.approx(20000 * 1.6**3 / 12)
    assert rigidity(20.0, 0.3, 1.6) == pytest.approx(20000 * 1.6**3 / 12 / 0.91)


def test_a_cantilever_bends_like_a_beam() -> None:
    length, wide = 105.0, 120.0
    plate = Plate(
        (length + 20, wide), rigidity(20.0, 0.0, THICK), 0.0, (Support(Box(0, 0, 20, wide), RIGID),)
    )
    end = np.column_stack((np.full(60, length + 20), np.linspace(1, wide - 1, 60)))
    along_the_edge = float(plate.deflection(end, end).mean())
    beam = length**3 / (3 * 20000 * wide * THICK**3 / 12)
    assert beam == pytest.approx(0.471, abs=5e-4)
    assert along_the_edge == pytest.approx(beam, rel=0.03)
    # a pull at the middle of the edge alone bends the edge as well
    assert beam < at(plate, (length + 20, wide / 2))[0] < 1.1 * beam


@pytest.mark.parametrize(
    ("width", "stiffness", "coefficient"), [(20.0, RIGID, 0.00560), (0.003, 1e7, 0.01160)]
)
def test_a_square(width: float, stiffness: float, coefficient: float) -> None:
    # a frame so narrow holds the edge and lets it tilt
    size = (SIDE + 2 * width,) * 2
    plate = Plate(size, D, NU, frame(width, stiffness))
    middle = at(plate, (size[0] / 2, size[0] / 2))[0]
    assert middle == pytest.approx(coefficient * SIDE**2 / D, rel=0.05)


def test_a_clamped_circle() -> None:
    radius, half = 60.0, 70.0
    outside = []
    for y in range(140):
        reach = math.sqrt(max(radius**2 - (y + 0.5 - half) ** 2, 0.0))
        outside += [Box(0, y, half - reach, y + 1), Box(half + reach, y, 140, y + 1)]
    plate = Plate((140.0, 140.0), D, NU, tuple(Support(box, RIGID) for box in outside))
    assert at(plate, (half, half))[0] == pytest.approx(radius**2 / (16 * math.pi * D), rel=0.05)


def test_a_plate_on_tape_everywhere() -> None:
    plate = Plate((200.0, 200.0), D, NU, (Support(Box(0, 0, 200, 200), 1.0),), most_elements=3000)
    assert at(plate, (100.0, 100.0))[0] == pytest.approx(1 / (8 * math.sqrt(D)), rel=0.03)


def by_morley(places: FloatArray, length: float, wide: float, step: float) -> FloatArray:
    """Compliance of a blank on `CLAMPS` at nodes of a mesh that has all their edges."""

    def lines(size: float, low: int) -> FloatArray:
        marks = [v for box in CLAMPS for v in (box[low], box[low + 2])]
        return np.unique([*np.linspace(0, size, round(size / step) + 1), *marks])

    mesh = MeshTri.init_tensor(lines(length, 0), lines(wide, 1))
    basis = Basis(mesh, ElementTriMorley(), intorder=4)

    @BilinearForm  # type: ignore[untyped-decorator]
    def bending(u: object, v: object, w: object) -> object:
        return D * ((1 - NU) * ddot(dd(u), dd(v)) + NU * trace(dd(u)) * trace(dd(v)))

    @BilinearForm  # type: ignore[untyped-decorator]
    def springs(u: object, v: object, w: object) -> object:
        return 10.0 * u * v  # type: ignore[operator]

    x, y = mesh.p[:, mesh.t].mean(axis=1)
    inside = [(x > a) & (y > b) & (x < c) & (y < d) for a, b, c, d in CLAMPS]
    held = Basis(mesh, ElementTriMorley(), intorder=4, elements=np.flatnonzero(np.any(inside, 0)))
    factors = splu((bending.assemble(basis) + springs.assemble(held)).tocsc())
    result = []
    for place in places:
        node = int(np.argmin(((mesh.p.T - place) ** 2).sum(axis=1)))
        pull = np.zeros(basis.N)
        pull[basis.nodal_dofs[0, node]] = 1.0
        result.append(factors.solve(pull)[basis.nodal_dofs[0, node]])
    return np.array(result)


def test_a_blank_on_clamps_gives_way_as_another_library_says() -> None:
    length, wide = 300.0, 120.0
    clamps = tuple(Support(Box(*box), 10.0) for box in CLAMPS)
    places = np.array([(10.0, 60.0), (112.0, 60.0), (150.0, 60.0), (200.0, 110.0), (290.0, 10.0)])
    ours = Plate((length, wide), D, NU, clamps).compliance(places)
    finer = Plate((length, wide), D, NU, clamps, most_elements=3000).compliance(places)
    theirs = by_morley(places, length, wide, 2.5)
    assert ours == pytest.approx(finer, rel=0.03)
    assert ours == pytest.approx(theirs, rel=0.05)


def test_a_blank_that_lies_the_other_way_gives_way_as_much() -> None:
    boxes = [Box(*box) for box in CLAMPS]
    lying = Plate((300.0, 120.0), D, NU, tuple(Support(box, 10.0) for box in boxes))
    turned = [Support(Box(b.y0, b.x0, b.y1, b.x1), 10.0) for b in boxes]
    upright = Plate((120.0, 300.0), D, NU, tuple(turned))
    places = np.array([(10.0, 60.0), (150.0, 40.0), (290.0, 10.0)])
    assert lying.compliance(places) == pytest.approx(upright.compliance(places[:, ::-1]))
    whole = lying.deflection(places, places)
    assert whole == pytest.approx(whole.T)
    assert np.diagonal(whole) == pytest.approx(lying.compliance(places))


def test_what_an_offcut_lacks_holds_nothing() -> None:
    import shapely

    support = (Support(Box(0, 0, 10, 60), RIGID),)
    short = Plate((60.0, 60.0), D, NU, support)
    rest = Plate((120.0, 60.0), D, NU, support, shapely.box(0, 0, 60, 60), most_elements=800)
    assert at(rest, (55.0, 30.0)) == pytest.approx(at(short, (55.0, 30.0)), rel=0.03)


def test_a_blank_that_nothing_holds_flies() -> None:
    assert at(Plate((120.0, 60.0), D, NU, ()), (60.0, 30.0))[0] > 1000
