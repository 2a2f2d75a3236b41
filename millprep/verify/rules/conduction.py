"""Potential of a thin sheet of copper that carries current between contacts.

∇·(∇u / R) = 0 with R the sheet resistance in Ω, no current across an edge, and each contact at
one potential: Laplace's equation by quadratic triangles (scikit-fem). Triangles are divided where
the quadratic part of the solution is largest, and every mesh holds the one before. The values at
the contacts then approach the exact ones with an error that falls as 1 / unknowns², which gives
both a better value and an estimate of what is left.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from millprep.geometry.path import FloatArray
from millprep.verify.rules.mesh import (
    ON_RIM,
    SIMPLER,
    BoolArray,
    IntArray,
    Mesh,
    domain,
    elements_of,
    meshed,
    turned,
)

FRACTION = 0.5
"""Fraction of the estimated error whose triangles are divided in a round (W. Dörfler 1996, from
memory)."""
MOST_UNKNOWNS = 120_000
MOST_ROUNDS = 24


@dataclass(frozen=True, slots=True)
class Resistor:
    """A resistance between two contacts, by their numbers; 0 Ω makes them one."""

    first: int
    second: int
    ohms: float


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """Potential and current of a sheet.

    Attributes:
        mesh: the finest, each triangle divided in four at the middle of its edges.
        potential: (n,) V at its points, against the contact where most current enters, each
            connected part against its own; 0 where no current flows.
        flow: (m, 2) current density in each triangle, A per mm of width.
        volts: (k,) V at each contact, extrapolated; NaN for one that touches no copper.
        ohms: (k,) Ω between each contact and its reference, no other carrying current.
        reference: (k,) number of the contact that each is measured against, itself for those.
        error: by what fraction of the largest voltage `volts` may be off, estimated.
        unfed: numbers of contacts whose part of the copper has no current balance.
        sheet: resistance of the sheet, Ω.
        basis: the quadratic functions of the solution, as scikit-fem has them.
    """

    mesh: Mesh
    potential: FloatArray
    flow: FloatArray
    volts: FloatArray
    ohms: FloatArray
    reference: IntArray
    error: float
    unfed: tuple[int, ...]
    sheet: float
    basis: Any

    def density(self, places: FloatArray) -> FloatArray:
        """(p, 2) current density at (p, 2) places, A per mm of width; 0 beyond the copper.

        Between the points it is quadratic; at a point it is the mean of the triangles around it.
        """
        cell = self._cells(places)
        inside = cell >= 0
        cell = cell[inside]
        basis, gradient = self.basis, self._gradient()
        local = basis.mapping.invF(places[inside].T[:, :, None], tind=cell)
        here = np.zeros((2, len(cell)))
        for k in range(basis.Nbfun):
            part = basis.elem.gbasis(basis.mapping, local, k, tind=cell)[0]
            here += gradient[:, basis.element_dofs[k, cell]] * np.asarray(part).reshape(-1)
        density = np.zeros(places.shape)
        density[inside] = -here.T / self.sheet
        return density

    def _gradient(self) -> FloatArray:
        """(2, n) gradient of the potential at every point, V/mm."""
        basis = self.basis
        elements = basis.elem.doflocs.T[:, None, :].repeat(basis.nelems, axis=1)
        gradient = np.zeros((2, basis.nelems, basis.Nbfun))
        for k in range(basis.Nbfun):
            part = basis.elem.gbasis(basis.mapping, elements, k)[0]
            gradient += self.potential[basis.element_dofs[k]][None, :, None] * part.grad
        corners = basis.mesh.p[:, basis.mesh.t]
        area = np.abs(_cross((corners[:, 1] - corners[:, 0]).T, (corners[:, 2] - corners[:, 0]).T))
        point, weight = basis.element_dofs.T, np.repeat(area[:, None], basis.Nbfun, axis=1)
        total = np.bincount(point.ravel(), weight.ravel(), basis.N)
        mean = [
            np.bincount(point.ravel(), (weight * part).ravel(), basis.N) / total
            for part in gradient
        ]
        return np.stack(mean)

    def _cells(self, places: FloatArray) -> IntArray:
        """(p,) element that holds each place, -1 for none."""
        elements = self.basis.mesh
        corners = elements.p[:, elements.t].transpose(2, 1, 0)
        # Boxes only: whether a place is in the element its barycentric coordinates say.
        place, hit = shapely.STRtree(np.asarray(shapely.polygons(corners))).query(
            shapely.points(places)
        )
        a, b, c = corners[hit].transpose(1, 0, 2)
        p = places[place]
        weight = np.stack((_cross(b - p, c - p), _cross(c - p, a - p), _cross(a - p, b - p)))
        inside = (weight / _cross(b - a, c - a)).min(axis=0) >= -ON_RIM
        cell = np.full(len(places), -1, dtype=np.int64)
        cell[place[inside]] = hit[inside]
        return cell


def solve(
    shapes: Sequence[shapely.Polygon],
    contacts: Sequence[shapely.Polygon],
    amperes: Sequence[float],
    sheet: float,
    *,
    resistors: Sequence[Resistor] = (),
    accuracy: float = 0.001,
    most_unknowns: int = MOST_UNKNOWNS,
) -> Solution:
    """Potential where `amperes` leave the copper (enter, below 0) at each contact.

    `contacts` are areas of one potential; `sheet` is in Ω; refined until the estimated error
    is below `accuracy` as a fraction of the largest voltage, or `most_unknowns` are reached.

    Raises:
        ValueError: when no contact touches copper.
    """
    area = domain(shapes, contacts)
    if area.is_empty:
        raise ValueError("no contact touches copper")
    elements = elements_of(meshed(area.geoms))
    rims = shapely.STRtree(shapely.boundary(np.array(contacts, dtype=object)))
    amps = np.asarray(amperes, dtype=float)
    sizes: list[int] = []
    systems: list[_System] = []
    while True:
        systems.append(_System(elements, rims, resistors, amps, sheet))
        sizes.append(systems[-1].basis.N)
        volts, error = _extrapolated(sizes, [system.volts for system in systems])
        if error <= accuracy or len(sizes) == MOST_ROUNDS or 1.4 * sizes[-1] > most_unknowns:
            break
        elements = elements.refined(np.flatnonzero(systems[-1].doubtful()))
    last = systems[-1]
    ohms, _ = _extrapolated(sizes[-2:], [system.ohms() for system in systems[-2:]])
    mesh, basis = last.fine_mesh(), last.basis
    flow, reference = last.flow(mesh), last.reference
    return Solution(
        mesh, last.potential, flow, volts, ohms, reference, error, last.unfed, sheet, basis
    )


class _System:
    """One mesh's equations, solved."""

    def __init__(
        self,
        elements: Any,
        rims: shapely.STRtree,
        resistors: Sequence[Resistor],
        amperes: FloatArray,
        sheet: float,
    ) -> None:
        from scipy.sparse.csgraph import connected_components
        from scipy.sparse.linalg import splu
        from skfem import Basis, ElementTriP2
        from skfem.models.poisson import laplace

        self.elements, self.sheet = elements, sheet
        # The gradients are linear, so their products are quadratic.
        self.basis = Basis(elements, ElementTriP2(), intorder=2)
        on = _on_contacts(self.basis, rims)
        own = _merged(len(amperes), resistors)
        touched = np.zeros(len(amperes), dtype=bool)
        touched[own[on[on >= 0]]] = True
        self._own, self._seen = own, touched[own]
        # Unknowns: first the contacts, of which perfect wires make one, then the free points.
        unknown = np.where(on >= 0, own[on], len(amperes) + np.cumsum(on < 0) - 1)
        matrix = _conductance(laplace.assemble(self.basis) / sheet, unknown, own, resistors)

        _, part = connected_components(matrix, directed=False)
        balance = np.zeros(part.max() + 1)
        np.add.at(balance, part[own], amperes)
        unbalanced = np.abs(balance) > 1e-6 * max(float(np.abs(amperes).max()), 1e-30)
        unfed = unbalanced[part[own]] | ~self._seen
        self.unfed = tuple(np.flatnonzero(unfed).tolist())
        # The reference of each part is where most current enters.
        reference: dict[int, int] = {}
        for k in np.argsort(amperes, kind="stable").tolist():
            reference.setdefault(int(part[own[k]]), k)
        self.reference = np.array([reference[int(p)] for p in part[own]], dtype=np.int64)

        # Copper without a contact carries nothing and stays at 0 as a whole.
        at_zero = own[np.unique(self.reference)]
        live = np.isin(part, part[at_zero])
        live[at_zero] = False
        self._keep = np.flatnonzero(live)
        self._lu = splu(
            matrix[self._keep][:, self._keep].tocsc(),
            permc_spec="MMD_AT_PLUS_A",
            diag_pivot_thresh=0.0,
            options={"SymmetricMode": True},
        )
        drawn = np.zeros(matrix.shape[0])
        np.add.at(drawn, own, np.where(unfed, 0.0, amperes))
        whole = np.zeros(matrix.shape[0])
        whole[self._keep] = self._lu.solve(-drawn[self._keep])
        self.potential: FloatArray = whole[unknown]
        self.volts: FloatArray = np.where(self._seen, whole[own], np.nan)

    def ohms(self) -> FloatArray:
        """(k,) Ω between each contact and its reference."""
        place = np.searchsorted(self._keep, self._own)
        place[place == len(self._keep)] = 0
        ohms = np.zeros(len(self._own))
        for k in range(len(place)):
            if not len(self._keep) or self._keep[place[k]] != self._own[k]:
                continue
            unit = np.zeros(len(self._keep))
            unit[place[k]] = 1.0
            ohms[k] = self._lu.solve(unit)[place[k]]
        return np.where(self._seen, ohms, np.nan)

    def doubtful(self) -> BoolArray:
        """(m,) the triangles that hold `FRACTION` of the estimated squared error.

        Its parts are what the quadratic solution has at the middle of each edge besides the mean of
        the ends; the energy of such a part does not depend on the size of the triangle.
        """
        elements = self.elements
        at_ends = self.potential[self.basis.nodal_dofs[0][elements.facets]].mean(axis=0)
        bend = (self.potential[self.basis.facet_dofs[0]] - at_ends) ** 2
        error = bend[elements.t2f].sum(axis=0)
        order = np.argsort(-error, kind="stable")
        total = np.cumsum(error[order])
        marked = np.zeros(len(error), dtype=bool)
        marked[order[: 1 + int(np.searchsorted(total, FRACTION * total[-1]))]] = True
        return marked

    def fine_mesh(self) -> Mesh:
        """The mesh with every triangle divided in four; its points are those of the solution."""
        a, b, c, ab, bc, ac = self.basis.element_dofs
        parts = [(a, ab, ac), (ab, b, bc), (ac, bc, c), (ab, bc, ac)]
        triangles = np.concatenate([np.column_stack(corners) for corners in parts])
        return turned(np.ascontiguousarray(self.basis.doflocs.T), triangles.astype(np.int64))

    def flow(self, mesh: Mesh) -> FloatArray:
        """(m, 2) current density in each triangle of the fine mesh, A/mm."""
        from skfem import Basis, ElementTriP1

        linear = Basis(elements_of(mesh), ElementTriP1(), intorder=0)
        gradient = linear.interpolate(self.potential).grad[:, :, 0]
        flow: FloatArray = -gradient.T / self.sheet
        return flow


def _on_contacts(basis: Any, rims: shapely.STRtree) -> IntArray:
    """(n,) number of the contact that an unknown lies on, -1 for none.

    The middle of an outer edge is on a contact when both its ends are.
    """
    elements = basis.mesh
    outer = elements.facets[:, elements.boundary_facets()]
    points = np.unique(outer)
    which, contact = rims.query(
        shapely.points(elements.p[:, points].T), predicate="dwithin", distance=SIMPLER + ON_RIM
    )
    corner = np.full(elements.p.shape[1], -1, dtype=np.int64)
    corner[points[which]] = contact
    on = np.full(basis.N, -1, dtype=np.int64)
    on[basis.nodal_dofs[0]] = corner
    start, end = corner[outer]
    on[basis.facet_dofs[0][elements.boundary_facets()]] = np.where(start == end, start, -1)
    return on


def _merged(contacts: int, resistors: Sequence[Resistor]) -> IntArray:
    """(k,) for each contact the first of those that perfect wires join it to."""
    own = np.arange(contacts)
    for resistor in resistors:
        if resistor.ohms == 0:
            low, high = sorted((own[resistor.first], own[resistor.second]))
            own[own == high] = low
    return own


def _conductance(
    sheet: Any, unknown: IntArray, own: IntArray, resistors: Sequence[Resistor]
) -> Any:
    """The matrix of conductances between unknowns, 1/Ω, from that of the points of the sheet."""
    from scipy.sparse import coo_matrix

    wires = [r for r in resistors if r.ohms > 0]
    first = own[np.array([r.first for r in wires], dtype=np.int64)]
    second = own[np.array([r.second for r in wires], dtype=np.int64)]
    g = np.array([1 / r.ohms for r in wires])
    points = sheet.tocoo()
    rows = np.concatenate((unknown[points.row], first, second, first, second))
    columns = np.concatenate((unknown[points.col], first, second, second, first))
    values = np.concatenate((points.data, g, g, -g, -g))
    size = int(max(unknown.max(), len(own) - 1)) + 1
    return coo_matrix((values, (rows, columns)), shape=(size, size)).tocsr()


def _extrapolated(sizes: Sequence[int], values: Sequence[FloatArray]) -> tuple[FloatArray, float]:
    """Values where 1 / unknowns² would be 0, and by what fraction of the largest they may be off.

    That is how far the extrapolation moved the values of the last mesh, or its own result since
    the mesh before; two meshes alone estimate nothing.
    """
    pairs = itertools.pairwise(zip(sizes, values, strict=True))
    limits = [values[0], *(v + (v - u) / ((n / m) ** 2 - 1) for (m, u), (n, v) in pairs)]
    if len(values) < 3:
        return limits[-1], np.inf
    change = np.maximum(np.abs(limits[-1] - values[-1]), np.abs(limits[-1] - limits[-2]))
    largest = np.nanmax(np.abs(limits[-1]))
    return limits[-1], float(np.nanmax(change) / largest) if largest > 0 else 0.0


def _cross(u: FloatArray, v: FloatArray) -> FloatArray:
    cross: FloatArray = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    return cross
