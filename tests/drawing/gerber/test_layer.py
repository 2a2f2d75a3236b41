"""Gerber files, statement by statement: areas in closed form, and refusals with their lines."""

from __future__ import annotations

import math

import pytest
import shapely

from millprep.drawing import copper
from millprep.drawing.gerber import painter
from millprep.drawing.gerber.layer import GerberLayer, read_layer
from millprep.drawing.gerber.statements import UnreadableError
from millprep.drawing.marks.mark import Stroke

HEAD = "%FSLAX34Y34*%%MOMM*%"
"""Format of 3 and 4 digits, mm: 10000 is 1 mm."""
DOTS = HEAD + "%ADD10C,1.0*%%ADD11R,2.0X1.0*%%ADD12C,0.2*%D10*"
QUARTER = math.pi / 4


def read(text: str) -> GerberLayer:
    """A file of these statements and an end."""
    return read_layer((text + "M02*").encode(), "layer")


def shapes(text: str) -> list[shapely.Polygon]:
    """The pieces of copper that the statements draw, left to right."""
    painted = read(text).shapes
    return copper.sorted_reading(copper.pieces([area for s in painted for area in s.areas]))


def macro(body: str, values: str = "") -> str:
    """A flash of a macro at the origin."""
    return HEAD + f"%AMPAD*{body}*%%ADD20PAD{values and ','}{values}*%D20*X0Y0D03*"


AREAS = {
    "circle": (HEAD + "%ADD10C,2.0*%D10*X0Y0D03*", math.pi),
    "circle with a hole": (HEAD + "%ADD10C,2.0X1.0*%D10*X0Y0D03*", 0.75 * math.pi),
    "circle with a square hole": (HEAD + "%ADD10C,2.0X1.0X0.5*%D10*X0Y0D03*", math.pi - 0.5),
    "rectangle": (DOTS + "D11*X0Y0D03*", 2.0),
    "obround": (HEAD + "%ADD10O,3.0X1.0*%D10*X0Y0D03*", 2 + QUARTER),
    "upright obround": (HEAD + "%ADD10O,1.0X3.0X0.5*%D10*X0Y0D03*", 2 + 0.75 * QUARTER),
    "polygon": (HEAD + "%ADD10P,2.0X4X45.0*%D10*X0Y0D03*", 2.0),
    "line": (DOTS + "X0Y0D02*G01X40000D01*", 4 + QUARTER),
    "line of no length": (DOTS + "X0Y0D02*X0Y0D01*", QUARTER),
    "line of a rectangle": (DOTS + "D11*X0Y0D02*X30000Y40000D01*", 2 + 3 + 8),
    "half ring": (DOTS + "G75*X0Y0D02*G03X40000Y0I20000J0D01*", 2 * math.pi + QUARTER),
    "quarter ring": (DOTS + "G74*X20000Y0D02*G03X0Y20000I20000J0D01*", math.pi + QUARTER),
    "quarter ring of old": (DOTS + "X20000Y0D02*G03X0Y20000I20000J0D01*", math.pi + QUARTER),
    "ring": (DOTS + "G75*X20000Y0D02*G02X20000Y0I-20000J0D01*", 4 * math.pi),
    "region": (HEAD + "G36*X0Y0D02*G01X30000D01*Y20000D01*X0D01*Y0D01*G37*", 6.0),
    "region with an arc": (
        HEAD + "G75*G36*X10000Y0D02*G03X-10000Y0I-10000J0D01*G01X10000D01*G37*", math.pi / 2,
    ),
    "region with a cut-in": (
        HEAD + "G36*X0Y0D02*G01X50000D01*Y50000D01*X10000D01*Y40000D01*X20000D01*Y20000D01*"
        "X10000D01*Y40000D01*Y50000D01*X0D01*Y0D01*G37*", 23.0,
    ),
    "two contours": (
        HEAD + "G36*X0Y0D02*X10000D01*Y10000D01*X0Y0D01*X50000D02*X70000D01*Y10000D01*X50000Y0D01*"
        "G37*", 1.5,
    ),
    "clear on dark": (DOTS + "D11*X0Y0D03*%LPC*%D12*X0Y0D03*", 2 - 0.04 * QUARTER),
    "dark on clear on dark": (DOTS + "D11*X0Y0D03*%LPC*%D10*X0Y0D03*%LPD*%D12*X0Y0D03*",
                              2 - QUARTER + 0.04 * QUARTER),
    "a hole clears nothing below": (
        DOTS + "%ADD13C,3.0X1.0*%D10*X0Y0D03*D13*X0Y0D03*", 9 * QUARTER,
    ),
    "steps": (DOTS + "%SRX3Y2I5.0J4.0*%X0Y0D03*%SR*%", 6 * QUARTER),
    "steps to the end": (DOTS + "%SRX3Y2I5.0J4.0*%X0Y0D03*", 6 * QUARTER),
    "block": (DOTS + "%ABD30*%X0Y0D03*D11*X50000Y0D03*%AB*%D30*X0Y0D03*X0Y90000D03*",
              2 * (2 + QUARTER)),
    "block that takes away": (
        DOTS + "%ABD30*%D10*X0Y0D03*%LPC*%D12*X0Y0D03*%LPD*%%AB*%D11*X0Y0D03*D30*X0Y0D03*",
        2 - 0.04 * QUARTER,
    ),
    "clear block": (
        DOTS + "%ABD30*%D10*X0Y0D03*%LPC*%D12*X0Y0D03*%LPD*%%AB*%D11*X0Y0D03*%LPC*%D30*X0Y0D03*",
        2 - QUARTER + 0.04 * QUARTER,
    ),
    "turned and scaled": (DOTS + "D11*%LR90*%%LS3*%X0Y0D03*", 18.0),
    "scaled pen": (DOTS + "%LS2*%X0Y0D02*X40000D01*", 8 + 4 * QUARTER),
    "inch": ("%FSLAX24Y24*%%MOIN*%%ADD10R,1X1*%D10*X0Y0D03*", 25.4**2),
    "inch of old": ("G70*%FSLAX24Y24*%%ADD10R,1X1*%D10*X0Y0D03*", 25.4**2),
    "scaled image": (DOTS + "%SFA2B1*%D10*X0Y0D02*X20000D01*", 4 + QUARTER),
    "no size": (HEAD + "%ADD10C,0*%D10*X0Y0D03*%ADD11C,1*%D11*X0Y0D03*", QUARTER),
    "several statements between %": ("%FSLAX34Y34*MOMM*ADD10C,1*%D10*X0Y0D03*", QUARTER),
    "clear on nothing": (DOTS + "%LPC*%X0Y0D03*%LPD*%D11*X0Y0D03*", 2.0),
    "numbered statements": (DOTS + "N10X0Y0D03*N20G04 a comment*", QUARTER),
    "a contour there and back": (
        DOTS + "X0Y0D03*G36*X0Y0D02*X10000D01*X0D01*X0Y50000D02*Y60000D01*G37*", QUARTER,
    ),
    "round obround": (HEAD + "%ADD10O,2.0X2.0*%D10*X0Y0D03*", math.pi),
    "steps of one": (DOTS + "%SRX1Y1I0J0*%X0Y0D03*%SR*%", QUARTER),
    "macro line of no length": (macro("20,1,1,3,3,3,3,0*1,1,2.0,0,0"), math.pi),
    "macro moire of few rings": (macro("6,0,0,4,1,1,9,0,0,0"), 3 * math.pi),
    "macro circle": (macro("1,1,2.0,0,0"), math.pi),
    "macro line": (macro("20,1,0.5,0,0,4,3,0"), 2.5),
    "macro rectangles": (macro("21,1,2,1,0,0,30*22,1,1,1,5,5,0"), 3.0),
    "macro outline": (macro("4,1,3,0,0,2,0,0,2,0,0,0"), 2.0),
    "macro polygon": (macro("5,1,4,0,0,2,0"), 2.0),
    "macro thermal": (macro("7,0,0,4,2,0.0,0"), 3 * math.pi),
    "macro moire": (macro("6,0,0,4,1,1,1,0.0,0,0"), 3 * math.pi),
    "macro exposure": (macro("1,1,2,0,0*1,0,1,0,0*0 a comment"), 0.75 * math.pi),
    "macro variables": (macro("$3=$1x2+($2/-2)*21,1,$3,$1,0,0,0", "1.5X2.0"), 3.0),
    "macro of an unknown variable": (macro("21,1,1+$9,1,0,0,0"), 1.0),
}  # fmt: skip


@pytest.mark.parametrize("name", AREAS)
def test_the_area_is_that_of_the_closed_form(name: str) -> None:
    text, area = AREAS[name]
    drawn = shapes(text)
    # chords lie within 2 µm of the curves
    edge = sum(shape.length for shape in drawn)
    assert sum(shape.area for shape in drawn) == pytest.approx(area, abs=0.002 * edge)


def test_a_wrong_area_is_seen() -> None:
    assert shapes(AREAS["rectangle"][0])[0].area != pytest.approx(2.01, abs=1e-3)


def test_a_shape_whose_corner_nearly_meets_its_side_stays_an_area_at_its_place() -> None:
    star = macro("1,1,$1,0,0*4,1,4,0,0,$1,0,$1,$1,0,$1,0,0,$2*5,1,6,$1,0,$1,0", "0.8X30")
    placed = star.replace("X0Y0D03*", "X140000Y60000D03*")
    assert all(shape.is_valid for text in (star, placed) for shape in shapes(text))
    areas = [sum(shape.area for shape in shapes(text)) for text in (star, placed)]
    assert areas[0] == pytest.approx(areas[1])


PLACES = {
    "absolute": (DOTS + "X10000Y20000D03*", (1, 2)),
    "a missing axis stays": (DOTS + "X10000Y20000D02*X30000D03*", (3, 2)),
    "steps from place to place": (DOTS + "G91*X10000Y20000D02*X30000D03*", (4, 2)),
    "zeros omitted at the end": ("%FSTAX34Y34*%%MOMM*%%ADD10C,1*%D10*X001Y02D03*", (1, 20)),
    "mirrored coordinates": (DOTS + "%MIA1B0*%X10000Y20000D03*", (-1, 2)),
    "moved image": (DOTS + "%OFA5B-1*%X10000Y20000D03*", (6, 1)),
    "turned image": (DOTS + "%IR90*%X10000Y20000D03*", (-2, 1)),
    "aperture selected with G54": (DOTS + "G54D10*X10000Y20000D03*", (1, 2)),
    "flashes without D03": (DOTS + "X0Y0D03*%LPC*%X0Y0*%LPD*%X10000Y20000*", (1, 2)),
    "mirrored block": (DOTS + "%ABD30*%X10000Y0D03*%AB*%%LMX*%D30*X20000Y20000D03*", (1, 2)),
    "turned block": (DOTS + "%ABD30*%X10000Y0D03*%AB*%%LR90*%D30*X10000Y10000D03*", (1, 2)),
}


@pytest.mark.parametrize("name", PLACES)
def test_a_dot_lies_where_it_should(name: str) -> None:
    text, at = PLACES[name]
    (dot,) = shapes(text)
    assert dot.centroid.distance(shapely.Point(at)) < 1e-6


def test_curves_keep_their_vertices_on_the_circle() -> None:
    (ring,) = shapes(AREAS["ring"][0])
    radii = {round(math.hypot(x, y), 9) for x, y in shapely.get_coordinates(ring)}
    assert radii == {1.5, 2.5}


def test_lines_that_follow_each_other_are_one_stroke() -> None:
    layer = read(DOTS + "X0Y0D02*X10000D01*Y10000D01*X0Y0D01*X50000D02*X60000D01*")
    strokes = [s.mark for s in layer.shapes if isinstance(s.mark, Stroke)]
    assert [(len(s.vertices), s.closed) for s in strokes] == [(3, True), (2, False)]


def test_nets_and_functions_are_kept_and_the_rest_is_counted() -> None:
    text = (
        "G04 one % in a comment*%TF.FileFunction,Copper,L2,Bot*%" + DOTS
        + "%TO.N,GND*%X0Y0D03*%TO.N,R1\\u002F2*%X20000D03*%TD.N*%X40000D03*"
        + "G04 #@! TO.N,VCC*X60000D03*G04 #@! TD*X80000D03*%INboard*%"
    )  # fmt: skip
    layer = read(text)
    assert [shape.net for shape in layer.shapes] == ["GND", "R1/2", None, "VCC", None]
    assert layer.function == ("Copper", "L2", "Bot")
    kinds = [aside.source.kind for aside in layer.noted]
    assert (kinds.count("comment"), kinds.count("attribute"), kinds.count("name")) == (1, 6, 1)
    indices = [s.mark.source.number for s in layer.shapes] + [a.source.number for a in layer.noted]
    assert sorted(indices) == list(range(layer.count))


FAULTS = {
    "no end": (HEAD + "\n", 2, "without M02"),
    "cut off": (HEAD + "\nX0Y0", 2, "no * at its end"),
    "open %": ("%FSLAX34Y34*\nMOMM*", 1, "never closed"),
    "missing *": ("%FSLAX34Y34%\n%MOMM*%M02*", 1, "a * is missing"),
    "no format": ("%MOMM*%\nX0Y0D02*M02*", 2, "before the format"),
    "no unit": ("%FSLAX34Y34*%\nX0Y0D02*M02*", 2, "gives the unit"),
    "two units": (HEAD + "\nG70*M02*", 2, "inch here and mm"),
    "too many digits": (HEAD + "\nX12345678Y0D02*M02*", 2, "more digits"),
    "a point": (HEAD + "\nX1.5Y0D02*M02*", 2, "without a point"),
    "undefined aperture": (HEAD + "\nD10*M02*", 2, "D10 is not defined"),
    "no aperture": (HEAD + "\nX0Y0D03*M02*", 2, "before an aperture is selected"),
    "undefined macro": (HEAD + "\n%ADD10PAD*%M02*", 2, "no aperture macro 'PAD'"),
    "open region": (HEAD + "\nG36*X0Y0D02*X10000D01*M02*", 2, "has no end"),
    "open contour": (HEAD + "\nG36*X0Y0D02*\nX10000D01*Y10000D01*G37*M02*", 3, "is open"),
    "contour across itself": (
        HEAD + "G36*X0Y0D02*\nX20000Y20000D01*X20000Y0D01*X0Y20000D01*X0Y0D01*G37*M02*", 2,
        "crosses itself",
    ),
    "region in a region": (HEAD + "\nG36*G36*M02*", 2, "within a region"),
    "flash in a region": (DOTS + "\nG36*X0Y0D03*M02*", 2, "flashes within a region"),
    "line with an obround": (HEAD + "%ADD10O,1X2*%D10*\nX0Y0D02*X10000D01*M02*", 2, "neither"),
    "line with a hole": (HEAD + "%ADD10C,1X0.5*%D10*\nX0Y0D02*X10000D01*M02*", 2, "has a hole"),
    "arc with a rectangle": (
        DOTS + "D11*G75*X0Y0D02*\nG02X20000Y0I10000J0D01*M02*", 2, "is not round",
    ),
    "arc without a centre": (
        DOTS + "G75*X0Y0D02*\nG02X20000Y0I30000J0D01*M02*", 2, "differently far",
    ),
    "no quarter": (DOTS + "G74*X0Y0D02*\nG03X40000Y0I20000J0D01*M02*", 2, "differently far"),
    "negative image": (HEAD + "\n%IPNEG*%M02*", 2, "negative"),
    "another file": (HEAD + "\n%IFother.gbr*%M02*", 2, "another file"),
    "unknown statement": (HEAD + "\n%XX1*%M02*", 2, "no statement of the format"),
    "unknown code": (HEAD + "\nG12*M02*", 2, "G12 is no code"),
    "unknown word": (HEAD + "\nhello*M02*", 2, "no word of this format"),
    "more after the end": (HEAD + "\nM02*\nX0Y0D02*", 3, "after the end"),
    "no code of the end": (HEAD + "\nM03*", 2, "M03 is no code"),
    "no operation": (DOTS + "\nX0Y0D04*M02*", 2, "D04 is no code"),
    "mirrored by two": (HEAD + "\n%MIA2B0*%M02*", 2, "takes 0 or 1 behind A and B"),
    "mirrored by words": (HEAD + "\n%MIX*%M02*", 2, "takes values behind A and B"),
    "no scale": (HEAD + "\n%SFA0B1*%M02*", 2, "takes values above zero"),
    "turned a little": (HEAD + "\n%IR45*%M02*", 2, "turns by 0, 90, 180 or 270"),
    "arc in an uneven image": (
        DOTS + "%SFA2B1*%G75*X0Y0D02*\nG02X20000Y0I10000J0D01*M02*", 2, "scaled differently",
    ),
    "line without an aperture": (HEAD + "X0Y0D02*\nX10000D01*M02*", 2, "before an aperture"),
    "region that no one opened": (HEAD + "\nG37*M02*", 2, "none is open"),
    "block in steps": (DOTS + "%SRX2Y1I5J0*%\n%ABD30*%M02*", 2, "while a step is repeated"),
    "block without a number": (HEAD + "\n%ABD9*%M02*", 2, "opens no block aperture"),
    "steps of nothing": (DOTS + "\n%SRX00Y2I5J4*%M02*", 2, "repeats no steps"),
    "arc about its start": (
        DOTS + "G75*X0Y0D02*\nG02X20000Y0I0J0D01*M02*", 2, "no centre of an arc fits",
    ),
    "quarter about its start": (
        DOTS + "G74*X0Y0D02*\nG02X20000Y0I0J0D01*M02*", 2, "no centre of a quarter circle fits",
    ),
    "flash before the unit": ("%FSLAX34Y34*%\n%ADD10C,1*%D10*D03*M02*", 2, "gives the unit"),
    "dot before the unit": ("%FSLAX34Y34*%%ADD10C,1*%D10*\nD01*M02*", 2, "gives the unit"),
    "format in words": ("%MOMM*%\n%FSLAX3Y3*%M02*", 2, "is no format"),
    "format without digits": ("%MOMM*%\n%FSLAX00Y00*%M02*", 2, "has no digits"),
    "steps before the unit": ("%FSLAX34Y34*%\n%SRX2Y1I5J0*%M02*", 2, "gives the unit"),
    "size beyond numbers": (
        HEAD + "\n%ADD10C,1" + "0" * 400 + "*%M02*", 2, "a size of the aperture is no number",
    ),
    "one side of a rectangle": (HEAD + "\n%ADD10R,1*%M02*", 2, "takes 2 values and has 1"),
    "size below zero": (HEAD + "\n%ADD10C,-1*%M02*", 2, "is not above zero"),
    "flat rectangle": (HEAD + "\n%ADD10R,1X0*%M02*", 2, "is not above zero"),
    "two corners": (HEAD + "\n%ADD10P,1X2*%M02*", 2, "a polygon cannot have 2 corners"),
    "corners and a half": (HEAD + "\n%ADD10P,1X4.5*%M02*", 2, "cannot have 4.5 corners"),
    "hole below zero": (HEAD + "\n%ADD10C,1X-0.5*%M02*", 2, "hole of the aperture has a size"),
    "open block": (HEAD + "\n%ABD10*%M02*", 2, "D10 has no end"),
    "unopened block": (HEAD + "\n%AB*%M02*", 2, "none is open"),
    "endless steps": (DOTS + "\n%SRX99999Y99999I1J1*%M02*", 2, "more than 100000 steps"),
    "blocks in blocks": (
        DOTS + "".join(f"\n%ABD{n}*%" + f"D{n - 1}*X0Y0D03*" * 20 + "%AB*%" for n in range(11, 19)),
        5, "more than 100000 shapes",
    ),
    "scale": (DOTS + "\n%LS1001*%", 2, "the scale is not above 0 and at most 1000"),
    "macro brackets": (macro("\n21,1," + "(" * 60 + "1" + ")" * 60 + ",1,0,0,0"), 2, "brackets"),
    "macro division": (macro("\n21,1,1/0,1,0,0,0"), 2, "divides by zero"),
    "macro primitive": (macro("\n3,1,1"), 2, "no macro primitive 3"),
    "macro values": (macro("\n1,1"), 2, "takes 4 values and has 1"),
    "macro outline that is open": (macro("\n4,1,3,0,0,2,0,0,2,9,9,0"), 2, "not closed"),
    "macro corners": (macro("\n5,1,9999999,0,0,2,0"), 2, "cannot have"),
    "macro assignment": (macro("\n$x=1"), 2, "is no assignment"),
    "macro signs": (macro("\n21,1,2x),1,0,0,0"), 2, "no number and no expression"),
    "macro bracket": (macro("\n21,1,(1 2),1,0,0,0"), 2, "no number and no expression"),
    "macro exposure": (macro("\n1,2,1,0,0"), 2, "is 2, neither 0 nor 1"),
    "macro size": (macro("\n1,1,-2,0,0"), 2, "a size is -2, below zero"),
    "macro outline of two": (macro("\n4,1,2,0,0,2,0,0,0,0"), 2, "cannot have 2 corners"),
    "macro outline across itself": (
        macro("\n4,1,4,0,0,2,2,2,0,0,2,0,0,0"), 2, "the outline crosses itself",
    ),
    "macro thermal": (macro("\n7,0,0,2,4,0.5,0"), 2, "is not larger than the inner"),
    "macro without end": (macro("\n" + "1,1,1,0,0*" * 2001), 2, "more than 2000 primitives"),
    "macro nonsense": (macro("\n21,1,1+,1,0,0,0"), 2, "no number and no expression"),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_what_is_wrong_is_refused_with_its_line(name: str) -> None:
    text, line, words = FAULTS[name]
    with pytest.raises(UnreadableError) as caught:
        read_layer(text.encode(), "layer")
    assert caught.value.line == line
    assert words in str(caught.value)


def test_a_unit_from_the_job_counts_where_the_file_gives_none() -> None:
    text = b"%FSLAX34Y34*%%ADD10R,1X1*%D10*X0Y0D03*M02*"
    (shape,) = read_layer(text, "layer", "inch").shapes
    assert sum(area.area for area in shape.areas) == pytest.approx(25.4**2)


def test_a_unit_that_comes_after_the_first_place_is_refused_whatever_the_job_says() -> None:
    for drawn in ("X0Y0D03*", "D03*", "D01*"):
        text = f"%FSLAX34Y34*%%ADD10C,1*%D10*{drawn}\n%MOIN*%X10000Y0D03*M02*"
        with pytest.raises(UnreadableError, match="unit comes after the first") as caught:
            read_layer(text.encode(), "layer", "mm")
        assert caught.value.line == 2


def test_too_many_flashes_are_refused_before_the_rest_is_read(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(painter, "MOST_SHAPES", 100)
    flashes = "\n".join(f"X{n}Y{n % 97}D03*" for n in range(101))
    with pytest.raises(UnreadableError, match="more than 100 shapes"):
        read_layer(f"{DOTS}{flashes}\nD99*\nM02*".encode(), "layer")
    with pytest.raises(UnreadableError, match="D99"):
        read_layer(f"{DOTS}X1Y1D03*\nD99*\nM02*".encode(), "layer")


def test_a_file_cut_off_anywhere_is_read_or_refused() -> None:
    text = AREAS["steps"][0] + AREAS["region with an arc"][0][len(HEAD) :] + "M02*"
    for end in range(len(text)):
        with pytest.raises(UnreadableError):
            read_layer(text[:end].encode(), "layer")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("%LRnan*%", "'nan' is no number"),
        ("%LS1e9*%", "'1e9' is no number"),
        ("%AMBIG*1,1,$1,0,0*%%ADD10BIG,999999999*%D10*X0Y0D03*", "too large to be part of a board"),
    ],
)
def test_numbers_that_no_board_has_are_refused_with_their_line(text: str, words: str) -> None:
    with pytest.raises(UnreadableError, match=words) as caught:
        read_layer(f"%FSLAX34Y34*%%MOMM*%\n{text}M02*".encode(), "a")
    assert caught.value.line == 2


def test_a_file_of_endless_statements_is_refused_early() -> None:
    text = "%FSLAX34Y34*%%MOMM*%" + "%ADD10C,0.5*%\n" * 400_000 + "M02*"
    with pytest.raises(UnreadableError, match="more than 300000 statements") as caught:
        read_layer(text.encode(), "a")
    assert caught.value.line == 299_999
