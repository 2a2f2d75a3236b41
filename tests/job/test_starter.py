from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from millprep.job import load, starter
from millprep.values.plan import LayerRoles

from .sample import messages, write

ROLES = LayerRoles(("TRACKS", 'odd "one"\\'), ("EDGE",), ())
TEXT = starter("memory.dxf", ROLES, None, (480.0, 90.0))


def test_it_loads_once_the_side_is_filled_in(tmp_path: Path) -> None:
    assert TEXT.count('"FILL IN"') == 1
    plan = load(write(tmp_path, TEXT.replace('"FILL IN"', '"components"')))
    assert plan.name == plan.boards[0].name == "memory"
    assert plan.boards[0].layers == ROLES
    assert plan.boards[0].unit is None
    assert plan.blanks[0].size == (500.0, 110.0)
    assert plan.boards[0].drawing_name == "memory.dxf"


def test_until_then_the_side_is_the_one_thing_that_is_asked_for(tmp_path: Path) -> None:
    line = 1 + next(i for i, row in enumerate(TEXT.splitlines()) if row.startswith("drawn_from"))
    assert messages(tmp_path, TEXT) == [
        f'job.toml:{line}:1: [[board]] 1 drawn_from must be "components" or "copper"; got "FILL IN"'
    ]


def test_a_unit_is_written_where_the_drawing_states_none(tmp_path: Path) -> None:
    text = starter("memory.dxf", ROLES, "inch", (50.0, 30.0)).replace('"FILL IN"', '"copper"')
    assert load(write(tmp_path, text)).boards[0].unit == "inch"


@pytest.mark.parametrize(
    "name", ["a/b/board.v2.dxf", "b\\oard.dxf", 'b"o{a}rd.dxf', "..dxf", "\u0007.dxf", "x" * 300]
)
def test_any_file_name_gives_toml_and_a_name_that_is_allowed(tmp_path: Path, name: str) -> None:
    text = starter(name, ROLES, None, (50.0, 30.0))
    data = tomllib.loads(text)
    assert data["board"][0]["drawing"] == name
    allowed = text.replace('"FILL IN"', '"copper"')
    assert [m for m in messages(tmp_path, allowed) if " name " in m] == []


def test_every_table_is_explained() -> None:
    lines = TEXT.splitlines()
    for i, line in enumerate(lines):
        if line.startswith("[") and not line.startswith("[cutters."):
            assert lines[i - 1].startswith("#"), line
