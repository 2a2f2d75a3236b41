"""A few damaged drawings and jobs, and what the command calls a fault."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from millprep.drawing.gerber.drill import read_drill
from millprep.drawing.gerber.layer import read_layer
from millprep.drawing.netlist import parse
from tests.damaged import MEMORY, SECONDS, Damage, make, run_all
from tests.helpers.spoilt_files import FILES

pytest.importorskip("resource", reason="this system has no limits on processes")

GOOD = Damage("inspect", 3, 1.0, 2**20)


def test_what_is_damaged_is_read_or_refused() -> None:
    outcomes = run_all(range(60), 1)
    assert [one for one in outcomes if one.fault] == []
    assert {0, 2, 3} <= {one.code for one in outcomes}


@pytest.mark.parametrize("kind", FILES)
def test_a_whole_file_of_each_kind_is_read(kind: str, tmp_path: Path) -> None:
    """Else nothing of what follows its first fault would ever be tried."""
    text = FILES[kind][0]
    if kind == "netlist":
        assert len(parse(text, "a.ipc").points) == 5
    elif kind == "drill":
        assert len(read_drill(text.encode(), "a").strokes) == 8
    else:
        assert len(read_layer(text.encode(), "a").shapes) == 17


def test_damage_depends_on_its_seed_and_number_alone(tmp_path: Path) -> None:
    for number in (0, 3, 4, 6):
        texts: list[bytes] = []
        for seed in (1, 1, 2):
            folder = tmp_path / f"{number} {len(texts)}"
            folder.mkdir()
            words = make(seed, number, folder)
            spoilt = [word for word in words if "spoilt." in word or word.endswith("toml")]
            file = Path(spoilt[0])
            texts.append(file.read_bytes())
        assert texts[0] == texts[1] != texts[2]


@pytest.mark.parametrize(
    "changed", [{"code": 70}, {"code": None}, {"seconds": SECONDS + 1}, {"memory": MEMORY + 1}]
)
def test_a_fault_is_seen(changed: dict[str, int | None]) -> None:
    assert not GOOD.fault
    assert replace(GOOD, **changed).fault  # type: ignore[arg-type]
