"""A second solver of the potential in a thin sheet, by another library."""

from __future__ import annotations

from typing import Any

import numpy as np
import scipy.sparse
import scipy.sparse.linalg
import skfem
from skfem.models.poisson import laplace

from millprep.geometry.path import FloatArray


def second_solver(mesh: Any, rims: list[Any], amperes: list[float]) -> FloatArray:
    """Volts of contacts against the first, sheet of 1 Ω; rims say which places are on each."""
    basis = skfem.Basis(mesh, skfem.ElementTriP2())
    matrix = laplace.assemble(basis)
    unknown = np.full(basis.N, -1)
    for k, rim in enumerate(rims):
        on = basis.get_dofs(mesh.facets_satisfying(rim, boundaries_only=True)).all()
        unknown[on] = k
    free = unknown < 0
    unknown[free] = len(rims) + np.arange(free.sum())
    size = len(rims) + int(free.sum())
    rows = np.arange(basis.N)
    merge = scipy.sparse.csr_matrix((np.ones(basis.N), (rows, unknown)), (basis.N, size))
    small = (merge.T @ matrix @ merge).tocsc()
    current = np.zeros(size)
    current[: len(rims)] = -np.array(amperes)
    volts = np.zeros(size)
    volts[1:] = scipy.sparse.linalg.spsolve(small[1:, 1:], current[1:])
    found: FloatArray = volts[: len(rims)]
    return found
