"""Small drawings of one trouble each: what is read of them, told, asked or refused."""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
import shapely

from millprep.drawing import read
from millprep.model.board import Board
from millprep.model.finding import Refusal
from millprep.model.job.layers import LayerRoles, OutlinePen
from tests.helpers.sheet import FOIL, ROLES, Sheet
from tests.helpers.small_job import run

Draw = Callable[[Sheet], None]
NO_HOLES = LayerRoles(("foil",), ("rim",), ())
NESTED = replace(NO_HOLES, copper_modes=(("foil", "nested outlines"),))


@dataclass(frozen=True)
class Read:
    """Expected: pieces, holes, and what is said of the layers left aside, by code and words."""

    pieces: int
    holes: int
    doubts: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Refused:
    """Expected: a refusal with this code, whose message holds these words."""

    code: str
    words: str


def tracks(sheet: Sheet, layer: str = "foil", y: float = 10.0, width: float = 1.0) -> None:
    """Two tracks side by side."""
    for k in range(2):
        sheet.space.add_lwpolyline(
            [(10, y + 3 * k), (20, y + 3 * k)],
            dxfattribs={"layer": layer, "const_width": width},
        )


def second_copper(sheet: Sheet) -> None:
    """A second layer of tracks, one of which starts on the first."""
    tracks(sheet)
    tracks(sheet, "tin", 13.0)


def bare_tracks(sheet: Sheet) -> None:
    """Centre lines from pad to pad on a layer of their own."""
    for x in (10, 20, 30):
        sheet.pad(x, 10)
    for x in (10, 20):
        sheet.space.add_line((x, 10), (x + 10, 10), dxfattribs={"layer": "threads"})


def mask(sheet: Sheet) -> None:
    """The copper again, 0.1 mm wider, as openings of a mask."""
    tracks(sheet)
    tracks(sheet, "mask", width=1.2)


def mask_and_a_bridge(sheet: Sheet) -> None:
    """Between tracks 0.3 mm apart, a short line that joins them, all within the mask's reach."""
    tracks(sheet, width=2.7)
    sheet.space.add_lwpolyline(
        [(15, 11.2), (15, 11.8)], dxfattribs={"layer": "mask", "const_width": 0.3}
    )


def wide_mask(sheet: Sheet) -> None:
    """Lines that reach 0.4 mm beyond the copper below them."""
    tracks(sheet)
    tracks(sheet, "mask", width=1.8)


def print_beside(sheet: Sheet) -> None:
    """Bare lines that keep off the copper: print, not copper."""
    tracks(sheet)
    for k in range(4):
        sheet.space.add_line((30, 5 + k), (35, 5 + k), dxfattribs={"layer": "print"})


def second_holes(sheet: Sheet) -> None:
    """Holes on two layers, one of them not named."""
    sheet.pad(10, 10)
    sheet.space.add_circle((10, 10), 0.4, dxfattribs={"layer": "deep"})
    sheet.space.add_circle((40, 5), 1.6, dxfattribs={"layer": "deep"})


def same_holes(sheet: Sheet) -> None:
    """The same hole again, and a ring wider than its pad: nothing is missing."""
    tracks(sheet)
    sheet.pad(30, 10)
    sheet.space.add_circle((45, 25), 0.6, dxfattribs={"layer": "deep"})
    sheet.space.add_circle((30, 10), 1.1, dxfattribs={"layer": "deep"})


def pads_with_circles(sheet: Sheet) -> None:
    """Square pads as closed lines, a circle in each."""
    for x in (10, 20):
        sheet.box(x - 1, 9, x + 1, 11, layer="foil")
        sheet.space.add_circle((x, 10), 0.4, dxfattribs=FOIL)


def no_hole_layer(sheet: Sheet) -> None:
    """Pads with circles and a mounting hole on the copper layer, and no layer of holes."""
    sheet.space.delete_all_entities()
    sheet.box(0, 0, 50, 30)
    pads_with_circles(sheet)
    sheet.space.add_circle((40, 20), 1.6, dxfattribs=FOIL)


def pads_apart(sheet: Sheet) -> None:
    """Tracks, pads and holes on a layer each."""
    tracks(sheet)
    for y in (10, 13):
        sheet.space.add_circle((10, y), 1, dxfattribs={"layer": "lands"})
        sheet.space.add_circle((10, y), 0.4, dxfattribs={"layer": "bores"})


def open_copper(sheet: Sheet) -> None:
    """Two layers that could be copper: one by a mode, one by a width."""
    sheet.space.delete_all_entities()
    sheet.box(0, 0, 50, 30)
    sheet.box(5, 5, 20, 20, layer="foil")
    sheet.box(8, 8, 12, 12, layer="foil")
    sheet.box(18, 18, 25, 25, layer="foil")
    for k in range(3):
        points = [(30, 5 + k), (35, 5 + k), (36, 6 + 2 * k)]
        sheet.space.add_lwpolyline(points, dxfattribs={"layer": "threads"})


def two_boards(sheet: Sheet) -> None:
    """The same board twice, side by side."""
    sheet.space.delete_all_entities()
    for x in (0, 60):
        sheet.box(x, 0, x + 50, 30)
        for y in (10, 15):
            points = [(x + 5, y), (x + 20, y)]
            sheet.space.add_lwpolyline(points, dxfattribs={**FOIL, "const_width": 1})
        sheet.space.add_circle((x + 5, 10), 0.4, dxfattribs={"layer": "bores"})


def crossed_line(sheet: Sheet) -> None:
    """Six closed lines, one of which crosses itself."""
    for k in range(5):
        sheet.box(5 + 6 * k, 5, 9 + 6 * k, 9, layer="foil")
    points = [(5, 15), (9, 19), (9, 15), (5, 19)]
    sheet.space.add_lwpolyline(points, close=True, dxfattribs=FOIL)


def nothing(sheet: Sheet) -> None:
    """No entity at all."""
    sheet.space.delete_all_entities()


def only_text(sheet: Sheet) -> None:
    """Nothing but text."""
    sheet.space.delete_all_entities()
    sheet.space.add_text("lamp", dxfattribs=FOIL)


def hatch_without_paths(sheet: Sheet) -> None:
    """A fill that has no boundary at all, next to tracks."""
    tracks(sheet)
    sheet.space.add_hatch(dxfattribs=FOIL)


def splined_hatch(sheet: Sheet) -> None:
    """A fill bounded by two splines, each with fit points of its own."""
    tracks(sheet)
    edge = sheet.space.add_hatch(dxfattribs=FOIL).paths.add_edge_path()
    up, down = [(30, 10), (35, 14), (40, 10)], [(40, 10), (35, 6), (30, 10)]
    for points in (up, down):
        edge.add_spline(fit_points=points, control_points=points, degree=2)


def region(sheet: Sheet, *, filled: bool = True) -> None:
    """A REGION, which bounds a fill."""
    tracks(sheet)
    body = sheet.space.add_region(dxfattribs=FOIL)
    body.sat = ("400 0 1 0", "4 lamp 4 lamp 4 lamp", "1 9.9e-007 1e-010", "End-of-ACIS-data")
    if filled:
        corners = [(30, 5), (40, 5), (40, 15)]
        path = sheet.space.add_hatch(dxfattribs=FOIL).paths.add_polyline_path(corners)
        path.source_boundary_objects = [body.dxf.handle]


def lone_region(sheet: Sheet) -> None:
    """A REGION that no fill names."""
    region(sheet, filled=False)


def slot_in_the_edge(sheet: Sheet) -> None:
    """A slot on the layer of the edge, which the job names for the holes too."""
    tracks(sheet)
    corners = [(30, 20, 0), (35, 20, 1), (35, 22, 0), (30, 22, 1)]
    sheet.space.add_lwpolyline(corners, format="xyb", close=True, dxfattribs={"layer": "rim"})


def pen_edge(sheet: Sheet) -> None:
    """An edge drawn with a pen and left open by 2 mm, and fine print on another layer."""
    sheet.space.delete_all_entities()
    edge = [(2, 0), (50, 0), (50, 30), (0, 30), (0, 0)]
    sheet.space.add_lwpolyline(edge, dxfattribs={"layer": "rim", "const_width": 0.2})
    tracks(sheet)
    for k in range(2):
        points = [(30, 10 + 0.15 * k), (35, 10 + 0.15 * k)]
        style = {"layer": "print", "const_width": 0.1}
        sheet.space.add_lwpolyline(points, dxfattribs=style)


def two_rings(sheet: Sheet) -> None:
    """The edge as two rings 0.05 mm apart, with a round cut-out drawn the same way."""
    tracks(sheet)
    sheet.box(0.05, 0.05, 49.95, 29.95)
    for r in (3, 2.8):
        sheet.space.add_circle((40, 8), r, dxfattribs={"layer": "rim"})


def capsules(sheet: Sheet) -> None:
    """The edge as the outlines of four thick lines."""
    sheet.space.delete_all_entities()
    corners = [(0, 0), (50, 0), (50, 30), (0, 30), (0, 0)]
    for (x0, y0), (x1, y1) in itertools.pairwise(corners):
        length = math.dist((x0, y0), (x1, y1))
        ux, uy = 0.1 * (x1 - x0) / length, 0.1 * (y1 - y0) / length
        rim = [
            (x0 + uy, y0 - ux, 0), (x1 + uy, y1 - ux, 1),
            (x1 - uy, y1 + ux, 0), (x0 - uy, y0 + ux, 1),
        ]  # fmt: skip
        sheet.space.add_lwpolyline(rim, format="xyb", close=True, dxfattribs={"layer": "rim"})
    tracks(sheet)


def copper_in_a_cut_out(sheet: Sheet) -> None:
    """A line 2 mm within the edge, around all copper."""
    tracks(sheet)
    sheet.box(2, 2, 48, 28)


def three_gaps(sheet: Sheet) -> None:
    """An edge of lines that leave three gaps."""
    sheet.space.delete_all_entities()
    tracks(sheet)
    lines = [
        ((0, 0), (50, 0)), ((50, 0.1), (50, 30)), ((50, 30), (0.2, 30)), ((0, 30), (0, 0.04)),
    ]  # fmt: skip
    for start, end in lines:
        sheet.space.add_line(start, end, dxfattribs={"layer": "rim"})


def circle_below_zero(sheet: Sheet) -> None:
    """A circle whose radius is below 0."""
    tracks(sheet)
    sheet.space.add_circle((30, 10), -1, dxfattribs=FOIL)


def circle_of_no_number(sheet: Sheet) -> None:
    """A circle whose radius is no number."""
    tracks(sheet)
    sheet.space.add_circle((30, 10), math.nan, dxfattribs=FOIL)


READINGS: list[tuple[Draw, LayerRoles, Read | Refused]] = [
    (second_copper, ROLES, Read(2, 1, (
        ("copper-layer-unused", '"tin" may be copper, and the job does not use it: 2 lines with a '
         "width; 1 of its 2 shapes on the board touch"),))),
    # what the job knows to be something else is asked about no more
    (second_copper, replace(ROLES, other=("tin",)), Read(2, 1, ())),
    (bare_tracks, ROLES, Read(3, 1, (
        ("copper-layer-unused", "1 line without a width; 1 of its 1 shape on the board "),))),
    (print_beside, ROLES, Read(2, 1)),
    # what lies on one piece, or 0.2 mm around it, adds no copper; a bridge does
    (mask, ROLES, Read(2, 1)),
    (mask_and_a_bridge, ROLES, Read(2, 1, (
        ("copper-layer-unused", '"mask" may be copper, and the job does not use it: 1 line'),))),
    (wide_mask, ROLES, Read(2, 1, (("copper-layer-unused", '"mask" may be copper'),))),
    (second_holes, ROLES, Read(1, 1, (
        ("holes-layer-unused", '"deep" holds nothing but 2 circles of 0.80 to 3.20 mm. The board '
         "has no hole there, and 1 of them lie on its copper; the first is at (10"),))),
    (same_holes, ROLES, Read(3, 1)),
    (pads_with_circles, NESTED, Read(2, 0, (
        ("holes-layer-unused", '"bores"'),
        ("holes-none", "2 circles of 0.80 mm; the first is at (10.000, 10.000)")))),
    (hatch_without_paths, ROLES, Read(2, 1)),
    (splined_hatch, ROLES, Read(3, 1)),
    (region, ROLES, Read(3, 1)),
    (slot_in_the_edge, replace(ROLES, holes=("rim", "bores")), Read(2, 2)),
    (lone_region, ROLES, Refused(
        "entity-unsupported", "a REGION, an area in the form of a solid modeller, cannot")),
    (two_rings, ROLES, Refused("outline-of-a-pen", "two rims of a line 0.198 mm wide")),
    (two_rings, replace(ROLES, outline_pen="outer"), Read(2, 1, ())),
    (capsules, NO_HOLES, Refused("outline-of-a-pen", 'outline_pen = "outer", "middle" or "inner"')),
    (capsules, replace(NO_HOLES, outline_pen="middle"), Read(2, 0, ())),
    (copper_in_a_cut_out, ROLES, Refused(
        "copper-in-cut-out", "from (2.000, 2.000) to (48.000, 28.000) lies within")),
    (three_gaps, NO_HOLES, Refused(
        "outline-open", "it has 3 gaps, the widest 0.2000 mm; close the gap")),
    (circle_below_zero, ROLES, Refused("entity-damaged", "its radius is -1")),
    (circle_of_no_number, ROLES, Refused("entity-damaged", "its radius is nan")),
    (two_boards, ROLES, Refused("outline-several", "--region -0.1,-0.1,50.1,30.1")),
    (crossed_line, ROLES, Refused("copper-crosses-itself", "crosses itself")),
    (nothing, ROLES, Refused("drawing-empty", "holds no entities")),
    (pads_with_circles, NO_HOLES, Refused("copper-ambiguous", "name the layer in layers.holes")),
]  # fmt: skip


@pytest.mark.parametrize(
    ("draw", "roles", "expected"), READINGS, ids=[case[0].__name__ for case in READINGS]
)
def test_a_reading(tmp_path: Path, draw: Draw, roles: LayerRoles, expected: Read | Refused) -> None:
    sheet = Sheet(tmp_path)
    draw(sheet)
    if isinstance(expected, Refused):
        with pytest.raises(Refusal) as caught:
            sheet.read(roles)
        said = {f.code: f.message for f in reversed(caught.value.findings)}
        assert set(said) == {expected.code}
        assert expected.words in said[expected.code]
        return
    board = sheet.read(roles)
    assert (len(board.pieces), len(board.holes)) == (expected.pieces, expected.holes)
    assert [doubt.code for doubt in board.doubts] == [code for code, _ in expected.doubts]
    for doubt, (_, words) in zip(board.doubts, expected.doubts, strict=True):
        assert words in doubt.message
        assert (doubt.severity, doubt.board) == ("warn", "lamp")


def of_many(kind: str, body: Iterable[str]) -> str:
    """Entities of a kind on the copper's layer, as a file writes them."""
    subclass = {"LINE": "Line", "CIRCLE": "Circle", "LWPOLYLINE": "Polyline"}[kind]
    head = f"0\n{kind}\n100\nAcDbEntity\n8\nfoil\n100\nAcDb{subclass}\n"
    return "".join(head + rest for rest in body)


def loop(points: Sequence[tuple[float, float]]) -> str:
    """The rest of a closed line, below its head."""
    return f"90\n{len(points)}\n70\n1\n" + "".join(f"10\n{x:.4f}\n20\n{y:.4f}\n" for x, y in points)


def squares(count: int) -> Iterator[list[tuple[float, float]]]:
    """Squares of 8 mm anywhere on the board, always the same ones."""
    chance = random.Random(1)
    for _ in range(count):
        x, y = chance.uniform(1, 40), chance.uniform(1, 20)
        yield [(x, y), (x + 8, y), (x + 8, y + 8), (x, y + 8)]


def lines(count: int) -> str:
    """As many lines."""
    ends = (f"10\n{k % 99}\n20\n{k // 99}\n11\n1\n21\n1\n" for k in range(count))
    return of_many("LINE", ends)


def digits(count: int) -> str:
    """One circle, with as many digits in one number."""
    return of_many("CIRCLE", [f"10\n5.{'1' * count}\n20\n5\n40\n2\n"])


def rings(count: int) -> str:
    """As many circles about one point."""
    radii = (0.01 * k for k in range(1, count + 1))
    return of_many("CIRCLE", (f"10\n25\n20\n15\n40\n{radius}\n" for radius in radii))


def polygon(count: int) -> str:
    """One loop with as many vertices."""
    turns = np.linspace(0, 2 * math.pi, count, endpoint=False).tolist()
    points = [(25 + 10 * math.cos(turn), 15 + 10 * math.sin(turn)) for turn in turns]
    return of_many("LWPOLYLINE", [loop(points)])


def overlaps(count: int) -> str:
    """As many squares anywhere on the board."""
    return of_many("LWPOLYLINE", map(loop, squares(count)))


LARGE: dict[str, tuple[Callable[[int], str], int, str]] = {
    "lines": (lines, 290_000, "entities and other records; at most 50000 are read"),
    "bytes": (digits, 21_000_000, "more than 20 MB"),
    "digits": (digits, 19_000_000, ""),
    "circles": (rings, 1_000, "more than 150000 times one of its shapes lies on another"),
    "overlaps": (overlaps, 3_000, "more than 150000 times one of its shapes lies on another"),
    "vertices": (polygon, 50_000, ""),
}
"""What is drawn, how much of it, and the words of its refusal; "" where it is one piece."""


@pytest.mark.parametrize("what", LARGE)
def test_a_drawing_larger_than_any_board_is_refused_early(tmp_path: Path, what: str) -> None:
    sheet = Sheet(tmp_path)
    sheet.doc.saveas(sheet.file)
    drawn, count, words = LARGE[what]
    head, mark, tail = sheet.file.read_text("utf-8").partition("  0\nSECTION\n  2\nENTITIES\n")
    assert mark
    sheet.file.write_text(head + mark + drawn(count) + tail, "utf-8")

    def made() -> Board:
        return read(sheet.file, name="lamp", shown_as="sheet.dxf", layers=ROLES, unit=None)

    if not words:
        assert len(made().pieces) == 1
        return
    with pytest.raises(Refusal) as caught:
        made()
    assert [f.code for f in caught.value.findings] == ["drawing-too-large"]
    assert words in caught.value.findings[0].message


STARTS: list[tuple[Draw, tuple[str, ...], int, tuple[str, ...]]] = [
    (second_copper, (), 0, (
        "left to fill in: layers.copper", "  foil: 2 lines with a width; 2 pieces",
        "  tin: 2 lines with a width; 2 pieces")),
    (bare_tracks, (), 0, (
        "left to fill in: layers.holes, layers.widths", "  foil: 3 circles, each filled; 3 pieces",
        'layers.widths = { "threads" = "FILL IN" }', "  foil: 3 circles of 1 size, no more")),
    (pads_apart, (), 0, (
        "left to fill in: layers.copper", "  foil: 2 lines with a width; 2 pieces",
        "  lands: 2 circles, each filled; 2 pieces", "  bores: 3 circles of 2 sizes")),
    (no_hole_layer, (), 0, (
        'layers.holes = ["FILL IN"]',
        "  foil: 3 circles among others, 0.8 mm to 3.2 mm; named here too, the inner")),
    (open_copper, (), 0, (
        "left to fill in: layers.modes", '"overlapping outlines": 3 closed lines',
        "layers.widths: 3 open lines of no width")),
    (two_boards, (), 0, (
        "2 separate boards: 50.00 × 30.00 mm at (0.00, 0.00)",
        "`millprep new --region -0.1,-0.1,50.1,30.1` writes it")),
    (two_boards, ("--region", "59,-1,111,31"), 0, (
        'layers.copper = ["foil of this board"]', 'layers.outline = ["rim of this board"]',
        "region = [59.0, -1.0, 111.0, 31.0]", "size = [70, 50]", "Nothing is left to fill in")),
    (crossed_line, (), 0, (
        "at (7.000, 17.000): its line crosses itself; draw it as separate outlines",
        "once 1 line that cross themselves are drawn anew", "5 pieces, narrowest gap 2 mm")),
    (pen_edge, (), 0, (
        "  foil: 2 lines with a width; 2 pieces", "  print: 2 lines with a width; 2 pieces",
        "may be outline: a closed line drawn with a pen",
        "No gap between pieces of copper is known")),
    (nothing, (), 3, ("model space of sheet.dxf holds no entities",)),
    (only_text, (), 3, ("sheet.dxf holds no line and no area: 1 TEXT",)),
]  # fmt: skip
"""Drawing, options, exit code of `new`, and words that it prints or writes into the job."""


@pytest.mark.parametrize(
    ("draw", "options", "code", "words"), STARTS, ids=[case[0].__name__ for case in STARTS]
)
def test_a_start(
    tmp_path: Path, draw: Draw, options: tuple[str, ...], code: int, words: tuple[str, ...]
) -> None:
    sheet = Sheet(tmp_path)
    draw(sheet)
    sheet.doc.saveas(sheet.file)
    job = tmp_path / "job.toml"
    result = run("new", sheet.file, "--drawn-from", "copper", *options, "--out", job)
    assert result.exit_code == code, result.output
    text = result.output + (job.read_text("utf-8") if job.exists() else "")
    for part in words:
        assert part in text, text


def test_the_unit_of_a_further_file_is_asked_when_it_has_none(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    tracks(sheet)
    sheet.doc.saveas(sheet.file)
    (tmp_path / "rim").mkdir()
    edge = Sheet(tmp_path / "rim", insunits=None, rim=False)
    edge.space.delete_all_entities()
    edge.box(0, 0, 50 / 25.4, 30 / 25.4)
    edge.doc.saveas(edge.file)

    def board(roles: LayerRoles) -> Board:
        return read(
            sheet.file, name="lamp", shown_as="sheet.dxf", layers=roles, unit=None,
            outline_file=edge.file,
        )  # fmt: skip

    with pytest.raises(Refusal) as caught:
        board(ROLES)
    assert [f.code for f in caught.value.findings] == ["drawing-no-unit"]
    assert "in the job, as outline_unit" in caught.value.findings[0].message
    assert board(replace(ROLES, outline_unit="inch")).outline.bounds == pytest.approx(
        (0, 0, 50, 30)
    )
    start = ("new", sheet.file, "--drawn-from", "copper", "--outline-drawing", edge.file)
    required = run(*start, "--out", tmp_path / "a.toml")
    assert "left to fill in: outline_unit" in required.stdout
    assert 'outline_unit = "FILL IN"' in (tmp_path / "a.toml").read_text("utf-8")
    answered = run(*start, "--outline-unit", "inch", "--out", tmp_path / "b.toml")
    assert "left to fill in" not in answered.stdout
    assert 'outline_unit = "inch"' in (tmp_path / "b.toml").read_text("utf-8")


@pytest.mark.parametrize(
    ("draw", "pen", "inset", "radii"),
    [
        (two_rings, "outer", 0.0, [3.0]),
        (two_rings, "middle", 0.025, [2.9]),
        (two_rings, "inner", 0.05, [2.8]),
        (capsules, "outer", -0.1, []),
        (capsules, "middle", 0.0, []),
        (capsules, "inner", 0.1, []),
    ],
)
def test_an_edge_of_a_pen_is_the_line_that_the_job_says(
    tmp_path: Path, draw: Draw, pen: OutlinePen, inset: float, radii: list[float]
) -> None:
    sheet = Sheet(tmp_path)
    draw(sheet)
    edge = sheet.read(replace(NO_HOLES, outline_pen=pen)).outline
    expected = (inset, inset, 50 - inset, 30 - inset)
    assert edge.bounds == pytest.approx(expected, abs=1e-6)
    # chords of 2 µm make the pen's width and the radius as much smaller, 3 µm together
    read_radii = [math.sqrt(shapely.Polygon(ring).area / math.pi) for ring in edge.interiors]
    assert read_radii == pytest.approx(radii, abs=3e-3)


def test_new_asks_which_line_of_a_pen_is_the_edge(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    two_rings(sheet)
    sheet.doc.saveas(sheet.file)
    done = run("new", sheet.file, "--drawn-from", "copper", "--out", tmp_path / "job.toml")
    assert "left to fill in: outline_pen" in done.stdout
    assert 'outline_pen = "FILL IN"' in (tmp_path / "job.toml").read_text("utf-8")


@pytest.mark.parametrize(
    ("count", "accepted", "words"),
    [
        (1, (), "the copper, edge or hole that it draws disappears"),
        (1, ("incomplete-hatch",), "accept 'incomplete-hatch 34'"),
        (5, ("incomplete-hatch",), "'incomplete-hatch 34', 'incomplete-hatch 35'"),
        (1, ("incomplete-hatch 34",), None),
    ],
)
def test_a_shape_in_use_is_removed_only_by_its_own_name(
    tmp_path: Path, count: int, accepted: tuple[str, ...], words: str | None
) -> None:
    sheet = Sheet(tmp_path)
    for k in range(count):
        path = [(5, 5 + 3 * k), (9, 5 + 3 * k), (9, 7 + 3 * k)]
        sheet.space.add_hatch(dxfattribs=FOIL).paths.add_polyline_path(path)
    tracks(sheet)
    sheet.doc.saveas(sheet.file)
    whole = sheet.file.read_text("utf-8")
    sheet.file.write_text(whole.replace(" 91\n1\n", " 91\n3\n"), "utf-8")

    def mended() -> Board:
        return read(
            sheet.file, name="lamp", shown_as="sheet.dxf", layers=ROLES, unit=None,
            repair=True, accepted=accepted,
        )  # fmt: skip

    if words is None:
        board = mended()
        assert len(board.pieces) == 2
        assert "disappears" in board.repairs[0]
        return
    with pytest.raises(Refusal) as caught:
        mended()
    (finding,) = caught.value.findings
    assert finding.code == "repair-not-accepted"
    assert words in finding.message
