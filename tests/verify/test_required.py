"""What a job asks of its programs, where lands have a gap of their own."""

from __future__ import annotations

from pathlib import Path

import pytest
import shapely

from millprep.job import load
from millprep.verify.edges import EDGE
from millprep.verify.prove import allowed_cuts, foot_extension, required_opening
from millprep.workflow.prepare import prepare
from tests.helpers.clearing_jobs import MILL, job

PAD_GAP = 0.9


def test_clearing_has_business_around_lands_and_nowhere_else(tmp_path: Path) -> None:
    file = job(tmp_path, f"0.3\npad_gap = {PAD_GAP}", MILL, nets=False)
    cut_set = prepare(file, tmp_path / "out")
    plan, (blank,) = load(file), cut_set.layout.blanks
    required = allowed_cuts(plan, blank, cut_set.layout.placements)
    assert required.clearing == {"clear"}
    (area,) = required.cleared.values()
    reach = shapely.buffer(area, 0.4 + EDGE)
    assert cut_set.blanks[0].cuts.clearings
    assert all(reach.contains(one.path.line()) for one in cut_set.blanks[0].cuts.clearings)
    (copy,) = cut_set.layout.placements
    # half way between two lands, beside a rail, and in the open
    for place in ((19.0, 12.0), (41.0, 17.0), (30.0, 26.0)):
        assert not reach.contains(shapely.Point(copy.pose.point(place)))


def test_around_lands_more_is_opened_than_elsewhere(tmp_path: Path) -> None:
    plan = load(job(tmp_path, f"0.3\npad_gap = {PAD_GAP}", nets=False))
    (blank,) = prepare(plan.file, tmp_path / "out").layout.blanks
    everywhere, around = required_opening(plan, blank), required_opening(plan, blank, PAD_GAP)
    assert everywhere == pytest.approx(0.3 + foot_extension(plan, blank))
    assert around == pytest.approx(PAD_GAP + foot_extension(plan, blank))
