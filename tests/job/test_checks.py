from __future__ import annotations

from pathlib import Path

import pytest

from tests.helpers.sample_job import JOB, changed, messages

MACHINE = 'preset = "small-mill-300"'
REGISTRATION = JOB + "[registration]\n"

CASES: list[tuple[str, str]] = [
    (
        changed(MACHINE, MACHINE + "\nclearance = 31"),
        "5:1: [machine] clearance must be at most 28 mm, the free travel above the copper less "
        "travel_margin; got 31",
    ),
    (
        changed(MACHINE, MACHINE + "\ntravel_margin = 11"),
        "5:1: [machine] travel_margin must leave travel on all axes, so be below 10 mm; got 11",
    ),
    (
        changed(MACHINE, MACHINE + "\nzero = [0, 200]"),
        "5:1: [machine] zero must lie within the travel [300, 180]; got [0, 200]",
    ),
    (
        changed("tape = true", ""),
        "10:2: [setup] names nothing that holds the blank; list [[setup.clamp]] or say tape = true",
    ),
    (
        changed("tape = true", "[[setup.clamp]]\nbox = [9, 0, 1, 5]\nheight = 3"),
        "12:1: [[setup.clamp]] 1 box must be four plain numbers in mm, [x0, y0, x1, y1] with "
        "x0 < x1 and y0 < y1; got [9, 0, 1, 5]",
    ),
    (
        changed("tape = true", "tape = true\norigin = [10, 178]"),
        "12:1: [setup] origin must lie below the end of the travel less travel_margin of 2 mm at "
        "each end, [298, 178]; got [10, 178]",
    ),
    (
        changed("tape = true", "tape = true\ntouch = [-1, 5]"),
        "12:1: [setup] touch must lie within the travel less travel_margin of 2 mm at each "
        "end: [2, 2] to [298, 178]; got [-1, 5]",
    ),
    (
        changed("size = [500.0, 110.0]", "size = [500.0, 110.0]\nthickness = 0.03"),
        "6:2: [blank] copper must be below the thickness of 0.03 mm; got 0.035",
    ),
    (
        changed("size = [500.0, 110.0]", "size = [500.0, 20.0]"),
        "6:2: [blank] margin must leave room between both edges, so be below 10 mm (mm, not "
        "inches); got 10",
    ),
    (
        changed("size = [500.0, 110.0]", "size = [500.0, 110.0]\nspacing = 1.9"),
        "9:1: [blank] spacing must let the profile cutter of 2 mm pass; got 1.9",
    ),
    (
        changed(
            "size = [500.0, 110.0]", "size = [500.0, 110.0]\nspacing = 2.5\nshared_kerf = true"
        ),
        "9:1: [blank] spacing must be left out, or be the profile cutter's 2 mm, with shared_kerf "
        "= true; got 2.5",
    ),
    (
        changed('preset = "vee-30-0.1"', 'preset = "vee-30-0.1"\nfeed = 1201'),
        "21:1: [cutters.vee] feed must be at most max_feed of the machine, 1200; got 1201",
    ),
    (
        changed(MACHINE, MACHINE + "\nmax_spindle = 9000"),
        "20:10: [cutters.vee] spindle must be at most max_spindle of the machine, 9000; got 12000",
    ),
    (
        changed('preset = "vee-30-0.1"', 'preset = "vee-30-0.1"\nflute = 21'),
        "21:1: [cutters.vee] flute must be at most the stickout of 20 mm; got 21",
    ),
    (
        changed('preset = "vee-30-0.1"', 'preset = "vee-30-0.1"\ntip = 4'),
        "21:1: [cutters.vee] tip must be at most the shank of 3.175 mm; got 4",
    ),
    (
        changed('preset = "vee-30-0.1"', 'preset = "vee-30-0.1"\nchip_load = [0.02, 0.01]'),
        "21:1: [cutters.vee] chip_load must be [least, most]; got [0.02, 0.01]",
    ),
    (
        changed('cutters = ["vee"]', 'cutters = ["vee", "drill"]'),
        '30:19: [isolation] cutters item 2 must be of kind vee or endmill; "drill" is drill',
    ),
    (
        changed('cutters = ["vee"]', 'cutters = ["vee", "vee"]'),
        '30:19: [isolation] cutters item 2 names "vee" a second time; once is enough',
    ),
    (
        changed('borer = "mill"', 'borer = "vee"'),
        '34:1: [drilling] borer must be of kind endmill; "vee" is vee',
    ),
    (
        changed("[cutters.drill]", '[cutters.Vee]\npreset = "vee-20-0.1"\n[cutters.drill]'),
        '25:10: [cutters.Vee] is there twice: "Vee" (capitals do not count); choose another',
    ),
    (
        changed(
            "[cutters.vee]",
            JOB[JOB.index("[[board]]") : JOB.index("[cutters.vee]")] + "[cutters.vee]",
        ),
        '20:1: [[board]] 2 name is there twice: "memory" (capitals do not count); choose another',
    ),
    (
        changed('holes = ["PINS"] }', 'holes = ["PINS"] }\nlinks = [[[1, 2], [1, 2]]]'),
        "18:10: [[board]] 1 links item 1 must lead from one point to another",
    ),
    (
        changed("spoilboard = 6.0", "spoilboard = 0.5"),
        "33:12: [drilling] cutters item 1 would pass the spoilboard of 0.5 mm: the point of "
        '"drill" goes 0.60 mm below the blank; use a thicker board or less breakthrough',
    ),
    (
        changed("spoilboard = 6.0", "spoilboard = 3.0") + "breakthrough = 3\n",
        "39:1: [profile] breakthrough must end within the spoilboard of 3 mm; got 3",
    ),
    (
        JOB + "tab_height = 1.6\n",
        "39:1: [profile] tab_height must be below the laminate's thickness of 1.6 mm; got 1.6",
    ),
    (
        JOB + "tab_every = 2.5\n",
        "39:1: [profile] tab_every must be above tab_width, 3 mm; got 2.5",
    ),
    (
        REGISTRATION + "key = 3.02\n",
        "40:1: [registration] key must be above hole, 3.02 mm; got 3.02",
    ),
    (
        REGISTRATION + "pin = 3.1\n",
        "40:1: [registration] pin must be below hole, 3.02 mm, for a press fit; got 3.1",
    ),
    *(
        (
            f"{REGISTRATION}pin_diameter = {diameter}\n",
            "40:1: [registration] pin_diameter must be from pin, 2.98, to below hole, 3.02 mm; got "
            f"{diameter}",
        )
        for diameter in (2.97, 3.02)
    ),
    (
        REGISTRATION + 'second_hole = "relieved pin"\npin_flats = 3\n',
        "41:1: [registration] pin_flats must be below pin_diameter, 3 mm; got 3",
    ),
    (
        changed(
            'drawn_from = "components"',
            'drawn_from = "components"\nnetlist = "x.ipc"\nnetlist_mirrored = true',
        ),
        "18:1: [[board]] 1 netlist_mirrored needs netlist_offset; without it the side is found "
        "from the holes",
    ),
    (
        REGISTRATION + "pin_depth = 6.5\n",
        "40:1: [registration] pin_depth must be at most the spoilboard of 6 mm; got 6.5",
    ),
]


@pytest.mark.parametrize(("text", "message"), CASES)
def test_contradictions(tmp_path: Path, text: str, message: str) -> None:
    assert f"job.toml:{message}" in messages(tmp_path, text)


def test_a_default_taken_from_a_mistake_is_no_second_one(tmp_path: Path) -> None:
    text = changed('cutters = ["drill"]', 'cutters = ["drill", "drill"]')
    assert messages(tmp_path, text) == [
        'job.toml:33:21: [drilling] cutters item 2 names "drill" a second time; once is enough'
    ]
