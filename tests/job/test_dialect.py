from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from millprep.job import load
from millprep.model.dialect import Dialect, path_of, unfit
from tests.helpers.sample_job import changed, messages, write
from tests.helpers.workshop import MACHINE as BENCH

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


def test_the_clearance_must_be_given_exactly(tmp_path: Path) -> None:
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
    "line",
    [
        "M8",
        "m 9",
        "G64 (smooth)",
        "G4 P1.5",
        "G17 G21 G90 G94",
        "G61.1",
        "(words)",
        "G98",
        "G64 P0.01",
    ],
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
        ("G61 P1", "P without"), ("G4 G64 P1", "may both take P"),
        ("M8 ; x", "has a comment"), ("(x", "has a comment"), ("(a(b))", "has a comment"),
        ("M8\nG0 X1", "printable"), ("%", "no line"), ("G", "has G"), ("G1é", "printable"),
        ("M8 !", "has ! or ~"), ("M8 (~)", "has ! or ~"),
    ],
)  # fmt: skip
def test_all_others_may_not(line: str, why: str) -> None:
    assert why in (unfit(line, "brackets") or "")


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("M8", (None, False)), ("G61", ("G61", False)), ("g61.1 M8", ("G61.1", False)),
        ("G64 (P5)", ("G64", False)), ("G 64 P .01", ("G64", True)), ("G4 P1", (None, False)),
        ("G061", ("G61", False)), ("G064 P.01", ("G64", True)), ("G61.0", ("G61", False)),
    ],
)  # fmt: skip
def test_what_a_line_says_of_the_path(line: str, said: tuple[str | None, bool]) -> None:
    assert path_of(line, "brackets") == said


PATHS = [
    ("", "", None),
    ('path_mode = "blending"', "", "acceleration must be given with path_mode"),
    ('path_mode = "unstated"', "", "acceleration must be given with path_mode"),
    ('path_mode = "unstated"\nacceleration = 200.0', 'start_lines = ["G64"]', None),
    ('path_mode = "blending"\nacceleration = 200.0', 'start_lines = ["G64"]', None),
    ('path_mode = "blending"\npath_tolerance = 0.01', 'start_lines = ["G64 P0.01"]', None),
    ("path_tolerance = 0.01", "", "path_tolerance must be left out with path_mode"),
    ('path_mode = "blending"\npath_tolerance = 0.00001', "", "no more than the 4 decimals"),
    ("", 'start_lines = ["G61"]', None),
    ("", 'start_lines = ["G64"]', "item 1 has G64, and programs say G61 after it"),
    ("", 'end_lines = ["G64"]', None),
    ("", 'end_lines = ["G64 P0.1"]', "has P with G64: state [machine] path_tolerance"),
]


@pytest.mark.parametrize(("machine", "dialect", "mistake"), PATHS)
def test_what_a_job_says_of_the_path_must_agree(
    machine: str, dialect: str, mistake: str | None, tmp_path: Path
) -> None:
    text = changed(MACHINE, f"{MACHINE}{machine}\n[machine.dialect]\n{dialect}\n")
    if mistake is None:
        load(write(tmp_path, text))
        return
    (message,) = messages(tmp_path, text)
    assert mistake in message


@pytest.mark.parametrize(
    ("feed", "acceleration", "short"), [(300.0, 150.0, 0.0417), (300.0, 500.0, 0.0125)]
)
def test_blending_cuts_a_corner_short_by_what_the_acceleration_allows(
    feed: float, acceleration: float, short: float
) -> None:
    """v² / (4 · a): 5 mm/s squared is 25, over 600 and over 2000 mm/s²."""
    blending = replace(BENCH, path_mode="blending", acceleration=acceleration)
    assert blending.cut_short(feed) == pytest.approx(short, abs=5e-5)
    assert blending.path_words == "G64"
    assert replace(BENCH, acceleration=acceleration).cut_short(feed) == 0.0
    stated = replace(blending, path_tolerance=0.02)
    assert (stated.cut_short(feed), stated.path_words) == (0.02, "G64 P0.0200")
    # the two ramps, step by step: one axis slows down while the other speeds up
    v, time = feed / 60, feed / 60 / acceleration
    t = np.linspace(0, time, 20001)
    left = v * v / (2 * acceleration) - (v * t - acceleration * t * t / 2)
    nearest = float(np.hypot(left, acceleration * t * t / 2).min())
    assert 0.7 * short < nearest < short + 5e-5


def test_comments_stand_as_the_dialect_has_them() -> None:
    assert unfit("M8 ; dust", "semicolon") is None
    assert "comment" in (unfit("M8 (dust)", "semicolon") or "")
    assert "comment" in (unfit("M8 ; dust", "none") or "")


def test_features_of_a_preset_are_replaced_one_by_one(tmp_path: Path) -> None:
    text = changed(MACHINE, 'preset = "small-mill-300-no-arcs"\n')
    assert load(write(tmp_path, text)).machine.dialect == Dialect(arcs=False, decimals=3)
    text = with_dialect("decimals = 4").replace('300"', '300-no-arcs"')
    assert load(write(tmp_path, text)).machine.dialect == Dialect(arcs=False)
