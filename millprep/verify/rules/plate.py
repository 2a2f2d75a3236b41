"""A blank as a thin elastic plate: how far it gives way under a pull at one place.

The plate is divided into equal rectangles with the bicubic element of Bogner, Fox and Schmit
(1965, from memory): deflection and slopes are continuous, so coarse elements are exact enough.
Springs hold it. The spoilboard only pushes, so it is left out: with it a blank gives way less.
"""

from __future__ import annotations

import math
from dataclasses import astuple, dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.geometry.path import FloatArray
from millprep.model.blank import Box

MOST_ELEMENTS = 800
FINEST = 4.0
"""Elements are not smaller, mm."""
ABSENT = 1e-6
"""Stiffness of what an offcut lacks, as a fraction of the laminate's."""
LOOSE = 1e-7
"""A spring under all of the plate, N/mm³: so weak that only a plate that nothing holds needs it."""

IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Support:
    """A spring of `stiffness` N/mm³ under a box of the plate."""

    box: Box
    stiffness: float


def rigidity(modulus: float, poisson: float, thickness: float) -> float:
    """Bending stiffness of a plate, N·mm: D = E·t³ / (12·(1 − ν²)).

    Timoshenko and Woinowsky-Krieger, Theory of Plates and Shells, from memory.

    Args:
        modulus: Young's modulus E, GPa.
        poisson: Poisson's ratio ν.
        thickness: t, mm.
    """
    return 1000 * modulus * thickness**3 / (12 * (1 - poisson**2))


@dataclass(frozen=True)
class Plate:
    """A plate from (0, 0) to `size`.

    Attributes:
        size: (x, y), mm.
        rigidity: bending stiffness, N·mm.
        poisson: Poisson's ratio.
        supports: what holds it.
        outline: of an offcut; None for the whole rectangle.
        most_elements: it is divided into about so many.
    """

    size: tuple[float, float]
    rigidity: float
    poisson: float
    supports: tuple[Support, ...]
    outline: shapely.Polygon | None = None
    most_elements: int = MOST_ELEMENTS

    def compliance(self, places: FloatArray) -> FloatArray:
        """How far each place gives way under a pull there, mm/N.

        Args:
            places: (n, 2) on the plate.
        """
        column, dofs, shape = self._shapes(places)
        of_column, to_next = self._inverse
        at, i, j = column[:, None, None], dofs[:, :, None], dofs[:, None, :]
        left, right = shape[:, 0], shape[:, 1]
        total = np.einsum("ni,nij,nj->n", left, of_column[at, i, j], left)
        total += np.einsum("ni,nij,nj->n", right, of_column[at + 1, i, j], right)
        total += 2 * np.einsum("ni,nij,nj->n", left, to_next[at, i, j], right)
        return np.asarray(total)

    def deflection(self, places: FloatArray, pulled: FloatArray) -> FloatArray:
        """How far places give way under a pull at another place, (n, m) mm/N.

        Args:
            places: (n, 2) on the plate.
            pulled: (m, 2) on the plate; a pull at each by itself.
        """
        inverses, couplings = self._factors
        column, dofs, shape = self._shapes(pulled)
        pulls = np.zeros((len(inverses), len(inverses[0]), len(pulled)))
        each = np.arange(len(pulled))[:, None]
        pulls[column[:, None], dofs, each] += shape[:, 0]
        pulls[column[:, None] + 1, dofs, each] += shape[:, 1]
        for n, coupling in enumerate(couplings):
            pulls[n + 1] -= coupling.T @ (inverses[n] @ pulls[n])
        given = np.empty_like(pulls)
        given[-1] = inverses[-1] @ pulls[-1]
        for n in range(len(couplings) - 1, -1, -1):
            given[n] = inverses[n] @ (pulls[n] - couplings[n] @ given[n + 1])
        column, dofs, shape = self._shapes(places)
        left = np.einsum("ni,nim->nm", shape[:, 0], given[column[:, None], dofs])
        right = np.einsum("ni,nim->nm", shape[:, 1], given[column[:, None] + 1, dofs])
        return np.asarray(left + right)

    @cached_property
    def _turned(self) -> bool:
        """Whether columns of elements follow each other along y, so that each of them is short."""
        return self.size[1] > self.size[0]

    @cached_property
    def _counts(self) -> tuple[int, int]:
        """Elements along the longer and the shorter side."""
        side = max(FINEST, math.sqrt(self.size[0] * self.size[1] / self.most_elements))
        return (
            math.ceil(max(self.size) / side),
            math.ceil(min(self.size) / side),
        )

    @cached_property
    def _steps(self) -> tuple[float, float]:
        return (max(self.size) / self._counts[0], min(self.size) / self._counts[1])

    def _shapes(self, places: FloatArray) -> tuple[IntArray, IntArray, FloatArray]:
        """Column of elements, (n, 8) unknowns in a column of nodes, (n, 2, 8) shape functions."""
        xy = places[:, ::-1] if self._turned else places
        scaled = np.clip(xy / self._steps, 0.0, self._counts)
        element = np.minimum(scaled.astype(np.int64), np.array(self._counts) - 1)
        along, across = (_hermite(scaled[:, k] - element[:, k], 0) for k in (0, 1))
        shape = along[:, :, None] * across[:, None, :]
        height = 2 * (self._counts[1] + 1)
        order = np.concatenate((np.arange(4), height + np.arange(4)))
        return element[:, 0], 2 * element[:, 1:] + order, shape.reshape(-1, 2, 8)

    @cached_property
    def _factors(self) -> tuple[list[FloatArray], list[FloatArray]]:
        """Block elimination from the first column of nodes to the last: inverses, couplings."""
        blocks, couplings = self._stiffness()
        inverses: list[FloatArray] = []
        for n, block in enumerate(blocks):
            if n:
                block = block - couplings[n - 1].T @ inverses[-1] @ couplings[n - 1]
            inverses.append(np.asarray(np.linalg.inv(block), dtype=np.float64))
        return inverses, couplings

    @cached_property
    def _inverse(self) -> tuple[FloatArray, FloatArray]:
        """Blocks of the inverse of the stiffness: of each column, and of each with the next."""
        inverses, couplings = self._factors
        of_column, to_next = [inverses[-1]], []
        for inverse, coupling in zip(inverses[-2::-1], couplings[::-1], strict=True):
            carried = inverse @ coupling
            to_next.append(-carried @ of_column[-1])
            of_column.append(inverse + carried @ of_column[-1] @ carried.T)
        return np.array(of_column[::-1]), np.array(to_next[::-1])

    def _stiffness(self) -> tuple[list[FloatArray], list[FloatArray]]:
        """The stiffness: of each column of nodes, and of each with the next."""
        long, _ = self._counts
        x = _Beam(self._steps[0])
        height = 2 * (self._counts[1] + 1)
        blocks = [np.zeros((2 * height, 2 * height)) for _ in range(long + 1)]
        couplings: list[FloatArray] = []
        weights = self._weights()
        known: dict[bytes, FloatArray] = {}
        along, across = self._springs(x)
        for n in range(long):
            kind = weights[n].tobytes()
            if kind not in known:
                known[kind] = self._strip(x, weights[n])
            springs = np.tensordot(along[:, n], across, axes=(0, 0)).swapaxes(1, 2)
            strip = known[kind] + springs.reshape(4 * height, 4 * height)
            blocks[n] += strip[: 2 * height, : 2 * height]
            blocks[n + 1] += strip[2 * height :, 2 * height :]
            couplings.append(strip[: 2 * height, 2 * height :])
        return blocks, couplings

    def _strip(self, x: _Beam, weights: FloatArray) -> FloatArray:
        """The stiffness of one column of elements, each of its own weight."""
        y = _Beam(self._steps[1])

        def whole(part: FloatArray) -> FloatArray:
            return _assembled(part * weights[:, None, None])

        slid, bent = whole(y.mass()), whole(y.bending())
        crossed, twisted = whole(y.crossed()), whole(y.slope())
        mixed = np.kron(x.crossed(), crossed.T)
        energy = np.kron(x.bending(), slid) + np.kron(x.mass(), bent)
        energy += self.poisson * (mixed + mixed.T)
        energy += 2 * (1 - self.poisson) * np.kron(x.slope(), twisted)
        loose = _assembled(np.tile(y.mass(), (len(weights), 1, 1)))
        return np.asarray(self.rigidity * energy + LOOSE * np.kron(x.mass(), loose))

    def _springs(self, x: _Beam) -> tuple[FloatArray, FloatArray]:
        """What each support adds along every column of elements, and across any of them."""
        boxes = np.array([astuple(support.box) for support in self.supports]).reshape(-1, 2, 2)
        stiffness = np.array([support.stiffness for support in self.supports])
        if self._turned:
            boxes = boxes[:, :, ::-1]
        along, across = (
            np.clip(boxes[:, :, k, None] / self._steps[k] - np.arange(self._counts[k]), 0.0, 1.0)
            for k in (0, 1)
        )
        masses = x.mass(along[:, 0], along[:, 1]) * stiffness[:, None, None, None]
        return masses, _assembled(_Beam(self._steps[1]).mass(across[:, 0], across[:, 1]))

    def _weights(self) -> FloatArray:
        """The part of each element that is laminate, (columns, rows)."""
        (long, short), (step, rise) = self._counts, self._steps
        if self.outline is None:
            return np.ones((long, short))
        x0, y0 = (grid.ravel() for grid in np.meshgrid(
            np.arange(long) * step, np.arange(short) * rise, indexing="ij"))  # fmt: skip
        low, high = (x0, y0), (x0 + step, y0 + rise)
        if self._turned:
            low, high = low[::-1], high[::-1]
        cells = shapely.box(*low, *high)
        parts = shapely.area(shapely.intersection(cells, self.outline)) / (step * rise)
        return np.asarray(np.maximum(parts, ABSENT)).reshape(long, short)


CUBICS = np.array([[1.0, 0, -3, 2], [0, 1, -2, 1], [0, 0, 3, -2], [0, 0, -1, 1]]).T
"""The four cubics of Hermite on 0 to 1: value and slope at both ends."""


def _hermite(s: FloatArray, order: int) -> FloatArray:
    """The four cubics, or a derivative of them, as a further axis."""
    powers = s[..., None] ** np.arange(4 - order)
    return np.asarray(powers @ np.polynomial.polynomial.polyder(CUBICS, order))


GAUSS, WEIGHTS = np.polynomial.legendre.leggauss(4)
"""They integrate products of two cubics exactly."""


@dataclass(frozen=True, slots=True)
class _Beam:
    """Integrals of products of cubics along an element of a length; slopes count per length."""

    length: float

    def _integral(
        self, first: int, second: int, start: FloatArray | float, end: FloatArray | float
    ) -> FloatArray:
        width = np.asarray(np.subtract(end, start))[..., None]
        s = np.asarray(start)[..., None] + width * (GAUSS + 1) / 2
        weights = WEIGHTS * width / 2 * self.length ** (1 - first - second)
        left = _hermite(s, first) * weights[..., None]
        return np.asarray(left.swapaxes(-1, -2) @ _hermite(s, second))

    def mass(self, start: FloatArray | float = 0.0, end: FloatArray | float = 1.0) -> FloatArray:
        """Of the cubics themselves, from one part of the length to another, or to each of many."""
        return self._integral(0, 0, start, end)

    def slope(self) -> FloatArray:
        """Of first derivatives."""
        return self._integral(1, 1, 0.0, 1.0)

    def bending(self) -> FloatArray:
        """Of second derivatives."""
        return self._integral(2, 2, 0.0, 1.0)

    def crossed(self) -> FloatArray:
        """Of the second derivatives with the cubics."""
        return self._integral(2, 0, 0.0, 1.0)


def _assembled(parts: FloatArray) -> FloatArray:
    """Elements one after the other, (..., n, 4, 4), each sharing value and slope with the next."""
    count = parts.shape[-3]
    whole = np.zeros((*parts.shape[:-3], 2 * count + 2, 2 * count + 2))
    for n in range(count):
        whole[..., 2 * n : 2 * n + 4, 2 * n : 2 * n + 4] += parts[..., n, :, :]
    return whole
