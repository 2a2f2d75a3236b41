"""Programs in every dialect are taken up along their own moves, as far as their digits go."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from millprep.at_machine.restart_points import place_on, strokes
from millprep.at_machine.resumed_program import Wish, resumed_program
from millprep.model.dialect import Dialect
from millprep.model.program import RAPID
from millprep.verify import reader
from millprep.verify.read_back import trail_of
from millprep.verify.resumed import check_resumed
from tests.helpers.restart_points import DIALECTS, NO_HOLES, made, text_of
from tests.helpers.workshop import MACHINE


@pytest.mark.parametrize("dialect", [*DIALECTS, Dialect(decimals=3), Dialect(decimals=6)])
def test_every_dialect_goes_on(dialect: Dialect) -> None:
    machine = replace(MACHINE, dialect=dialect)
    chance = random.Random("dialects")
    for program in made(machine):
        old = reader.read(text_of(program, machine), file=program.file, dialect=dialect)
        trail = trail_of(old, program)
        feeds = [i for i in range(len(trail)) if trail.kind[i] != RAPID and trail.xyz[i + 1][2] < 0]
        wishes = [Wish(after=cut.number) for cut in strokes(trail)]
        for _ in range(40):
            x, y, _ = place_on(trail, chance.choice(feeds), chance.random())
            wishes.append(Wish(near=(x, y), overlap=chance.uniform(0.3, 5.0)))
        for wish in wishes:
            done = resumed_program(
                trail, program, wish, machine, set_id="0123", of_pass=NO_HOLES, outlines={}
            )
            assert done is not None
            text = text_of(done[0], machine)
            new = reader.read(text, file="new.ngc", dialect=dialect)
            plunge = min(program.cutter.plunge, machine.max_plunge)
            assert check_resumed(
                old, new, plunge=plunge, whole=True, file="new.ngc", digit=dialect.digit
            ) == (), wish.words  # fmt: skip
