from __future__ import annotations

from dataclasses import replace

import pytest

from millprep.model.finding import MOST_PER_CODE, Finding, Severity, limited
from millprep.report.blank_contents import marked
from millprep.report.close_up import MOST, spots
from tests.helpers.invented_set import invented


def test_every_frame_leads_to_the_blank() -> None:
    found = {mark.name: mark for mark in marked(invented(4))}
    # F1 has no place; F2 is in the drawing, mirrored about y 90 and moved by the margin of 10
    assert found["F2"].at == pytest.approx((37.0, 80.0))
    # F3 is on the machine in pass 1, whose blank lies at (15, 30)
    assert found["F3"].at == pytest.approx((-3.0, 30.0))
    assert set(found) == {"F2", "F3"}


def test_stop_comes_first() -> None:
    assert [mark.name for mark in marked(invented(1))] == ["F3", "F2"]


def _at(x: float, severity: Severity = "warn") -> Finding:
    return Finding(
        code="invented", severity=severity, message="m", frame="blank", at=(x, 20.0), blank=1
    )


def test_no_more_close_ups_than_a_person_reads() -> None:
    many = tuple(_at(10.0 * i) for i in range(12))
    seen = spots(marked(replace(invented(1), findings=many)))
    assert len(seen) == MOST


def test_neighbours_share_a_close_up() -> None:
    seen = spots(marked(replace(invented(1), findings=(_at(20), _at(21), _at(60)))))
    assert [[mark.name for mark in spot.marks] for spot in seen] == [["F1", "F2"], ["F3"]]
    assert all(spot.view.contains(*mark.at) for spot in seen for mark in spot.marks)


def test_notes_take_no_close_up() -> None:
    assert spots(marked(replace(invented(1), findings=(_at(20, "note"),)))) == ()


def test_a_place_on_an_unknown_board_or_blank_is_not_drawn() -> None:
    findings = (
        replace(_at(1), blank=9),
        Finding(code="x", severity="warn", message="m", frame="drawing", at=(1, 1), board="no"),
        Finding(code="x", severity="warn", message="m", frame="machine", at=(1, 1), mill_pass=9),
    )
    assert marked(replace(invented(1), findings=findings)) == ()


def test_places_that_are_counted_are_kept_with_the_last_that_is_listed() -> None:
    listed = limited([_at(10.0 * i) for i in range(MOST_PER_CODE + 3)])
    assert len(listed) == MOST_PER_CODE
    assert listed[-1].more == 3
    assert [x for x, _ in listed[-1].places] == [50.0, 60.0, 70.0]
    (*_, last) = marked(replace(invented(1), findings=listed))
    assert last.places == listed[-1].places


def test_places_on_another_ground_are_not_mixed() -> None:
    elsewhere = replace(_at(99.0), blank=2)
    listed = limited([*(_at(10.0 * i) for i in range(MOST_PER_CODE)), elsewhere])
    assert all(finding.places == () for finding in listed)


def test_further_places_need_a_first() -> None:
    with pytest.raises(ValueError, match="need a first"):
        Finding(code="invented", severity="note", message="m", places=((1.0, 2.0),))
