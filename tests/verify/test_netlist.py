"""Copper against netlists: faults seeded on three boards are named by net and part."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pytest
import shapely

from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.as_cut import AsCut, CopperPart
from millprep.model.blank import Placement
from millprep.model.board import Board, CopperPiece, Hole, NetPoint
from millprep.model.finding import Finding
from millprep.verify.netlist import (
    MOST_NAMED,
    PointsOnCopper,
    _listed,
    check_cut_nets,
    check_drawn_nets,
)
from tests.helpers.circuits import DIVIDER, HEATERS, LATCH, Circuit

POSE = Pose(-1.0, 0.0, 60.0, 0.0, 1.0, 20.0)


@dataclass(frozen=True, slots=True)
class Plan:
    """What a comparison reads of the job."""

    jumper_ends: tuple[tuple[Point, Point], ...] = ()
    ignore_nets: tuple[str, ...] = ()


def drawn(circuit: Circuit, board: Board, *ignored: str) -> tuple[Finding, ...]:
    placement = Placement(0, board, 1, 1, POSE)
    return check_drawn_nets(Plan(circuit.wires, ignored), placement)  # type: ignore[arg-type]


def faults(meant: Circuit, spoilt: Circuit) -> list[tuple[str, str]]:
    """Codes and words where the copper of one circuit carries the netlist of another."""
    findings = drawn(meant, spoilt.board(meant.points))
    return [(f.code, f.message[0].lower() + f.message[1:]) for f in findings]


@pytest.mark.parametrize("circuit", [DIVIDER, HEATERS, LATCH], ids=lambda c: c.name)
def test_nothing_is_wrong_with_clean_boards(circuit: Circuit) -> None:
    assert faults(circuit, circuit) == []


def only(found: list[tuple[str, str]], code: str, *words: str) -> None:
    """One finding, with this code, that says all of the words."""
    assert [known for known, _ in found] == [code]
    assert [word for word in words if word not in found[0][1]] == []


def test_a_track_removed() -> None:
    only(faults(DIVIDER, DIVIDER.less_track(0)), "net-open", "net B+", "J1 pin 1", "R1 pin 1")
    only(faults(HEATERS, HEATERS.less_track(3)), "net-open", "net H2", "V2 pin 4", "V1 pin 4")
    only(faults(LATCH, LATCH.less_track(3)), "net-open", "net Q", "LD1 pin k", "R4 pin 1")


def test_a_jumper_wire_removed_is_named_with_the_wire_to_add() -> None:
    found = faults(replace(HEATERS, wires=()), HEATERS)
    only(found, "net-open", "net ANODE", "V1 pin 5", "links = [[[22, 4], [41, 4]]]")


def test_a_track_added() -> None:
    short = faults(DIVIDER, DIVIDER.more_track((10.0, 0.0), (10.0, 10.0)))
    only(short, "net-short", "nets B+ and TAP", "J1 pin 1 and R1 pin 1", "R2 pin 1")
    short = faults(HEATERS, HEATERS.more_track((15.0, 0.0), (15.0, 8.0)))
    only(short, "net-short", "nets H1 and H2", "V1 pin 3", "V1 pin 4")
    short = faults(LATCH, LATCH.more_track((12.0, 12.0), (21.0, 12.0)))
    only(short, "net-short", "nets Q and GND", "R4 pin 1", "R4 pin 2")


def test_a_wire_that_shorts() -> None:
    wired = replace(HEATERS, wires=(*HEATERS.wires, ((35.0, 0.0), (35.0, 8.0))))
    only(faults(wired, HEATERS), "net-short", "nets H1 and H2", "pieces c1 and c2")


@pytest.mark.parametrize(
    ("circuit", "part", "pin", "to", "net"),
    [
        (DIVIDER, "R1", "2", (10.0, 14.0), "TAP"),
        (HEATERS, "V1", "5", (22.0, -8.0), "ANODE"),
        (LATCH, "LD1", "k", (17.0, 19.0), "Q"),
    ],
)
def test_a_pad_moved(circuit: Circuit, part: str, pin: str, to: Point, net: str) -> None:
    """Its point lies on no copper, or on copper without a hole where a track went to it."""
    spoilt = circuit.changed_pin(part, pin, at=to)
    found = dict(faults(circuit, spoilt))
    missed = found.get("net-point-off-copper") or found["net-point-without-hole"]
    assert f"net {net}: {part} pin {pin}" in missed
    assert "piece-without-net" in found, "the pad at its new place"
    assert set(found) <= {"net-point-off-copper", "net-point-without-hole", "piece-without-net"}


def test_a_hole_missing() -> None:
    for circuit, part, pin, net in (
        (DIVIDER, "R2", "2", "0V"), (HEATERS, "V2", "3", "H1"), (LATCH, "S1", "1", "SET"),
    ):  # fmt: skip
        spoilt = circuit.changed_pin(part, pin, drilled=False)
        only(faults(circuit, spoilt), "net-point-without-hole", f"net {net}: {part} pin {pin}")


def test_a_hole_missing_where_the_netlist_does_not_say_what_is_drilled() -> None:
    """One of eight is fewer than all but a tenth, so nothing is said; none of eight is usual."""
    spoilt = LATCH.changed_pin("S1", "1", drilled=False)
    points = tuple(replace(point, drilled=None) for point in LATCH.points)
    assert drawn(LATCH, spoilt.board(points)) == ()
    many = tuple(replace(p, part=f"{p.part}{k}") for k in range(9) for p in points[:2])
    (finding,) = drawn(LATCH, spoilt.board((*points, *many)))
    assert (finding.code, finding.severity) == ("net-point-without-hole", "warn")


@pytest.mark.parametrize(
    ("circuit", "first", "second"),
    [
        (DIVIDER, ("R1", "1"), ("R1", "2")),
        (HEATERS, ("V1", "3"), ("V1", "4")),
        (LATCH, ("R4", "1"), ("R4", "2")),
    ],
)
def test_two_nets_swapped(
    circuit: Circuit, first: tuple[str, str], second: tuple[str, str]
) -> None:
    nets = {(p.part, p.pin): p.net for p in circuit.pins}
    meant = circuit.changed_pin(*first, net=nets[second]).changed_pin(*second, net=nets[first])
    found = faults(meant, circuit)
    assert {code for code, _ in found} == {"net-open", "net-short"}
    for part, pin in (first, second):
        assert any(f"{part} pin {pin}" in words for _, words in found)
    for net in (nets[first], nets[second]):
        assert any(f"net {net} is open" in words for _, words in found)


def test_a_net_that_is_ignored_may_be_open_or_shorted() -> None:
    spoilt = DIVIDER.less_track(0).more_track((10.0, 0.0), (10.0, 10.0))
    board = spoilt.board(DIVIDER.points)
    assert {f.code for f in drawn(DIVIDER, board)} == {"net-open", "net-short"}
    assert drawn(DIVIDER, board, "B+") == ()


def test_copper_without_a_point_is_a_warning() -> None:
    (finding,) = drawn(LATCH, LATCH.more_track((0.0, 30.0), (9.0, 30.0)).board())
    assert (finding.code, finding.severity) == ("piece-without-net", "warn")
    assert finding.frame == "drawing"
    assert finding.at is not None
    assert finding.at[1] == pytest.approx(30.0, abs=0.4)


def cut(circuit: Circuit, less: shapely.Polygon, more: shapely.Polygon) -> list[Finding]:
    """Findings where some copper is cut away and other copper stays, drawing frame."""
    board = circuit.board()
    left = shapely.union_all([piece.shape for piece in board.pieces]).difference(less).union(more)
    parts = tuple(
        CopperPart(
            POSE.shape(part),
            tuple((0, p.id) for p in board.pieces if p.shape.intersection(part).area > 0.01),
        )
        for part in shapely.get_parts(left).tolist()
    )
    as_cut = AsCut(1, (), parts, parts)
    placement = Placement(0, board, 1, 1, POSE)
    plan = Plan(circuit.wires)
    return list(check_cut_nets(plan, as_cut, placement))  # type: ignore[arg-type]


NOTHING = shapely.Polygon()


@pytest.mark.parametrize("circuit", [DIVIDER, HEATERS, LATCH], ids=lambda c: c.name)
def test_copper_cut_as_drawn_has_no_fault(circuit: Circuit) -> None:
    assert cut(circuit, NOTHING, NOTHING) == []


def test_a_cut_through_a_track_names_its_net_and_parts() -> None:
    (finding,) = cut(HEATERS, shapely.box(24.0, -2.0, 24.5, 2.0), NOTHING)
    assert finding.code == "net-open"
    assert finding.message.startswith("As cut, net H1 is open")
    assert "V2 pin 3" in finding.message
    # nearest of the points cut off, mirrored onto the blank
    assert (finding.frame, finding.at) == ("blank", (25.0, 20.0))


def test_copper_left_between_two_nets_names_both() -> None:
    (finding,) = cut(LATCH, NOTHING, shapely.box(12.0, 11.8, 21.0, 12.2))
    assert finding.code == "net-short"
    assert "nets Q and GND" in finding.message


def test_a_pad_cut_away_is_named() -> None:
    (finding,) = cut(HEATERS, shapely.box(20.0, 2.0, 24.0, 6.0), NOTHING)
    assert finding.code == "net-point-off-copper"
    assert "net ANODE: V1 pin 5" in finding.message


def test_of_a_long_list_the_first_few_are_named() -> None:
    assert _listed(["a"]) == "a"
    assert _listed(["a", "b"]) == "a and b"
    many = [f"c{n}" for n in range(MOST_NAMED + 2)]
    assert _listed(many) == f"{', '.join(many[:MOST_NAMED])} and 2 more"


def test_points_without_holes_or_copper_are_on_nothing() -> None:
    board = DIVIDER.board(DIVIDER.points)
    bare = PointsOnCopper([], replace(board, holes=()), ())
    assert bare.has_hole() == [False] * len(board.points)
    assert set(bare.on) == {None}


def piece_at(copper: list[shapely.Polygon], holes: list[Hole], at: Point) -> int | None:
    """The piece of copper that a point lies on."""
    pieces = tuple(CopperPiece(f"c{n}", shape) for n, shape in enumerate(copper, 1))
    board = Board("lamp", shapely.box(-9, -9, 9, 9), pieces, tuple(holes))
    (piece,) = PointsOnCopper(copper, board, (), points=[NetPoint("n", at)]).pieces
    return piece


def test_a_point_without_a_hole_lies_on_the_copper_under_it() -> None:
    pad = shapely.box(0, 0, 2, 2)
    assert piece_at([pad], [], (1.0, 1.0)) == 0
    assert piece_at([pad], [], (2.05, 1.0)) == 0
    assert piece_at([pad], [], (2.07, 1.0)) is None


def test_a_point_beside_a_hole_is_not_in_it() -> None:
    """The wide hole makes the search as wide; the small one reaches no farther for that."""
    pad = shapely.Point(0, 0).buffer(0.8)
    holes = [Hole("h1", (0.0, 0.0), 1.0), Hole("h2", (6.0, 6.0), 4.0)]
    assert piece_at([pad], holes, (0.4, 0.0)) == 0
    assert piece_at([pad], holes, (1.0, 0.0)) is None


def test_a_point_in_a_wide_hole_is_on_the_nearest_copper() -> None:
    hole = Hole("h1", (0.0, 0.0), 4.0)
    near, far = shapely.box(1.0, -1, 3, 1), shapely.box(-3, -1, -1.5, 1)
    assert piece_at([near, far], [hole], (0.0, 0.0)) == 0
    assert piece_at([far, near], [hole], (0.0, 0.0)) == 1
