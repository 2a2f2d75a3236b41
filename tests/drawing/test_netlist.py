"""Netlist files: columns, units and faults; what real ones hold; where they lie on a drawing.

The columns are those of IPC-D-356A (Bare Substrate Electrical Test Data Format), from memory: no
copy of the standard was at hand. Five files of four writers agree with them.
"""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import pytest

from millprep.drawing import netlist
from millprep.drawing.netlist import parse, read_netlist
from millprep.drawing.netlist_placing import with_netlist
from millprep.model.board import Board, NetPoint
from millprep.model.finding import Finding, Refusal
from tests.helpers.circuits import DIVIDER, HEATERS, LATCH, Circuit

HEAD = "C  a comment\nP  JOB test\nP  UNITS CUST 0\n"
RECORDS = HEAD + (
    "P  NNAME1 A_NAME_LONGER_THAN_FOURTEEN\n"
    "317GND              R1    -2    D0315PA00X+010000Y-005000X0630Y0000R270S0\n"
    "317NNAME1           VIA        MD0157PA00X+000100Y 000200X0315Y0000R000S3\n"
    "327N/C              U1    -12         A01X-002500Y+000300X0600Y0200R000S1\n"
    "367N/C              H2          D1260UA00X+000400Y+000400X1260Y0000R000S0\n"
    "017GND                          D0315PA02X+000500Y+000500\n"
    "378GND           D12 X001000Y001000 X002000\n"
    "999\n"
)


def faults(text: str) -> list[Finding]:
    with pytest.raises(Refusal) as caught:
        parse(text, "a.ipc")
    assert caught.value.exit_code == 3
    assert {f.code for f in caught.value.findings} == {"netlist-unreadable"}
    return list(caught.value.findings)


def test_every_column_of_a_record() -> None:
    file = parse(RECORDS, "a.ipc")
    assert file.skipped == 1
    assert file.points == (
        NetPoint("GND", (25.4, -12.7), "R1", "2", True, 0, 5),
        NetPoint("A_NAME_LONGER_THAN_FOURTEEN", (0.254, 0.508), "", "", True, 0, 6),
        NetPoint(None, (-6.35, 0.762), "U1", "12", False, 1, 7),
        NetPoint(None, (1.016, 1.016), "H2", "", True, 0, 8),
        NetPoint("GND", (1.27, 1.27), "", "", True, 2, 9),
    )


@pytest.mark.parametrize(
    ("unit", "x"),
    [("CUST 0", 25.4), ("CUST 1", 10.0), ("CUST 2", 25.4), ("CUST", 25.4), ("SI", 10.0)],
)
def test_units(unit: str, x: float) -> None:
    assert parse(RECORDS.replace("CUST 0", unit), "a.ipc").points[0].at[0] == x


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ("X+010000", "X+01O000", 5, "columns 42 to 57"),
        ("PA00X+010", "PB00X+010", 5, "columns 39 to 41"),
        ("P  UNITS CUST 0\n", "", 4, "before any P UNITS"),
        ("CUST 0", "CUST 7", 3, "unit 'CUST 7' is unknown"),
        ("P  NNAME1 A", "P  NNAME2 A", 6, "NNAME1 is given no name"),
        ("378GND", "Q78GND", 10, "'Q78' begins no record"),
        ("999\n", "", None, "Record 999 is missing"),
        ("C  a comment\n", "P  NNAME1 OTHER\n", 4, "NNAME1 has two names"),
    ],
)
def test_a_fault_is_reported_with_its_line(
    old: str, new: str, line: int | None, words: str
) -> None:
    first = faults(RECORDS.replace(old, new, 1))[0]
    assert first.line == line
    assert words in first.message


def test_all_faults_are_reported_together() -> None:
    bad = RECORDS.replace("X+010000", "X+01000?").replace("A00X+000400", "A0 X+000400")
    assert [f.line for f in faults(bad)] == [5, 8]


TABLE = "# parts\nnet,x,y,part,pin,hole\nGND,1.5,-2,R1,1,0.9\n,3,4,R1,2,0\n\nN/C,5,6,,,1\n"


def test_a_table() -> None:
    netlist = parse(TABLE, "a.csv")
    assert netlist.scales == (1.0, 25.4)
    assert netlist.points == (
        NetPoint("GND", (1.5, -2.0), "R1", "1", True, 0, 3),
        NetPoint(None, (3.0, 4.0), "R1", "2", False, 0, 4),
        NetPoint(None, (5.0, 6.0), "", "", True, 0, 6),
    )
    short = parse("net,y,x\nA,2,1\n", "a.csv")
    assert short.points == (NetPoint("A", (1.0, 2.0), "", "", None, 0, 2),)


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ("net,x,y,part", "net;x;y;part", 2, "commas between them"),
        ("net,x,y,part", "net,x,y,side", 2, "the header must be"),
        ("net,x,y,part", f"net,x,y,{'p' * 140_000}", 2, "the header must be"),
        ("1.5,-2", "1,5,-2", 3, "7 cells under 6 column names"),
        ("1.5,-2", "1.5mm,-2", 3, "x must be plain numbers"),
        ("1.5,-2", "nan,-2", 3, "x must be plain numbers"),
        ("1.5,-2", "1e9,-2", 3, "more than 10000 mm"),
        ("1.5,-2", ",-2", 3, "x and y must be"),
        ("GND", '"GND', 3, "write one row of 6 cells"),
        ("GND", "", None, "no point of any net"),
    ],
    ids=lambda value: str(value)[:20],
)
def test_a_fault_in_a_table(old: str, new: str, line: int | None, words: str) -> None:
    first = faults(TABLE.replace(old, new, 1))[0]
    assert first.line == line
    assert words in first.message


@pytest.mark.parametrize("cell", ["N/C", "n/c", ""])
def test_pins_that_are_not_connected_are_no_net(cell: str) -> None:
    points = parse(f"net,x,y\nA,1,1\n{cell},2,1\n{cell},3,1\n", "a.csv").points
    assert [point.net for point in points] == ["A", None, None]


def test_more_points_than_any_board_has(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(netlist, "MOST_POINTS", 2)
    (records,) = faults(RECORDS)
    (table,) = faults("net,x,y\nA,1,1\nA,2,1\nA,3,1\nA,4,1\n")
    assert (records.line, table.line) == (7, 4)
    assert "has more than 2 points; export one board" in records.message
    assert "has more than 2 points; export one board" in table.message


def test_a_record_continued_without_a_net_belongs_to_the_net_before() -> None:
    more = RECORDS.replace("017GND  ", "017     ").replace("367N/C", "367GND")
    last, before = parse(more, "a.ipc").points[:-3:-1]
    assert (before.net, last.net, last.at) == ("GND", "GND", (1.27, 1.27))
    # after a pin that is not connected it is not connected either
    assert parse(RECORDS.replace("017GND  ", "017     "), "a.ipc").points[-1].net is None


def test_a_continuation_without_a_place_is_no_point() -> None:
    text = RECORDS.replace("X+000500Y+000500", "")
    assert len(parse(text, "a.ipc").points) == 4


def test_what_is_no_netlist(tmp_path: Path) -> None:
    assert "is empty" in faults("\n\n")[0].message
    assert faults("\x00\x01binary\x00")
    with pytest.raises(Refusal, match="cannot be read"):
        read_netlist(tmp_path / "none.ipc", "none.ipc")
    large = tmp_path / "large.ipc"
    with large.open("wb") as file:
        file.truncate(16_000_001)
    with pytest.raises(Refusal, match="more than 16 MB"):
        read_netlist(large, "large.ipc")


SHARED = os.environ.get("MILLPREP_SHARED")
REAL = {  # records, nets, records of no net, by access code; counted in two other ways
    "melodik-x2": (159, 41, 12, {0: 134, 1: 13, 2: 12}),
    "lfo-main-x2": (142, 39, 1, {0: 142}),
    "binding-posts-x2": (155, 11, 0, {0: 143, 1: 12}),
    "tzx-x2-comments": (67, 31, 0, {0: 67}),
    "esr-si-netlist": (590, 54, 7, {0: 568, 1: 8, 16: 14}),
}


@pytest.mark.parametrize("name", REAL)
def test_real_netlists(name: str) -> None:
    if SHARED is None:
        pytest.skip("MILLPREP_SHARED names no folder of real boards")
    folder = Path(SHARED) / "boards" / "gerber" / name
    (file,) = (file for file in folder.iterdir() if file.suffix.lower() == ".ipc")
    points = read_netlist(file, file.name).points
    nets = {point.net for point in points} - {None}
    codes = {code: sum(p.side == code for p in points) for code in {p.side for p in points}}
    free = sum(point.net is None for point in points)
    assert (len(points), len(nets), free, codes) == REAL[name]


def placed(circuit: Circuit, folder: Path, text: str, **how: object) -> Board:
    file = folder / "nets.csv"
    file.write_text(text, "utf-8")
    return with_netlist(circuit.board(()), file, "nets.csv", **how)  # type: ignore[arg-type]


def moved(circuit: Circuit, *, scale: float = 1.0, sign: float = 1.0, x: float = 0.0) -> Circuit:
    """The circuit in another frame."""
    pins = (
        replace(p, at=(round(sign * p.at[0] * scale + x, 6), round(p.at[1] * scale, 6)))
        for p in circuit.pins
    )
    return replace(circuit, pins=tuple(pins))


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({}, "as it is written: 8 of 8"),
        ({"x": 101.6}, "shifted by -101.600, 0.000 mm: 8 of 8"),
        ({"sign": -1.0}, "mirrored left to right: 8 of 8"),
        ({"sign": -1.0, "x": 50.0}, "mirrored left to right, shifted by 50.000, 0.000 mm: 8 of 8"),
        ({"scale": 1 / 25.4}, "read in inches: 8 of 8"),
    ],
)
def test_a_netlist_in_another_frame_is_laid_on_the_holes(
    how: dict[str, float], words: str, tmp_path: Path
) -> None:
    board = placed(LATCH, tmp_path, moved(LATCH, **how).csv)
    for point, pin in zip(board.points, LATCH.pins, strict=True):
        assert point.at == pytest.approx(pin.at, abs=1e-4)
    (note,) = board.doubts
    assert (note.code, note.severity) == ("netlist-placed", "note")
    assert words in note.message


def test_a_netlist_that_fits_two_ways_is_refused(tmp_path: Path) -> None:
    """Two pins in a row of equal holes: shifted there, or mirrored, is as good."""
    row = Circuit(
        "row",
        tuple(replace(DIVIDER.pins[0], pin=str(k), at=(2.54 * k, 0.0)) for k in range(6)),
        (((0.0, 0.0), (12.7, 0.0)),),
    )
    with pytest.raises(Refusal) as caught:
        placed(row, tmp_path, moved(row, x=30.0).csv)
    assert [f.code for f in caught.value.findings] == ["netlist-placed-twice"]
    assert "netlist_offset" in caught.value.findings[0].message
    board = placed(row, tmp_path, moved(row, x=30.0).csv, shift=(-30.0, 0.0))
    assert board.points[5].at == (12.7, 0.0)
    # as written it is compared, and the other way is said
    board = placed(row, tmp_path, row.csv)
    assert [(f.code, f.severity) for f in board.doubts] == [
        ("netlist-placed-twice", "warn"),
        ("netlist-placed", "note"),
    ]


def test_the_netlist_of_another_board_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Refusal) as caught:
        placed(LATCH, tmp_path, HEATERS.csv)
    assert [f.code for f in caught.value.findings] == ["netlist-not-placed"]


def test_a_netlist_over_a_board_without_a_hole_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "nets.csv"
    file.write_text(LATCH.csv, "utf-8")
    with pytest.raises(Refusal) as caught:
        with_netlist(replace(LATCH.board(()), holes=()), file, "nets.csv")
    (finding,) = caught.value.findings
    assert finding.code == "netlist-not-placed"
    assert "at best 0 of 8 drilled points hit holes, as it is written" in finding.message


def test_points_of_the_other_side_are_left_out(tmp_path: Path) -> None:
    record = "3{kind}7{net:<17}{part:<6}-{pin:<4} {hole:<6}A{side}X{x:+07d}Y{y:+07d}\n"
    text = "P  UNITS CUST 1\n"
    for pin in LATCH.pins:
        x, y = (round(1000 * v) for v in pin.at)
        text += record.format(kind=1, net=pin.net, part=pin.part, pin=pin.pin, hole="D1000P",
                              side="00", x=x, y=y)  # fmt: skip
    for side, y in (("01", 8000), ("02", 12000)):
        text += record.format(kind=2, net="Q", part="U", pin=side, hole="", side=side, x=7000, y=y)
    text += "378Q                D12 X001000Y001000 X002000\n"
    board = placed(LATCH, tmp_path, text + "999\n")
    assert [p.pin for p in board.points if p.side] == ["02"]
    assert board.doubts[-1].message.endswith(
        "1 can be reached from the other side only: left out. "
        "1 records of conductors and edges are not compared."
    )
