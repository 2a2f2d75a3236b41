"""Published packing instances, with little effort; tests/bench/nesting.py measures them in full.

Instances, best densities and the known optima of the jigsaws: see tests/bench/nesting.py, which
names their sources. The files come from MILLPREP_SHARED and are not part of this project.
"""

from __future__ import annotations

import os

import pytest

from millprep.nesting.nest import Effort
from tests.bench.nesting import CLASSIC, JIGSAWS, best_published, density, filled, instance

needs_files = pytest.mark.skipif(
    "MILLPREP_SHARED" not in os.environ,
    reason="MILLPREP_SHARED does not name the folder with the published instances",
)


@needs_files
@pytest.mark.parametrize("name", CLASSIC)
def test_densities_of_the_first_order(name: str) -> None:
    """Proved, never above the best published one, and not far below it without any search."""
    found = density(*instance(name), Effort(0, 1))
    assert best_published()[name] - 24 <= found <= best_published()[name] + 0.01


@needs_files
def test_a_short_search() -> None:
    """A mean gap of 8 points is promised with the default effort, twenty times this one."""
    names = ("albano", "fu", "marques")
    gaps = [best_published()[n] - density(*instance(n), Effort(11250, 2)) for n in names]
    assert sum(gaps) / len(gaps) <= 8.0


@needs_files
@pytest.mark.parametrize("name", JIGSAWS)
def test_jigsaws(name: str) -> None:
    """The pieces tile a square (optimum 100 %); 85 % is promised with the default effort."""
    pieces, height = instance(name)
    area = sum(one.outline.area for one in pieces)
    assert area == pytest.approx(100.0 * height)
    assert 85.0 <= density(pieces, height, Effort()) <= 100.0


@needs_files
def test_the_instances_are_those_published() -> None:
    """Pieces and total areas as the table of the source gives them."""
    pieces, height = instance("swim")
    assert sum(len(one.copies) for one in pieces) == 48
    assert sum(one.outline.area * len(one.copies) for one in pieces) == pytest.approx(25445023.79)
    assert height == 5752


@pytest.mark.parametrize(("width", "height", "count"), [(20, 20, 16), (40, 15, 25)])
def test_rectangles_cut_from_one_go_back_into_it(width: int, height: int, count: int) -> None:
    """Sizes and numbers of Hopper and Turton's classes C1 and C3, whose optimum is 100 %."""
    assert filled(width, height, count, Effort(25000, 2)) >= 95.0
