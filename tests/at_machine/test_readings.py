"""Readings files: what is taken, and every mistake with its words."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from millprep.at_machine.readings import load
from millprep.model.finding import Refusal
from millprep.report import report_file

GOOD = """\
set = "0123456789ab"
unit = "mm"

[holes]
r1 = [41.02, 6]
r2 = [85.97, 114.03]
"""


def put(folder: Path, text: str) -> Path:
    file = folder / "read.toml"
    file.write_bytes(text.encode())
    return file


def test_a_good_file(tmp_path: Path) -> None:
    file = put(tmp_path, GOOD)
    read = load(file)
    assert read.set == "0123456789ab"
    assert read.holes == {"r1": (41.02, 6.0), "r2": (85.97, 114.03)}
    assert read.file.file == "read.toml"
    assert read.file.sha256 == hashlib.sha256(GOOD.encode()).hexdigest()


def test_another_systems_line_ends_and_mark_are_taken(tmp_path: Path) -> None:
    read = load(put(tmp_path, "\ufeff" + GOOD.replace("\n", "\r\n")))
    assert read.holes["r2"] == (85.97, 114.03)


@pytest.mark.parametrize(
    ("old", "new", "code", "words"),
    [
        ('"mm"', '"inch"', "readings-in-inches", "holds readings in inches"),
        ('"mm"', '"cm"', "readings-bad-value", 'unit must be "mm"'),
        ('unit = "mm"\n', "", "readings-missing-key", 'lacks unit, which must be "mm"'),
        ("[holes]", "[hole]", "readings-unknown-key", "unknown key hole; allowed: set, unit"),
        ("[85.97, 114.03]", "[85.97]", "readings-bad-value", "[holes] r2 must be [x, y]"),
        ("[85.97, 114.03]", '["85.97", 1.0]', "readings-bad-value", "[holes] r2 must be [x, y]"),
        ("[85.97, 114.03]", "[nan, 1.0]", "readings-bad-value", "[holes] r2 must be [x, y]"),
        ("[85.97, 114.03]", "[true, 1.0]", "readings-bad-value", "[holes] r2 must be [x, y]"),
        ("114.03", "11403.0", "readings-bad-value", "within ±10000"),
        ('"0123456789ab"', "123", "readings-bad-value", "set must be the id of the set"),
        ("r2 =", "r2", "readings-syntax", "is not valid TOML"),
    ],
)
def test_a_mistake(tmp_path: Path, old: str, new: str, code: str, words: str) -> None:
    assert GOOD.count(old) == 1
    with pytest.raises(Refusal) as caught:
        load(put(tmp_path, GOOD.replace(old, new)))
    assert caught.value.exit_code == 2
    assert (code, True) in [(f.code, words in f.message) for f in caught.value.findings]


def test_all_mistakes_are_reported_together(tmp_path: Path) -> None:
    text = GOOD.replace('"mm"', '"cm"').replace("[41.02, 6]", '["a", "b"]')
    with pytest.raises(Refusal) as caught:
        load(put(tmp_path, text))
    assert len(caught.value.findings) == 2


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(Refusal, match="cannot be read"):
        load(tmp_path / "read.toml")


@pytest.mark.parametrize(
    ("report", "words"),
    [
        (None, "cannot be read"),
        ("{", "is not the report of a set: invalid JSON"),
        ("[]", "is not the report of a set: input should be an object"),
        ('{"format": 99}', "has format 99, this version reads format 1"),
        ('{"format": 1}', "is not the report of a set at set: field required, and has 1"),
    ],
)
def test_a_folder_without_a_set(tmp_path: Path, report: str | None, words: str) -> None:
    if report is not None:
        (tmp_path / "report.json").write_text(report)
    with pytest.raises(Refusal) as caught:
        report_file.read(tmp_path)
    assert caught.value.exit_code == 2
    assert words in caught.value.findings[0].message
