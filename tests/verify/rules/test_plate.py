"""An offcut as a plate: what its outline leaves out adds no stiffness."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from millprep.model.blank import Box
from millprep.verify.rules.plate import Plate, Support, rigidity

STIFF = rigidity(22.0, 0.14, 1.6)
CLAMPS = (Support(Box(0, 0, 8, 60), 10.0), Support(Box(52, 0, 60, 60), 10.0))
PLACES = np.array([(30.0, 30.0), (30.0, 4.0), (12.0, 48.0)])


def plate(size: tuple[float, float], outline: shapely.Polygon | None = None) -> Plate:
    # a hundred elements of 6 mm to each square of 60
    elements = round(size[0] * size[1] / 36)
    return Plate(size, STIFF, 0.14, CLAMPS, outline, most_elements=elements)


@pytest.mark.parametrize("size", [(120.0, 60.0), (60.0, 120.0)])
def test_an_offcut_gives_way_like_a_blank_of_its_shape(size: tuple[float, float]) -> None:
    """On the lower left square of a sheet twice as long, whichever way that lies."""
    square = plate((60.0, 60.0)).compliance(PLACES)
    half = plate(size, shapely.box(0, 0, 60, 60)).compliance(PLACES)
    whole = plate(size).compliance(PLACES)
    assert half == pytest.approx(square, rel=1e-3)
    # a sheet that goes on is stiffer, or hangs over the other clamp
    assert np.abs(whole / square - 1).max() > 0.01


def test_a_cell_that_an_outline_cuts_counts_in_part() -> None:
    size = (60.0, 60.0)
    compliance = [
        float(plate(size, shapely.box(0, 0, 60, high)).compliance(PLACES[1:2])[0])
        for high in (60.0, 57.0, 54.0)
    ]
    assert compliance == sorted(compliance)
    assert compliance[0] < compliance[1] < compliance[2]
