"""Pictures of a surface map and of lift: what they show, and that all eyes can read them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from millprep.model.blank import Box
from millprep.model.milling_pass import ExtraSupport, Holding
from millprep.report.blank_contents import contents_of
from millprep.report.field_views import _finer, _signed, lift_view
from millprep.report.palette import SCALE, ColourBar
from millprep.report.pictures import gallery
from tests.helpers.changed_set import with_blank
from tests.helpers.invented_set import invented


@pytest.mark.parametrize("span", [0.4, 3.0, 37.0, 378.0, 2100.0])
def test_steps_of_a_colour_bar_are_round_and_few(span: float) -> None:
    bar = ColourBar.over("height", -16.3, -16.3 + span)
    step = bar.values[1] - bar.values[0]
    assert bar.values[0] <= -16.3
    assert bar.values[-1] >= -16.3 + span
    assert len(bar.roles) == len(bar.values) - 1
    assert 1 <= len(bar.roles) <= len(SCALE)
    assert len(set(bar.roles)) == len(bar.roles)
    assert f"{step:.6g}".strip("0.") in {"1", "2", "5"}
    assert all(value / step == pytest.approx(round(value / step)) for value in bar.values)


def test_a_colour_bar_of_one_value_has_one_step() -> None:
    assert len(ColourBar.over("lift", 0.0, 0.0).roles) == 1


def test_all_nodes_stay_when_cells_are_drawn_finer() -> None:
    lines = np.array([0.0, 10.0, 35.0])
    assert set(lines.tolist()) <= set(_finer(lines).tolist())


def test_the_lift_is_drawn_with_what_is_too_much_and_what_would_help() -> None:
    places = np.array([(40.0, 50.0, 0.004, 0.025), (60.0, 50.0, 0.02, 0.025)])
    whole = invented(4)
    held = Holding(2.0, 0.02, 0.025, (60.0, 50.0), 0.0, (Box(110, -15, 180, 4),), places=places)
    more = ExtraSupport("clamp", Box(110, -15, 125, 4), 0.02, 0.0)
    loose = replace(
        held, lift=0.1, at=(80.0, 50.0), share=0.3, better=(more,),
        places=np.vstack((places, (80.0, 50.0, 0.1, 0.025))),
    )  # fmt: skip
    first, second = whole.passes
    made = with_blank(
        replace(whole, tape=(Box(10, 20, 200, 40),)),
        passes=(replace(first, holding=held), replace(second, holding=loose)),
    )
    names = [picture.stem for picture in gallery(made)]
    assert {"blank-1-pass-1-lift", "blank-1-pass-2-lift"} <= set(names)
    assert not any("lift" in picture.stem for picture in gallery(whole))
    here = contents_of(made, made.blanks[0])
    words = [lift_view(here, made, p, h).scene().words()
             for p, h in zip(made.passes, (held, loose), strict=True)]  # fmt: skip
    for shown in words:
        assert "tape under the blank" in shown
        assert "room for more clamps" in shown
        assert "lift, % of what is allowed there" in shown
        assert {"0", "20", "80"} <= set(shown)
    assert "lifts more than is allowed" not in words[0]
    assert {"lifts more than is allowed", "one more clamp helps most here"} <= set(words[1])
    assert any("lifts 0.1 mm and may lift 0.025 mm" in text for text in words[1])


@pytest.mark.parametrize(
    ("height", "words"), [(-50.0, "−50"), (0.2, "0"), (-0.2, "0"), (12.0, "+12")]
)
def test_heights_have_a_sign_and_zero_has_none(height: float, words: str) -> None:
    assert _signed(height) == words
