"""Readings of verniers move a pass by what they say; bad ones are refused with the reason."""

from __future__ import annotations

from pathlib import Path

import pytest
import shapely

from millprep.at_machine.blank_pose import by_verniers
from millprep.at_machine.reading_fit import Correction
from millprep.at_machine.readings import Readings, load
from millprep.geometry.pose import Pose
from millprep.model.finding import Refusal
from millprep.model.job.keys import InputFile
from millprep.model.milling_pass import Measured, MillingPass, Vernier
from millprep.passes.verniers import SIZES
from millprep.report.report_model import Report
from tests.helpers.invented_report import report_of_passes
from tests.helpers.verniers import seen

EXPECTED = Pose.shift(-200.0, 5.0)


def made(ident: str, at: tuple[float, float], measures: Measured) -> Vernier:
    pitch, step, reach = SIZES[measures]
    return Vernier(ident, 1, at, measures, (1, 2), pitch, step, reach)


FOUR = (
    made("v1", (250.0, 7.0), "x"), made("v2", (270.0, 7.0), "y"),
    made("v3", (250.0, 113.0), "x"), made("v4", (270.0, 113.0), "y"),
)  # fmt: skip


def old(verniers: tuple[Vernier, ...] = FOUR) -> Report:
    window = shapely.box(0.0, 0.0, 300.0, 120.0)
    first = MillingPass(1, 1, window, Pose.shift(0.0, 5.0), (), (5.0, 5.0))
    second = MillingPass(1, 2, window, EXPECTED, (), (5.0, 5.0), verniers)
    return report_of_passes((first, second), "abc")


def read(lines: dict[str, float], id_: str = "abc") -> Readings:
    return Readings(InputFile("r", "0"), id_, {}, lines)


def test_the_pass_then_cuts_where_the_first_one_did() -> None:
    # the blank truly lies here in pass 2; what the old programs cut lands off by `error`
    error = Correction((0.07, -0.04), 3e-4, (260.0, 60.0), ()).error
    truth = error.inverse().then(EXPECTED)
    found = by_verniers(read({v.id: seen(v, error) for v in FOUR}), old(), 1, 2)
    for point in ((0.0, 0.0), (520.0, 120.0)):
        assert found.pose.point(point) == pytest.approx(truth.point(point), abs=1e-4)
    # so a cut meant for a point of the blank goes where that point is
    planned = EXPECTED.point((260.0, 60.0))
    landed = truth.inverse().point(planned)
    assert landed == pytest.approx((260.07, 59.96), abs=1e-9)
    assert truth.inverse().point(found.pose.point((260.0, 60.0))) == pytest.approx(
        (260.0, 60.0), abs=1e-4
    )
    assert "+0.070, -0.040 mm off" in found.findings[0].message


def test_zero_readings_move_nothing() -> None:
    zero = read(dict.fromkeys(("v1", "v2", "v3", "v4"), 0.0))
    assert by_verniers(zero, old(), 1, 2).pose == EXPECTED


@pytest.mark.parametrize(
    ("lines", "codes"),
    [
        ({"v1": 1.0, "v2": 1.0}, ["refit-vernier", "refit-vernier-no-turn"]),
        ({"v1": 1.0, "v2": 1.0, "v3": 1.5}, ["refit-vernier", "refit-vernier-unchecked"]),
        ({"v1": 1.0, "v2": 1.0, "v3": 1.5, "v4": 1.0}, ["refit-vernier"]),
    ],
)
def test_few_readings_say_so(lines: dict[str, float], codes: list[str]) -> None:
    assert [f.code for f in by_verniers(read(lines), old(), 1, 2).findings] == codes


@pytest.mark.parametrize(
    ("lines", "verniers", "code", "said"),
    [
        ({"v1": 1.0}, FOUR, "vernier-readings", "No vernier along y was read. These are: v2, v4."),
        ({"v1": 1.0, "v9": 1.0, "v2": 0.0}, FOUR, "vernier-readings", "v9 is not a vernier"),
        ({"v1": 10.5, "v2": 0.0}, FOUR, "vernier-readings", "from -10 to 10, the reading is 10.5"),
        ({"v1": -10.0, "v2": 0.0}, FOUR, "vernier-readings", "Read the registration holes first"),
        ({"v1": 0.0, "v2": 0.0}, (), "vernier-readings", "had no room"),
        # one sign turned: ±3 lines along y at the same x cannot be a turn
        ({"v1": 0.0, "v2": 4.0, "v3": 0.0, "v4": -4.0}, FOUR, "vernier-readings-disagree", "sign"),
    ],
)
def test_bad_readings(
    lines: dict[str, float], verniers: tuple[Vernier, ...], code: str, said: str
) -> None:
    with pytest.raises(Refusal) as caught:
        by_verniers(read(lines), old(verniers), 1, 2)
    assert {f.code for f in caught.value.findings} == {code}
    assert said in " ".join(f.message for f in caught.value.findings)


def test_readings_of_another_set() -> None:
    with pytest.raises(Refusal, match="taken for set xyz"):
        by_verniers(read({"v1": 0.0, "v2": 0.0}, "xyz"), old(), 1, 2)


@pytest.mark.parametrize(
    ("text", "verniers", "said"),
    [
        ('set = "a"\n[verniers]\nv1 = 1\n', False, "holds [verniers]: give it with --vernier"),
        ('set = "a"\nunit = "mm"\n[holes]\nr1 = [1, 2]\n', True,
         "holds [holes]: give it without --vernier"),
        ('set = "a"\n[verniers]\nv1 = "1"\n', True,
         "[verniers] v1 must be the number of a line, such as -3.5"),
        ('set = "a"\nunit = "mm"\n[verniers]\nv1 = 1\n', True,
         "has an unknown key unit; allowed: set, verniers"),
    ],
)  # fmt: skip
def test_files_that_hold_something_else(
    tmp_path: Path, text: str, verniers: bool, said: str
) -> None:
    file = tmp_path / "r.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(Refusal) as caught:
        load(file, "verniers" if verniers else "holes")
    assert caught.value.exit_code == 2
    assert [f.message for f in caught.value.findings] == [f"r.toml {said}."]


def test_a_file_of_verniers(tmp_path: Path) -> None:
    file = tmp_path / "r.toml"
    file.write_text('set = "a"\n[verniers]\nv1 = -3.5\nv2 = 2\n', encoding="utf-8")
    assert load(file, "verniers").verniers == {"v1": -3.5, "v2": 2.0}
