"""Potential of a thin sheet by finite differences, to compare another solver with.

Five-point stencil on square cells. The conductance between two cells counts what of their common
side lies on metal, and where on the way from one to the other a contact begins (Shortley and
Weller 1938, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import spsolve

from millprep.geometry.path import FloatArray

Cells = NDArray[np.int64]
PLACES = (np.arange(16) + 0.5) / 16
"""Where between 0 and 1 a line is looked at."""


def contact_volts(
    copper: shapely.Geometry,
    contacts: Sequence[shapely.Geometry],
    amperes: Sequence[float],
    step: float,
) -> FloatArray:
    """(k,) V of contacts against the first, on a sheet of 1 Ω; cells are `step` mm wide."""
    contact = shapely.union_all(list(contacts))
    metal = shapely.union(copper, contact)
    for shape in (metal, contact, *contacts):
        shapely.prepare(shape)
    places, pairs = _grid(metal, step)
    owner = np.full(len(places), -1)
    for k, area in enumerate(contacts):
        owner[shapely.contains_xy(area, *places.T)] = k
    conductance = _common_side(metal, places, pairs) / _distance(contact, places, pairs, owner)
    pairs, conductance = pairs[conductance > 0], conductance[conductance > 0]
    # A contact is one unknown; all cells that it covers are that.
    named = np.where(owner >= 0, owner, len(contacts) + np.arange(len(places)))[pairs]
    known, unknown = np.unique(named, return_inverse=True)
    assert known[: len(contacts)].tolist() == list(range(len(contacts)))
    return _solved(unknown.reshape(-1, 2), conductance, np.array(amperes))


def _grid(metal: shapely.Geometry, step: float) -> tuple[FloatArray, Cells]:
    """(n, 2) middles of the cells around metal, and (p, 2) neighbours among them."""
    x0, y0, x1, y1 = shapely.bounds(metal).tolist()
    x = np.arange(x0 - step / 2, x1 + step, step)
    y = np.arange(y0 - step / 2, y1 + step, step)
    places = np.stack(np.meshgrid(x, y), axis=-1)
    near = shapely.buffer(metal, step)
    shapely.prepare(near)
    around = shapely.contains_xy(near, places[..., 0], places[..., 1])
    number = np.cumsum(around).reshape(around.shape) - 1
    neighbour, above = around[:, :-1] & around[:, 1:], around[:-1] & around[1:]
    pairs = (
        np.column_stack((number[:, :-1][neighbour], number[:, 1:][neighbour])),
        np.column_stack((number[:-1][above], number[1:][above])),
    )
    return places[around], np.concatenate(pairs)


def _common_side(metal: shapely.Geometry, places: FloatArray, pairs: Cells) -> FloatArray:
    """(p,) how much of the side between two cells lies on metal, 0 to 1."""
    start, end = places[pairs[:, 0]], places[pairs[:, 1]]
    along = (end - start)[:, ::-1]
    middle = (start + end) / 2
    on = [shapely.contains_xy(metal, *(middle + (t - 0.5) * along).T) for t in PLACES]
    return np.asarray(np.mean(on, axis=0), dtype=float)


def _distance(
    contact: shapely.Geometry, places: FloatArray, pairs: Cells, owner: Cells
) -> FloatArray:
    """(p,) distance of two cells, 1 for whole cells; less where a contact begins between them."""
    distance = np.ones(len(pairs))
    held = owner[pairs] >= 0
    rim = np.flatnonzero(held[:, 0] != held[:, 1])
    swapped = held[rim, 0]
    free = places[np.where(swapped, pairs[rim, 1], pairs[rim, 0])]
    on = places[np.where(swapped, pairs[rim, 0], pairs[rim, 1])]
    outside = [~shapely.contains_xy(contact, *(free + t * (on - free)).T) for t in PLACES]
    distance[rim] = np.maximum(np.mean(outside, axis=0), 0.5 / len(PLACES))
    return distance


def _solved(pairs: Cells, conductance: FloatArray, amperes: FloatArray) -> FloatArray:
    """(k,) V of the first k unknowns, from which currents flow out, against the first of all."""
    one, other = pairs.T
    size = int(pairs.max()) + 1
    rows, columns = (
        np.concatenate((one, other, one, other)),
        np.concatenate((one, other, other, one)),
    )
    values = np.concatenate((conductance, conductance, -conductance, -conductance))
    matrix = coo_matrix((values, (rows, columns)), shape=(size, size)).tocsr()
    _, part = connected_components(matrix, directed=False)
    keep = np.flatnonzero((part == part[0]) & (np.arange(size) > 0))
    drawn = np.zeros(size)
    drawn[: len(amperes)] = -amperes
    volts = np.zeros(size)
    volts[keep] = spsolve(matrix[keep][:, keep].tocsc(), drawn[keep])
    return volts[: len(amperes)]
