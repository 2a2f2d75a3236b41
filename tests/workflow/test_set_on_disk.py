"""Folders that a set may be written to, and marks that were edited."""

from __future__ import annotations

from pathlib import Path

import pytest

from millprep.model.finding import Refusal
from millprep.workflow import set_on_disk
from millprep.workflow.prepare import prepare
from tests.helpers.small_job import put


def test_a_file_in_the_place_of_the_folder_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "set").write_text("mine")
    with pytest.raises(Refusal, match="set is no folder"):
        prepare(put(tmp_path), tmp_path / "set")
    assert (tmp_path / "set").read_text() == "mine"
    assert {file.name for file in tmp_path.iterdir()} == {"set", "job.toml", "lamp.dxf"}


def test_the_whole_disk_is_no_folder_of_a_set() -> None:
    with pytest.raises(Refusal, match="is the whole disk"):
        set_on_disk.check(Path(Path().resolve().anchor), replace=False)


@pytest.mark.parametrize("name", ["", ".", "..", "set", "set/.."])
def test_a_refusal_lies_next_to_its_set_however_that_is_named(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "jobs" / "set").mkdir(parents=True)
    monkeypatch.chdir(tmp_path / "jobs")
    out = Path(name).resolve()
    refused = set_on_disk.refused_folder(Path(name)).resolve()
    assert refused == out.parent / f"{out.name}-refused"


MARK = 'set = "0123abcd"\n[[pass]]\nblank = 1\nnumber = 2\n'


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (f"by = 3\n{MARK}", "must hold a set and its passes, and nothing else"),
        (MARK.replace('"0123abcd"', "3"), "must hold a set and its passes, and nothing else"),
        (MARK.replace("number = 2", "number = 0"), "counted from 1"),
        (MARK.replace("blank = 1", ""), "cannot be read (KeyError"),
        ("", "cannot be read (KeyError"),
    ],
)
def test_a_mark_that_is_none_is_refused(text: str, words: str, tmp_path: Path) -> None:
    file = tmp_path / "begun.toml"
    file.write_text(MARK)
    mark = set_on_disk.load_mark(tmp_path)
    assert mark is not None
    assert (mark.set, mark.passes) == ("0123abcd", ((1, 2),))
    file.write_text(text)
    with pytest.raises(Refusal) as refused:
        set_on_disk.load_mark(tmp_path)
    assert words in str(refused.value)
    assert "mark again with millprep begin" in str(refused.value)
