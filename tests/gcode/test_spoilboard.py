"""The program that bores the spoilboard for the pins, and what its head says of them."""

from __future__ import annotations

import dataclasses

import pytest

from millprep.gcode.spoilboard import spoilboard_program
from millprep.job import load
from millprep.model.blank import Blank
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import RegistrationHole
from tests.helpers.sample_job import write

FIRST = RegistrationHole("r1", (20.0, 6.0), (20.0, 16.0), 3.0, "locate", 1, 2, pin="p1")
OTHER = dataclasses.replace(
    FIRST, id="r2", blank=(80.0, 60.0), machine=(80.0, 70.0), free=(1.0, 0.0), pin="p2"
)
SLOTTED = dataclasses.replace(OTHER, slot=0.5)
BLANK = Blank(1, (100.0, 80.0), 1.6, 0.035)


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> JobPlan:
    return load(write(tmp_path_factory.mktemp("job")))


def notes(plan: JobPlan, *holes: RegistrationHole) -> tuple[str, ...]:
    return spoilboard_program(plan, holes, plan.profile.cutter, BLANK).notes


def test_a_relieved_pin_is_filed_square_to_the_line_from_the_round_one(plan: JobPlan) -> None:
    *_, pins, relief = notes(plan, FIRST, OTHER)
    assert pins.startswith("you need 2 pins, one of them relieved, ")
    flats = f"{plan.registration.pin_flats:g} mm"
    assert relief == (
        f"relieve the pin of p2: file two flats on it until {flats} are left between them, and "
        "turn the flats square to the line from p1 to p2"
    )


def test_in_a_slot_a_pin_stays_round(plan: JobPlan) -> None:
    *_, pins = notes(plan, FIRST, SLOTTED)
    assert pins.startswith("you need 2 round pins, ")


def test_a_pin_that_two_passes_share_is_bored_once(plan: JobPlan) -> None:
    again = dataclasses.replace(FIRST, id="r3", used_in=3)
    made = spoilboard_program(plan, (FIRST, OTHER, again), plan.profile.cutter, BLANK)
    once = spoilboard_program(plan, (FIRST, OTHER), plan.profile.cutter, BLANK)
    assert made.moves == once.moves
    assert made.zero_on == once.zero_on == "the spoilboard"
    # as many as the last pass has at once
    assert made.notes[2].startswith("you need 1 ")
