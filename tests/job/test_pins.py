"""The pins that sockets are built from, in the job."""

from __future__ import annotations

from pathlib import Path

import pytest

from millprep.job import load, presets
from millprep.standards.holes import Level, least_hole, least_pad
from tests.helpers.sample_job import JOB, messages, write


@pytest.mark.parametrize(("name", "level"), [("single-pin-1", "A"), ("single-pin-1-tight", "C")])
def test_presets_follow_their_level(tmp_path: Path, name: str, level: Level) -> None:
    text = JOB + f'\n[rules.pins]\npreset = "{name}"\n'
    pin = load(write(tmp_path, text)).rules.pins
    assert pin is not None
    assert pin.hole == pytest.approx(least_hole(pin.thickest, level))
    assert pin.land == pytest.approx(least_pad(pin.hole, level), abs=0.05 + 1e-9)


def test_every_pin_preset_loads(tmp_path: Path) -> None:
    for name in presets()["pins"]:
        assert load(write(tmp_path, JOB + f'\n[rules.pins]\npreset = "{name}"\n')).rules.pins


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ('preset = "single-pin"', '[rules] pins.preset is no pin preset: "single-pin"'),
        ('preset = "single-pin-1"\nhole = 1.0', "hole must be wider than `thickest`"),
        ('preset = "single-pin-1"\nland = 1.3', "land must be wider than `hole`"),
        ('preset = "single-pin-1"\nthinnest = 1.1', "at least as thick as `thinnest`, 1.1"),
        ("hole = 1.3", "thickest is missing"),
    ],
)
def test_pins_that_cannot_be_are_mistakes(tmp_path: Path, keys: str, words: str) -> None:
    found = messages(tmp_path, JOB + f"\n[rules.pins]\n{keys}\n")
    assert any(words in one for one in found), found
