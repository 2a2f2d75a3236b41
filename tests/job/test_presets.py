from __future__ import annotations

import re
from pathlib import Path

import pytest

from millprep.job import load, presets
from millprep.model.cutter import Drill, EndMill, Vee
from tests.helpers.sample_job import JOB, changed, write


def test_every_preset_says_what_it_is_and_where_its_values_come_from() -> None:
    for kind, known in presets().items():
        assert known, kind
        for name, values in known.items():
            assert values["source"] == "common practice, no source", name
            assert values["meaning"], name


def test_a_caller_cannot_spoil_the_presets() -> None:
    presets()["cutters"]["endmill-2"]["diameter"] = 99.0
    assert presets()["cutters"]["endmill-2"]["diameter"] == 2.0


@pytest.mark.parametrize("name", list(presets()["cutters"]))
def test_cutters_load_and_are_what_their_names_say(tmp_path: Path, name: str) -> None:
    text = changed("[isolation]", f'[cutters.it]\npreset = "{name}"\n[isolation]')
    cutter = load(write(tmp_path, text)).cutters[-1]
    numbers = [float(word) for word in re.findall(r"[\d.]+", name)]
    if isinstance(cutter, Vee):
        assert name.startswith("vee-")
        assert [cutter.angle, cutter.tip] == numbers
    else:
        assert isinstance(cutter, Drill | EndMill)
        assert name.startswith(cutter.kind)
        assert [cutter.diameter] == numbers


@pytest.mark.parametrize("name", list(presets()["cutters"]))
def test_the_cone_of_a_vee_does_not_outgrow_its_shank(tmp_path: Path, name: str) -> None:
    text = changed("[isolation]", f'[cutters.it]\npreset = "{name}"\n[isolation]')
    cutter = load(write(tmp_path, text)).cutters[-1]
    assert cutter.width(cutter.flute) <= cutter.shank + 1e-9
    isolates = isinstance(cutter, Vee) or cutter.width(1.0) <= 0.5
    assert cutter.flute >= 1.6 + 0.3 or isolates, "cuts through common laminate"


@pytest.mark.parametrize("name", list(presets()["machines"]))
def test_machines_load_and_drive_every_cutter(tmp_path: Path, name: str) -> None:
    tools = "".join(
        f'[cutters.it{i}]\npreset = "{cutter}"\n' for i, cutter in enumerate(presets()["cutters"])
    )
    text = JOB.replace('"small-mill-300"', f'"{name}"').replace(
        "[isolation]", tools + "[isolation]"
    )
    plan = load(write(tmp_path, text))
    assert plan.machine.name == name
    assert plan.machine.spindle_by_program is not name.endswith("-hand")


@pytest.mark.parametrize("name", list(presets()["laminates"]))
def test_laminates_load_and_are_what_their_names_say(tmp_path: Path, name: str) -> None:
    blank = load(write(tmp_path, changed('"fr4-1.6-35"', f'"{name}"'))).blanks[0]
    assert name.split("-")[1:] == [f"{blank.thickness:g}", f"{blank.copper * 1000:g}"]
