"""Triangles that cover copper, edge to edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from millprep.geometry.path import FloatArray

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """Triangles that cover one or more areas, edge to edge.

    Attributes:
        points: (n, 2) mm.
        triangles: (m, 3) indices into `points`, counter-clockwise.
    """

    points: FloatArray
    triangles: IntArray

    @property
    def areas(self) -> FloatArray:
        """(m,) areas, mm²."""
        a, b, c = (self.points[self.triangles[:, k]] for k in range(3))
        area: FloatArray = ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]) / 2
        return area

    @property
    def lengths(self) -> FloatArray:
        """(m, 3) lengths of the edges; edge k lies opposite corner k."""
        corner = self.points[self.triangles]
        side = corner[:, [1, 2, 0]] - corner[:, [2, 0, 1]]
        length: FloatArray = np.hypot(side[..., 0], side[..., 1])
        return length


@dataclass(frozen=True, slots=True, eq=False)
class Edges:
    """The edges of a mesh.

    Attributes:
        ends: (e, 2) indices of points, the lower first.
        of: (m, 3) edge opposite each corner of each triangle.
        sides: (e, 2) place in the flat `of` on either side, -1 beyond the boundary.
    """

    ends: IntArray
    of: IntArray
    sides: IntArray

    @property
    def boundary(self) -> BoolArray:
        """(e,) whether the edge has copper on one side only."""
        return self.sides[:, 1] < 0


def edges(triangles: IntArray) -> Edges:
    """The edges of triangles (m, 3)."""
    one, other = triangles[:, [1, 2, 0]].ravel(), triangles[:, [2, 0, 1]].ravel()
    low, high = np.minimum(one, other), np.maximum(one, other)
    key = low * (triangles.max() + 1) + high
    order = np.argsort(key)
    ranked = key[order]
    fresh = np.ones(len(key), dtype=bool)
    fresh[1:] = ranked[1:] != ranked[:-1]
    number = np.empty(len(key), dtype=np.int64)
    number[order] = np.cumsum(fresh) - 1
    first = np.flatnonzero(fresh)
    paired = np.zeros(len(first), dtype=bool)
    paired[:-1] = np.diff(first) == 2
    paired[-1:] = len(key) - first[-1:] == 2
    # Sorted: which of two equal keys comes first is left to the machine.
    left, right = order[first[paired]], order[first[paired] + 1]
    sides = np.full((len(first), 2), -1, dtype=np.int64)
    sides[:, 0] = order[first]
    sides[paired] = np.column_stack((np.minimum(left, right), np.maximum(left, right)))
    ends = np.column_stack((low[order[first]], high[order[first]]))
    return Edges(ends, number.reshape(-1, 3), sides)


def joined(meshes: list[Mesh]) -> Mesh:
    """Several meshes as one; they share no points."""
    start = np.cumsum([0, *(len(mesh.points) for mesh in meshes[:-1])])
    return Mesh(
        np.concatenate([mesh.points for mesh in meshes]),
        np.concatenate([m.triangles + s for m, s in zip(meshes, start, strict=True)]),
    )


def smallest_angles(mesh: Mesh) -> tuple[FloatArray, IntArray]:
    """(m,) smallest angle in degrees, and the corner that has it."""
    a2, b2, c2 = (mesh.lengths**2).T
    twice = 4 * np.abs(mesh.areas)
    angle = np.stack(
        [np.arctan2(twice, b2 + c2 - a2), np.arctan2(twice, c2 + a2 - b2),
         np.arctan2(twice, a2 + b2 - c2)], axis=1,
    )  # fmt: skip
    return np.degrees(angle.min(axis=1)), angle.argmin(axis=1)


def halved(mesh: Mesh, marked: BoolArray) -> Mesh:
    """The mesh with the marked triangles halved, and as many others as edge to edge needs."""
    if not marked.any():
        return mesh
    net = edges(mesh.triangles)
    rows = np.arange(len(mesh.triangles))
    longest = longest_edges(mesh, net)
    across = net.of[rows, longest]
    split = np.zeros(len(net.ends), dtype=bool)
    split[across[marked]] = True
    while True:
        # A triangle with a halved edge has its longest halved too.
        touched = split[net.of].any(axis=1) & ~split[across]
        if not touched.any():
            break
        split[across[touched]] = True
    middle = np.full(len(net.ends), -1, dtype=np.int64)
    middle[split] = len(mesh.points) + np.arange(split.sum())
    points = np.vstack((mesh.points, mesh.points[net.ends[split]].mean(axis=1)))

    turn = (longest[:, None] + np.arange(3)) % 3
    corner = np.take_along_axis(mesh.triangles, turn, axis=1)
    half = middle[np.take_along_axis(net.of, turn, axis=1)]
    whole = half[:, 0] < 0
    parts = [mesh.triangles[whole]]
    v0, v1, v2 = corner.T
    m0, m1, m2 = half.T
    for cut, plain, one, two in (
        (m2 >= 0, (v0, v1, m0), (v0, m2, m0), (m2, v1, m0)),
        (m1 >= 0, (v0, m0, v2), (m0, v2, m1), (m0, m1, v0)),
    ):
        keep, halve = ~whole & ~cut, ~whole & cut
        parts.append(np.column_stack(plain)[keep])
        parts.extend(np.column_stack(child)[halve] for child in (one, two))
    return Mesh(points, np.concatenate(parts))


def longest_edges(mesh: Mesh, net: Edges) -> IntArray:
    """(m,) corner opposite each triangle's longest edge.

    By rank, so that of two edges of the same length one is the longer in both triangles.
    """
    lengths = np.hypot(*(mesh.points[net.ends[:, 0]] - mesh.points[net.ends[:, 1]]).T)
    rank = np.empty(len(lengths), dtype=np.int64)
    rank[np.argsort(lengths, kind="stable")] = np.arange(len(lengths))
    longest: IntArray = rank[net.of].argmax(axis=1)
    return longest
