from __future__ import annotations

from pathlib import Path

import pytest

from millprep.job.reading import label
from millprep.model.job.mistakes import KeyPath, plain
from tests.helpers.sample_job import JOB, changed, findings, messages

FIVE = JOB
for old, new in (
    ('preset = "small-mill-300"', 'preset = "small-mill-300"\nclearence = 6.0'),
    ("size = [500.0, 110.0]", 'size = [500.0, "110 mm"]'),
    ('drawn_from = "components"', 'drawn_from = "component"'),
    ("gap = 0.3", ""),
    ('cutter = "mill"', 'cutter = "mil"'),
):
    FIVE = FIVE.replace(old, new)


def test_five_mistakes_are_five_messages(tmp_path: Path) -> None:
    assert messages(tmp_path, FIVE) == [
        "job.toml:5:1: [machine] clearence is no known key; nearest spelling: clearance; allowed: "
        "preset, name, travel, zero, travel_margin, above, below, clearance, approach, "
        "hop_height, clamp_clearance, rapid, max_feed, max_plunge, max_spindle, spindle, "
        "lift_force, dwell, collet, screw_lead, scale_error, squareness, periodic_error, "
        "backlash, tool_change, surface_probe, probe_log, probe_repeatability, path_mode, "
        "path_tolerance, acceleration, time, dialect",
        'job.toml:9:16: [blank] size item 2 is "110 mm"; size must be two plain numbers in mm '
        "above 0, [x, y]",
        'job.toml:17:1: [[board]] 1 drawn_from must be "components" or "copper"; got "component"; '
        'nearest spelling: "components"',
        "job.toml:29:2: [isolation] gap is missing (isolation width at the foot of the copper; by "
        "voltage it is as wide as [rules] spacing requires for the volts of the nets); needed: a "
        'plain number in mm, above 0 and at most 20, or "by voltage"',
        'job.toml:39:1: [profile] cutter names a cutter that is not defined: "mil"; nearest '
        'spelling: "mill"; defined: "vee", "mill", "drill"',
    ]
    assert [(f.code, f.line) for f in findings(tmp_path, FIVE)] == [
        ("job-unknown-key", 5),
        ("job-wrong-type", 9),
        ("job-bad-value", 17),
        ("job-missing-key", 29),
        ("job-unknown-cutter", 39),
    ]


CASES: list[tuple[str, str, str]] = [
    (
        'name = "Lamp sequencer"',
        'name = "lamp/sequencer"',
        "1:1: name must be a name without / and \\ and control characters, 100 letters at most; "
        'got "lamp/sequencer"',
    ),
    (
        'name = "Lamp sequencer"',
        'name = "lamp\\u0007"',
        "1:1: name must be a name without / and \\ and control characters, 100 letters at most; "
        'got "lamp\\u0007"',
    ),
    (
        "[isolation]",
        "[isolaton]\n[isolation]",
        "28:2: isolaton is no known key; nearest spelling: isolation; allowed: name, bench, "
        "engrave_names, "
        "machine, cutters, isolation, clearing, drilling, profile, blank, setup, board, layout, "
        "registration, legend, rules",
    ),
    (
        'preset = "endmill-2"',
        'kind = "endmil"',
        '23:1: [cutters.mill] kind must be one of "vee", "endmill", "drill"; got "endmil"; '
        'nearest spelling: "endmill"',
    ),
    (
        'preset = "endmill-2"',
        "diameter = 2.0",
        '22:10: [cutters.mill] kind is missing; needed: one of "vee", "endmill", "drill", or a '
        "preset instead",
    ),
    (
        'preset = "small-mill-300"',
        'preset = "small-mil-300"',
        '4:1: [machine] preset is no machine preset: "small-mil-300"; nearest spelling: '
        '"small-mill-300"; available: "small-mill-300", "small-mill-300-hand", "small-mill-200", '
        '"small-mill-300-no-arcs"',
    ),
    (
        'preset = "endmill-2"',
        'preset = "endmill-2"\nkind = "drill"',
        '23:1: [cutters.mill] preset is "endmill": "endmill-2"; kind says "drill"',
    ),
    (
        "[cutters.drill]\n",
        '[cutters.drill]\npreset = "drill-1.0"\n[cutters."d 1"]\n',
        "27:10: [cutters.d 1] must have a name of letters A to Z, digits and hyphens, 40 at most, "
        "for it names files",
    ),
    (
        "spoilboard = 6.0",
        "",
        "32:2: [drilling] spoilboard is missing (thickness of the spoilboard under the blank, "
        "which no cutter may pass); needed: a plain number in mm, above 0 and at most 100",
    ),
    (
        '[profile]\ncutter = "mill"\n',
        "",
        "1:1: [profile] is missing (how boards are cut out); needed: a table headed [profile]",
    ),
    (
        'holes = ["PINS"] }',
        'holes = ["PINS"] }\ncount = 1.5',
        "18:1: [[board]] 1 count must be a whole number, at least 1 and at most 1000; got 1.5",
    ),
    (
        'holes = ["PINS"] }',
        'holes = ["PINS", ""] }',
        '17:70: [[board]] 1 layers.holes item 2 is ""; holes must be a list of layer names, such '
        'as ["TRACKS"]',
    ),
    *(
        (
            'cutters = ["vee"]',
            f'cutters = [{{ cutter = "vee", depth = {depth} }}]',
            f"30:12: [isolation] cutters item 1 has the depth {depth}; it must be a plain number "
            "in mm, above 0 and at most 5",
        )
        for depth in ("0", "-0.1", "6", "true", '"least time"')
    ),
    *(
        (
            'cutters = ["vee"]',
            f"cutters = [{item}]",
            f"30:12: [isolation] cutters item 1 is {shown}; cutters must be a list of names "
            "defined as [cutters.NAME], or of { cutter = NAME, depth = mm } for a cutter with a "
            "depth of its own",
        )
        for item, shown in (
            ('{ cutter = "vee", deep = 0.1 }', "a table"),
            ("{ depth = 0.1 }", "a table"),
            ("3", "3"),
        )
    ),
    *(
        (
            "gap = 0.3",
            f"gap = 0.3\ndepth = {depth}",
            "30:1: [isolation] depth must be a plain number in mm, above 0 and at most 5, or "
            f'"least time"; got {depth}',
        )
        for depth in ('"deep"', "true", "5.1")
    ),
    *(
        (
            'drawn_from = "components"',
            f'drawn_from = "components"\nnetlist = {path}',
            f"17:1: [[board]] 1 netlist must be the path of a netlist file; got {path}",
        )
        for path in ("3", '""')
    ),
    (
        "[cutters.vee]",
        "[[board.selection]]\nname = 3\ncolour = 2\n"
        '[[board.selection]]\nname = "a"\ncolour = 1\n[cutters.vee]',
        "20:1: [[board.selection]] 1 of board 1 name must be a name that no layer of "
        "the drawing has; got 3",
    ),
    (
        "[cutters.vee]",
        "[cutters]\nwhat = 3\n[cutters.vee]",
        "20:1: [cutters.what] must be a table headed [cutters.NAME]; got 3",
    ),
    (
        'name = "Lamp sequencer"',
        'layout = 3\nname = "Lamp sequencer"',
        "1:1: [layout] must be a table headed [layout]; got 3",
    ),
    (
        '[[board]]\nname = "memory"',
        '[board]\nname = "memory"',
        "13:2: [board] must be tables headed [[board]]; got a table",
    ),
]


@pytest.mark.parametrize(("old", "new", "message"), CASES)
def test_one_mistake_is_one_message(tmp_path: Path, old: str, new: str, message: str) -> None:
    assert messages(tmp_path, changed(old, new)) == [f"job.toml:{message}"]


def test_an_unknown_preset_does_not_hide_other_mistakes(tmp_path: Path) -> None:
    text = changed('preset = "endmill-2"', 'preset = "endmil-2"\nstepp = 1')
    assert [f.code for f in findings(tmp_path, text)] == ["job-unknown-preset", "job-unknown-key"]


def test_all_that_an_empty_job_lacks_is_reported(tmp_path: Path) -> None:
    found = findings(tmp_path, "")
    assert {f.code for f in found} == {"job-missing-key"}
    # the name is the file's
    assert len(found) == 8


def test_cutters_that_are_missing_are_named_where_they_are_used(tmp_path: Path) -> None:
    found = messages(tmp_path, '[drilling]\ncutters = ["drill"]\nspoilboard = 6.0\n')
    assert found[-1] == (
        'job.toml:2:12: [drilling] cutters item 1 names a cutter that is not defined: "drill"; '
        "defined: none"
    )


def test_no_control_character_reaches_a_message(tmp_path: Path) -> None:
    (message,) = messages(tmp_path, changed("gap = 0.3", 'gap = 0.3\n"a\\u001b[1m\\n" = 1'))
    assert message.isprintable()


@pytest.mark.parametrize(
    ("path", "words"),
    [
        (("name",), "name"),
        (("machine", "travel", 1), "[machine] travel item 2"),
        (("blank", "size"), "[blank] size"),
        (("blank", 1, "size"), "[[blank]] 2 size"),
        (("board", 0, "layers", "copper", 0), "[[board]] 1 layers.copper item 1"),
        (("setup", "clamp", 2, "box"), "[[setup.clamp]] 3 box"),
        (("cutters", "vee", "tip"), "[cutters.vee] tip"),
        (("cutters",), "[cutters]"),
    ],
)
def test_a_label_reads_as_the_file_does(path: KeyPath, words: str) -> None:
    assert label(path) == words


def test_values_are_shown_as_toml_and_kept_short() -> None:
    assert plain([True, 'a"b', 1.5, float("nan")]) == '[true, "a\\"b", 1.5, nan]'
    assert plain({"a": 1}) == "a table"
    assert len(plain("x" * 1000)) <= 60
    assert plain(10**5000) == "a very long number"
