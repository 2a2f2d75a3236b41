from __future__ import annotations

from pathlib import Path

import pytest

from millprep.job import load
from millprep.model.dialect import Dialect, unfit
from tests.helpers.sample_job import changed, messages, write

MACHINE = 'preset = "small-mill-300"\n'


def with_dialect(keys: str, more: str = "") -> str:
    return changed(MACHINE, f"{MACHINE}{more}[machine.dialect]\n{keys}\n")


def test_a_job_that_says_nothing_has_plain_rs274(tmp_path: Path) -> None:
    assert load(write(tmp_path)).machine.dialect == Dialect()


def test_arcs_need_more_than_two_decimals(tmp_path: Path) -> None:
    assert messages(tmp_path, with_dialect("decimals = 2")) == [
        "job.toml:6:1: [machine] dialect.decimals must be at least 3 where arcs = true: rounding "
        "takes more than the 0.002 mm that an arc's radii may differ by"
    ]
    load(write(tmp_path, with_dialect("decimals = 2\narcs = false")))


def test_the_clearance_must_be_told_exactly(tmp_path: Path) -> None:
    text = with_dialect("decimals = 3", "clearance = 5.12345\n")
    assert messages(tmp_path, text) == [
        "job.toml:5:1: [machine] clearance must have no more than the 3 decimals of "
        "[machine.dialect]; got 5.12345"
    ]


def test_what_a_stop_must_say_needs_comments(tmp_path: Path) -> None:
    probing = '[registration]\nmethod = "measure"\nprobe = "electrical"\nprobe_cutter = "mill"\n'
    assert messages(tmp_path, with_dialect('comments = "none"') + probing) == [
        'job.toml:6:1: [machine] dialect.comments must not be "none" where holes are touched: a '
        "comment says what to write down"
    ]


def test_a_line_of_ones_own_is_refused_with_its_place(tmp_path: Path) -> None:
    text = with_dialect('start_lines = ["M8", "G28"]\nend_lines = ["G1 Z9."]')
    assert messages(tmp_path, text) == [
        "job.toml:6:22: [machine] dialect.start_lines item 2 has G28, which is not allowed there: "
        'a line must move nothing and leave places, lengths and spindle alone; got "G28"',
        "job.toml:7:14: [machine] dialect.end_lines item 1 has G1, which is not allowed there: a "
        'line must move nothing and leave places, lengths and spindle alone; got "G1 Z9."',
    ]


@pytest.mark.parametrize(
    "line", ["M8", "m 9", "G64 (smooth)", "G4 P1.5", "G17 G21 G90 G94", "G61.1", "(words)", "G98"]
)
def test_lines_that_move_nothing_may_stand(line: str) -> None:
    assert unfit(line, "brackets") is None


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("G0 X1", "has G0"), ("X1", "has X1"), ("G20", "has G20"), ("G91", "has G91"),
        ("M3", "has M3"), ("M5", "has M5"), ("M0", "has M0"), ("M6", "has M6"), ("T1", "has T1"),
        ("M2", "has M2"), ("S9", "has S9"), ("F9", "has F9"), ("G92 X0", "has G92"),
        ("G43 H1", "has G43"), ("G55", "has G55"), ("N1 M8", "has N1"), ("/M8", "no line"),
        ("#1=2", "no line"), ("G61 G64", "two words"), ("G4", "G4 without P"), ("P1", "P without"),
        ("M8 ; x", "has a comment"), ("(x", "has a comment"), ("(a(b))", "has a comment"),
        ("M8\nG0 X1", "printable"), ("%", "no line"), ("G", "has G"), ("G1é", "printable"),
    ],
)  # fmt: skip
def test_all_others_may_not(line: str, why: str) -> None:
    assert why in (unfit(line, "brackets") or "")


def test_comments_stand_as_the_dialect_has_them() -> None:
    assert unfit("M8 ; dust", "semicolon") is None
    assert "comment" in (unfit("M8 (dust)", "semicolon") or "")
    assert "comment" in (unfit("M8 ; dust", "none") or "")


def test_features_of_a_preset_are_replaced_one_by_one(tmp_path: Path) -> None:
    text = changed(MACHINE, 'preset = "small-mill-300-no-arcs"\n')
    assert load(write(tmp_path, text)).machine.dialect == Dialect(arcs=False, decimals=3)
    text = with_dialect("decimals = 4").replace('300"', '300-no-arcs"')
    assert load(write(tmp_path, text)).machine.dialect == Dialect(arcs=False)
