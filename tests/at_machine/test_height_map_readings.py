"""Files of surface readings: every shape they come in, and every slip with its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from millprep.at_machine.height_map_readings import load
from millprep.model.finding import Refusal

HEAD = "# surface map\n# set 0123456789ab\n# blank 1\n# pass 2\n# unit mm\n"


def points(file: Path, text: str, pattern: str | None = None) -> list[tuple[float, float, float]]:
    file.write_text(text, "utf-8")
    return [one[:3] for one in load(file, pattern).points]


@pytest.mark.parametrize(
    "text",
    [
        "x,y,z\n10.0,20.0,0.013\n30,20,-.002\n",
        "10.0,20.0,0.013\n30,20,-.002\n",
        "10.0, 20.0, 0.013\r\n\r\n30, 20, -0.002",
        "10,0;20,0;0,013\n30;20;-0,002\n",
        "10 20 1.3e-2\n30\t20\t-0.002\n",
        '"Z";"note";"X";"Y"\n0,013;ok;10;20\n-0,002;;30;20\n',
        "\ufeffX Y Z\n10 20 .013\n; a word\n30 20 -.002\n",
        HEAD + "x,y,z\n10.0,20.0,0.013\n30.0,20.0,-0.002\n",
    ],
)
def test_tables_of_every_shape(tmp_path: Path, text: str) -> None:
    assert points(tmp_path / "map.csv", text) == [(10.0, 20.0, 0.013), (30.0, 20.0, -0.002)]


def test_what_the_file_says_of_itself(tmp_path: Path) -> None:
    file = tmp_path / "map.csv"
    file.write_text(HEAD + "1,2,3\n")
    assert load(file).head == {"set": "0123456789ab", "blank": "1", "pass": "2", "unit": "mm"}
    file.write_text("(set: abc)\n; PASS = 3\n1,2,3\n")
    assert load(file).head == {"set": "abc", "pass": "3"}


LOG = """\
12:01:07 moved to X10.000 Y20.000
12:01:15 probe 1: [10.000,20.000,0.013] good
12:01:31 probe 1: [30.000,20.000,-0.002] good
"""
PATTERN = r"\[(?P<x>[-\d.]+),(?P<y>[-\d.]+),(?P<z>[-\d.]+)\] good"


def test_a_log_by_a_pattern(tmp_path: Path) -> None:
    file = tmp_path / "log.txt"
    assert points(file, LOG, PATTERN) == [(10.0, 20.0, 0.013), (30.0, 20.0, -0.002)]
    assert [p.line for p in load(file, PATTERN).points] == [2, 3]
    # a place is touched fast and then slowly: the slow touch counts
    fast = LOG.replace("12:01:15", "12:01:12 probe 1: [10.000,20.000,0.031] good\n12:01:15")
    assert points(file, fast, PATTERN) == [(10.0, 20.0, 0.013), (30.0, 20.0, -0.002)]
    # a table stays a table though the machine has a pattern
    assert points(file, "10,20,.5\n", PATTERN) == [(10.0, 20.0, 0.5)]


@pytest.mark.parametrize(
    ("text", "code", "line", "words"),
    [
        ("x,y,z\n1,2,0.1\n1,2,o.1\n", "map-syntax", 3, "'o.1' is not a number"),
        ("1,2,0.1\n1,2\n", "map-syntax", 2, "2 columns"),
        ("1,2,nan\n", "map-syntax", 1, "'nan' is not a number"),
        ("1,2,1_0\n", "map-syntax", 1, "'1_0' is not a number"),
        ("1,2,1e9\n", "map-syntax", 1, "within 10000 mm"),
        ("x,y,z\n1,2,0\n10,20,\n", "map-hole", 3, "z is missing at X10 Y20"),
        ("", "map-syntax", None, "no point"),
        (LOG, "map-syntax", 1, "columns"),
    ],
)
def test_slips_are_reported_with_their_line(
    tmp_path: Path, text: str, code: str, line: int | None, words: str
) -> None:
    with pytest.raises(Refusal) as refused:
        points(tmp_path / "map.csv", text)
    assert refused.value.exit_code == 2
    finding = refused.value.findings[0]
    assert (finding.code, finding.line) == (code, line)
    assert words in finding.message


def test_all_slips_of_a_file_together(tmp_path: Path) -> None:
    with pytest.raises(Refusal) as refused:
        points(tmp_path / "map.csv", "a,2,3\n1,b,3\n1,2,c\n")
    # the first row names no x, y and z, so it is a slip as well
    assert [f.line for f in refused.value.findings] == [1, 2, 3]


def test_a_file_that_is_none(tmp_path: Path) -> None:
    with pytest.raises(Refusal, match="cannot be read"):
        load(tmp_path / "none.csv")
    (tmp_path / "map.xls").write_bytes(b"\xd0\xcf\x11\xe0\xff")
    with pytest.raises(Refusal, match="is not a text file"):
        load(tmp_path / "map.xls")
