"""Potential of a thin sheet of copper that carries current between contacts.

∇·(∇u / R) = 0 with R the sheet resistance in Ω, no current across an edge, and each contact at
one potential: Laplace's equation by linear triangles (any textbook of finite elements). Every
mesh is refined where the jumps of the gradient across edges are largest, and holds the one
before; the energy of the exact solution is then approached from one side, with an error that
falls as 1 / nodes, which gives both a better value and an estimate of what is left.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from millprep.geometry.path import FloatArray
from millprep.verify.rules.mesh import BoolArray, Edges, IntArray, Mesh, edges, halved, joined
from millprep.verify.rules.meshing import meshed

ON_RIM = 1e-6
"""A node this near to a contact's rim is on it, mm."""
SIMPLER = 0.002
"""Outlines are thinned by no more than this, mm: the house's flattening of curves."""
SHARE = 0.6
"""Share of the estimated error whose triangles are halved in a round (W. Dörfler 1996, from
memory)."""
MOST_NODES = 120_000
MOST_STEPS = 24


@dataclass(frozen=True, slots=True)
class Bridge:
    """A resistance between two contacts, by their numbers; 0 Ω makes them one."""

    one: int
    other: int
    ohms: float


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """Potential and current of a sheet.

    Attributes:
        mesh: the finest.
        potential: (n,) V at its points, against the contact where most current enters, each
            connected part against its own; 0 where no current flows.
        flow: (m, 2) current density in each triangle, A per mm of width.
        volts: (k,) V at each contact, extrapolated; NaN for one that touches no copper.
        ohms: (k,) Ω between each contact and its reference, no other carrying current.
        reference: (k,) number of the contact that each is measured against, itself for those.
        error: estimated share of the largest voltage by which `volts` are off.
        unfed: numbers of contacts whose part of the copper has no current balance.
    """

    mesh: Mesh
    potential: FloatArray
    flow: FloatArray
    volts: FloatArray
    ohms: FloatArray
    reference: IntArray
    error: float
    unfed: tuple[int, ...]


def domain(
    shapes: Sequence[shapely.Polygon], contacts: Sequence[shapely.Geometry]
) -> shapely.MultiPolygon:
    """The copper around the contacts that carries their current, with thinned outlines."""
    tree = shapely.STRtree(np.array(contacts, dtype=object))
    kept: list[shapely.Polygon] = []
    for shape in shapes:
        near = tree.query(shape, predicate="dwithin", distance=ON_RIM)
        left: shapely.Geometry = shapely.simplify(shape, SIMPLER)
        if len(near):
            left = shapely.difference(left, shapely.union_all(tree.geometries[near]))
        kept.extend(
            part
            for part in shapely.get_parts(left)
            if part.area > ON_RIM and len(tree.query(part, "dwithin", distance=ON_RIM))
        )
    return shapely.MultiPolygon(kept)


def solve(
    shapes: Sequence[shapely.Polygon],
    contacts: Sequence[shapely.Polygon],
    amperes: Sequence[float],
    sheet: float,
    *,
    bridges: Sequence[Bridge] = (),
    accuracy: float = 0.002,
    most_nodes: int = MOST_NODES,
) -> Solution:
    """Potential where `amperes` leave the copper (enter, below 0) at each contact.

    `contacts` are areas of one potential; `sheet` is in Ω; refined until the estimated error
    is below `accuracy` as a share of the largest voltage, or `most_nodes` are reached.

    Raises:
        ValueError: when no contact touches copper.
    """
    area = domain(shapes, contacts)
    if area.is_empty:
        raise ValueError("no contact touches copper")
    mesh = joined([meshed(part) for part in area.geoms])
    rims = shapely.boundary(np.array(contacts, dtype=object))
    amps = np.asarray(amperes, dtype=float)
    nodes: list[int] = []
    systems: list[_System] = []
    error = np.inf
    for step in range(MOST_STEPS):
        net = edges(mesh.triangles)
        systems.append(_System(mesh, _on_contacts(mesh, net, rims), bridges, amps, sheet))
        nodes.append(len(mesh.points))
        volts, error = _extrapolated(nodes, [system.volts for system in systems])
        last = step + 1 == MOST_STEPS or 1.4 * len(mesh.points) > most_nodes
        if error <= accuracy or last:
            break
        mesh = halved(mesh, _marked(mesh, net, systems[-1].gradient))
    now = systems[-1]
    ohms, _ = _extrapolated(nodes[-2:], [system.ohms() for system in systems[-2:]])
    return Solution(
        mesh, now.potential, -now.gradient / sheet, volts, ohms, now.reference, error, now.unfed
    )


def _on_contacts(mesh: Mesh, net: Edges, rims: Any) -> IntArray:
    """(n,) number of the contact that a point lies on, -1 for none."""
    on = np.full(len(mesh.points), -1, dtype=np.int64)
    rim = np.unique(net.ends[net.boundary])
    point, contact = shapely.STRtree(rims).query(
        shapely.points(mesh.points[rim]), predicate="dwithin", distance=ON_RIM
    )
    on[rim[point]] = contact
    return on


class _System:
    """One mesh's equations, solved."""

    def __init__(
        self, mesh: Mesh, on: IntArray, bridges: Sequence[Bridge], amperes: FloatArray, sheet: float
    ) -> None:
        from scipy.sparse.csgraph import connected_components
        from scipy.sparse.linalg import splu

        own = _merged(len(amperes), bridges)
        touched = np.zeros(len(amperes), dtype=bool)
        touched[own[on[on >= 0]]] = True
        self._own, self._seen = own, touched[own]
        # Unknowns: first the contacts, of which perfect wires make one, then the free points.
        unknown = np.where(on >= 0, own[on], len(amperes) + np.cumsum(on < 0) - 1)
        gradients = _gradients(mesh)
        matrix = _conductance(mesh, gradients, unknown, own, bridges, sheet)

        _, part = connected_components(matrix, directed=False)
        sums = np.zeros(part.max() + 1)
        np.add.at(sums, part[own], amperes)
        unbalanced = np.abs(sums) > 1e-6 * max(float(np.abs(amperes).max()), 1e-30)
        unfed = unbalanced[part[own]] | ~self._seen
        self.unfed = tuple(np.flatnonzero(unfed).tolist())
        # The reference of each part is where most current enters.
        grounds: dict[int, int] = {}
        for k in np.argsort(amperes, kind="stable").tolist():
            grounds.setdefault(int(part[own[k]]), k)
        self.reference = np.array([grounds[int(p)] for p in part[own]], dtype=np.int64)

        # Copper without a contact carries nothing and stays at 0 as a whole.
        ground = own[np.unique(self.reference)]
        live = np.isin(part, part[ground])
        live[ground] = False
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
        self.gradient: FloatArray = np.einsum(
            "mi,mik->mk", self.potential[mesh.triangles], gradients
        )

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


def _merged(contacts: int, bridges: Sequence[Bridge]) -> IntArray:
    """(k,) for each contact the first of those that perfect wires join it to."""
    own = np.arange(contacts)
    for bridge in bridges:
        if bridge.ohms == 0:
            low, high = sorted((own[bridge.one], own[bridge.other]))
            own[own == high] = low
    return own


def _gradients(mesh: Mesh) -> FloatArray:
    """(m, 3, 2) gradient of the linear function that is 1 at a corner and 0 at the others."""
    corner = mesh.points[mesh.triangles]
    side = np.roll(corner, -2, axis=1) - np.roll(corner, -1, axis=1)
    turned = np.stack((-side[..., 1], side[..., 0]), axis=-1)
    gradients: FloatArray = turned / (2 * mesh.areas)[:, None, None]
    return gradients


def _conductance(
    mesh: Mesh,
    gradients: FloatArray,
    unknown: IntArray,
    own: IntArray,
    bridges: Sequence[Bridge],
    sheet: float,
) -> Any:
    """The matrix of conductances between unknowns, 1/Ω."""
    from scipy.sparse import coo_matrix

    local = np.einsum("mik,mjk->mij", gradients, gradients)
    local *= (mesh.areas / sheet)[:, None, None]
    index = unknown[mesh.triangles]
    wires = [b for b in bridges if b.ohms > 0]
    one = own[np.array([b.one for b in wires], dtype=np.int64)]
    other = own[np.array([b.other for b in wires], dtype=np.int64)]
    g = np.array([1 / b.ohms for b in wires])
    rows = np.concatenate((np.repeat(index, 3, axis=1).ravel(), one, other, one, other))
    columns = np.concatenate((np.tile(index, 3).ravel(), one, other, other, one))
    values = np.concatenate((local.ravel(), g, g, -g, -g))
    size = int(max(unknown.max(), len(own) - 1)) + 1
    return coo_matrix((values, (rows, columns)), shape=(size, size)).tocsr()


def _extrapolated(nodes: Sequence[int], values: Sequence[FloatArray]) -> tuple[FloatArray, float]:
    """Values where 1 / nodes would be 0, and by what share of the largest they may be off.

    That is how far the extrapolation moved the values of the last mesh, or itself since the
    mesh before; two meshes alone estimate nothing.
    """
    pairs = itertools.pairwise(zip(nodes, values, strict=True))
    found = [values[0], *(v + (v - u) / (n / m - 1) for (m, u), (n, v) in pairs)]
    if len(values) < 3:
        return found[-1], np.inf
    moved = np.maximum(np.abs(found[-1] - values[-1]), np.abs(found[-1] - found[-2]))
    largest = np.nanmax(np.abs(found[-1]))
    return found[-1], float(np.nanmax(moved) / largest) if largest > 0 else 0.0


def _marked(mesh: Mesh, net: Edges, gradient: FloatArray) -> BoolArray:
    """The triangles that hold `SHARE` of the estimated squared error.

    Its parts are |e|²·[∂u/∂n]² for each edge e, [ ] the jump across it, shared by its sides.
    """
    along = mesh.points[net.ends[:, 1]] - mesh.points[net.ends[:, 0]]
    normal = np.column_stack((along[:, 1], -along[:, 0]))
    left, right = net.sides[:, 0] // 3, net.sides[:, 1] // 3
    inner = ~net.boundary
    # Only inner edges: the gradient's part across a contact's rim is no error.
    jump = np.zeros(len(along))
    jump[inner] = (normal[inner] * (gradient[left[inner]] - gradient[right[inner]])).sum(axis=1)
    error = (jump**2)[net.of].sum(axis=1)
    order = np.argsort(-error, kind="stable")
    total = np.cumsum(error[order])
    marked = np.zeros(len(error), dtype=bool)
    marked[order[: 1 + int(np.searchsorted(total, SHARE * total[-1]))]] = True
    return marked
