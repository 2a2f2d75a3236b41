"""Options that do not go together, and places that are none: said before anything is done."""

from __future__ import annotations

from pathlib import Path

import pytest

from millprep.at_machine.resumed_program import Wish
from millprep.model.finding import usage
from tests.helpers.small_job import run

SLIPS: dict[str, tuple[tuple[str, ...], str]] = {
    "two schemas": (("schema", "--table", "--report"), "--table is of the job's keys"),
    "no folder for a schema": (("schema", "-o", "none/job.json"), "there is no folder none"),
    "ticked and more": (
        ("ran", "set", "--from", "ticked.toml", "--minutes", "3"),
        "--from says all of what ran; leave the other options out",
    ),
    "ticked and a pass": (
        ("ran", "set", "--from", "ticked.toml", "--pass", "1"),
        "give --pass or --spoilboard for what ran, or --from with a file of the sheet",
    ),
    "nothing that ran": (("ran", "set"), "give --pass or --spoilboard for what ran, or --from"),
    "two kinds of readings": (
        ("refit", "set", "readings.csv", "--pass", "1", "--vernier", "--touches", "--out", "new"),
        "--vernier and --touches are two kinds of readings: give one.",
    ),
    "no copy": (
        ("resume", "set", "--board", "lamp:0", "--out", "new"),
        "is no BOARD or BOARD:COPY",
    ),
    "no board": (("resume", "set", "--board", ":2", "--out", "new"), "is no BOARD or BOARD:COPY"),
    "nowhere to go on": (("resume", "set", "x", "--out", "new"), "say where to go on: --after"),
}


@pytest.mark.parametrize(("words", "said"), SLIPS.values(), ids=SLIPS.keys())
def test_slips(
    words: tuple[str, ...], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("set").mkdir()
    for name in ("ticked.toml", "readings.csv"):
        Path(name).touch()
    before = sorted(tmp_path.rglob("*"))
    done = run(*words)
    assert done.exit_code == 2
    assert said in " ".join(done.stderr.split())
    assert sorted(tmp_path.rglob("*")) == before


@pytest.mark.parametrize(("words", "copy"), [("lamp", 1), ("lamp:3", 3), ("a:b:2", 2)])
def test_a_board_without_a_number_is_its_first_copy(
    words: str, copy: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    wishes: list[Wish] = []

    def taken(_set: Path, _out: Path, _program: None, wish: Wish, *_: object, **__: object) -> None:
        wishes.append(wish)
        raise usage("no-set", "There is no set.")

    monkeypatch.setattr("millprep.at_machine.resume.resume", taken)
    done = run("resume", tmp_path, "--board", words, "--out", tmp_path / "new")
    assert done.exit_code == 2
    board = words.removesuffix(f":{copy}")
    assert wishes == [Wish(None, None, None, None, board, copy)]
