"""Another processor: sines and crossings that differ in the last bit.

Libraries choose their code by the processor, so the same program gives sines, and with them
crossings of lines, whose last bit differs from one computer to the next.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import shapely
from numpy.random import Generator
from numpy.typing import NDArray

FUNCTIONS = ("sin", "cos", "tan", "arccos", "arctan2", "hypot", "exp", "log")
OVERLAYS = ("union_all", "union", "difference", "intersection", "buffer")
EXACT = (0.0, 0.5, 1.0, np.sqrt(0.5), np.sqrt(2.0), np.pi / 4, np.pi / 2, np.pi)
"""What every processor gives alike where it is the true value."""


def other_processor(patch: pytest.MonkeyPatch, random: Generator) -> None:
    """Let functions of numpy and overlays of shapely be off by a bit, until it is undone."""
    for name in FUNCTIONS:
        patch.setattr(np, name, _off(getattr(np, name), random))
    for name in OVERLAYS:
        patch.setattr(shapely, name, _overlaid(getattr(shapely, name), random))


def _moved(values: NDArray[np.float64], random: Generator) -> NDArray[np.float64]:
    """Each value, or one of its two neighbours."""
    turn = random.integers(-1, 2, values.shape)
    off = np.nextafter(values, np.where(turn > 0, np.inf, -np.inf))
    return np.where((turn == 0) | np.isin(np.abs(values), EXACT), values, off)


def _off(work: Callable[..., Any], random: Generator) -> Callable[..., Any]:
    def changed(*args: Any, **words: Any) -> Any:
        made = work(*args, **words)
        if "out" in words or not isinstance(made, np.ndarray) or made.dtype != float:
            return made
        if work.__name__ == "hypot":
            # exact along an axis, and where its square root is
            x, y = np.broadcast_arrays(args[0], args[1])
            return np.where(
                (x == 0) | (y == 0) | (made == made.round(9)), made, _moved(made, random)
            )
        return _moved(made, random)

    return changed


def _overlaid(work: Callable[..., Any], random: Generator) -> Callable[..., Any]:
    def moved(made: Any, given: set[tuple[float, float]]) -> Any:
        if not isinstance(made, shapely.Geometry) or shapely.is_empty(made):
            return made
        corners, which = np.unique(shapely.get_coordinates(made), axis=0, return_inverse=True)
        new = np.array([tuple(corner) not in given for corner in corners.tolist()])
        corners[new] = _moved(corners[new], random)
        # a copy, whose rings stay closed: equal corners are moved alike
        return shapely.set_coordinates(
            shapely.from_wkb(shapely.to_wkb(made)), corners[which.ravel()]
        )

    def changed(*args: Any, **words: Any) -> Any:
        made = work(*args, **words)
        given: set[tuple[float, float]] = set()
        if work.__name__ != "buffer":
            for shapes in args:
                if isinstance(shapes, shapely.Geometry | np.ndarray | list | tuple):
                    every = shapely.get_coordinates(np.array(shapes, dtype=object))
                    given.update(map(tuple, every.tolist()))
        if not isinstance(made, np.ndarray):
            return moved(made, given)
        out = np.empty(made.shape, dtype=object)
        for at, shape in np.ndenumerate(made):
            out[at] = moved(shape, given)
        return out

    return changed
